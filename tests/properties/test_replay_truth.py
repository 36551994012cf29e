"""What happened, from later runs, from analyses in a row, and from a series: each step where it should come from, and nothing made up."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.stories.replays import NOON, hours_on, series, steady, truth
from watch.forecast.contract import Forecast, Name
from watch.service.replay.joined import GridsDifferError, joined
from watch.service.replay.passages import Passage
from watch.service.replay.truth import MOVES_KN, Series, series_forecast, truth_along, truth_of
from watch.units import kn_to_ms, ms_to_kn
from watch.weather import sample
from watch.when import to_np


def run_of(mean_kn: float, after_h: float, hours: float, **more: float) -> Forecast:
    """A run with the same wind throughout, from so long after noon; its wind tells whose it is."""
    at = hours_on(NOON, after_h)
    return series_forecast(series(steady(mean_kn, 1.3 * mean_kn), hours, start=at, step_min=180, **more), at)


def kn_at(forecast: Forecast, hours: list[float]) -> list[float]:
    times = np.array([to_np(hours_on(NOON, h)) for h in hours])
    u, v = sample.plain_wind(forecast, times, np.full(len(hours), 36.0), np.full(len(hours), -50.0))
    return np.hypot(ms_to_kn(u[0]), ms_to_kn(v[0])).round(3).tolist()


def test_each_time_is_from_the_newest_run_that_has_it() -> None:
    whole = joined([run_of(20.0, 6.0, 24.0), run_of(10.0, 0.0, 48.0)])  # in any order
    assert whole.run == NOON
    assert kn_at(whole, [0.0, 3.0, 6.0, 12.0, 30.0]) == [10.0, 10.0, 20.0, 20.0, 20.0]
    assert np.isnan(kn_at(whole, [36.0])).all()  # the newer run ends before: what it no longer says is not known


def test_analyses_of_one_time_each_become_a_row() -> None:
    every = [run_of(kn, h, 3.0) for h, kn in ((0.0, 10.0), (6.0, 16.0), (12.0, 22.0))]
    at_once = [replace(f, fields={n: a.isel(time=[0]) for n, a in f.fields.items()}) for f in every]
    whole = joined(at_once)
    assert whole.fields[Name.U10_MS].sizes["time"] == 3
    assert kn_at(whole, [0.0, 3.0, 6.0, 9.0, 12.0]) == [10.0, 13.0, 16.0, 19.0, 22.0]


def test_a_field_that_begins_later_keeps_the_older_run_until_then() -> None:
    """As gusts over the hours before do: the newer run has none at its own base time."""
    older, newer = run_of(10.0, 0.0, 24.0), run_of(20.0, 6.0, 24.0)
    newer = replace(newer, fields={n: a.isel(time=slice(1, None)) if n is Name.GUST_MS else a for n, a in newer.fields.items()})
    gust = joined([older, newer]).fields[Name.GUST_MS]
    at = [(t - to_np(NOON)) / np.timedelta64(3600, "s") for t in gust["time"].values]
    assert at[:5] == [0.0, 3.0, 6.0, 9.0, 12.0]
    assert ms_to_kn(gust.values[0, :5, 0, 0]).round(1).tolist() == [13.0, 13.0, 13.0, 26.0, 26.0]


def test_one_run_is_itself() -> None:
    one = run_of(10.0, 0.0, 24.0)
    assert kn_at(joined([one]), [0.0, 24.0]) == kn_at(one, [0.0, 24.0])


def test_another_grid_is_refused_with_both_names() -> None:
    older, newer = run_of(10.0, 0.0, 24.0), run_of(20.0, 6.0, 24.0)
    moved = {n: a.assign_coords(latitude=a["latitude"].values + 1.0) for n, a in newer.fields.items()}
    with pytest.raises(GridsDifferError, match=r"u10_ms is on another grid in made up 2026-05-16 15:00Z and made up 2026-05-16 21:00Z"):
        joined([older, replace(newer, fields=moved)])


def test_the_truth_along_a_way_is_what_the_files_say_there() -> None:
    happens = truth(steady(14.0, 20.0), 12.0)
    found = truth_along([run_of(14.0, 0.0, 24.0)], happens.way, "files")
    np.testing.assert_allclose(ms_to_kn(found.mean_ms), 14.0, rtol=1e-5)
    np.testing.assert_allclose(ms_to_kn(found.gust_ms), 1.3 * 14.0, rtol=1e-5)
    assert found.steps == happens.steps
    beyond = truth_along([run_of(14.0, 0.0, 6.0)], happens.way, "files")
    assert beyond.known_steps() == 36
    assert np.isnan(beyond.mean_ms[36:]).all()  # past the end nothing is known, and nothing is held


def test_a_series_step_is_its_mean_and_its_highest_gust() -> None:
    given = series([(0.0, 10.0, 14.0), (6.0, 22.0, 30.0)], 6.0)
    made = truth_of(given, "by hand", course_deg=90.0, boat_kn=5.0)
    np.testing.assert_allclose(made.mean_ms, given.mean_ms[1:])
    assert (made.gust_ms >= made.mean_ms).all()
    hole = replace(given, gust_ms=np.where(np.arange(37) == 10, np.nan, given.gust_ms))
    assert np.isnan(truth_of(hole, "hole", course_deg=90.0, boat_kn=5.0).gust_ms[9])  # no gust is not a gust as low as the mean


def test_a_series_that_is_not_by_ten_minutes_is_refused() -> None:
    with pytest.raises(ValueError, match="an instant every ten minutes"):
        truth_of(series(steady(10.0, 12.0), 6.0, step_min=180), "coarse")


def test_the_weather_of_a_series_moves_east() -> None:
    """What is at the track now was a hundred miles to the west four hours ago (at 25 knots), and is along one meridian alike."""
    rising = series([(0.0, 10.0, 13.0), (48.0, 34.0, 44.0)], 48.0, step_min=180)
    made = series_forecast(rising, NOON)
    west = 4.0 * MOVES_KN / 60.0 / np.cos(np.radians(36.0))
    times = np.array([to_np(NOON + timedelta(hours=h)) for h in (8.0, 12.0, 12.0)])
    u, v = sample.plain_wind(made, times, np.array([36.0, 36.0, 37.5]), np.array([-50.0 - west, -50.0, -50.0]))
    speed = ms_to_kn(np.hypot(u[0], v[0]))
    assert speed[1] == pytest.approx(16.0, abs=0.01)
    assert speed[0] == pytest.approx(16.0, abs=0.05)
    assert speed[2] == pytest.approx(speed[1])


@pytest.mark.parametrize(("after_h", "delay_h", "step"), [(0.0, 5.0, 30), (-12.0, 5.0, 0), (0.0, 0.0, 0), (3.0, 0.05, 19), (-5.0, 5.0, 0)])
def test_a_run_is_aboard_from_the_first_step_after_its_delay(after_h: float, delay_h: float, step: int) -> None:
    passage = Passage(truth=truth(steady(10.0, 13.0), 24.0), forecasts=[run_of(10.0, after_h, 24.0)], delay_h=delay_h)
    assert [at for at, _ in passage.arrivals()] == [step]


def test_knots_and_metres_are_not_mixed_up() -> None:
    made: Series = series(steady(20.0, 26.0), 1.0)
    assert float(made.mean_ms[0]) == pytest.approx(float(kn_to_ms(20.0)))
