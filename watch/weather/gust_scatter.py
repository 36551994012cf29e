"""How gusts scatter from one ten minutes to the next: the strongest gust of a night is the luckiest draw of many, not that of its mean.

A forecast's gust is what is to be expected of its wind; what comes in any ten minutes is drawn about it. Each ten minutes by itself is
hardly less sure for it, but the highest of three hours is higher than any one of them was expected to be, and that is what a sail meets.
"""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from watch.weather.wind import gust_factor
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, Times

Floats = NDArray[np.float64]
FloatsOf = TypeVar("FloatsOf", NDArray[np.float32], NDArray[np.float64])
Whole = NDArray[np.uint64]

# Of the gust's height above the mean wind, standard deviation over its mean. Source gust-scatter-1, measured: the highest gusts of
# neighbouring hours, in winds of 10 m/s and more, above the mean of the three hours round them. Chance alone makes it 0.12 to 0.16
# in steady air (source peak-factor-1, 150 to 40 independent gusts in ten minutes); the rest is the ten minutes' mean itself, which no
# forecast follows.
SCATTER = 0.2
EULER = 0.5772156649015329


def peak_deviate(chance: Floats) -> Floats:
    """Chances in (0, 1) -> deviates of the distribution of the highest of many draws: mean 0, deviation 1, its long tail above; same shape.

    Source peak-factor-1: double exponential.

    >>> [round(float(p), 2) for p in peak_deviate(np.array([0.1, 0.5, 0.9]))]
    [-1.1, -0.16, 1.3]
    """
    return np.asarray((-np.log(-np.log(chance)) - EULER) * np.sqrt(6.0) / np.pi)


def gust_scatter(time: Times, count: int, scatter: float = SCATTER) -> Floats:
    """Ten-minute steps (T) and a number of scenarios -> (scenario, T): what the gust's height above the mean is multiplied by; near one
    in the mean. One scenario alone cannot scatter, and stays as it is.

    At every step the scenarios are spread evenly over the chances, one in each of `count` equal parts, so that no step is gustier than its
    neighbours by accident; which has which belongs to the step of the almanac and the scenario alone, so that the same ten minutes look
    the same from every pass and from every place. From step to step there is no memory.

    >>> t = np.datetime64("2026-05-14T00:00", "s") + np.arange(144) * np.timedelta64(600, "s")
    >>> bool((gust_scatter(t, 40)[:, 2] == gust_scatter(t[2:3], 40)[:, 0]).all()), round(float(gust_scatter(t, 40).mean()), 2)
    (True, 1.0)
    """
    if count == 1:
        return np.ones((1, len(time)))
    step = time.astype("datetime64[s]").astype(np.int64) // (60 * STEP_MINUTES)
    own = _mixed(np.arange(count, dtype=np.uint64) + np.uint64(count << 20))
    lots = _mixed(_mixed(step.astype(np.uint64))[None, :] + own[:, None])
    rank = np.argsort(np.argsort(lots, axis=0), axis=0)
    inside = ((_mixed(lots) >> np.uint64(11)).astype(float) + 0.5) * 2.0**-53  # where in its part, strictly between 0 and 1
    return np.maximum(1.0 + scatter * peak_deviate((rank + inside) / count), 0.0)


def scattered(mean: FloatsOf, gust: FloatsOf, scatter: FloatsOf) -> FloatsOf:
    """Mean wind, the gust to be expected of it, and what its height above the mean is multiplied by -> the gust that comes; any one
    shape and unit.

    Only as much scatters as the gusts of the wind itself have (source gust-1), which is what was measured: what a forecast has beyond that is
    convection, and already is the peak that it may reach.

    >>> [round(float(scattered(np.array(20.0), np.array(g), np.array(1.5))), 1) for g in (24.6, 34.6)]
    [26.9, 36.9]
    """
    one, share = (mean.dtype.type(number) for number in (1.0, gust_factor() - 1.0))
    found: FloatsOf = gust + (scatter - one) * np.minimum(gust - mean, mean * share)
    return found


def hourly_scatter(hours: Times, count: int, scatter: float = SCATTER) -> Floats:
    """Marks of whole hours (H + 1) -> (H, scenario): the highest of the six steps of each hour."""
    steps = hours[:-1, None] + np.arange(STEPS_PER_HOUR) * np.timedelta64(STEP_MINUTES * 60, "s")
    each = gust_scatter(steps.ravel(), count, scatter).reshape(count, len(hours) - 1, STEPS_PER_HOUR)
    return np.asarray(each.max(axis=2).T)


def _mixed(numbers: Whole) -> Whole:
    """Whole numbers, well shuffled, always in the same way (the finaliser of SplitMix64, a general method)."""
    with np.errstate(over="ignore"):
        z = numbers + np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        return np.asarray(z ^ (z >> np.uint64(31)))
