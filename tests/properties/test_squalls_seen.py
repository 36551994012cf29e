"""Squalls that were met, carried into the weathers ahead: gusts only rise, unknown stays unknown, and one is found where one was."""

import numpy as np
import pytest
import xarray as xr

from watch.weather.squalls import observed_squalls
from watch.weather.squalls_seen import AHEAD_STEPS, BACK_STEPS, SquallsSeen, squalls_seen, with_squalls_seen


def scenarios(rng: np.random.Generator, count: int = 40, steps: int = 100) -> xr.Dataset:
    mean = rng.uniform(5.0, 18.0, (count, steps))
    gust = mean * rng.uniform(1.1, 1.6, (count, steps))
    mean[:, -5:], gust[:, -5:] = np.nan, np.nan
    return xr.Dataset({"mean_ms": (("scenario", "time"), mean), "gust_ms": (("scenario", "time"), gust)})


@pytest.mark.parametrize("count", [1, 2, 5])
def test_gusts_are_only_ever_raised_for_so_long_and_in_so_many(count: int) -> None:
    before = scenarios(np.random.default_rng(count))
    kept = before.copy(deep=True)
    after = with_squalls_seen(before, SquallsSeen(count=count, rise_ms=12.0))
    xr.testing.assert_identical(before, kept)
    old, new = before["gust_ms"].values, after["gust_ms"].values
    np.testing.assert_array_equal(np.isnan(old), np.isnan(new))
    assert (new[:, :-5] >= old[:, :-5]).all()
    np.testing.assert_array_equal(new[:, AHEAD_STEPS:], old[:, AHEAD_STEPS:])
    raised = (new[:, :AHEAD_STEPS] > old[:, :AHEAD_STEPS]).any(axis=1)
    assert raised.mean() == pytest.approx(0.25 if count == 1 else 0.5, abs=0.05)


def test_nothing_seen_changes_nothing() -> None:
    before = scenarios(np.random.default_rng(0))
    assert with_squalls_seen(before, squalls_seen(np.full(60, 9.0))) is before


@pytest.mark.parametrize("seed", range(20))
def test_squalls_of_gusts_are_those_that_the_finder_for_wind_would_call(seed: int) -> None:
    """One squall of random height in a steady wind, found by both or by neither (source squall-1)."""
    rng = np.random.default_rng(seed)
    gust = np.full(60, 10.0)
    gust[30:33] += np.array([0.5, 1.0, 0.6]) * rng.uniform(4.0, 16.0)
    time = np.datetime64("2026-05-14T00:00", "s") + np.arange(60) * np.timedelta64(600, "s")
    found = observed_squalls(time, gust, 40.0)
    seen = squalls_seen(gust)
    assert seen.count == len(found)
    assert seen.rise_ms == pytest.approx(found[0].rise_ms if found else 0.0)


def test_old_ones_are_forgotten_and_missing_readings_are_no_squall() -> None:
    gust = np.full(BACK_STEPS + 40, 10.0)
    gust[20:23] = 25.0
    assert squalls_seen(gust).count == 0
    assert squalls_seen(gust[:60]).count == 1
    holed = np.full(60, 10.0)
    holed[20:30] = np.nan
    assert squalls_seen(holed) == SquallsSeen(count=0, rise_ms=0.0)
    assert squalls_seen([]) == SquallsSeen(count=0, rise_ms=0.0)
