"""Scenarios weighed again by how far they are from what was observed."""

import numpy as np
from numpy.typing import ArrayLike

from watch.units import Floats


def weigh(distance: ArrayLike, width: float, weight: ArrayLike | None = None) -> Floats:
    """Distances (S) from the observed, their standard deviation, weights before (S; equal when None) -> weights (S) that add to one:
    w ~ w0 exp(-d^2 / 2 s^2) (source reweighting-1). An unknown distance gets the mean likelihood of the known: neither for nor against.

    >>> weigh([-2.0, 0.0, 1.0], 1.5).round(4).tolist()
    [0.1859, 0.4521, 0.362]
    """
    d = np.asarray(distance, dtype=float)
    before = np.full(d.shape, 1.0) if weight is None else np.asarray(weight, dtype=float)
    before = before / before.sum()
    known = np.isfinite(d)
    if not known.any():
        return np.asarray(before)
    square = (d / width) ** 2
    fit = np.exp(-0.5 * (square - square[known].min()))
    mean = float(before[known] @ fit[known]) / float(before[known].sum()) if before[known].sum() > 0 else 1.0
    weighed = before * np.where(known, fit, mean)
    return np.asarray(weighed / weighed.sum())


def effective_size(weight: ArrayLike) -> float:
    """Weights (S) -> how many equally weighted scenarios they are worth: (sum w)^2 / sum w^2 (source reweighting-1).

    >>> round(effective_size([0.185868, 0.452110, 0.362022]), 4)
    2.7026
    """
    w = np.asarray(weight, dtype=float)
    return float(w.sum() ** 2 / (w @ w))


def weigh_gently(distance: ArrayLike, weight: ArrayLike, least_size: float) -> tuple[Floats, bool]:
    """Distances in standard deviations (S), weights before (S), the least effective size -> weights (S), and whether the width had
    to be made larger for it: a few readings must not leave a handful of weathers.

    >>> weights, held = weigh_gently([0.0, 5.0, 5.0, 5.0], [0.25] * 4, 2.0)
    >>> round(effective_size(weights), 2), held
    (2.0, True)
    """
    sharp = weigh(distance, 1.0, weight)
    if effective_size(sharp) >= least_size:
        return sharp, False
    low, high = 0.0, 30.0  # logarithm of the width
    for _ in range(50):
        middle = 0.5 * (low + high)
        if effective_size(weigh(distance, float(np.exp(middle)), weight)) >= least_size:
            high = middle
        else:
            low = middle
    return weigh(distance, float(np.exp(high)), weight), True
