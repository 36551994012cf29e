"""Sampling along a track: against SciPy's interpolation, and small tables worked by hand."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.weather import sample

START = np.datetime64("2026-05-14T00:00:00", "s")
HOUR = np.timedelta64(3600, "s")


def field(values: NDArray[np.float64], hours: list[float], *, begins: list[float] | None = None,
          latitude: list[float] | None = None, longitude: list[float] | None = None) -> xr.DataArray:
    time = START + (np.array(hours) * 3600).astype("timedelta64[s]")
    begin = time if begins is None else START + (np.array(begins) * 3600).astype("timedelta64[s]")
    return xr.DataArray(np.asarray(values, dtype=float), name="made", dims=("member", "time", "latitude", "longitude"), coords={
        "member": np.arange(len(values)), "time": time, "time_from": ("time", begin),
        "latitude": latitude or [30.0, 31.0], "longitude": longitude or [-60.0, -59.0]})


def flat(over_time: list[float], hours: list[float], **keys: object) -> xr.DataArray:
    """One member, the same everywhere, a value a time."""
    return field(np.array(over_time)[None, :, None, None] * np.ones((1, 1, 2, 2)), hours, **keys)  # type: ignore[arg-type]


def forecast(**fields: xr.DataArray) -> Forecast:
    return Forecast(run=datetime(2026, 5, 14, tzinfo=UTC), centre="made", kind="single", files=(),
                    fields={Name[name.upper()]: array for name, array in fields.items()})


def at_hours(*hours: float) -> NDArray[np.datetime64]:
    return START + (np.array(hours) * 3600).astype("timedelta64[s]")


# Against SciPy

@pytest.fixture(scope="module")
def random_sea() -> Forecast:
    rng = np.random.default_rng(2)
    axes = {"hours": [0.0, 1.0, 3.0, 6.0, 12.0], "latitude": (30.0 + np.cumsum(rng.uniform(0.2, 0.6, 9))).tolist(),
            "longitude": np.linspace(350.0, 353.0, 13).tolist()}
    return forecast(**{name: field(rng.normal(0, 8, (4, 5, 9, 13)), **axes) for name in ("u10_ms", "v10_ms")})  # type: ignore[arg-type]


def scipy_of(array: xr.DataArray, values: NDArray[np.float64], member: int) -> RegularGridInterpolator:
    seconds = (array["time"].to_numpy() - START) / np.timedelta64(1, "s")
    axes = (seconds.astype(float), array["latitude"].to_numpy(), array["longitude"].to_numpy())
    return RegularGridInterpolator(axes, values[member], bounds_error=False, fill_value=np.nan)


def points(array: xr.DataArray, count: int = 500) -> tuple[NDArray[np.datetime64], NDArray[np.float64], NDArray[np.float64]]:
    rng = np.random.default_rng(5)
    lat, lon = array["latitude"].to_numpy(), array["longitude"].to_numpy()
    return (START + rng.integers(0, 12 * 3600, count) * np.timedelta64(1, "s"), rng.uniform(lat[0] - 0.1, lat[-1] + 0.1, count),
            rng.uniform(lon[0] - 0.1, lon[-1] + 0.1, count))


@pytest.mark.source("scipy-grid-1")
def test_a_field_at_points_is_scipys(random_sea: Forecast) -> None:
    u = random_sea.fields[Name.U10_MS]
    time, lat, lon = points(u)
    ours = sample.at(u, time, lat, lon - 360.0)
    seconds = (time - START) / np.timedelta64(1, "s")
    for member in range(4):
        np.testing.assert_allclose(ours[member], scipy_of(u, u.to_numpy(), member)((seconds, lat, lon)), atol=1e-9)
    assert 0 < np.isnan(ours[0]).sum() < 200


@pytest.mark.source("scipy-grid-1")
def test_the_mean_for_limits_is_the_stronger_of_scipys_speeds_at_the_two_instants(random_sea: Forecast) -> None:
    u, v = random_sea.fields[Name.U10_MS], random_sea.fields[Name.V10_MS]
    time, lat, lon = points(u)
    ours = sample.strong_mean(random_sea, time, lat, lon, minutes=10)
    hours = u["time"].to_numpy()
    before = np.searchsorted(hours, time, side="right") - 1
    after = np.searchsorted(hours, time + np.timedelta64(600, "s"), side="left")
    known = after < hours.size
    for member in range(4):
        speed = scipy_of(u, np.hypot(u.to_numpy(), v.to_numpy()), member)
        wanted = np.full(time.size, -np.inf)
        for ahead in range(3):
            instant = hours[np.minimum(before + ahead, np.minimum(after, hours.size - 1))]
            wanted = np.maximum(wanted, speed(((instant - START) / np.timedelta64(1, "s"), lat, lon)))
        np.testing.assert_allclose(ours[member], np.where(known, wanted, np.nan), atol=1e-9)


@pytest.mark.source("scipy-grid-1")
def test_a_real_week_along_a_real_course_is_scipys(real_data: Path) -> None:
    made, = read([real_data / "grib" / "wind-7days-indian-ocean-2016030106.grib1"])
    u = made.fields[Name.U10_MS]
    steps = 6 * 150
    time = u["time"].to_numpy()[0] + np.arange(steps) * np.timedelta64(600, "s")
    lat, lon = np.linspace(-35.0, -5.0, steps), np.linspace(52.0, 59.0, steps)
    seconds = (time - START) / np.timedelta64(1, "s")
    wanted = scipy_of(u, u.to_numpy().astype(float), 0)((seconds, lat, lon))
    np.testing.assert_allclose(sample.at(u, time, lat, lon)[0], wanted, atol=1e-9)
    assert not np.isnan(wanted).any()


# By hand

@pytest.mark.source("sampling-by-hand-1")
@pytest.mark.parametrize(("lat", "lon", "wanted"), [
    (30.0, -60.0, 1.0), (31.0, -59.0, 4.0), (30.5, -59.5, 2.5), (30.25, -60.0, 1.5), (30.0, 300.75, 1.75), (30.5, 660.5, 2.5),
    (29.9, -59.5, np.nan), (30.5, -58.9, np.nan), (np.nan, -59.5, np.nan)])
def test_bilinear_in_space(lat: float, lon: float, wanted: float) -> None:
    array = field(np.array([[[[1.0, 2.0], [3.0, 4.0]]]]), [0])
    np.testing.assert_allclose(sample.at(array, START, lat, lon), [wanted], atol=1e-12)


@pytest.mark.source("sampling-by-hand-1")
@pytest.mark.parametrize(("hour", "wanted"), [(0, 10.0), (1.5, 15.0), (3, 20.0), (6, 50.0), (4.5, 35.0), (-0.1, np.nan), (6.1, np.nan)])
def test_linear_in_time(hour: float, wanted: float) -> None:
    array = flat([10.0, 20.0, 50.0], [0, 3, 6])
    np.testing.assert_allclose(sample.at(array, at_hours(hour), 30.5, -59.5), [[wanted]], atol=1e-12)


@pytest.mark.source("sampling-by-hand-1")
def test_a_missing_corner_makes_unknown_only_where_it_counts() -> None:
    array = field(np.array([[[[1.0, 2.0], [3.0, np.nan]]]]), [0])
    lat, lon = [30.5, 30.0, 30.5, 31.0, 30.0], [-59.5, -59.5, -60.0, -60.0, -59.0]
    np.testing.assert_array_equal(sample.at(array, START, lat, lon), [[np.nan, 1.5, 2.0, 3.0, 2.0]])


@pytest.mark.source("sampling-by-hand-1")
def test_a_missing_instant_makes_unknown_only_between_its_neighbours() -> None:
    array = flat([1.0, np.nan, 3.0], [0, 3, 6])
    np.testing.assert_array_equal(sample.at(array, at_hours(0, 0.5, 3, 5.5, 6), 30.5, -59.5), [[1.0, np.nan, np.nan, np.nan, 3.0]])


@pytest.mark.source("sampling-by-hand-1")
def test_across_greenwich_and_the_antimeridian_and_round_the_world() -> None:
    values = np.arange(3.0)[None, None, None, :] * np.ones((1, 1, 2, 1))
    greenwich = field(values, [0], longitude=[350.0, 360.0, 370.0])
    np.testing.assert_allclose(sample.at(greenwich, START, 30.5, [-10, -5, 0, 5, 10, 365]), [[0, 0.5, 1, 1.5, 2, 1.5]])
    pacific = field(values, [0], longitude=[170.0, 180.0, 190.0])
    np.testing.assert_allclose(sample.at(pacific, START, 30.5, [170, 180, -180, -175, -170]), [[0, 1, 1, 1.5, 2]])
    world = field(np.array([0.0, 1.0, 2.0, 3.0, 0.0])[None, None, None, :] * np.ones((1, 1, 2, 1)), [0],
                  longitude=[0.0, 90.0, 180.0, 270.0, 360.0])
    np.testing.assert_allclose(sample.at(world, START, 30.5, [-45, 315, 0, 360, 180]), [[1.5, 1.5, 0, 0, 2]])


@pytest.mark.source("sampling-by-hand-1")
def test_directions_go_round_the_circle() -> None:
    waves = field(np.array([[[[350.0, 10.0], [350.0, 10.0]]]]), [0])
    assert float(sample.angle_at(waves, START, 30.5, -59.5)[0]) % 360.0 == pytest.approx(0.0, abs=1e-9)
    backing = flat([350.0, 330.0], [0, 2])
    assert sample.angle_at(backing, at_hours(1), 30.5, -59.5) == pytest.approx(340.0)


@pytest.mark.source("stronger-end-1")
def test_a_reversal_through_calm_is_not_calm() -> None:
    """A front: 15 m/s from the south at noon, 15 m/s from the north three hours later."""
    made = forecast(u10_ms=flat([0.0, 0.0], [0, 3]), v10_ms=flat([15.0, -15.0], [0, 3]))
    where = (at_hours(1.5), 30.5, -59.5)
    assert np.hypot(*sample.plain_wind(made, *where)) == pytest.approx(0.0)
    assert sample.strong_mean(made, *where) == pytest.approx(15.0)
    assert sample.direction_deg(made, at_hours(0, 3), 30.5, -59.5).tolist() == [[180.0, 0.0]]


@pytest.mark.source("stronger-end-1")
def test_a_shift_between_grid_points_is_not_calm() -> None:
    """The front lies between two columns: 20 m/s from the south on one side, from the north on the other."""
    made = forecast(u10_ms=flat([0.0, 0.0], [0, 3]), v10_ms=field(np.tile([20.0, -20.0], (1, 2, 2, 1)), [0, 3]))
    assert sample.strong_mean(made, at_hours(1), 30.5, -59.5) == pytest.approx(20.0)


@pytest.mark.source("stronger-end-1")
@pytest.mark.parametrize(("hour", "wanted"), [
    (0, 12.0),  # on an instant: it and the one that encloses the step's end
    (1, 12.0), (2 + 5 / 6, 12.0),  # the last step before 3 h ends on it
    (3, 20.0), (2 + 11 / 12, 20.0),  # a step that passes 3 h has a part beyond it
    (5 + 5 / 6, 20.0), (5 + 11 / 12, np.nan), (6, np.nan),  # what begins at or passes the last instant is unknown
    (-1 / 6, np.nan), (-1, np.nan)])
def test_a_step_between_instants_has_the_stronger_end(hour: float, wanted: float) -> None:
    made = forecast(u10_ms=flat([9.0, 12.0, 20.0], [0, 3, 6]), v10_ms=flat([0.0, 0.0, 0.0], [0, 3, 6]))
    np.testing.assert_array_equal(sample.strong_mean(made, at_hours(hour), 30.5, -59.5), [[wanted]])


@pytest.mark.source("stronger-end-1")
def test_an_instant_alone_is_known_to_the_last() -> None:
    made = forecast(u10_ms=flat([9.0, 12.0], [0, 3]), v10_ms=flat([0.0, 0.0], [0, 3]))
    assert sample.strong_mean(made, at_hours(0, 1, 3), 30.5, -59.5, minutes=0).tolist() == [[9.0, 12.0, 12.0]]


@pytest.mark.source("stronger-end-1")
@pytest.mark.parametrize(("hour", "wanted"), [
    (0, 30.0), (5 + 5 / 6, 30.0),  # the whole of (0, 6] has its maximum, its end too
    (5 + 11 / 12, 30.0),  # a step over the border has the larger of both
    (6, 25.0), (11 + 5 / 6, 25.0), (11 + 11 / 12, np.nan), (12, np.nan), (-1 / 12, np.nan)])
def test_a_gust_over_six_hours_belongs_to_all_of_them(hour: float, wanted: float) -> None:
    gust = flat([30.0, 25.0], [6, 12], begins=[0, 6])
    np.testing.assert_array_equal(sample.strongest(gust, at_hours(hour), 30.5, -59.5), [[wanted]])


@pytest.mark.source("stronger-end-1")
def test_a_step_that_ends_where_a_stronger_stretch_begins_is_not_in_it() -> None:
    gust = flat([20.0, 30.0], [6, 12], begins=[0, 6])
    assert sample.strongest(gust, at_hours(5 + 5 / 6, 5 + 11 / 12, 6), 30.5, -59.5).tolist() == [[20.0, 30.0, 30.0]]


@pytest.mark.source("stronger-end-1")
def test_a_gap_between_stretches_is_unknown_and_overlapping_ones_give_the_larger() -> None:
    gap = flat([30.0, 25.0], [3, 9], begins=[0, 6])
    np.testing.assert_array_equal(sample.strongest(gap, at_hours(1, 2.9, 4, 5.9, 7), 30.5, -59.5), [[30, np.nan, np.nan, np.nan, 25]])
    overlapping = flat([10.0, 30.0, 20.0], [3, 6, 9], begins=[0, 0, 6])
    np.testing.assert_array_equal(sample.strongest(overlapping, at_hours(1, 4, 7), 30.5, -59.5), [[30, 30, 20]])


@pytest.mark.source("stronger-end-1")
def test_an_instant_alone_belongs_to_the_stretch_it_ends() -> None:
    gust = flat([30.0, 25.0], [6, 12], begins=[0, 6])
    assert sample.strongest(gust, at_hours(6, 12), 30.5, -59.5, minutes=0).tolist() == [[30.0, 25.0]]
    assert np.isnan(sample.strongest(gust, at_hours(0), 30.5, -59.5, minutes=0)).all()


@pytest.mark.source("stronger-end-1")
def test_a_gust_is_at_least_the_mean_and_unknown_stays_unknown() -> None:
    hours = [0.0, 3.0]
    made = forecast(u10_ms=flat([18.0, 18.0], hours), v10_ms=flat([0.0, 0.0], hours), gust_ms=flat([11.0, 12.0], hours))
    assert sample.strong_gust(made, at_hours(1), 30.5, -59.5).tolist() == [[18.0]]
    holed = forecast(u10_ms=flat([18.0, 18.0], hours), v10_ms=flat([0.0, 0.0], hours), gust_ms=flat([11.0, np.nan], hours))
    assert np.isnan(sample.strong_gust(holed, at_hours(1), 30.5, -59.5)).all()
    no_mean = forecast(u10_ms=flat([18.0, np.nan], hours), v10_ms=flat([0.0, 0.0], hours), gust_ms=flat([11.0, 12.0], hours))
    assert sample.strong_gust(no_mean, at_hours(1), 30.5, -59.5).tolist() == [[12.0]]
    assert np.isnan(sample.strong_mean(no_mean, at_hours(1), 30.5, -59.5)).all()


@pytest.mark.source("stronger-end-1")
def test_a_forecast_without_wind_or_gust_knows_neither() -> None:
    made = forecast(pressure_pa=field(np.full((3, 2, 2, 2), 101_000.0), [0, 3]))
    where = (at_hours(1, 2), 30.5, -59.5)
    for answer in (sample.strong_mean(made, *where), sample.strong_gust(made, *where), *sample.plain_wind(made, *where)):
        assert answer.shape == (3, 2)
        assert np.isnan(answer).all()


@pytest.mark.source("stronger-end-1")
def test_what_would_be_wrong_is_refused() -> None:
    gust = flat([30.0, 25.0], [6, 12], begins=[0, 6])
    with pytest.raises(ValueError, match="belongs to stretches of time"):
        sample.at(gust, START, 30.5, -59.5)
    with pytest.raises(ValueError, match="0 or more minutes"):
        sample.strongest(gust, START, 30.5, -59.5, minutes=-10)
    shifted = forecast(u10_ms=flat([1.0], [0]), v10_ms=flat([1.0], [0], longitude=[-50.0, -49.0]))
    with pytest.raises(ValueError, match="different axes"):
        sample.strong_mean(shifted, START, 30.5, -59.5)
