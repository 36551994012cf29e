"""Under random grids, scan orders, longitudes, boxes and holes: what is read and sampled stays where it is, and missing stays missing."""

import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.made_gribs import Grid, Message, write
from watch.forecast.box import Box
from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.weather import sample

START = np.datetime64("2026-05-14T00:00:00", "s")
QUICK = settings(max_examples=40, deadline=None)


@st.composite
def grids(draw: st.DrawFn) -> Grid:
    """Plain grids anywhere, in any of the sixteen scan orders, in half or whole degrees, longitudes in either convention."""
    rows, columns = draw(st.integers(2, 7)), draw(st.integers(2, 9))
    step = draw(st.sampled_from([0.5, 1.0, 2.5]))
    south = draw(st.integers(-80, 60)) * 1.0
    west = draw(st.integers(-180, 359)) * 1.0
    flags = draw(st.tuples(*[st.booleans()] * 4))
    return Grid(south=south, north=south + step * (rows - 1), west=west, east=west + step * (columns - 1), rows=rows, columns=columns,
                i_negative=flags[0], j_positive=flags[1], j_consecutive=flags[2], alternate=flags[3])


@st.composite
def planes(draw: st.DrawFn, grid: Grid) -> NDArray[np.float64]:
    plane = grid.plane(draw(st.integers(0, 99)), 1.0, 12.0)
    holes = draw(st.lists(st.tuples(st.integers(0, grid.rows - 1), st.integers(0, grid.columns - 1)), max_size=4, unique=True))
    for hole in holes:
        plane[hole] = np.nan
    assume(not np.isnan(plane).all())
    return plane


def read_back(grid: Grid, plane: NDArray[np.float64], box: Box | None = None) -> xr.DataArray:
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder), [Message(what="swh", grid=grid, values=plane, missing=True)])
        return read([path], box)[0].fields[Name.SEA_M]


@pytest.mark.source("grib-scan")
@QUICK
@given(st.data())
def test_any_scan_order_and_longitude_is_read_where_it_lies(data: st.DataObject) -> None:
    grid = data.draw(grids())
    plane = data.draw(planes(grid))
    field = read_back(grid, plane)
    np.testing.assert_allclose(field["latitude"], grid.latitude, atol=1e-6)
    np.testing.assert_allclose(np.exp(1j * np.radians(field["longitude"])), np.exp(1j * np.radians(grid.longitude)), atol=1e-6)
    assert (np.diff(field["longitude"]) > 0).all()
    np.testing.assert_allclose(field.to_numpy()[0, 0], plane, atol=1e-5, equal_nan=True)


@pytest.mark.source("reading-1")
@QUICK
@given(st.data())
def test_a_box_changes_nothing_inside_it(data: st.DataObject) -> None:
    grid = data.draw(grids())
    whole = read_back(grid, grid.plane(7))
    lat, lon = (data.draw(st.tuples(*[st.floats(0.05, 0.95)] * 2)) for _ in range(2))
    south, north = np.sort(grid.south + np.array(lat) * (grid.north - grid.south))
    west, east = np.sort(grid.west + np.array(lon) * (grid.east - grid.west))
    assume(north - south > 1e-3 and east - west > 1e-3)
    turn = data.draw(st.sampled_from([-360.0, 0.0]))
    assume(abs(west + turn) <= 360.0 and abs(east + turn) <= 360.0)
    cut = read_back(grid, grid.plane(7), Box(float(south), float(north), float(west + turn), float(east + turn)))
    places = np.linspace(south, north, 5), np.linspace(west, east, 5)
    at = np.datetime64("2026-05-14T06:00:00")
    np.testing.assert_allclose(sample.at(cut, at, *places), sample.at(whole, at, *places), atol=1e-9)
    assert not np.isnan(sample.at(cut, at, *places)).any()
    assert cut.size <= whole.size


Sea = tuple[Forecast, NDArray[np.datetime64], NDArray[np.float64], NDArray[np.float64]]


def field(values: NDArray[np.float64], hours: list[int], begins: list[int] | None = None, west: float = -60.0) -> xr.DataArray:
    members, _, rows, columns = values.shape
    time = START + np.array(hours) * np.timedelta64(3600, "s")
    begin = time if begins is None else START + np.array(begins) * np.timedelta64(3600, "s")
    return xr.DataArray(values, name="made", dims=("member", "time", "latitude", "longitude"), coords={
        "member": np.arange(members), "time": time, "time_from": ("time", begin),
        "latitude": 30.0 + np.arange(rows), "longitude": west + np.arange(columns)})


def forecast(**fields: xr.DataArray) -> Forecast:
    return Forecast(run=datetime(2026, 5, 14, tzinfo=UTC), centre="made", kind="ensemble", files=(),
                    fields={Name[name.upper()]: array for name, array in fields.items()})


@st.composite
def seas(draw: st.DrawFn) -> Sea:
    """A small ensemble with wind and gust, some of it missing, and points on and off it."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    shape = (draw(st.integers(1, 3)), 4, 4, 5)
    hours = draw(st.sampled_from([[0, 1, 2, 3], [0, 3, 6, 12], [6, 12, 18, 24]]))
    begins = draw(st.sampled_from([hours, [max(0, 2 * hours[0] - hours[1]), *hours[:-1]]]))
    u, v, g = (rng.normal(0, 8, shape) for _ in range(3))
    for array in (u, v, g):
        array[rng.random(shape) < draw(st.sampled_from([0.0, 0.03]))] = np.nan
    points = 30
    time = START + rng.integers(-6, hours[-1] * 6 + 6, points) * np.timedelta64(600, "s")
    snap = rng.random(points) < 0.3
    lat, lon = rng.uniform(29.5, 33.5, points), rng.uniform(-60.5, -55.5, points)
    lat, lon = np.where(snap, np.round(lat), lat), np.where(snap, np.round(lon), lon)
    made = forecast(u10_ms=field(u, hours), v10_ms=field(v, hours), gust_ms=field(np.abs(g) * 1.5, hours, begins))
    return made, time, lat, lon + 360.0 * rng.integers(-1, 2, points)


@pytest.mark.source("stronger-end-1")
@QUICK
@given(seas())
def test_the_mean_for_limits_is_never_below_the_plain_wind_and_the_gust_never_below_the_mean(sea: Sea) -> None:
    made, *where = sea
    mean, gust = sample.strong_mean(made, *where), sample.strong_gust(made, *where)
    plain = np.hypot(*sample.plain_wind(made, *where))
    known = ~np.isnan(mean)
    assert not np.isnan(plain[known]).any()
    assert (mean[known] >= plain[known] - 1e-9).all()
    both = known & ~np.isnan(gust)
    assert (gust[both] >= mean[both]).all()
    assert np.isnan(mean).any()  # points off the grid or past the end are among them, and unknown


@pytest.mark.source("stronger-end-1")
@QUICK
@given(seas())
def test_a_hole_makes_unknown_and_never_changes_what_stays_known(sea: Sea) -> None:
    made, *where = sea
    gust = made.fields[Name.GUST_MS]
    holed = gust.copy(data=np.where(np.random.default_rng(1).random(gust.shape) < 0.1, np.nan, gust.to_numpy()))
    before, after = sample.strongest(gust, *where), sample.strongest(holed, *where)
    known = ~np.isnan(after)
    np.testing.assert_array_equal(after[known], before[known])
    assert np.isnan(after).sum() >= np.isnan(before).sum()


@pytest.mark.source("stronger-end-1")
@QUICK
@given(seas())
def test_a_stronger_field_never_samples_weaker(sea: Sea) -> None:
    made, *where = sea
    gust = made.fields[Name.GUST_MS]
    weaker, stronger = sample.strongest(gust, *where), sample.strongest(gust + np.abs(gust) * 0.1, *where)
    known = ~np.isnan(weaker)
    assert (stronger[known] >= weaker[known]).all()


def slow_strongest(array: xr.DataArray, time: np.datetime64, lat: float, lon: float, minutes: int) -> list[float]:
    """The slow twin: one point, one member after the other, every rule written out."""
    times, begins = array["time"].to_numpy(), array["time_from"].to_numpy()
    end = time + np.timedelta64(minutes * 60, "s")
    spots = range(times.size)
    if (times == begins).all():
        before = [i for i in spots if times[i] <= time]
        after = [i for i in spots if times[i] >= end]
        if not before or not after:
            return [np.nan] * array.sizes["member"]
        used = [i for i in spots if times[before[-1]] <= times[i] <= times[after[0]]]
    else:
        used = [i for i in spots if begins[i] < end and times[i] > time]
        minutes_of = [time + np.timedelta64(60 * k + 30, "s") for k in range(minutes)]
        if not all(any(begins[i] < m <= times[i] for i in used) for m in minutes_of):
            return [np.nan] * array.sizes["member"]
    at_spots = [sample.at(array[:, [i]].assign_coords(time_from=("time", times[[i]])), times[i], lat, lon) for i in used]
    return np.max(np.stack(at_spots), axis=0).tolist()  # a NaN among them stays


@pytest.mark.source("stronger-end-1")
@settings(max_examples=15, deadline=None)
@given(seas())
def test_the_strongest_is_what_the_slow_twin_finds(sea: Sea) -> None:
    made, time, lat, lon = sea
    gust = made.fields[Name.GUST_MS]
    quick = sample.strongest(gust, time, lat, lon)
    for k in range(12):
        np.testing.assert_allclose(quick[:, k], slow_strongest(gust, time[k], lat[k], lon[k], 10), atol=1e-9)


@pytest.mark.source("stronger-end-1")
@QUICK
@given(seas(), st.sampled_from([(30,), (5, 6), (2, 3, 5)]))
def test_points_of_any_shape_give_the_same(sea: Sea, shape: tuple[int, ...]) -> None:
    made, *where = sea
    flat = sample.strong_gust(made, *where)
    shaped = sample.strong_gust(made, *(np.reshape(part, shape) for part in where))
    assert shaped.shape == (flat.shape[0], *shape)
    np.testing.assert_array_equal(shaped.reshape(flat.shape), flat)


@pytest.mark.source("reading-1")
@QUICK
@given(st.lists(st.tuples(st.floats(-89, 89), st.floats(-360, 360)), min_size=1, max_size=6), st.floats(0, 300))
def test_a_box_round_points_contains_them_and_a_larger_one_contains_it(points: list[tuple[float, float]], miles: float) -> None:
    lat, lon = np.array(points).T
    box = Box.around(lat, lon, miles=miles)
    assert box.contains(lat, lon).all()
    grown = box.grown(10.0)
    assert grown.contains(np.array([box.south, box.north]), np.array([box.west, box.west + box.width_deg])).all()
    assert replace(box) == box
