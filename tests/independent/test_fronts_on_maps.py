"""Front lines against made-up fronts whose place is known, and on the maps of a real storm (15-16 December 2011)."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from watch.forecast.contract import Forecast, Name
from watch.weather.front_fields import FrontMaps, LineKind, Quantity, crossings, front_maps, shift_line, wind_shifts
from watch.weather.front_lines import EARTH_M, lines_on_map, thresholds

START = np.datetime64("2026-05-14T00:00", "s")
HOUR = np.timedelta64(3600, "s")
DIMS = ("member", "time", "latitude", "longitude")
AT_45_M = EARTH_M * np.cos(np.radians(45.0))


def moving_front(
    step_deg: float, speed_ms: float = 12.0, pole: float = 1.0, jump_k: float = 10.0, wind: bool = True, warm_east: bool = True
) -> Forecast:
    """A front along a meridian, at 10 W at the start, going east with the wind; 45 degrees north (pole 1) or south (-1)."""
    latitude = np.arange(38.0, 52.01, step_deg) if pole > 0 else np.arange(-52.0, -37.99, step_deg)
    longitude = np.arange(-30.0, 20.01, step_deg)
    hours = np.arange(0, 37, 6)
    metres = np.radians(longitude)[None, :] * EARTH_M * np.cos(np.radians(latitude))[:, None]
    half = 0.5 * jump_k * (1.0 if warm_east else -1.0)
    middle = np.radians(-10.0) * AT_45_M + speed_ms * hours * 3600.0
    field = np.stack([280.0 + half * np.tanh((metres - m) / 100e3) for m in middle])
    coords = {"member": [0], "time": START + hours * HOUR, "latitude": latitude, "longitude": longitude}

    def array(values: np.ndarray) -> xr.DataArray:
        return xr.DataArray(values[None].astype(np.float32), dims=DIMS, coords=coords)

    fields = {Name.T850_K: array(field)}
    if wind:
        fields |= {Name.U850_MS: array(np.full(field.shape, speed_ms)), Name.V850_MS: array(np.full(field.shape, 3.0))}
    return Forecast(run=datetime(2026, 5, 14, tzinfo=UTC), centre="made", kind="single", fields=fields, files=())


def maps_of(forecast: Forecast) -> FrontMaps:
    maps = front_maps(forecast)
    assert maps is not None
    return maps


@pytest.mark.source("fronts-2")
@pytest.mark.parametrize("step_deg", [0.25, 0.5, 1.0, 2.0])
def test_the_line_lies_at_the_warm_edge_on_any_grid(step_deg: float) -> None:
    maps = maps_of(moving_front(step_deg))
    assert maps.quantity is Quantity.TEMPERATURE
    for lines, hour in zip(maps.lines, range(0, 37, 6), strict=True):
        near = np.abs(lines.latitude - 45.0) < 2.0
        middle = np.radians(-10.0) * AT_45_M + 12.0 * hour * 3600.0
        along = np.radians(lines.longitude[near]) * EARTH_M * np.cos(np.radians(lines.latitude[near]))
        assert near.any()
        # a step 100 km wide, seen through 140 km or a grid length: its warm edge lies that far ahead of its middle
        assert ((along - middle > 0.0) & (along - middle < 380e3)).all()
        np.testing.assert_allclose(lines.speed_ms[near], 12.0, atol=2.5)
        assert (lines.toward_warm_east[near] > 0.9).all()


@pytest.mark.source("fronts-2")
@pytest.mark.parametrize("step_deg", [0.25, 1.0, 2.0])
def test_an_even_slope_is_no_front_and_neither_is_a_weak_step_on_any_grid(step_deg: float) -> None:
    assert all(lines.latitude.size == 0 for lines in maps_of(moving_front(step_deg, jump_k=2.0)).lines)
    assert any(lines.latitude.size > 0 for lines in maps_of(moving_front(step_deg, jump_k=8.0)).lines)
    latitude, longitude = np.arange(30.0, 60.0, step_deg), np.arange(0.0, 40.0, step_deg)
    slope = np.repeat(300.0 - 0.8 * (latitude - 30.0)[:, None], longitude.size, axis=1)
    assert lines_on_map(slope, None, None, latitude, longitude).latitude.size == 0
    assert thresholds(latitude, longitude).gradient > 0.8 / 111.2e3


@pytest.mark.source("fronts-3")
@pytest.mark.parametrize("pole", [1.0, -1.0])
@pytest.mark.parametrize(("warm_east", "kind"), [(True, LineKind.COLD), (False, LineKind.WARM)])
def test_she_is_crossed_when_the_front_reaches_her(pole: float, warm_east: bool, kind: LineKind) -> None:
    maps = maps_of(moving_front(1.0, pole=pole, warm_east=warm_east))
    time, place = START + np.arange(37) * HOUR, -5.0
    seen = crossings(maps, time, np.full(37, 45.0 * pole), np.full(37, place))
    assert [c.kind for c in seen] == [kind]
    # the line's own place on the first map gives the hour by its speed
    first = np.mean(maps.lines[0].longitude[np.abs(np.abs(maps.lines[0].latitude) - 45.0) < 1.0])
    expected_h = np.radians(place - first) * AT_45_M / 12.0 / 3600.0
    passed_h = (np.datetime64(seen[0].time.strftime("%Y-%m-%dT%H:%M"), "s") - START) / HOUR
    assert passed_h == pytest.approx(expected_h, abs=1.5)
    assert seen[0].earliest <= seen[0].time <= seen[0].latest
    assert seen[0].speed_ms == pytest.approx(12.0 if warm_east else -12.0, abs=2.5)


@pytest.mark.source("fronts-2")
def test_without_wind_the_front_is_drawn_and_its_crossing_still_found() -> None:
    maps = maps_of(moving_front(1.0, wind=False))
    assert np.isnan(maps.lines[0].speed_ms).all()
    seen = crossings(maps, START + np.arange(37) * HOUR, np.full(37, 45.0), np.full(37, -5.0))
    assert [c.kind for c in seen] == [LineKind.COLD]


@pytest.mark.source("fronts-2")
def test_off_the_map_or_with_missing_points_nothing_is_invented() -> None:
    forecast = moving_front(1.0)
    assert crossings(maps_of(forecast), START + np.arange(3) * HOUR, np.full(3, 45.0), np.full(3, np.nan)) == []
    forecast.fields[Name.T850_K].values[:] = np.nan
    assert all(lines.latitude.size == 0 for lines in maps_of(forecast).lines)
    bare = Forecast(run=forecast.run, centre="made", kind="single", fields={}, files=())
    assert front_maps(bare) is None


def world(first_longitude: float) -> FrontMaps:
    """A front that goes from 2 W to 1 E in six hours, on a grid round the world that begins at this longitude."""
    latitude, longitude = np.arange(40.0, 50.1, 1.0), first_longitude + np.arange(0.0, 360.1, 1.0)
    hours = np.array([0, 6])
    metres = np.radians((longitude + 180.0) % 360.0 - 180.0) * AT_45_M
    ahead = metres - (np.radians(-2.0) * AT_45_M + 12.0 * hours[:, None] * 3600.0)
    warmth = 5.0 * np.tanh(ahead / 100e3) - 10.0 / (1.0 + np.exp(-(ahead - 4e6) / 400e3))  # and slowly cold again far ahead
    field = np.repeat(280.0 + warmth[:, None, :], latitude.size, axis=1)
    coords = {"member": [0], "time": START + hours * HOUR, "latitude": latitude, "longitude": longitude}
    array = xr.DataArray(field[None].astype(np.float32), dims=DIMS, coords=coords)
    run = datetime(2026, 5, 14, tzinfo=UTC)
    return maps_of(Forecast(run=run, centre="made", kind="single", fields={Name.T850_K: array}, files=()))


@pytest.mark.source("fronts-2")
def test_a_world_wide_grid_has_no_seam() -> None:
    at_the_seam, elsewhere = world(0.0), world(-180.0)
    for here, there in zip(at_the_seam.lines, elsewhere.lines, strict=True):
        on_45 = [
            np.unique(np.round(((lines.longitude + 180.0) % 360.0 - 180.0)[np.abs(lines.latitude - 45.0) < 0.1], 3))
            for lines in (here, there)
        ]
        assert on_45[1].size
        np.testing.assert_allclose(*(x[np.abs(x) < 10.0] for x in on_45), atol=2e-3)
    seen = crossings(at_the_seam, at_the_seam.time, [45.0, 45.0], [2.0, 2.0])
    assert [c.kind for c in seen] == [LineKind.COLD]


LEVELS = {
    ("t", 850): Name.T850_K,
    ("q", 850): Name.Q850_KGKG,
    ("u", 850): Name.U850_MS,
    ("v", 850): Name.V850_MS,
    ("u", 1000): Name.U10_MS,  # the lowest level there is stands in for 10 m
    ("v", 1000): Name.V10_MS,
}


@pytest.fixture(scope="module")
def storm(real_data: Path) -> Forecast:
    eccodes = pytest.importorskip("eccodes")
    found: dict[Name, dict[int, np.ndarray]] = {name: {} for name in LEVELS.values()}
    with (real_data / "grib" / "levels-europe-2011121500-0-42h.grib").open("rb") as file:
        while (message := eccodes.codes_grib_new_from_file(file)) is not None:
            key = (eccodes.codes_get(message, "shortName"), eccodes.codes_get(message, "level"))
            if key in LEVELS:
                grid = eccodes.codes_get_values(message).reshape(55, 76)[::-1]
                found[LEVELS[key]][int(eccodes.codes_get(message, "stepRange"))] = grid
            eccodes.codes_release(message)
    steps = sorted(found[Name.T850_K])
    coords = {
        "member": [0],
        "time": np.datetime64("2011-12-15T00:00", "s") + np.array(steps) * HOUR,
        "latitude": np.arange(-30.0, 78.1, 2.0),
        "longitude": np.arange(-70.0, 80.1, 2.0),
    }
    fields = {
        name: xr.DataArray(np.stack([maps[s] for s in steps])[None].astype(np.float32), dims=DIMS, coords=coords)
        for name, maps in found.items()
    }
    return Forecast(run=datetime(2011, 12, 15, tzinfo=UTC), centre="ecmf", kind="single", fields=fields, files=("levels",))


@pytest.mark.source("fronts-2")
def test_the_cold_front_of_the_storm_is_there_and_moves_east(storm: Forecast) -> None:
    maps = maps_of(storm)
    assert maps.quantity is Quantity.THETA_W
    east = []
    for lines in maps.lines[2:7]:  # 12 h to 36 h
        here = (np.abs(lines.latitude - 46.0) <= 1.0) & (np.abs(lines.longitude + 10.0) < 20.0) & (lines.speed_ms > 8.0)
        assert here.any(), "a fast cold front at 46 N"
        east.append(float(lines.longitude[here].mean()))
    assert (np.diff(east) > 0.0).all(), east
    assert east[4] - east[0] > 20.0, "from mid-ocean to France in a day"


@pytest.mark.source("fronts-4")
def test_thermal_lines_and_wind_shifts_agree_where_the_storm_front_is(storm: Forecast) -> None:
    maps = maps_of(storm)
    when, latitude, longitude = shift_line(wind_shifts(storm.fields[Name.U10_MS][0], storm.fields[Name.V10_MS][0]))
    for i in (3, 4, 5, 6):
        lines = maps.lines[i]
        cold = (np.abs(lines.latitude - 46.0) <= 1.0) & (np.abs(lines.longitude + 10.0) < 25.0) & (lines.speed_ms > 8.0)
        shifts = longitude[(when == i) & (latitude == 46.0) & (np.abs(longitude + 10.0) < 20.0)]
        assert shifts.size
        assert min(abs(a - b) for a in lines.longitude[cold] for b in shifts) <= 4.0, "within two grid lengths"


@pytest.mark.source("fronts-2")
def test_in_biscay_a_warm_front_is_followed_by_the_cold_front(storm: Forecast) -> None:
    maps = maps_of(storm)
    seen = crossings(maps, maps.time, np.full(8, 46.0), np.full(8, -4.0))
    assert [c.kind for c in seen] == [LineKind.WARM, LineKind.COLD]
    assert seen[1].time.strftime("%d") == "16"
    assert 4 <= seen[1].time.hour <= 10
