"""What must hold whatever the weather: missing stays missing, the south mirrors the north, later is later, more is never less."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from watch.weather.fronts import LEAST_CONFIDENCE, FrontPassage, find_passages
from watch.weather.glass import changes_hpa
from watch.weather.scores import Table, chance_upper_bound, crps_ensemble
from watch.weather.sea import carter, sea_from_wind
from watch.weather.series import WeatherSeries
from watch.weather.squalls import SquallInputs, observed_squalls, squall_outlook
from watch.weather.wind import at_height, fill_gust_ms

START = np.datetime64("2026-05-14T00:00", "s")
HOURS = 48


def number(low: float, high: float, missing: bool = False) -> st.SearchStrategy[float]:
    some = st.floats(low, high, allow_nan=False)
    return some | st.just(float("nan")) if missing else some


def row(low: float, high: float, missing: bool = False) -> st.SearchStrategy[np.ndarray]:
    return hnp.arrays(float, HOURS, elements=number(low, high, missing))


@st.composite
def weather(draw: st.DrawFn, missing: bool = False) -> WeatherSeries:
    """Two random winds with a shift between them, noise on everything, holes if asked for."""
    shift, seed = draw(st.integers(6, HOURS - 6)), draw(st.integers(0, 2**31))
    random = np.random.default_rng(seed)
    before, after = draw(st.tuples(number(0, 360), number(0, 40))), draw(st.tuples(number(0, 360), number(0, 40)))
    late = np.arange(HOURS) >= shift
    from_deg = (np.where(late, after[0], before[0]) + random.normal(0, 5, HOURS)) % 360.0
    wind = np.abs(np.where(late, after[1], before[1]) + random.normal(0, 1, HOURS))
    glass = 1010.0 + draw(number(0, 2)) * np.abs(np.arange(HOURS) - shift) + random.normal(0, 0.2, HOURS)
    air = 15.0 + np.where(late, draw(number(-10, 10)), 0.0) + random.normal(0, 0.3, HOURS)
    holes = random.uniform(size=(5, HOURS)) < (draw(number(0, 0.6)) if missing else 0.0)
    whole = (wind, from_deg, glass, air, air - 3.0)
    wind, from_deg, glass, air, dew = (np.where(h, np.nan, x) for h, x in zip(holes, whole, strict=True))
    return WeatherSeries(
        time=START + np.arange(HOURS) * np.timedelta64(3600, "s"), wind_kn=wind, from_deg=from_deg, gust_kn=wind * 1.3,
        pressure_hpa=glass, temperature_c=air, dew_point_c=dew,
    )


def gist(passages: list[FrontPassage]) -> list[tuple[Any, ...]]:
    return [(p.time, p.kind, round(p.confidence, 6), round(abs(p.turn_deg), 6), p.peak_gust_kn) for p in passages]


@settings(deadline=None, max_examples=40)
@given(weather())
def test_the_south_is_the_north_in_a_mirror(series: WeatherSeries) -> None:
    mirrored = replace(series, from_deg=(180.0 - series.from_deg) % 360.0)
    north, south = find_passages(series, 40.0), find_passages(mirrored, -40.0)
    assert gist(north) == gist(south)
    assert [p.turn_deg for p in south] == pytest.approx([-p.turn_deg for p in north])


@settings(deadline=None, max_examples=40)
@given(weather(), st.integers(-5, 5))
def test_weather_a_day_later_passes_a_day_later(series: WeatherSeries, days: int) -> None:
    moved = replace(series, time=series.time + np.timedelta64(days * 86400, "s"))
    here, there = find_passages(series, 40.0, -30.0), find_passages(moved, 40.0, -30.0)
    assert [p.time.timestamp() + days * 86400 for p in here] == [p.time.timestamp() for p in there]
    assert [p.confidence for p in here] == pytest.approx([p.confidence for p in there])


@settings(deadline=None, max_examples=40)
@given(weather(), number(0, 360))
def test_turning_the_compass_changes_nothing_but_directions(series: WeatherSeries, angle: float) -> None:
    turned = replace(series, from_deg=(series.from_deg + angle) % 360.0)
    a, b = find_passages(series, 40.0), find_passages(turned, 40.0)
    assert [p.time for p in a] == [p.time for p in b]
    assert [p.turn_deg for p in a] == pytest.approx([p.turn_deg for p in b], abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(weather(missing=True))
def test_holes_break_nothing_and_every_passage_makes_sense(series: WeatherSeries) -> None:
    for p in find_passages(series, 40.0, -30.0):
        assert p.earliest <= p.time <= p.latest
        assert LEAST_CONFIDENCE <= p.confidence <= 1.0
        assert -180.0 <= p.turn_deg < 180.0
        assert p.peak_gust_kn >= p.peak_mean_kn
        assert p.reasons


@settings(deadline=None, max_examples=30)
@given(weather())
def test_no_wind_no_fronts(series: WeatherSeries) -> None:
    assert find_passages(replace(series, wind_kn=np.full(HOURS, np.nan)), 40.0) == []
    light = replace(series, wind_kn=series.wind_kn * 0.05, gust_kn=None)
    assert find_passages(light, 40.0) == [], "the same shifts in light airs"


@given(row(0, 40, missing=True), row(0, 360))
@settings(deadline=None, max_examples=40)
def test_the_sea_is_unknown_just_where_the_wind_is(wind: np.ndarray, from_deg: np.ndarray) -> None:
    time = START + np.arange(HOURS) * np.timedelta64(3600, "s")
    sea = sea_from_wind(time, wind, from_deg)
    for part in (sea.height_m, sea.wind_sea_m, sea.swell_m, sea.wind_sea_period_s):
        assert (np.isnan(part) == np.isnan(wind)).all()
    known = ~np.isnan(wind)
    np.testing.assert_allclose(sea.height_m[known] ** 2, (sea.wind_sea_m**2 + sea.swell_m**2)[known], atol=1e-9)


@given(row(0, 40), row(0, 360), row(0, 10))
@settings(deadline=None, max_examples=40)
def test_more_wind_is_never_less_sea(wind: np.ndarray, from_deg: np.ndarray, more: np.ndarray) -> None:
    steady = np.full(HOURS, from_deg[0])
    time = START + np.arange(HOURS) * np.timedelta64(3600, "s")
    less, greater = sea_from_wind(time, wind, steady), sea_from_wind(time, wind + more, steady)
    assert (greater.height_m >= less.height_m * 0.98 - 1e-9).all(), "but for what is left to die as swell a little sooner"
    assert (carter(wind + more, 500.0, 12.0).height_m >= carter(wind, 500.0, 12.0).height_m - 1e-9).all()


@given(st.integers(2, 5), st.integers(0, 1000))
@settings(deadline=None, max_examples=20)
def test_scenarios_are_each_on_their_own(count: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    wind, from_deg = random.uniform(0, 30, (count, HOURS)), random.uniform(0, 360, (count, HOURS))
    wind[random.uniform(size=wind.shape) < 0.1] = np.nan
    time = START + np.arange(HOURS) * np.timedelta64(3600, "s")
    together = sea_from_wind(time, wind, from_deg)
    for i in range(count):
        np.testing.assert_allclose(together.height_m[i], sea_from_wind(time, wind[i], from_deg[i]).height_m, rtol=1e-12)


FIELDS = {
    "wind_ms": (3, 30), "gust_ms": (0, 40), "cape_jkg": (0, 4000), "rain_mmh": (0, 20),
    **{f"{part}{level}_ms": (-most, most) for part in "uv" for level, most in ((10, 30), (925, 40), (850, 40), (500, 60))},
}


@st.composite
def sky(draw: st.DrawFn, missing: bool) -> dict[str, Any]:
    return {name: draw(number(*bounds, missing=missing)) for name, bounds in FIELDS.items()}


@given(sky(missing=True), st.booleans(), st.booleans())
def test_a_squall_outlook_is_a_likelihood_or_unknown(has: dict[str, Any], counted: bool, front: bool) -> None:
    out = squall_outlook(SquallInputs(**has, gust_has_convection=counted, cold_front=front))
    likelihood = float(out.likelihood)
    assert np.isnan(likelihood) or 0.0 <= likelihood <= 1.0
    assert np.isnan(has["wind_ms"]) == np.isnan(out.gust_ms)
    if not np.isnan(has["wind_ms"]):
        assert float(out.gust_ms) >= max(11.0, has["wind_ms"] + 8.0)
    if np.isnan([has["cape_jkg"], has["gust_ms"], has["rain_mmh"]]).all() and not front:
        assert np.isnan(likelihood), "nothing to tell from is never 'not expected'"
    assert out.words_at(())


@given(sky(missing=False), number(0, 2000), number(0, 10))
def test_more_cape_rain_or_a_front_never_makes_squalls_less_likely(has: dict[str, Any], cape: float, rain: float) -> None:
    base = float(squall_outlook(SquallInputs(**has, gust_has_convection=False)).likelihood)
    for change in ({"cape_jkg": has["cape_jkg"] + cape}, {"rain_mmh": has["rain_mmh"] + rain}, {"cold_front": True}):
        assert float(squall_outlook(SquallInputs(**{**has, **change}, gust_has_convection=False)).likelihood) >= base - 1e-12


@given(row(0, 40, missing=True))
def test_observed_squalls_are_squalls(wind: np.ndarray) -> None:
    time = START + np.arange(HOURS) * np.timedelta64(600, "s")
    for squall in observed_squalls(time, wind):
        assert squall.rise_ms >= 8.0
        assert squall.peak_ms >= 11.0
        assert squall.start < squall.peak_time


@given(row(0, 60, missing=True), row(0, 80, missing=True), number(1, 100))
def test_gusts_and_heights(mean: np.ndarray, gust: np.ndarray, height_m: float) -> None:
    made = fill_gust_ms(mean, gust)
    known = ~np.isnan(mean)
    assert (made.gust_ms[known] >= mean[known]).all()
    assert (np.isnan(made.gust_ms) == (np.isnan(mean) & np.isnan(gust))).all()
    aloft = at_height(mean, height_m)
    assert (np.isnan(aloft) == np.isnan(mean)).all()
    assert ((aloft[known] >= mean[known]) | (height_m < 10.0)).all()


@given(row(980, 1030, missing=True))
def test_a_change_of_pressure_is_known_only_from_readings(pressure: np.ndarray) -> None:
    time = START + np.arange(HOURS) * np.timedelta64(3600, "s")
    change = changes_hpa(time, pressure)
    assert np.isnan(change[:3]).all()
    assert np.isnan(change[np.isnan(pressure)]).all()
    exact = ~np.isnan(change[3:]) & ~np.isnan(pressure[:-3])
    np.testing.assert_allclose(change[3:][exact], (pressure[3:] - pressure[:-3])[exact], atol=1e-9)


@given(st.integers(0, 50), st.integers(0, 50), st.integers(0, 50), st.integers(0, 50))
def test_scores_stay_in_their_bounds(hits: int, false: int, misses: int, quiet: int) -> None:
    table = Table(hits=hits, false_alarms=false, misses=misses, correct_negatives=quiet)
    for value, low in ((table.pod, 0), (table.far, 0), (table.csi, 0), (table.ets, -1 / 3), (table.hss, -1), (table.pss, -1)):
        assert np.isnan(value) or low - 1e-9 <= value <= 1.0 + 1e-9


@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_more_members_over_never_lowers_the_bound(members: tuple[int, int]) -> None:
    over, of = members
    bound = chance_upper_bound(over, of)
    assert over / of <= bound <= 1.0
    assert over == of or chance_upper_bound(over + 1, of) >= bound
    assert chance_upper_bound(over, of + 1) <= bound + 1e-12


@given(hnp.arrays(float, (7, 3), elements=number(-50, 50)), hnp.arrays(float, 3, elements=number(-50, 50)), number(0.1, 10))
def test_crps_scales_and_is_never_negative(members: np.ndarray, seen: np.ndarray, scale: float) -> None:
    plain = crps_ensemble(members, seen)
    assert (plain >= -1e-9).all()
    np.testing.assert_allclose(crps_ensemble(members * scale, seen * scale), plain * scale, atol=1e-6)
    np.testing.assert_allclose(crps_ensemble(np.repeat(seen[None], 4, 0), seen), 0.0, atol=1e-9)
