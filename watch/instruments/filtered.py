"""A number that drifts, followed through noisy readings of it: the scalar Kalman filter, kept at its lowest order."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from watch.units import Floats


@dataclass(frozen=True, kw_only=True)
class Followed:
    """What is believed of a number: value and variance, any shape (broadcast together)."""

    value: Floats
    variance: Floats


def follow(before: Followed, reading: ArrayLike, reading_variance: ArrayLike, drift_variance: ArrayLike) -> Followed:
    """Belief before, a reading and its variance, the variance by which the number drifts between readings -> belief after.

    A missing reading (NaN, or of infinite variance) changes nothing but that the belief grows wider. Source: kalman-1; the lowest
    order on purpose, since higher ones go unstable there.

    >>> start = Followed(value=np.array(0.0), variance=np.array(1.0))
    >>> after = follow(start, 2.0, 0.9, 0.1)
    >>> round(float(after.value), 3), round(float(after.variance), 3)
    (1.1, 0.495)
    """
    reading, noise = np.asarray(reading, dtype=float), np.asarray(reading_variance, dtype=float)
    wider = before.variance + np.asarray(drift_variance, dtype=float)
    known = np.isfinite(reading) & np.isfinite(noise)
    gain = np.where(known, wider / (wider + np.where(known, noise, 1.0)), 0.0)
    value = before.value + gain * (np.where(known, reading, 0.0) - before.value)
    return Followed(value=np.asarray(value), variance=np.asarray((1.0 - gain) * wider))
