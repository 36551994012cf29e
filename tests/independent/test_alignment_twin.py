"""The alignment against a general least-squares library, and a slow twin of the median."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from watch.instruments.align import Pair, align
from watch.instruments.expected import running_median
from watch.units import Floats

STEPS, BEFORE = 72, 36


def _pair(seed: int, scale: float, level: float, centred: bool) -> tuple[Pair, float]:
    rng = np.random.default_rng(seed)
    hours = (np.arange(STEPS + 2 * BEFORE) - BEFORE) / 6.0
    front = float(rng.uniform(5.0, 9.0))
    forecast = level + scale / (1.0 + np.exp(-(hours - front) / 1.5))
    late = float(rng.uniform(-2.5, 2.5))
    truth = level + 1.15 * scale / (1.0 + np.exp(-(hours - late - front) / 1.5))
    observed = (truth + 0.05 * scale * rng.standard_normal(hours.size))[BEFORE:-BEFORE]
    observed[rng.random(STEPS) < 0.1] = np.nan
    pair = Pair(observed=observed, forecast=forecast[None], before=BEFORE, trust=np.exp((np.arange(STEPS) - STEPS) / 36.0),
                width=np.full(STEPS, abs(0.2 * scale)), factor_width=0.2, bias_width=abs(0.1 * scale), centred=centred)
    return pair, late


def _residuals(x: Floats, pair: Pair, width_h: float) -> Floats:
    """The published sum, written out: x = lag [h], departure of the factor, bias."""
    at = BEFORE + np.arange(STEPS) - x[0] * 6.0
    shifted = np.interp(at, np.arange(pair.forecast.shape[1]), pair.forecast[0])
    known = np.isfinite(pair.observed)
    own = pair.forecast[0, BEFORE : BEFORE + STEPS]
    middle = np.average(own, weights=np.where(known, pair.trust, 0.0)) if pair.centred else 0.0
    left = pair.observed - (shifted + x[1] * (shifted - middle) + x[2])
    return np.concatenate([
        (np.sqrt(pair.trust) * left / pair.width)[known],
        [x[0] / width_h, x[1] / pair.factor_width, x[2] / pair.bias_width],
    ])  # fmt: skip


@pytest.mark.source("alignment-twin-1")
@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("scale", "level", "centred"), [(12.0, 5.0, False), (-1500.0, 101500.0, True)])
def test_the_least_is_found_where_the_library_finds_it(seed: int, scale: float, level: float, centred: bool) -> None:
    pair, _ = _pair(seed, scale, level, centred)
    found = align((pair,), lag_width_h=1.5, most_h=6.0)
    tries = [least_squares(_residuals, [start, 0.0, 0.0], x_scale=[1.0, 0.2, abs(0.1 * scale)], args=(pair, 1.5))
             for start in (-3.0, -1.0, 0.0, 1.0, 3.0)]
    best = min(tries, key=lambda t: float(t.cost))
    assert float(found.lag_h[0]) == pytest.approx(float(best.x[0]), abs=0.03)
    tried = round(float(found.lag_h[0]) * 6.0) / 6.0  # the misfit is told for the lag that was tried
    rest = least_squares(lambda x: _residuals(np.array([tried, *x]), pair, 1.5), [0.0, 0.0], x_scale=[0.2, abs(0.1 * scale)])
    assert float(found.misfit[0]) + (tried / 1.5) ** 2 == pytest.approx(2.0 * float(rest.cost), rel=1e-4)


@pytest.mark.source("alignment-twin-1")
def test_many_forecasts_at_once_are_each_by_itself() -> None:
    one, two = _pair(1, 12.0, 5.0, False)[0], _pair(2, 12.0, 5.0, False)[0]
    both = Pair(observed=one.observed, forecast=np.vstack([one.forecast, two.forecast]), before=BEFORE, trust=one.trust, width=one.width,
                factor_width=0.2, bias_width=1.2)
    alone = Pair(observed=one.observed, forecast=two.forecast, before=BEFORE, trust=one.trust, width=one.width, factor_width=0.2,
                 bias_width=1.2)
    together, apart = (align((pair,), lag_width_h=1.5, most_h=6.0) for pair in (both, alone))
    assert together.lag_h[1] == pytest.approx(float(apart.lag_h[0]), abs=1e-9)


@pytest.mark.source("alignment-twin-1")
def test_the_running_median_against_the_plain_one() -> None:
    rng = np.random.default_rng(5)
    values = rng.standard_normal(40)
    values[[3, 4, 20]] = np.nan
    slow = [np.nan if np.isnan(values[i]) else np.nanmedian(values[i - 2 : i + 3]) for i in range(2, 38)]
    assert running_median(values, 5)[2:38] == pytest.approx(slow, nan_ok=True)
