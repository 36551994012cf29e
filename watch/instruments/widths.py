"""How far observed and forecast may differ, and how fast a difference is forgotten: one table. Every number here is judgement
(source observed-widths-1), kept in one place to be edited. The times of
fading and weight_share were chosen by trial on invented passages with invented model errors, and tried on others.
"""

import math
from dataclasses import dataclass

from watch.when import STEPS_PER_HOUR


@dataclass(frozen=True, kw_only=True)
class Widths:
    """Standard deviations, times and limits of the comparison. Times of forgetting are e-folding times.

    wind_ms, wind_share: of a ten-minute mean about a forecast that is right (turbulence, anemometer, place): the larger counts.
    pressure_pa: the same for the glass. *_memory_h: how long such an error stays much the same, so that readings ten minutes apart
    are not independent (`inflation`). lag_floor_h: least prior width of timing, since timing errors have heavy tails; else it is the
    forecast's own width of its lead time. ratio_share: prior width of the strength; drift_share: how far it drifts in an hour.
    wind_bias_ms, glass_bias_pa: constant errors of forecast or instrument that are neither timing nor strength. glass_share: of the
    depth of a trough. window_h: how far back is looked; forget_h: how fast what is back there loses weight. lag_most_h: largest
    shift that is looked for and applied. factor_least, factor_most: of the strength applied. lag_fades_h, factor_fades_h: how fast
    the correction fades with the lead time. weight_share: how much of the evidence for a weather so far holds for
    the weather to come. size_share: the least effective number of scenarios, as a share of that before.
    calmer_share: by how much the planning wind may fall below that without update; calmer_share_supported: where the observations of
    the last support_h hours support it. least_h: hours of readings below which nothing is compared; oldest_h: age of the last one.
    smooth_steps: steps of the running median, so that no gust or squall of twenty minutes counts. light_ms: below this the ratio of
    two winds says nothing.
    """

    wind_ms: float = 1.0
    wind_share: float = 0.12
    wind_memory_h: float = 1.0
    pressure_pa: float = 50.0
    pressure_memory_h: float = 2.0
    lag_floor_h: float = 1.0
    ratio_share: float = 0.2
    drift_share: float = 0.03
    wind_bias_ms: float = 0.5
    glass_bias_pa: float = 150.0
    glass_share: float = 0.2
    window_h: float = 12.0
    forget_h: float = 6.0
    lag_most_h: float = 6.0
    factor_least: float = 0.75
    factor_most: float = 1.5
    lag_fades_h: float = 12.0
    factor_fades_h: float = 6.0
    weight_share: float = 0.1
    size_share: float = 0.6
    calmer_share: float = 0.05
    calmer_share_supported: float = 0.25
    support_h: float = 6.0
    least_h: float = 3.0
    oldest_h: float = 1.0
    smooth_steps: int = 5
    light_ms: float = 3.0


def inflation(memory_h: float) -> float:
    """By how much the variance of a mean of ten-minute readings is larger than if they were independent, when their correlation
    falls to 1/e in memory_h [h]: (1 + r) / (1 - r) for a first-order autoregression (source effective-sample-1).

    >>> round(inflation(1.0), 1)
    12.0
    """
    r = math.exp(-1.0 / (memory_h * STEPS_PER_HOUR)) if memory_h > 0 else 0.0
    return (1.0 + r) / (1.0 - r)
