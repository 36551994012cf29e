"""How far a forecast may be wrong: one table, growing with lead time. No agency table of wind error at sea by lead day was found, so
every width here is judgement (source widening-1), kept in one place to be edited, and printed by `nightorders why`. Of lows over the
Atlantic a study says (source timing-1) that they are misplaced mostly along their track, so that timing is wider than place: with the
place, at 25 knots, 1.9 h after a day, 3.3 h after two. How often the weather stays below what is planned for: tests/bench/bench_coverage.py.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.weather.gust_scatter import SCATTER

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Widening:
    """Standard deviations at given leads [h]; between them linear, beyond the last one held.

    strength_ms: of the mean wind, and never less than strength_share of it. timing_h: of when a feature passes. place_nm: of
    where it lies. gust_share: of the gust's height above the mean, all along; gust_scatter: from one ten minutes to the next. sea_share:
    of the wave height.
    """

    lead_h: tuple[float, ...] = (0.0, 12.0, 24.0, 48.0, 72.0, 120.0)
    strength_ms: tuple[float, ...] = (0.7, 1.0, 1.3, 1.7, 2.2, 3.0)
    strength_share: float = 0.14
    timing_h: tuple[float, ...] = (0.5, 1.0, 1.7, 3.0, 4.4, 7.5)
    place_nm: tuple[float, ...] = (5.0, 12.0, 20.0, 35.0, 50.0, 85.0)
    gust_share: float = 0.2
    gust_scatter: float = SCATTER
    sea_share: float = 0.12

    def at(self, widths: tuple[float, ...], lead_h: Floats) -> Floats:
        """Lead times [h], any shape -> the width there.

        >>> float(Widening().at(Widening().timing_h, np.array(18.0)))
        1.35
        """
        found: Floats = np.interp(np.maximum(lead_h, 0.0), self.lead_h, widths)
        return found


SINGLE_SCENARIOS = 40  # how many weathers a single run is widened into
OLDER_SCENARIOS = 12  # and each older run
# An ensemble has its own spread; its members are still looked at some way off, in turn: on the track, and half a width each way.
ENSEMBLE_SPOTS = np.array([(0.0, 0.0), (0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5)])
ENSEMBLE_WEIGHT = 0.7  # beside a single run of the same hour
AGE_HALVES_H = 9.0  # a run's weight halves with so many hours of age (beside newer ones)
OLDEST_H = 30.0  # older runs than this beside the newest are left out


def spread_points(count: int, dimensions: int) -> Floats:
    """(count, dimensions) points that fill the unit cube evenly, the same ones every time, none on its faces.

    An additive recurrence on the generalised golden ratio (general method): no random numbers, so orders do not flicker.

    >>> bool(abs(spread_points(64, 3).mean() - 0.5) < 0.02)
    True
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (dimensions + 1))
    steps = ratio ** -np.arange(1.0, dimensions + 1.0)
    points: Floats = (0.5 + np.outer(np.arange(1, count + 1), steps)) % 1.0
    return np.clip(points, 0.5 / count, 1.0 - 0.5 / count)


def normal_points(count: int, dimensions: int) -> Floats:
    """(count, dimensions) points of a standard normal distribution; each column is exactly symmetric: ranks, not raw values.

    >>> bool(abs(normal_points(40, 4).std() - 1.0) < 0.05)
    True
    """
    ranks = np.argsort(np.argsort(spread_points(count, dimensions), axis=0), axis=0)
    return normal_quantile((ranks + 0.5) / count)


def normal_quantile(chance: Floats) -> Floats:
    """Chance in (0, 1) -> standard normal deviate (the standard library's, one call a value)."""
    from statistics import NormalDist

    inverse = NormalDist().inv_cdf
    flat = np.array([inverse(float(c)) for c in np.ravel(chance)])
    return flat.reshape(np.shape(chance))


def normal_chance(deviate: Floats) -> Floats:
    """Standard normal deviates -> chances in (0, 1), same shape.

    >>> float(normal_chance(np.array(0.0)))
    0.5
    """
    from statistics import NormalDist

    flat = np.array([NormalDist().cdf(float(d)) for d in np.ravel(deviate)])
    return flat.reshape(np.shape(deviate))
