"""Every value read from the real files, against ecCodes' own iterator, nearest finder and command-line tool."""

import itertools
import shutil
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import eccodes
import numpy as np
import pytest
import xarray as xr

from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.when import from_np, to_np

UPPER = {("u", "isobaricInhPa", 850): Name.U850_MS, ("v", "isobaricInhPa", 850): Name.V850_MS,
         ("u", "isobaricInhPa", 500): Name.U500_MS, ("v", "isobaricInhPa", 500): Name.V500_MS,
         ("t", "isobaricInhPa", 850): Name.T850_K}
WIND_925 = {("u", "isobaricInhPa", 925): Name.U925_MS, ("v", "isobaricInhPa", 925): Name.V925_MS}
WIND_10 = {("10u", "heightAboveGround", 10): Name.U10_MS, ("10v", "heightAboveGround", 10): Name.V10_MS}
WAVE_WIND = {("u", "surface", 1): Name.U10_MS, ("v", "surface", 1): Name.V10_MS}
GUST_6 = {("10fg6", "surface", 0): Name.GUST_MS}
AIR = {("2t", "heightAboveGround", 2): Name.T2M_K}
# File -> what ecCodes calls its fields -> ours, written down from a listing of the file. Rain is apart: it is worked on.
EXPECTED: dict[str, dict[tuple[str, str, int], Name]] = {
    "grib/all-fields-global-10deg-96h.grib2": WIND_10 | WIND_925 | AIR | {
        ("2d", "heightAboveGround", 2): Name.D2M_K, ("cape", "entireAtmosphere", 0): Name.CAPE_JKG,
        ("msl", "meanSea", 0): Name.PRESSURE_PA},
    "grib/all-fields-global-2p5-2011100800-72h.grib2": WIND_10 | WIND_925 | UPPER | AIR | {
        ("r", "isobaricInhPa", 850): Name.R850_PCT, ("prmsl", "meanSea", 0): Name.PRESSURE_PA,
        ("gust", "surface", 0): Name.GUST_MS, ("cape", "surface", 0): Name.CAPE_JKG},
    "grib/ens51-gust6h-europe-2018112012.grib": GUST_6,
    "grib/gust6h-north-atlantic-2011121512.grib": GUST_6,
    "grib/levels-europe-2011121500-0-42h.grib": UPPER | {("q", "isobaricInhPa", 850): Name.Q850_KGKG},
    "grib/surface-iceland-20210601.grib": {
        ("10u", "surface", 0): Name.U10_MS, ("10v", "surface", 0): Name.V10_MS, ("msl", "surface", 0): Name.PRESSURE_PA,
        ("2t", "surface", 0): Name.T2M_K, ("2d", "surface", 0): Name.D2M_K},
    "grib/wave-7days-indian-ocean-2016030106.grib1": {
        ("swh", "surface", 1): Name.SEA_M, ("mpps", "surface", 1): Name.PERIOD_S, ("mdps", "surface", 1): Name.WAVE_FROM_DEG},
    "grib/waves-west-atlantic-1h.grib2": WAVE_WIND | {
        ("swh", "surface", 1): Name.SEA_M, ("perpw", "surface", 1): Name.PERIOD_S, ("dirpw", "surface", 1): Name.WAVE_FROM_DEG},
    "grib/wind-0p25-wraps-greenwich.grib2": WIND_10,
    "grib/wind-7days-indian-ocean-2016030106.grib1": WAVE_WIND,
    "grib-odd/same-wind-packing-template5-0.grib2": WIND_10,
    "grib-odd/same-wind-packing-template5-2.grib2": WIND_10,
    "grib-odd/same-wind-packing-template5-3.grib2": WIND_10,
    "grib-odd/step_60m.grib": AIR,
    "grib-odd/two-grids-in-one-file-10u.grib": {("10u", "surface", 0): Name.U10_MS},
}


@cache
def forecasts(path: Path) -> tuple[Forecast, ...]:
    return read([path])


def handles(path: Path) -> Iterator[int]:
    """Every field of the file, several to a message too."""
    eccodes.codes_grib_multi_support_on()
    try:
        with path.open("rb") as stream:
            while (handle := eccodes.codes_grib_new_from_file(stream)) is not None:
                yield handle
                eccodes.codes_release(handle)
    finally:
        eccodes.codes_grib_multi_support_off()


def called(handle: int) -> tuple[str, str, int]:
    return (eccodes.codes_get_string(handle, "shortName"), eccodes.codes_get_string(handle, "typeOfLevel"),
            eccodes.codes_get_long(handle, "level"))


def same_slice(path: Path, handle: int, name: Name) -> tuple[xr.DataArray, int, int]:
    """Our field that has this message's first point, and its member and time."""
    member = eccodes.codes_get_long(handle, "number") if eccodes.codes_is_defined(handle, "number") else 0
    day, clock = eccodes.codes_get_long(handle, "validityDate"), eccodes.codes_get_long(handle, "validityTime")
    valid = np.datetime64(f"{day // 10000}-{day // 100 % 100:02d}-{day % 100:02d}T{clock // 100:02d}:{clock % 100:02d}:00")
    first = eccodes.codes_get_double(handle, "latitudeOfFirstGridPointInDegrees")
    for forecast in forecasts(path):
        field = forecast.fields[name]
        if field["latitude"].to_numpy().min() - 1e-3 <= first <= field["latitude"].to_numpy().max() + 1e-3:
            return field, list(field["member"].to_numpy()).index(member), list(field["time"].to_numpy()).index(valid)
    raise AssertionError(f"{path.name}: no {name} for a message that begins at latitude {first}")


def at_points(field: xr.DataArray, member: int, time: int, latitude: Any, longitude: Any) -> Any:
    lats, lons = field["latitude"].to_numpy(), field["longitude"].to_numpy()
    turned = lons[0] + (np.asarray(longitude) - lons[0] + 1e-4) % 360.0 - 1e-4
    rows, columns = (np.abs(axis[:, None] - wanted[None, :]).argmin(axis=0) for axis, wanted in
                     ((lats, np.asarray(latitude)), (lons, turned)))
    assert np.abs(lats[rows] - latitude).max() < 1e-3
    assert np.abs(lons[columns] - turned).max() < 1e-3
    return field.to_numpy()[member, time, rows, columns]


@pytest.mark.source("eccodes-1")
@pytest.mark.parametrize("name", EXPECTED)
def test_every_point_of_every_message_is_where_eccodes_puts_it(real_data: Path, name: str) -> None:
    path, expected, seen = real_data / name, EXPECTED[name], dict.fromkeys(EXPECTED[name].values(), 0)
    rng = np.random.default_rng(3)
    for handle in handles(path):
        ours = expected.get(called(handle))
        if ours is None:
            continue
        lat, lon, value = (eccodes.codes_get_array(handle, key) for key in ("latitudes", "longitudes", "values"))
        some = rng.choice(value.size, min(value.size, 400), replace=False)  # all of a small grid, some of a large one
        field, member, time = same_slice(path, handle, ours)
        wanted = np.where(value == 9999.0, np.nan, value).astype(np.float32)[some]
        np.testing.assert_array_equal(at_points(field, member, time, lat[some], lon[some]), wanted)
        seen[ours] += 1
    ours_have = {n: sum(int((~np.isnan(f.fields[n].to_numpy())).any(axis=(2, 3)).sum()) for f in forecasts(path)) for n in seen}
    assert seen == ours_have
    assert all(set(forecast.fields) <= set(seen) | {Name.RAIN_KGM2S} for forecast in forecasts(path))


@pytest.mark.source("eccodes-1")
@pytest.mark.parametrize(("name", "lat", "lon"), [
    ("grib/wind-7days-indian-ocean-2016030106.grib1", -22.3, 57.9), ("grib/ens51-gust6h-europe-2018112012.grib", 48.2, -9.4),
    ("grib/wind-0p25-wraps-greenwich.grib2", 50.1, -3.3), ("grib/waves-west-atlantic-1h.grib2", 26.4, -62.2),
    ("grib/wave-7days-indian-ocean-2016030106.grib1", -25.2, 23.1),
    ("grib/all-fields-global-2p5-2011100800-72h.grib2", -41.2, -0.9), ("grib-odd/same-wind-packing-template5-3.grib2", 12.4, 179.7)])
def test_the_nearest_point_to_a_place_has_eccodes_value(real_data: Path, name: str, lat: float, lon: float) -> None:
    path, count = real_data / name, 0
    for handle in itertools.islice(handles(path), 260):
        ours = EXPECTED[name].get(called(handle))
        if ours is not None:
            nearest = eccodes.codes_grib_find_nearest(handle, lat, lon)[0]
            field, member, time = same_slice(path, handle, ours)
            value = at_points(field, member, time, np.array([nearest.lat]), np.array([nearest.lon]))[0]
            np.testing.assert_array_equal(value, np.float32(np.nan if nearest.value == 9999.0 else nearest.value))
            count += 1
    assert count


def get_data() -> str | None:
    """ecCodes' own tool: on the path, or beside its library."""
    try:
        import eccodeslib
    except ImportError:
        return shutil.which("grib_get_data")
    return shutil.which("grib_get_data") or shutil.which(str(Path(eccodeslib.__file__).parent / "bin" / "grib_get_data"))


@pytest.mark.source("eccodes-1")
@pytest.mark.parametrize("name", ["grib/surface-iceland-20210601.grib", "grib/wind-0p25-wraps-greenwich.grib2",
                                  "grib/wave-7days-indian-ocean-2016030106.grib1"])
def test_the_tool_that_prints_points_prints_ours(real_data: Path, name: str) -> None:
    tool = get_data()
    if tool is None:
        pytest.skip("grib_get_data is not installed")
    path = real_data / name
    printed = subprocess.run([tool, "-w", "count=1", "-F", "%.6f", "-m", "nan", str(path)], capture_output=True, check=True, text=True)
    rows = np.array([line.split()[:3] for line in printed.stdout.splitlines()[1:]], dtype=float)
    first = next(iter(handles(path)))
    field = forecasts(path)[0].fields[EXPECTED[name][called(first)]]
    assert field.sizes["latitude"] * field.sizes["longitude"] == len(rows)
    np.testing.assert_allclose(at_points(field, 0, 0, rows[:, 0], rows[:, 1]), rows[:, 2], atol=2e-6, equal_nan=True)


@pytest.mark.source("grib-scan")
def test_rows_that_run_to_and_fro_are_turned_back(real_data: Path) -> None:
    """ecCodes' iterator leaves every second row turned round; weather says which way is right: neighbouring rows resemble each other."""
    path = real_data / "grib-odd" / "alternate-scanning.grib"
    as_sent = eccodes.codes_get_values(next(handles(path))).reshape(171, 291)[::-1]
    ours = forecasts(path)[0].fields[Name.T2M_K].to_numpy()[0, 0]
    np.testing.assert_array_equal(np.sort(ours, axis=1), np.sort(as_sent.astype(np.float32), axis=1))

    def roughness(plane: Any) -> float:
        return float(np.abs(np.diff(plane, axis=0)).mean())

    assert roughness(ours) < 0.5 * roughness(as_sent)


@pytest.mark.source("eccodes-1")
def test_three_packings_of_one_wind_decode_equal(real_data: Path) -> None:
    first, second, third = (read([real_data / "grib-odd" / f"same-wind-packing-template5-{n}.grib2"])[0] for n in (0, 2, 3))
    for name in (Name.U10_MS, Name.V10_MS):
        np.testing.assert_array_equal(first.fields[name], second.fields[name])
        np.testing.assert_array_equal(first.fields[name], third.fields[name])


@pytest.mark.source("eccodes-1")
def test_rain_sums_in_metres_become_rates(real_data: Path) -> None:
    path = real_data / "grib" / "levels-europe-2011121500-0-42h.grib"
    sums = {}
    for handle in handles(path):
        if called(handle)[0] == "tp":
            assert eccodes.codes_get_string(handle, "units") == "m"
            sums[eccodes.codes_get_long(handle, "endStep")] = eccodes.codes_get_values(handle).reshape(55, 76)[::-1]
    forecast = forecasts(path)[0]
    rain = forecast.fields[Name.RAIN_KGM2S]
    hours = (rain["time"].to_numpy() - to_np(forecast.run)) / np.timedelta64(3600, "s")
    assert hours.tolist() == [6, 12, 18, 24, 30, 36, 42]
    assert ((rain["time"] - rain["time_from"]).to_numpy() == np.timedelta64(6, "h")).all()
    for index, hour in enumerate(hours.astype(int)):
        wanted = np.maximum(sums[hour] - sums[hour - 6], 0.0) * 1000.0 / (6 * 3600)
        np.testing.assert_allclose(rain.to_numpy()[0, index], wanted, atol=2e-9)


@pytest.mark.source("eccodes-1")
def test_gusts_over_six_hours_keep_their_stretch(real_data: Path) -> None:
    gust = forecasts(real_data / "grib" / "gust6h-north-atlantic-2011121512.grib")[0].fields[Name.GUST_MS]
    assert [from_np(t).hour for t in gust["time_from"].to_numpy()] == [18, 0, 6, 12, 18]
    assert ((gust["time"] - gust["time_from"]).to_numpy() == np.timedelta64(6, "h")).all()
    assert gust.attrs["statistic"] == "maximum"
    assert float(gust.max()) == pytest.approx(39.742, abs=5e-4)


@pytest.mark.source("eccodes-1")
def test_a_real_ensemble_has_its_fifty_members(real_data: Path) -> None:
    forecast, = forecasts(real_data / "grib" / "ens51-gust6h-europe-2018112012.grib")
    assert forecast.kind == "ensemble"
    assert forecast.centre == "ecmf"
    assert forecast.fields[Name.GUST_MS]["member"].to_numpy().tolist() == list(range(1, 51))
    assert forecast.fields[Name.GUST_MS].shape == (50, 3, 41, 51)
