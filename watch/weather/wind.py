"""Wind over the sea: from 10 m to the masthead, from a mean to a gust, from one averaging time to another."""

from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.units import Floats

REFERENCE_M = 10.0
POWER_EXPONENT = 0.11  # near-neutral air over the sea: source profile-1
CHARNOCK = 0.018  # open sea: source charnock-1
VON_KARMAN = 0.4
G_MS2 = 9.80665
LOG_LAW_PASSES = 40  # the pass shrinks the error about four times in a gale and ten times in a breeze


class Exposure(StrEnum):
    """Where the wind comes from: the open sea, or off the land close by."""

    SEA = "sea"
    OFF_LAND = "off_land"


# 3 s gust over the mean of so many seconds, at 10 m: source gust-1 (tropical-cyclone winds).
GUST_FACTORS: dict[Exposure, dict[int, float]] = {
    Exposure.SEA: {600: 1.23, 180: 1.17, 120: 1.15, 60: 1.11},
    Exposure.OFF_LAND: {600: 1.38, 180: 1.31, 120: 1.28, 60: 1.23},
}


class Gust(NamedTuple):
    """Gust [m/s] and where it was made from the mean wind because the forecast had none; same shape."""

    gust_ms: Floats
    estimated: NDArray[np.bool_]


def at_height(mean_at_10m: ArrayLike, height_m: float) -> Floats:
    """Mean wind at 10 m (any unit) -> mean wind at height_m [m] over the sea, same shape and unit; NaN stays NaN.

    says: the wind at the masthead is stronger than the forecast's 10 m wind, the wind on deck weaker.
    why: a boat's limits are felt at the height at which her instrument measures.
    example: 20 kn at 10 m is 21.3 kn at 18 m.
    source: profile-1, a power law for near-neutral air; in very stable air (warm wind over cold water) it errs low aloft.

    >>> round(float(at_height(18.75, 18.0)), 1)
    20.0
    """
    return np.asarray(mean_at_10m, dtype=float) * _height_ratio(height_m)


def to_10m(mean_at_height: ArrayLike, height_m: float) -> Floats:
    """Mean wind measured at height_m [m] (any unit) -> mean wind at 10 m, same shape and unit; NaN stays NaN. Source: profile-1.

    >>> round(float(to_10m(20.0, 18.0)), 2)
    18.75
    """
    return np.asarray(mean_at_height, dtype=float) / _height_ratio(height_m)


def _height_ratio(height_m: float) -> float:
    if not 1.0 <= height_m <= 100.0:
        raise ValueError(f"height_m = {height_m}: the wind profile holds from 1 m to 100 m above the sea, like 18")
    return float((height_m / REFERENCE_M) ** POWER_EXPONENT)


def at_height_by_log_law_ms(mean_at_10m_ms: ArrayLike, height_m: float) -> Floats:
    """The check on `at_height`: the logarithmic profile over waves. mean_at_10m_ms [m/s] -> [m/s] at height_m [m], same shape.

    Friction speed u* and roughness z0 = 0.018 u*^2 / g are found together by repetition. Source: charnock-1.

    >>> round(float(at_height_by_log_law_ms(20.0, 18.0)), 3)
    21.337
    """
    _height_ratio(height_m)
    wind = np.asarray(mean_at_10m_ms, dtype=float)
    friction = friction_speed_ms(wind)
    with np.errstate(divide="ignore", invalid="ignore"):
        aloft = friction / VON_KARMAN * np.log(height_m * G_MS2 / (CHARNOCK * friction**2))
    return np.where(wind == 0.0, 0.0, aloft)


def friction_speed_ms(mean_at_10m_ms: ArrayLike) -> Floats:
    """Mean wind at 10 m over the sea [m/s] -> friction speed u* [m/s], same shape. Source: charnock-1.

    >>> round(float(friction_speed_ms(20.0)), 4)
    0.9099
    """
    wind = np.asarray(mean_at_10m_ms, dtype=float)
    friction = 0.035 * wind
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(LOG_LAW_PASSES):
            friction = VON_KARMAN * wind / np.log(REFERENCE_M * G_MS2 / (CHARNOCK * friction**2))
    return np.where(wind == 0.0, 0.0, friction)


def gust_factor(mean_over_s: float = 600.0, exposure: Exposure = Exposure.SEA) -> float:
    """3 s gust over the mean of mean_over_s [s], 60 to 600 s -> factor [1]; linear in the logarithm of time between printed
    values.

    says: how much the strongest three seconds stand above the mean.
    why: a forecast without gusts must not be read as a forecast of no gusts.
    example: 1.23 for a ten-minute mean at sea; 30 kn mean is 37 kn in the gusts.
    source: gust-1. Ten minutes is taken for a model's mean wind, since that is the WMO's mean wind and a grid box is smoother
    still; the printed factors stand for strong winds. They err low in showers and in cold air over warm water (squalls are
    another rule's business) and close to land (use OFF_LAND there), high in steady trades and stable air.

    >>> gust_factor(), gust_factor(60), gust_factor(600, Exposure.OFF_LAND)
    (1.23, 1.11, 1.38)
    """
    table = GUST_FACTORS[exposure]
    if not min(table) <= mean_over_s <= max(table):
        raise ValueError(f"mean_over_s = {mean_over_s}: gust factors are printed for means of 60 to 600 seconds")
    seconds = sorted(table)
    factor = float(np.interp(np.log(mean_over_s), np.log(seconds), [table[s] for s in seconds]))
    return round(factor, 12)


def fill_gust_ms(
    mean_ms: ArrayLike, gust_ms: ArrayLike | None, exposure: Exposure = Exposure.SEA, mean_over_s: float = 600.0
) -> Gust:
    """Mean wind and the forecast's gust, if any [m/s, shapes that broadcast] -> Gust of the same shape.

    says: the forecast's own gust where there is one, never less than the mean; else the mean times the gust factor.
    why: some gust fields fall below the mean wind, and a missing gust is not a calm one.
    example: mean 10, gust 9 -> 10; mean 10, none -> 12.3, marked as estimated. Missing mean and gust -> missing.
    source: gust-1; gust at least the mean: source gust-2.

    >>> [round(float(g), 1) for g in fill_gust_ms([10.0, 10.0, 10.0], [15.0, 9.0, np.nan]).gust_ms]
    [15.0, 10.0, 12.3]
    """
    mean = np.asarray(mean_ms, dtype=float)
    own = np.full(mean.shape, np.nan) if gust_ms is None else np.asarray(gust_ms, dtype=float)
    mean, own = np.broadcast_arrays(mean, own)
    estimated = np.isnan(own)
    made = mean * gust_factor(mean_over_s, exposure)
    return Gust(np.where(estimated, made, np.fmax(own, mean)), estimated)
