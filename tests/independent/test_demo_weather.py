"""The invented demo weather: does it hang together as weather, and does it tell the story it is meant to?"""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fixtures import make_demo
from fixtures.lows import Storm, hours_from_epoch, place
from fixtures.make_demo import BASE, nominal_track
from fixtures.read_back import Read, read_back, sample, stack
from fixtures.seas import LAGS, carter_height_m, carter_period_s, grow
from fixtures.skies import KINDS, rain_over_kgm2, state, weather
from watch.units import ms_to_kn, wind_from_deg, wrap_180

FOLDER = Path(make_demo.__file__).parent
RUN, BEFORE, ENSEMBLE = (FOLDER / f"kittiwake-{name}.grib2" for name in ("2026051612", "2026051600", "2026051612-ensemble"))
HOUR = np.timedelta64(1, "h")


@pytest.fixture(scope="module")
def run() -> list[Read]:
    return read_back(RUN)


@pytest.fixture(scope="module")
def ensemble() -> list[Read]:
    return read_back(ENSEMBLE)


def along_track(read: list[Read], name: str, member: int = 0) -> dict[int, float]:
    """Hours after 2026-05-16 12:00Z -> the field where Kittiwake would be."""
    found = {}
    for one in read:
        if one.name == name and one.member == member:
            valid = one.base + one.to_h * HOUR
            found[int((valid - BASE) / HOUR)] = sample(one, *(float(x) for x in nominal_track(valid)))
    return found


def wind_along_track(read: list[Read], member: int = 0) -> tuple[list[int], np.ndarray, np.ndarray]:
    u, v = along_track(read, "10u", member), along_track(read, "10v", member)
    east, north = np.array(list(u.values())), np.array(list(v.values()))
    return list(u), ms_to_kn(np.hypot(east, north)), wind_from_deg(east, north)


def front_hour(read: list[Read], member: int = 0) -> float:
    """Hours after the base time at which her wind has veered past 265 degrees, between the steps of the file."""
    hours, _, direction = wind_along_track(read, member)
    after = int(np.flatnonzero(direction > 265.0)[0])
    part = (265.0 - direction[after - 1]) / (direction[after] - direction[after - 1])
    return float(hours[after - 1] + part * (hours[after] - hours[after - 1]))


# As weather

@pytest.mark.source("geostrophic-1")
@pytest.mark.parametrize("step_h", [6, 12, 24, 36, 60])
def test_away_from_fronts_the_wind_is_the_slowed_and_turned_wind_of_its_own_isobars(run: list[Read], step_h: int) -> None:
    fields = {one.name: one for one in run if one.to_h == step_h}
    pressure, lat, lon = fields["prmsl"].values, fields["prmsl"].lat, fields["prmsl"].lon
    metre_y, metre_x = 111.2e3, 111.2e3 * np.cos(np.radians(lat))[:, None]
    north_slope = -np.gradient(pressure, 0.5, axis=0) / metre_y  # rows run southwards
    east_slope = np.gradient(pressure, 0.5, axis=1) / metre_x
    f = 2 * 7.292e-5 * np.sin(np.radians(lat))[:, None]
    geo_u, geo_v = -north_slope / (1.22 * f), east_slope / (1.22 * f)
    u, v = fields["10u"].values, fields["10v"].values
    at = place(Storm(), hours_from_epoch(Storm(), BASE + step_h * HOUR), lat[:, None], lon[None, :])
    away = (np.abs(at.cold_km) > 200.0) & (np.abs(at.warm_km) > 200.0) & (np.hypot(at.x_km, at.y_km) > 500.0)
    away &= np.hypot(geo_u, geo_v) > 8.0
    away[[0, -1], :] = away[:, [0, -1]] = False  # one-sided slopes
    ratio = np.hypot(u, v)[away] / np.hypot(geo_u, geo_v)[away]
    inward = wrap_180(np.degrees(np.arctan2(v, u) - np.arctan2(geo_v, geo_u)))[away]
    assert away.sum() > 200
    assert 0.5 < ratio.min() < ratio.max() < 0.8
    assert 10.0 < inward.min() < inward.max() < 28.0


def test_the_trough_the_veer_and_the_fall_of_temperature_pass_her_together(run: list[Read]) -> None:
    pressure, temperature = along_track(run, "prmsl"), along_track(run, "2t")
    hours, _, direction = wind_along_track(run)
    hours = hours[:37]
    lowest = min(hours, key=lambda hour: pressure[hour])
    veer = hours[int(np.argmax(np.diff(direction[:37])))] + 0.5
    colder = min(hours[:-1], key=lambda hour: temperature[hour + 1] - temperature[hour]) + 0.5
    assert abs(lowest - veer) <= 1.5
    assert abs(colder - veer) <= 1.5
    assert 5.0 <= temperature[12] - temperature[23] <= 6.5
    assert np.all(np.diff(direction[:22]) > -1.0)  # she never sees it back


@pytest.mark.parametrize("step_h", [12, 18, 24])
def test_the_front_lies_where_the_850_hpa_temperature_changes_fastest(run: list[Read], step_h: int) -> None:
    field = next(one for one in run if one.name == "t850" and one.to_h == step_h)
    row = int(np.argmin(np.abs(field.lat - 36.0)))
    steepest = field.lon[:-1][int(np.argmax(np.diff(field.values[row])))] + 0.5
    at = place(Storm(), hours_from_epoch(Storm(), BASE + step_h * HOUR), field.lat[row], np.array(steepest))
    assert abs(float(at.cold_km)) < 90.0  # one cell of the grid


def test_unstable_air_is_a_band_at_the_cold_front_and_nowhere_else() -> None:
    lat, lon = np.meshgrid(np.arange(30.0, 42.0, 0.25), np.arange(-62.0, -30.0, 0.25), indexing="ij")
    cape = state(Storm(), BASE + 17 * HOUR, lat, lon, ("cape_jkg",))["cape_jkg"]
    at = place(Storm(), hours_from_epoch(Storm(), BASE + 17 * HOUR), lat, lon)
    band = (at.cold_km > 10.0) & (at.cold_km < 80.0) & (lat < 39.0) & (lat > 32.0)
    assert cape[band].min() > 600.0
    assert cape.max() < 1200.0
    assert cape[np.abs(at.cold_km - 45.0) > 250.0].max() < 200.0


def test_the_wind_aloft_is_stronger_and_turned_towards_the_cold_air_on_the_left() -> None:
    here = state(Storm(), BASE + 14 * HOUR, *nominal_track(BASE + 14 * HOUR))
    low, mid, high = (np.hypot(here[f"u{h}_ms"], here[f"v{h}_ms"]) for h in ("10", "850", "500"))
    assert low < mid < high < 60.0
    shear = np.hypot(here["u500_ms"] - here["u10_ms"], here["v500_ms"] - here["v10_ms"])
    assert 18.0 < shear < 45.0


def test_rain_of_three_hours_is_the_rain_of_its_three_hours() -> None:
    lat, lon = np.array([36.7]), np.array([-50.0])
    hours = [rain_over_kgm2(Storm(), BASE + h * HOUR, BASE + (h + 1) * HOUR, lat, lon) for h in (15, 16, 17)]
    assert rain_over_kgm2(Storm(), BASE + 15 * HOUR, BASE + 18 * HOUR, lat, lon) == pytest.approx(sum(hours), rel=1e-12)
    assert sum(hours) > 5.0


# The sea

@pytest.mark.source("carter-1")
def test_growth_formulas_give_the_worked_values() -> None:
    assert carter_height_m(np.array(15.0), np.array(10.0)) == pytest.approx(2.459, abs=0.001)
    assert carter_period_s(np.array(15.0), np.array(10.0)) == pytest.approx(6.81, abs=0.005)
    assert carter_height_m(np.array(10.0), np.array(1e4)) == pytest.approx(2.48)


@pytest.mark.source("carter-1")
@pytest.mark.parametrize("wind_ms", [7.0, 12.0, 18.0])
def test_under_a_steady_wind_the_sea_follows_the_published_curve(wind_ms: float) -> None:
    for after_h in (1, 6, 20):
        steady = np.full(after_h + 1, wind_ms)
        height, *_ = grow(steady, np.zeros(after_h + 1), 1.0)
        curve = min(0.0146 * (12.0 + after_h) ** (5 / 7) * wind_ms ** (9 / 7), 0.0248 * wind_ms**2)
        assert height == pytest.approx(curve, rel=1e-9)


@pytest.mark.source("carter-1")
def test_no_sea_is_higher_than_the_strongest_wind_of_its_past_can_raise(run: list[Read]) -> None:
    hours, heights = stack(run, "swh")
    wind_hours, gales = stack(run, "10u")[0], np.hypot(stack(run, "10u")[1], stack(run, "10v")[1])
    for hour, height in zip(hours[1:], heights[1:], strict=True):
        past = wind_hours <= hour
        around = np.max(gales[past]) if hour < LAGS else np.max(gales[past & (wind_hours >= hour - LAGS)])
        wind_sea = np.sqrt(np.maximum(np.max(height) ** 2 - Storm().swell_m**2, 0.0))
        assert wind_sea <= 0.0248 * around**2 + 0.1
        assert np.min(height) >= Storm().swell_m - 0.06
    assert 5.0 <= heights.max() <= 0.0248 * gales.max() ** 2


def test_a_falling_wind_leaves_a_falling_sea_that_is_longer_than_its_wind_would_make() -> None:
    wind = np.concatenate([np.full(30, 16.0), np.full(18, 6.0)])
    height, period, *_ = grow(wind, np.zeros(48), 1.0)
    assert 0.0248 * 36.0 < height < 0.0248 * 256.0
    assert period > carter_period_s(np.array(6.0), np.array(18.0)) + 2.0


# The story

STORY = [  # hours after 12Z on 16 May, mean [kn], gust at least and at most [kn], direction [deg]; all invented, all meant
    (0, 14, 16, 17, 22, 195, 220), (3, 16, 19, 20, 25, 200, 225), (8, 21, 23.5, 26, 31, 205, 230),
    (10, 23.5, 27, 29, 34, 210, 235), (13, 27, 31, 33, 39, 215, 235), (15, 29, 33, 40, 48, 215, 240),
    (17, 24, 32, 45, 50, 225, 265), (21, 26, 30, 37, 42, 295, 315), (24, 26, 30, 36, 40, 295, 315),
    (36, 18, 22, 24, 30, 285, 300), (42, 14, 17, 19, 24, 275, 295), (60, 8, 15, 11, 20, 240, 270)]


@pytest.mark.source("demo-1")
@pytest.mark.parametrize(("hour", "mean_from", "mean_to", "gust_from", "gust_to", "from_deg", "to_deg"), STORY)
def test_she_meets_what_the_story_says(run: list[Read], hour: int, mean_from: float, mean_to: float, gust_from: float,
                                       gust_to: float, from_deg: float, to_deg: float) -> None:
    hours, mean_kn, direction = wind_along_track(run)
    i = hours.index(hour)
    assert mean_from <= mean_kn[i] <= mean_to
    assert gust_from <= ms_to_kn(along_track(run, "gust")[hour]) <= gust_to
    assert from_deg <= direction[i] <= to_deg


@pytest.mark.source("demo-1")
def test_the_cold_front_passes_her_in_the_dark_and_the_warm_front_before_it(run: list[Read]) -> None:
    assert 16.0 <= front_hour(run) <= 19.0  # 04:00 to 07:00 UTC on 17 May; the Sun is down from 22:30 to 08:20 UTC
    times = BASE + np.arange(0, 30) * HOUR
    at = place(Storm(), hours_from_epoch(Storm(), times), *nominal_track(times))
    assert at.warm_km[0] > 0.0 > at.warm_km[4]
    sea = along_track(run, "swh")
    assert sea[0] == pytest.approx(2.0, abs=0.3)
    assert max(sea.values()) == pytest.approx(5.2, abs=0.4)


@pytest.mark.source("demo-1")
def test_the_run_before_has_the_front_later_and_all_of_it_weaker(run: list[Read]) -> None:
    before = read_back(BEFORE)
    assert front_hour(before) - front_hour(run) == pytest.approx(2.0, abs=1.2)  # its steps are three hours apart
    lat, lon = nominal_track(BASE + 10 * HOUR)
    weaker = replace(Storm(), late_h=2.0, strength=0.88)
    later = state(weaker, BASE + 12 * HOUR, lat, lon, ("u10_ms", "v10_ms"))
    now = state(Storm(), BASE + 10 * HOUR, lat, lon, ("u10_ms", "v10_ms"))
    assert np.hypot(*later.values()) / np.hypot(*now.values()) == pytest.approx(0.88, abs=0.02)


@pytest.mark.source("demo-1")
def test_members_differ_in_timing_by_about_two_hours_and_the_control_is_the_run(run: list[Read], ensemble: list[Read]) -> None:
    fronts = np.array([front_hour(ensemble, number) for number in range(1, make_demo.MEMBERS)])
    assert 1.5 <= fronts.std() <= 2.5
    assert abs(fronts.mean() - front_hour(run)) < 1.0
    strongest = np.array([wind_along_track(ensemble, number)[1].max() for number in range(1, make_demo.MEMBERS)])
    assert 1.5 <= strongest.std() <= 4.0
    for name in ("10u", "10v", "prmsl", "gust"):
        near = next(one for one in ensemble if one.name == name and one.member == 0 and one.to_h == 18)
        whole = next(one for one in run if one.name == name and one.to_h == 18)
        rows = np.isin(whole.lat, near.lat)
        columns = np.isin(whole.lon, near.lon)
        assert np.array_equal(near.values, whole.values[np.ix_(rows, columns)])


# The other weathers

@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_finite_everywhere(kind: str) -> None:
    lat, lon = np.meshgrid(np.arange(-60.0, 61.0, 10.0), np.arange(-180.0, 181.0, 15.0), indexing="ij")
    for name, values in state(weather(kind), BASE, lat, lon).items():
        assert np.all(np.isfinite(values)), name


@pytest.mark.parametrize("place_deg", [(28.0, -70.0), (45.0, -20.0), (36.6, 179.9), (-34.0, 18.0), (-50.0, -179.5)])
@pytest.mark.parametrize("kind", ["front at midnight", "southern front"])
def test_the_front_passes_the_place_and_the_instant_asked_for(kind: str, place_deg: tuple[float, float]) -> None:
    when = np.datetime64("2026-08-01T00:00:00", "s")
    storm = weather(kind, at=place_deg, when=when)
    lat = -abs(place_deg[0]) if storm.mirrored else place_deg[0]
    times = when + np.arange(-12, 13) * HOUR
    here = state(storm, times, lat, place_deg[1], ("u10_ms", "v10_ms", "gust_ms", "pressure_pa"))
    turn = wrap_180(np.diff(wind_from_deg(here["u10_ms"], here["v10_ms"]))) * (-1.0 if storm.mirrored else 1.0)
    assert abs(int(np.argmax(turn)) + 0.5 - 12.0) <= 1.5
    assert turn.sum() > 60.0
    assert abs(int(np.argmin(here["pressure_pa"])) - 12) <= 2
    assert abs(int(np.argmax(here["gust_ms"])) - 12) <= 2


def test_the_southern_twin_is_the_northern_weather_turned_over() -> None:
    storm, mirrored = Storm(), replace(Storm(), mirrored=True)
    lat, lon = np.array([34.0, 36.7, 41.0]), np.array([-55.0, -50.0, -45.0])
    north, south = state(storm, BASE + 17 * HOUR, lat, lon), state(mirrored, BASE + 17 * HOUR, -lat, lon)
    for name in ("u10_ms", "gust_ms", "pressure_pa", "sea_m", "t850_k", "u500_ms"):
        assert np.array_equal(north[name], south[name])
    for name in ("v10_ms", "v850_ms", "v500_ms"):
        assert np.array_equal(north[name], -south[name])
    assert wrap_180(north["wave_from_deg"] + south["wave_from_deg"] - 180.0) == pytest.approx([0.0] * 3, abs=1e-9)


def test_calm_day_slow_build_and_squally_trades_are_what_they_are_called() -> None:
    when = np.datetime64("2026-05-17T00:00:00", "s")
    times = when + np.arange(-48, 1) * HOUR
    calm = state(weather("calm day", when=when), times, 36.6, -50.0)
    assert ms_to_kn(calm["gust_ms"].max()) < 8.0
    build = state(weather("slow build", when=when), times, 36.6, -50.0)
    mean_kn = ms_to_kn(np.hypot(build["u10_ms"], build["v10_ms"]))
    assert mean_kn[0] < 12.0
    assert 28.0 < mean_kn[-1] < 32.0
    assert 0.0 < np.diff(mean_kn).min() < np.diff(mean_kn).max() < 1.0
    assert np.abs(np.diff(wind_from_deg(build["u10_ms"], build["v10_ms"]))).max() < 2.0
    trades = state(weather("squally trades", at=(15.0, -40.0), when=when), times, 15.0, -40.0)
    gust_kn, mean_kn = ms_to_kn(trades["gust_ms"]), ms_to_kn(np.hypot(trades["u10_ms"], trades["v10_ms"]))
    assert 14.0 < mean_kn.min() <= mean_kn.max() < 20.0
    assert (gust_kn > 28.0).sum() >= 2
    assert np.median(gust_kn) < 25.0
    assert trades["cape_jkg"].min() > 1000.0
    assert np.all(np.abs(wind_from_deg(trades["u10_ms"], trades["v10_ms"]) - 68.0) < 15.0)


def test_an_unknown_kind_or_field_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r'"typhoon".*calm day'):
        weather("typhoon")
    with pytest.raises(KeyError, match="dew"):
        state(Storm(), BASE, 36.0, -50.0, ("dew",))


@pytest.mark.source("demo-1")
def test_the_table_in_the_readme_is_what_the_file_says(run: list[Read]) -> None:
    hours, mean_kn, direction = wind_along_track(run)
    gust, pressure, sea = along_track(run, "gust"), along_track(run, "prmsl"), along_track(run, "swh")
    rows = re.findall(r"^\| (\d\d) May (\d\d)Z \| (\d+) \| (\d+) \| (\d+) \| ([\d.]+) \|.*\| ([\d.]*) \| \d* \|$",
                      (FOLDER / "README.md").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert len(rows) >= 35
    for day, hour, mean, gusts, bearing, glass, height in rows:
        step = (int(day) - 16) * 24 + int(hour) - 12
        assert float(mean) == pytest.approx(mean_kn[hours.index(step)], abs=0.51)
        assert float(gusts) == pytest.approx(ms_to_kn(gust[step]), abs=0.51)
        assert float(bearing) == pytest.approx(direction[hours.index(step)], abs=0.51)
        assert float(glass) == pytest.approx(pressure[step] / 100.0, abs=0.051)
        assert not height or float(height) == pytest.approx(sea[step], abs=0.051)
