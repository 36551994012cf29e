"""How gusts scatter from one ten minutes to the next: against SciPy, against plain counting, against a year of real gusts."""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.bench.observed_passages import hourly_peaks, station
from watch.weather.gust_scatter import SCATTER, gust_scatter, hourly_scatter, peak_deviate, scattered
from watch.weather.wind import gust_factor

TIME = np.datetime64("2026-05-14T00:00", "s") + np.arange(600) * np.timedelta64(600, "s")
COUNT = 40


@pytest.mark.source("peak-factor-1")
def test_the_deviates_are_those_of_a_double_exponential() -> None:
    chance = np.array([0.001, 0.05, 0.37, 0.5, 0.9, 0.999])
    plain = stats.gumbel_r(scale=np.sqrt(6.0) / np.pi, loc=-np.euler_gamma * np.sqrt(6.0) / np.pi)
    assert peak_deviate(chance) == pytest.approx(plain.ppf(chance), rel=1e-9)
    assert (plain.mean(), plain.std()) == pytest.approx((0.0, 1.0))


@pytest.mark.source("peak-factor-1")
@pytest.mark.parametrize("gusts", [40, 150])
def test_chance_alone_makes_somewhat_less_than_what_was_measured(gusts: int) -> None:
    """The published deviation of the highest, against drawing it many times; over its published mean it is below what was measured."""
    highest = np.random.default_rng(7).standard_normal((20_000, gusts)).max(axis=1)
    root = np.sqrt(2.0 * np.log(gusts))
    mean, deviation = root + 0.5772 / root, np.pi / np.sqrt(6.0) / root
    assert highest.std() == pytest.approx(deviation, rel=0.03)
    assert 0.6 * SCATTER <= deviation / mean <= SCATTER


def test_at_every_step_the_scenarios_are_spread_evenly_over_the_chances() -> None:
    deviate = (gust_scatter(TIME, COUNT) - 1.0) / SCATTER
    spread = stats.gumbel_r(scale=np.sqrt(6.0) / np.pi, loc=-np.euler_gamma * np.sqrt(6.0) / np.pi)
    part = np.floor(np.sort(spread.cdf(deviate), axis=0) * COUNT)
    assert np.array_equal(part, np.repeat(np.arange(COUNT)[:, None], len(TIME), axis=1))


def test_from_step_to_step_and_from_scenario_to_scenario_there_is_no_memory() -> None:
    found = gust_scatter(TIME, COUNT) - 1.0
    assert found.std() == pytest.approx(SCATTER, rel=0.05)
    for shift in (1, 2, 6, 144):
        assert abs(np.corrcoef(found[:, shift:].ravel(), found[:, :-shift].ravel())[0, 1]) < 0.03
    assert abs(np.corrcoef(found[1:].ravel(), found[:-1].ravel())[0, 1] + 1.0 / (COUNT - 1)) < 0.03  # even spread alone makes that little


def test_the_same_ten_minutes_look_the_same_from_every_pass_and_every_place() -> None:
    later = gust_scatter(TIME[100:], COUNT)
    assert np.array_equal(later, gust_scatter(TIME, COUNT)[:, 100:])
    hours = TIME[::6]
    plain = np.array([[gust_scatter(TIME, COUNT)[k, 6 * h : 6 * h + 6].max() for k in range(COUNT)] for h in range(len(hours) - 1)])
    assert np.array_equal(hourly_scatter(hours, COUNT), plain)
    assert np.array_equal(gust_scatter(TIME, 1), np.ones((1, len(TIME)))), "one weather alone stays as it is"


def test_missing_stays_missing_and_convection_does_not_scatter() -> None:
    mean, gust = np.array([np.nan, 10.0, 10.0, 10.0]), np.array([15.0, np.nan, 12.0, 20.0])
    found = scattered(mean, gust, np.full(4, 1.5))
    assert np.isnan(found[:2]).all()
    assert found[2:] == pytest.approx([13.0, 20.0 + 0.5 * 10.0 * (gust_factor() - 1.0)])
    assert scattered(mean, gust, np.ones(4))[2:] == pytest.approx([12.0, 20.0])


@pytest.mark.source("gust-scatter-1")
@pytest.mark.parametrize(("least_ms", "apart_h"), [(10.0, 1), (10.0, 3), (10.0, 6), (12.0, 1)])
def test_the_highest_gusts_of_real_hours_scatter_as_ours_do(real_data: Path, least_ms: float, apart_h: int) -> None:
    """Height of the hour's highest gust above three hours' mean wind, one hour against another: real ones, and six steps of ours each."""
    path = real_data / "observed" / "station-wind-10min-2020-2021.csv.gz"
    _, mean, _, _ = station(path)
    peak = hourly_peaks(path)
    wide = np.full(len(mean), np.nan)
    wide[9:-9] = np.lib.stride_tricks.sliding_window_view(mean, 19).mean(axis=1)
    at = np.flatnonzero(np.isfinite(peak) & (wide >= least_ms))
    height = np.log(np.maximum(peak[at] / wide[at] - 1.0, 0.02))
    near = (at[apart_h:] - at[:-apart_h]) <= 6 * apart_h + 4
    real = float((height[apart_h:] - height[:-apart_h])[near].std() / np.sqrt(2.0))
    ours = float(np.log(hourly_scatter(TIME[::6], COUNT)).std())
    assert near.sum() >= 150
    assert 0.8 * ours <= real <= 1.5 * ours, f"{real:.3f} beside {ours:.3f}: ours rather too little, as squalls are not in it"
    expected = 1.0 + (gust_factor() - 1.0) * float(hourly_scatter(TIME[::6], COUNT).mean())
    assert float(np.mean(peak[at] / wide[at])) == pytest.approx(expected, abs=0.015), "the published factor and the scatter together"
