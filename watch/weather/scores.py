"""How good were the warnings: scores of yes and no, of probabilities and of ensembles, and what k of n members can prove."""

from dataclasses import dataclass
from math import comb, erf, isnan, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike

from watch.units import Floats

BISECTIONS = 60


@dataclass(frozen=True, kw_only=True)
class Table:
    """Warnings against events, counted. Every score is NaN where it has no meaning (no events, no warnings). Source: finley-1.

    >>> round(Table(hits=28, false_alarms=72, misses=23, correct_negatives=2680).pod, 5)
    0.54902
    """

    hits: float
    false_alarms: float
    misses: float
    correct_negatives: float

    @property
    def total(self) -> float:
        return self.hits + self.false_alarms + self.misses + self.correct_negatives

    @property
    def pod(self) -> float:
        """Share of events that were warned of."""
        return _ratio(self.hits, self.hits + self.misses)

    @property
    def far(self) -> float:
        """Share of warnings that were false."""
        return _ratio(self.false_alarms, self.hits + self.false_alarms)

    @property
    def false_alarm_rate(self) -> float:
        """Share of quiet cases in which a warning was given."""
        return _ratio(self.false_alarms, self.false_alarms + self.correct_negatives)

    @property
    def csi(self) -> float:
        """Critical success index: hits over everything but the correct negatives."""
        return _ratio(self.hits, self.hits + self.false_alarms + self.misses)

    @property
    def ets(self) -> float:
        """Equitable threat score: csi with the hits of chance taken out."""
        chance = _ratio((self.hits + self.misses) * (self.hits + self.false_alarms), self.total)
        return _ratio(self.hits - chance, self.hits + self.false_alarms + self.misses - chance)

    @property
    def hss(self) -> float:
        """Heidke skill score."""
        a, b, c, d = self.hits, self.false_alarms, self.misses, self.correct_negatives
        return _ratio(2.0 * (a * d - b * c), (a + c) * (c + d) + (a + b) * (b + d))

    @property
    def pss(self) -> float:
        """Peirce skill score: pod less false alarm rate."""
        return self.pod - self.false_alarm_rate

    def economic_value(self, cost_loss: float) -> float:
        """Value between climate (0) and a perfect forecast (1) for one whose cost of acting over loss is cost_loss, 0 < cost_loss
        < 1.

        source: value-1; it is greatest, and equal to pss, where cost_loss is the share of events.
        """
        if not 0.0 < cost_loss < 1.0:
            raise ValueError(f"cost_loss = {cost_loss}: cost over loss lies between 0 and 1, like 0.05")
        share = _ratio(self.hits + self.misses, self.total)
        climate = min(cost_loss, share)
        gain = climate - self.false_alarm_rate * cost_loss * (1.0 - share) + self.pod * share * (1.0 - cost_loss) - share
        return _ratio(gain, climate - share * cost_loss)


def _ratio(above: float, below: float) -> float:
    return nan if isnan(below) or below == 0.0 else above / below


def brier(probability: ArrayLike, happened: ArrayLike) -> float:
    """Mean square error of probabilities [0..1] of events (0, 1 or bool), same shape; pairs with a NaN are left out. Source:
    brier-1.

    >>> round(brier([0.9, 0.1, 0.5, 0.7, 0.2], [1, 0, 1, 0, 0]), 12)
    0.16
    """
    error = (np.asarray(probability, dtype=float) - np.asarray(happened, dtype=float)) ** 2
    known = error[~np.isnan(error)]
    return float(known.mean()) if known.size else nan


def crps_ensemble(members: ArrayLike, observed: ArrayLike, weights: ArrayLike | None = None) -> Floats:
    """CRPS of weighted members: members (member, ...), observed (...), weights (member,) -> (...), in the unit of the values.

    E|X - y| - E|X - X'| / 2; a missing member is left out with its weight, no member or no observation gives NaN. Source: crps-1.

    >>> float(crps_ensemble([1.0, 2.0, 4.0, 5.0], 3.0))
    0.625
    """
    values, seen = np.asarray(members, dtype=float), np.asarray(observed, dtype=float)
    share = np.ones(values.shape[0]) if weights is None else np.asarray(weights, dtype=float)
    if share.shape != values.shape[:1] or (share < 0).any():
        raise ValueError("weights: one non-negative weight a member")
    weight = np.where(np.isnan(values), 0.0, share.reshape((-1,) + (1,) * (values.ndim - 1)))
    order = np.argsort(np.where(np.isnan(values), np.inf, values), axis=0)
    x, w = np.take_along_axis(values, order, 0), np.take_along_axis(weight, order, 0)
    total = w.sum(axis=0)
    w = w / np.where(total > 0, total, 1.0)
    x = np.where(np.isnan(x), 0.0, x)
    below = np.cumsum(w, axis=0)
    distance = (w * np.abs(x - seen)).sum(axis=0)
    spread = (w * x * (2.0 * below - w - 1.0)).sum(axis=0)  # half of E|X - X'|
    return np.where(total > 0, distance - spread, np.nan)


def _phi(z: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * z**2) / sqrt(2.0 * np.pi))


def _cdf(z: Floats) -> Floats:
    flat = [0.5 * (1.0 + erf(x / sqrt(2.0))) for x in np.ravel(z)]
    return np.array(flat, dtype=float).reshape(np.shape(z))


def crps_normal(mean: ArrayLike, sigma: ArrayLike, observed: ArrayLike) -> Floats:
    """CRPS of a normal forecast; mean, sigma > 0 and observed that broadcast -> same shape and unit. Source: crps-1.

    >>> round(float(crps_normal(10.0, 2.0, 13.0)), 6)
    1.988848
    """
    sd = np.asarray(sigma, dtype=float)
    z = (np.asarray(observed, dtype=float) - np.asarray(mean, dtype=float)) / sd
    return np.asarray(sd * (z * (2.0 * _cdf(z) - 1.0) + 2.0 * _phi(z) - 1.0 / sqrt(np.pi)))


def crps_truncated_normal(mean: ArrayLike, sigma: ArrayLike, observed: ArrayLike) -> Floats:
    """CRPS of a normal forecast cut off at zero (a wind speed); mean and sigma before the cut; observed >= 0. Source: crps-2.

    >>> round(float(crps_truncated_normal(2.0, 3.0, 4.0)), 6)
    0.707578
    """
    mu, sd = np.asarray(mean, dtype=float), np.asarray(sigma, dtype=float)
    z = (np.asarray(observed, dtype=float) - mu) / sd
    kept = _cdf(mu / sd)
    inner = z * kept * (2.0 * _cdf(z) + kept - 2.0) + 2.0 * _phi(z) * kept - _cdf(sqrt(2.0) * mu / sd) / sqrt(np.pi)
    return np.asarray(sd * inner / kept**2)


def _neighbours(exceeds: ArrayLike, radius_km: float, spacing_km: tuple[float, float]) -> Floats:
    """exceeds (member, y, x) of 0, 1 or NaN -> (neighbour, member, y, x); NaN outside the grid."""
    field = np.asarray(exceeds, dtype=float)
    if field.ndim != 3:
        raise ValueError("exceeds must have the dimensions (member, latitude, longitude)")
    reach = [int(radius_km / step + 1e-9) for step in spacing_km]
    near = [
        (j, i) for j in range(-reach[0], reach[0] + 1) for i in range(-reach[1], reach[1] + 1)
        if (j * spacing_km[0]) ** 2 + (i * spacing_km[1]) ** 2 <= radius_km**2 * (1.0 + 1e-9)
    ]
    padded = np.pad(field, ((0, 0), (reach[0],) * 2, (reach[1],) * 2), constant_values=np.nan)
    rows, columns = field.shape[1:]
    return np.stack([padded[:, reach[0] + j : reach[0] + j + rows, reach[1] + i : reach[1] + i + columns] for j, i in near])


def _mean_of_known(values: Floats, axis: int | tuple[int, ...]) -> Floats:
    known = ~np.isnan(values)
    count = known.sum(axis=axis)
    return np.where(count > 0, np.where(known, values, 0.0).sum(axis=axis) / np.maximum(count, 1), np.nan)


def neighbourhood_probability(exceeds: ArrayLike, radius_km: float, spacing_km: tuple[float, float]) -> Floats:
    """NEP: mean over members and over the points within radius_km. exceeds (member, y, x) of 0, 1, NaN -> (y, x); NaN where none
    is known.

    spacing_km: distance of grid points (y, x) [km]. Source: neighbour-1.

    >>> float(neighbourhood_probability([[[1.0, 0.0]], [[0.0, 0.0]]], 1.0, (1.0, 1.0))[0, 0])
    0.25
    """
    return _mean_of_known(_neighbours(exceeds, radius_km, spacing_km), (0, 1))


def neighbourhood_maximum_probability(exceeds: ArrayLike, radius_km: float, spacing_km: tuple[float, float]) -> Floats:
    """NMEP: share of members that exceed anywhere within radius_km. Same arguments as `neighbourhood_probability`. Source:
    neighbour-1.

    A member with no exceedance and a missing neighbour counts as none there; one with nothing known is left out.

    >>> float(neighbourhood_maximum_probability([[[0.0, 1.0]], [[0.0, 0.0]]], 1.0, (1.0, 1.0))[0, 0])
    0.5
    """
    near = _neighbours(exceeds, radius_km, spacing_km)
    known = ~np.isnan(near).all(axis=0)
    anywhere = np.where(np.isnan(near), 0.0, near).max(axis=0)
    return _mean_of_known(np.where(known, anywhere, np.nan), 0)


def binomial_at_most(k: int, n: int, chance: float) -> float:
    """Chance that at most k of n independent trials of probability chance succeed.

    >>> binomial_at_most(0, 2, 0.5)
    0.25
    """
    return sum(comb(n, i) * chance**i * (1.0 - chance) ** (n - i) for i in range(k + 1))


def chance_upper_bound(k: int, n: int, confidence: float = 0.95) -> float:
    """k of n members exceed -> the largest true chance that these members do not rule out at this confidence (one-sided).

    says: zero of n members over the limit is no certificate of safety.
    why: a limit on the chance, like 5 %, cannot be shown to be kept by few members.
    example: 0 of 31 leaves 9.2 %; 0 of 50 leaves 5.8 %.
    source: clopper-1, the binomial sum solved by halving. Members are taken as independent: sister runs prove less than that.

    >>> round(100 * chance_upper_bound(0, 31), 1)
    9.2
    """
    if not (0 <= k <= n and n > 0 and 0.0 < confidence < 1.0):
        raise ValueError(f"k = {k}, n = {n}, confidence = {confidence}: needs 0 <= k <= n, n > 0 and a confidence like 0.95")
    if k == n:
        return 1.0
    low, high = k / n, 1.0
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if binomial_at_most(k, n, middle) > 1.0 - confidence else (low, middle)
    return high
