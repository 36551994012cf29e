"""Squalls that no forecast shows: the rate against a year of real gusts, and what must hold of it anywhere."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.bench.bench_squalls import fronts, hourly
from tests.bench.events import buoy
from tests.bench.observed_passages import SMOOTH_STEPS, hourly_peaks, station
from watch.weather.unforecast import COUNTED, NONE, Unforecast
from watch.weather.wind import gust_factor
from watch.when import STEPS_PER_HOUR

FRONT_H, HALF_DAY_H = 3.0, 12


def hours_above(path: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hours with a highest gust and no front near: the hour since 1970, how far the gust stood above its weather's own [m/s], and that
    weather's mean [m/s]: five hours' means, the strongest of an hour either side, as a forecast that is right has it."""
    time, mean, _, _ = station(path)
    peak, half = hourly_peaks(path), SMOOTH_STEPS // 2
    smooth = np.full(len(mean), np.nan)
    smooth[half:-half] = np.lib.stride_tricks.sliding_window_view(mean, 2 * half + 1).mean(axis=1)
    padded = np.pad(smooth, STEPS_PER_HOUR, constant_values=np.nan)
    own = np.lib.stride_tricks.sliding_window_view(padded, 2 * STEPS_PER_HOUR + 1).max(axis=1)
    hour = time.astype("datetime64[s]").astype(np.int64) / 3600.0
    reports = hourly(buoy(path))
    far = np.abs(hour[:, None] - reports.hours[fronts(reports)][None, :]).min(axis=1) > FRONT_H
    on = np.isfinite(peak) & np.isfinite(own) & far
    return hour[on], (peak - own * gust_factor())[on], own[on]


@pytest.mark.source("unforecast-1")
@pytest.mark.parametrize(("above_ms", "printed"), [(3.0, 91), (4.0, 54), (5.0, 34), (6.0, 19), (8.0, 4)])
def test_as_many_half_days_of_a_real_year_have_such_a_gust(real_data: Path, above_ms: float, printed: int) -> None:
    hour, above, _ = hours_above(real_data / "observed" / "station-wind-10min-2020-2021.csv.gz")
    half_day = (hour // HALF_DAY_H).astype(np.int64)
    found = len(np.unique(half_day[above >= above_ms]))
    assert found == printed, "as the source has it"
    _, hours = np.unique(half_day, return_counts=True)
    expected = float((1.0 - np.exp(-COUNTED.rate_per_hour(above_ms) * hours)).sum())
    assert stats.poisson(expected).interval(0.95)[0] <= found <= stats.poisson(expected).interval(0.95)[1]


@pytest.mark.source("unforecast-1")
def test_the_real_rate_hangs_little_on_the_mean_wind(real_data: Path) -> None:
    """From 3 m/s of mean wind on, in bands of two or three: none of them is unlikely (1 in 100) under the one rate of all."""
    _, above, own = hours_above(real_data / "observed" / "station-wind-10min-2020-2021.csv.gz")
    spell = np.concatenate([[True], np.diff(np.flatnonzero(above >= 4.0)) > 6])
    begins = np.flatnonzero(above >= 4.0)[spell]
    for low, high in ((3.0, 5.0), (5.0, 7.0), (7.0, 9.0), (9.0, 11.0), (11.0, 20.0)):
        on = (own >= low) & (own < high)
        expected = float(on.sum() * COUNTED.rate_per_hour(4.0))
        found = int(on[begins].sum())
        assert on.sum() >= 400
        assert stats.poisson(expected).interval(0.99)[0] <= found <= stats.poisson(expected).interval(0.99)[1], (low, found, expected)


@given(st.floats(-20, 60), st.floats(0, 20))
def test_more_in_hand_is_never_more_likely_passed(above: float, more: float) -> None:
    assert COUNTED.step_chance(above + more) <= COUNTED.step_chance(above)
    assert 0.0 < COUNTED.step_chance(above) < 1.0
    assert NONE.step_chance(above) == 0.0


def test_what_is_not_known_counts_as_nothing_in_hand() -> None:
    assert COUNTED.step_chance(np.nan) == COUNTED.step_chance(-5.0) == COUNTED.step_chance(COUNTED.beyond_ms)


def test_it_falls_as_an_exponential_distribution_does() -> None:
    table = Unforecast(per_hour=0.6, beyond_ms=1.0, scale_ms=2.0)
    above = np.array([1.0, 2.5, 7.0])
    assert table.rate_per_hour(above) == pytest.approx(0.6 * stats.expon(loc=1.0, scale=2.0).sf(above))
    assert table.step_chance(above) == pytest.approx(stats.poisson(table.rate_per_hour(above) / 6).sf(0))
