"""Observed series laid over forecast series: by how many hours, by what factor, and how well, by least squares with priors.

For each forecast series f the sum over the steps

    sum g (y - a f(t - lag) - b)^2 / s^2 + lag^2 / s_lag^2 + (a - 1)^2 / s_a^2 + b^2 / s_b^2

is made least (source alignment-1); wind and glass have an a and b of their own and one lag. Without the priors the lag is not
determined where the forecast is flat. For a given lag the rest is linear and solved exactly; lags are tried every ten minutes.
"""

from dataclasses import dataclass

import numpy as np

from watch.units import Floats
from watch.when import STEPS_PER_HOUR

KNOWN_SHARE = 0.7  # of the observed steps, that a shifted forecast must cover (judgement)
BOTH_WAYS_H = 2.0  # early and late must both be possible so far, else a run that has just begun could only be "early" (judgement)


@dataclass(frozen=True, kw_only=True)
class Pair:
    """One quantity: observed (n) on the last n steps before `ahead` steps of forecast; forecast (S, before + n + ahead).

    trust (n): weight of each step [1], 0 or more. width (n): standard deviation with the inflation for correlated readings in it.
    factor_width [1], bias_width [unit of the quantity]: priors. centred: the factor works on the departure from the forecast's mean.
    """

    observed: Floats
    forecast: Floats
    before: int
    trust: Floats
    width: Floats
    factor_width: float
    bias_width: float
    centred: bool = False


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """For each of S forecast series: lag [h] (late positive) and its standard deviation; NaN where it cannot be compared.

    misfit: the least sum without the priors of the lag; steps: the sum of the trust of the steps compared.
    """

    lag_h: Floats
    lag_sd_h: Floats
    misfit: Floats
    steps: float


def lag_from_level(observed: float, forecast: float, forecast_slope_per_h: float) -> float:
    """One reading against a sloping forecast -> hours late (negative: early). NaN where the forecast is flat. Source: alignment-1.

    >>> round(lag_from_level(1008.0, 1010.0, -1.5), 2)
    -1.33
    """
    return -(observed - forecast) / forecast_slope_per_h if forecast_slope_per_h != 0.0 else float("nan")


def lags_h(most_h: float) -> Floats:
    """The lags that are tried [h].

    >>> lags_h(1.0).size
    13
    """
    most = round(most_h * STEPS_PER_HOUR)
    return np.arange(-most, most + 1) / STEPS_PER_HOUR


def align(pairs: tuple[Pair, ...], *, lag_width_h: float, most_h: float) -> Alignment:
    """Wind and glass, or either -> the alignment of each of the S series. lag_width_h: prior width; most_h: largest lag tried."""
    lags = lags_h(most_h)
    costs = [misfits(pair, lags) for pair in pairs]
    both = np.sum(costs, axis=0)
    total = both + (lags / lag_width_h) ** 2
    possible = np.isfinite(total[:, np.abs(lags) <= min(BOTH_WAYS_H, most_h) + 1e-9]).all(axis=1)
    filled = np.where(possible[:, None], total, 0.0)
    best = np.argmin(filled, axis=1)
    rows = np.arange(len(best))
    lag = lags[best] + _between(filled, best) / STEPS_PER_HOUR
    likely = np.exp(-0.5 * (filled - filled[rows, best][:, None]))
    spread = np.sqrt(((lags[None, :] - lag[:, None]) ** 2 * likely).sum(axis=1) / likely.sum(axis=1))
    return Alignment(
        lag_h=np.where(possible, lag, np.nan), lag_sd_h=np.where(possible, spread, np.nan),
        misfit=np.where(possible, both[rows, best], np.nan), steps=float(sum(_trust(pair).sum() for pair in pairs)),
    )  # fmt: skip


def misfits(pair: Pair, lags: Floats) -> Floats:
    """(S, L): the least sum over factor and bias for each series and lag, without the prior of the lag; infinite where the shifted
    forecast is not known for enough of the steps. Where it is known for most of them, the sum stands for all of them."""
    shifted = shifted_by(pair.forecast, pair.before, len(pair.observed), lags)
    trust = _trust(pair)
    known = np.isfinite(shifted)
    covered = known @ trust
    x = np.where(known, shifted, 0.0)
    e = np.where(known, np.where(np.isfinite(pair.observed), pair.observed, 0.0) - x, 0.0)
    if pair.centred:
        x = x - _middle(pair, trust)[:, None, None]
    x = np.where(known, x, 0.0)
    weight = trust / pair.width**2
    sxx, sx, s1 = (x * x) @ weight, x @ weight, known @ weight
    sxe, se, see = (x * e) @ weight, e @ weight, (e * e) @ weight
    a, c = sxx + pair.factor_width**-2, s1 + pair.bias_width**-2
    determinant = a * c - sx * sx
    factor, bias = (c * sxe - sx * se) / determinant, (a * se - sx * sxe) / determinant
    least = np.maximum(see - factor * sxe - bias * se, 0.0)
    enough = covered >= KNOWN_SHARE * trust.sum()
    if not trust.sum() > 0:
        return np.zeros(least.shape)
    return np.where(enough, least * trust.sum() / np.where(enough, covered, 1.0), np.inf)


def shifted_by(forecast: Floats, before: int, steps: int, lags: Floats) -> Floats:
    """(S, N) forecast whose observed steps begin at `before` -> f(t - lag) on the observed steps (S, L, steps); lags in whole steps
    [h]; NaN off the ends."""
    index = before + np.arange(steps)[None, :] - np.round(lags * STEPS_PER_HOUR).astype(np.int64)[:, None]
    inside = (index >= 0) & (index < forecast.shape[1])
    found: Floats = np.where(inside, forecast[:, np.clip(index, 0, forecast.shape[1] - 1)], np.nan)
    return found


def _trust(pair: Pair) -> Floats:
    return np.where(np.isfinite(pair.observed), pair.trust, 0.0)


def _middle(pair: Pair, trust: Floats) -> Floats:
    """(S): the forecast's mean over its own steps of the window."""
    own = pair.forecast[:, pair.before : pair.before + len(pair.observed)]
    weight = np.where(np.isfinite(own), trust, 0.0)
    total = weight.sum(axis=1)
    mean = np.where(np.isfinite(own), own * weight, 0.0).sum(axis=1) / np.where(total > 0, total, 1.0)
    rough = np.nanmean(np.where(np.isfinite(pair.forecast), pair.forecast, np.nan)) if np.isfinite(pair.forecast).any() else 0.0
    return np.where(total > 0, mean, rough)


def _between(cost: Floats, best: np.ndarray) -> Floats:
    """(S): where between the lags the least is, in steps from the best one: the lowest point of a parabola through three."""
    rows, last = np.arange(len(best)), cost.shape[1] - 1
    left, right = cost[rows, np.maximum(best - 1, 0)], cost[rows, np.minimum(best + 1, last)]
    inside = (best > 0) & (best < last) & np.isfinite(left) & np.isfinite(right)
    left, right = np.where(inside, left, 1.0), np.where(inside, right, 1.0)
    curve = left - 2.0 * cost[rows, best] + right
    bent = inside & (curve > 1e-12)
    return np.where(bent, 0.5 * (left - right) / np.where(bent, curve, 1.0), 0.0)
