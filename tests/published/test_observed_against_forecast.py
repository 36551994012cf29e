"""The sums behind the comparison, against worked values."""

import math

import numpy as np
import pytest

from watch.instruments.align import Pair, align, lag_from_level
from watch.instruments.filtered import Followed, follow
from watch.instruments.weighing import effective_size, weigh, weigh_gently
from watch.instruments.widths import inflation


@pytest.mark.source("kalman-1")
def test_one_step_of_the_scalar_filter() -> None:
    after = follow(Followed(value=np.array(0.0), variance=np.array(1.0)), 2.0, 0.9, 0.1)
    assert float(after.value) / 2.0 == pytest.approx(0.55), "gain"
    assert (float(after.value), float(after.variance)) == pytest.approx((1.1, 0.495))


@pytest.mark.source("kalman-1")
def test_the_scalar_filter_settles_to_its_steady_gain() -> None:
    belief = Followed(value=np.array(0.0), variance=np.array(1.0))
    for _ in range(500):
        belief = follow(belief, 1.0, 1.0, 0.01)
    gain = float((follow(belief, float(belief.value) + 1.0, 1.0, 0.01).value) - belief.value)
    assert gain == pytest.approx(0.0951249, abs=1e-7)


@pytest.mark.source("kalman-1")
def test_a_missing_reading_changes_nothing_but_the_width() -> None:
    after = follow(Followed(value=np.array([0.3]), variance=np.array([0.2])), np.array([np.nan]), 1.0, 0.05)
    assert (float(after.value[0]), float(after.variance[0])) == pytest.approx((0.3, 0.25))


@pytest.mark.source("alignment-1")
def test_timing_from_one_level_of_the_glass() -> None:
    assert lag_from_level(1008.0, 1010.0, -1.5) == pytest.approx(-4.0 / 3.0)
    assert math.isnan(lag_from_level(1008.0, 1010.0, 0.0))


@pytest.mark.source("alignment-1")
def test_least_squares_gives_the_same_timing_on_a_straight_fall() -> None:
    """Without room for a constant error or a factor, a steady fall 2 hPa too low is one that comes 1 h 20 min early."""
    hours = np.arange(-36, 36) / 6.0
    glass = 101000.0 - 150.0 * hours
    pair = Pair(observed=glass[36:54] - 200.0, forecast=glass[None], before=36, trust=np.ones(18), width=np.full(18, 50.0),
                factor_width=1e-6, bias_width=1e-6, centred=True)
    found = align((pair,), lag_width_h=1e3, most_h=4.0)
    assert float(found.lag_h[0]) == pytest.approx(-4.0 / 3.0, abs=0.01)


@pytest.mark.source("alignment-1")
def test_without_anything_to_see_the_prior_decides() -> None:
    flat = np.full((1, 90), 101000.0)
    pair = Pair(observed=flat[0, 36:54], forecast=flat, before=36, trust=np.ones(18), width=np.full(18, 50.0), factor_width=0.2,
                bias_width=150.0, centred=True)
    found = align((pair,), lag_width_h=1.0, most_h=6.0)
    assert float(found.lag_h[0]) == pytest.approx(0.0, abs=1e-6)
    assert float(found.lag_sd_h[0]) == pytest.approx(1.0, abs=0.01), "as wide as before"


@pytest.mark.source("reweighting-1")
def test_weights_and_effective_size() -> None:
    weights = weigh([-2.0, 0.0, 1.0], 1.5)
    assert weights == pytest.approx([0.185868, 0.452110, 0.362022], abs=1e-6)
    assert effective_size(weights) == pytest.approx(2.7026, abs=1e-4)


@pytest.mark.source("reweighting-1")
def test_an_unknown_distance_counts_neither_for_nor_against() -> None:
    weights = weigh([0.0, np.nan, 2.0], 1.0)
    assert weights[1] == pytest.approx(1.0 / 3.0)
    assert weigh([np.nan, np.nan], 1.0, [0.25, 0.75]) == pytest.approx([0.25, 0.75])


@pytest.mark.source("reweighting-1")
def test_the_width_grows_until_enough_scenarios_count() -> None:
    distance = np.linspace(0.0, 30.0, 40)
    weights, held = weigh_gently(distance, np.full(40, 1 / 40), 16.0)
    assert held
    assert effective_size(weights) == pytest.approx(16.0, abs=1e-6)
    assert np.all(np.diff(weights) < 0), "nearer stays likelier"


@pytest.mark.source("effective-sample-1")
def test_inflation_is_the_length_over_the_effective_length_of_a_long_series() -> None:
    """The variance of the mean of n values with correlation r^k, summed term by term."""
    r, n = math.exp(-1.0 / 6.0), 20_000
    k = np.arange(1, n)
    exact = 1.0 + 2.0 * float(((1.0 - k / n) * r**k).sum())
    assert inflation(1.0) == pytest.approx(exact, rel=2e-3)
