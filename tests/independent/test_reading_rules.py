"""What is taken from a file that says a thing twice, in parts, or unclearly; small files made for each case, worked by hand."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import eccodes
import numpy as np
import pytest

from tests.made_gribs import Grid, Message, ensemble, wind, write
from watch.forecast.box import Box
from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read

pytestmark = pytest.mark.source("reading-1")
HOUR = np.timedelta64(3600, "s")


def only(folder: Path, messages: list[Message], box: Box | None = None) -> Forecast:
    forecast, = read([write(folder, messages)], box)
    return forecast


def hours(forecast: Forecast, name: Name, which: str = "time") -> list[float]:
    base = np.datetime64(forecast.run.replace(tzinfo=None), "s")
    return ((forecast.fields[name][which].to_numpy() - base) / HOUR).tolist()


def middle(forecast: Forecast, name: Name, member: int = 0) -> list[float]:
    """The value at one point of the middle, over time."""
    return np.round(forecast.fields[name].to_numpy()[member, :, 2, 2].astype(float), 3).tolist()


# Wind and its guises

@pytest.mark.parametrize(("parts", "guise"), [(("10u", "10v"), "10u"), (("u sfc", "v sfc"), "u at surface")])
def test_wind_at_ten_metres_and_wind_at_the_surface_are_both_the_wind(parts: tuple[str, str], guise: str, tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what=parts[0], values=3.0), Message(what=parts[1], values=-4.0)])
    assert (middle(forecast, Name.U10_MS), middle(forecast, Name.V10_MS)) == ([3.0], [-4.0])
    assert forecast.fields[Name.U10_MS].attrs["guise"].startswith(guise)


@pytest.mark.parametrize(("from_deg", "u", "v"), [(0.0, 0.0, -10.0), (90.0, -10.0, 0.0), (225.0, 7.071, 7.071)])
def test_speed_and_direction_make_components(from_deg: float, u: float, v: float, tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what="speed", values=10.0), Message(what="from", values=from_deg)])
    assert middle(forecast, Name.U10_MS) == [pytest.approx(u, abs=1e-3)]
    assert middle(forecast, Name.V10_MS) == [pytest.approx(v, abs=1e-3)]


def test_components_in_the_file_are_preferred_to_speed_and_direction(tmp_path: Path) -> None:
    messages = [Message(what="speed", values=10.0), Message(what="from", values=0.0), *wind(values=5.0)]
    assert middle(only(tmp_path, messages), Name.U10_MS) == [5.0]


def test_a_component_that_lacks_a_time_is_missing_there_and_said(tmp_path: Path) -> None:
    forecast = only(tmp_path, [*wind(step=0), *wind(step=3), Message(what="10u", step=6)])
    assert hours(forecast, Name.U10_MS) == hours(forecast, Name.V10_MS) == [0, 3, 6]
    assert np.isnan(forecast.fields[Name.V10_MS].to_numpy()[0, 2]).all()
    assert "northward wind at 10 m is missing in 1 of 3 fields (members times hours): unknown there" in forecast.notes


# Gusts

def test_a_gust_at_instants_belongs_to_its_instant(tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what="gust", step=step) for step in (3, 6)])
    assert hours(forecast, Name.GUST_MS, "time_from") == [3, 6]
    assert forecast.fields[Name.GUST_MS].attrs["statistic"] == "instant"


def test_a_gust_over_a_stretch_keeps_its_beginning(tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what="gust 10", step=(a, b), statistic="max", centre="ecmf") for a, b in ((0, 3), (3, 6), (6, 12))])
    assert hours(forecast, Name.GUST_MS) == [3, 6, 12]
    assert hours(forecast, Name.GUST_MS, "time_from") == [0, 3, 6]
    assert forecast.fields[Name.GUST_MS].attrs["statistic"] == "maximum"


def both_gusts(maxima: tuple[tuple[int, int], ...]) -> list[Message]:
    instants = [Message(what="gust", step=step, values=10.0) for step in (0, 3, 6, 9)]
    return instants + [Message(what="gust", step=step, statistic="max", values=15.0) for step in maxima]


def test_the_maximum_is_preferred_to_instants_and_said(tmp_path: Path) -> None:
    forecast = only(tmp_path, both_gusts(((0, 3), (3, 6), (6, 9))))
    assert middle(forecast, Name.GUST_MS) == [15.0, 15.0, 15.0]
    assert forecast.notes == ("gust comes both as the maximum over stretches of time and at instants: the maxima are used, which miss "
                              "nothing between instants",)


@pytest.mark.parametrize("maxima", [((0, 3), (6, 9)), ((0, 3), (3, 6)), ((3, 6), (6, 9))], ids=["a gap", "the end", "the beginning"])
def test_instants_are_kept_where_the_maxima_leave_times_out(maxima: tuple[tuple[int, int], ...], tmp_path: Path) -> None:
    forecast = only(tmp_path, both_gusts(maxima))
    assert middle(forecast, Name.GUST_MS) == [10.0, 10.0, 10.0, 10.0]
    assert forecast.notes == ("gust comes both as the maximum over stretches of time and at instants: the instants are used, for the "
                              "maxima leave times out",)


def test_instants_are_kept_where_a_member_has_no_maxima(tmp_path: Path) -> None:
    instants = [Message(what="gust", step=step, values=10.0, member=member) for member in (0, 1) for step in (0, 3)]
    forecast = only(tmp_path, [*instants, Message(what="gust", step=(0, 3), statistic="max", values=15.0, member=0)])
    assert [middle(forecast, Name.GUST_MS, row) for row in (0, 1)] == [[10.0, 10.0], [10.0, 10.0]]


def test_of_two_stretches_that_end_together_the_shorter_is_kept_if_nothing_is_lost(tmp_path: Path) -> None:
    steps = ((0, 3), (0, 6), (3, 6), (6, 12), (9, 12))
    forecast = only(tmp_path, [Message(what="gust 10", step=step, statistic="max", values=float(sum(step))) for step in steps])
    assert hours(forecast, Name.GUST_MS, "time_from") == [0, 3, 6]  # (9, 12) would leave 6 to 9 uncovered
    assert middle(forecast, Name.GUST_MS) == [3.0, 9.0, 18.0]


def test_a_gust_since_the_field_before_gets_its_stretch_and_says_so(tmp_path: Path) -> None:
    messages = [Message(what="10fg", edition=1, centre="ecmf", step=step) for step in (0, 3, 6, 24)]
    forecast = only(tmp_path, messages)
    assert hours(forecast, Name.GUST_MS) == [3, 6, 24]
    assert hours(forecast, Name.GUST_MS, "time_from") == [0, 3, 18]  # never more than six hours back: what is not said is unknown
    assert "gust (10fg at surface 0) does not say over which time: taken as since the field before" in forecast.notes


def test_a_gust_of_the_last_three_hours_knows_its_stretch_by_name(tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what="10fg3", edition=1, centre="ecmf", step=step) for step in (6, 9)])
    assert hours(forecast, Name.GUST_MS, "time_from") == [3, 6]


# Rain

def rain(folder: Path, sums: dict[tuple[int, int], float], **keys: object) -> Forecast:
    return only(folder, [Message(what="tp", step=step, statistic="accum", values=mm, **keys) for step, mm in sums.items()])  # type: ignore[arg-type]


@pytest.mark.source("rain-sums-1")
@pytest.mark.parametrize(("sums", "starts", "mm_per_h"), [
    ({(0, 3): 3.0, (0, 6): 9.0, (0, 9): 9.0}, [0, 3, 6], [1.0, 2.0, 0.0]),  # since the start of the run
    ({(0, 3): 3.0, (3, 6): 6.0, (6, 12): 6.0}, [0, 3, 6], [1.0, 2.0, 1.0]),  # over each stretch
    ({(0, 3): 3.0, (0, 6): 9.0, (6, 9): 6.0, (6, 12): 12.0}, [0, 3, 6, 9], [1.0, 2.0, 2.0, 2.0]),  # reset every six hours
    ({(0, 3): 3.0, (0, 6): 9.0, (3, 6): 6.0}, [0, 3], [1.0, 2.0]),  # both, as some centres send it
    ({(0, 6): 6.0, (12, 18): 12.0}, [0, 12], [1.0, 2.0]),  # a gap stays a gap
], ids=["start", "stretches", "resets", "both", "gap"])
def test_sums_become_rates(sums: dict[tuple[int, int], float], starts: list[int], mm_per_h: list[float], tmp_path: Path) -> None:
    forecast = rain(tmp_path, sums)
    assert hours(forecast, Name.RAIN_KGM2S, "time_from") == starts
    rates = forecast.fields[Name.RAIN_KGM2S].to_numpy()[0, :, 2, 2] * 3600
    assert rates == pytest.approx(mm_per_h, abs=1e-4)
    assert forecast.fields[Name.RAIN_KGM2S].attrs["statistic"] == "mean"


@pytest.mark.source("rain-sums-1")
def test_a_sum_that_falls_a_little_is_no_rain_and_one_that_falls_a_lot_is_unknown(tmp_path: Path) -> None:
    falling = np.full((5, 6), 4.8)
    falling[2, 2] = 1.0
    messages = [Message(what="tp", step=(0, 3), statistic="accum", values=5.0),
                Message(what="tp", step=(0, 6), statistic="accum", values=falling)]
    forecast = only(tmp_path, messages)
    later = forecast.fields[Name.RAIN_KGM2S].to_numpy()[0, 1]
    assert np.isnan(later[2, 2])
    assert later[0, 0] == 0.0
    assert "rain sums fall from one time to the next at some places: rain is taken as unknown there" in forecast.notes


@pytest.mark.source("rain-sums-1")
def test_mean_rates_and_rates_at_instants(tmp_path: Path) -> None:
    mean = only(tmp_path, [Message(what="prate", step=step, statistic="avg", values=v) for step, v in (((0, 3), 0.001), ((0, 6), 0.002))])
    assert mean.fields[Name.RAIN_KGM2S].to_numpy()[0, :, 2, 2] == pytest.approx([0.001, 0.003], abs=1e-7)
    instant = only(tmp_path, [Message(what="prate", step=step, values=0.002) for step in (0, 3)])
    assert hours(instant, Name.RAIN_KGM2S, "time_from") == [0, 3]


# Runs, centres, members, files

def test_runs_and_centres_stay_apart_newest_first(tmp_path: Path) -> None:
    old, new, other = wind(run="20260513 1800"), wind(run="20260514 0600"), wind(run="20260514 0600", centre="ecmf")
    found = read([write(tmp_path, old + new, "a.grib2"), write(tmp_path, other, "b.grib2")])
    assert [(f.run.hour, f.centre) for f in found] == [(6, "kwbc"), (6, "ecmf"), (18, "kwbc")]
    assert [f.files for f in found] == [("a.grib2",), ("b.grib2",), ("a.grib2",)]
    assert found[0].run == datetime(2026, 5, 14, 6, tzinfo=UTC)


def test_a_control_and_members_from_several_files_make_one_ensemble(tmp_path: Path) -> None:
    paths = [write(tmp_path, [m for step in (0, 6) for m in wind(member=k, values=float(k), step=step)], f"{k}.grib2") for k in (2, 0, 5)]
    forecast, = read(paths)
    assert forecast.kind == "ensemble"
    assert forecast.fields[Name.U10_MS]["member"].to_numpy().tolist() == [0, 2, 5]
    assert [middle(forecast, Name.U10_MS, row) for row in range(3)] == [[0.0, 0.0], [2.0, 2.0], [5.0, 5.0]]


def test_a_single_run_beside_an_ensemble_stays_its_own(tmp_path: Path) -> None:
    found = read([write(tmp_path, wind(values=9.0) + ensemble(3, wind(values=1.0)))])
    assert [(f.kind, f.fields[Name.U10_MS].sizes["member"]) for f in found] == [("ensemble", 3), ("single", 1)]
    assert middle(found[1], Name.U10_MS) == [9.0]


def test_a_control_alone_is_a_single_run(tmp_path: Path) -> None:
    assert only(tmp_path, wind(member=0)).kind == "single"


def test_a_member_that_lacks_a_field_is_missing_there_and_all_fields_have_the_same_members(tmp_path: Path) -> None:
    forecast = only(tmp_path, [*ensemble(3, wind()), Message(what="gust", member=1, values=12.0)])
    gust = forecast.fields[Name.GUST_MS]
    assert gust["member"].to_numpy().tolist() == [0, 1, 2]
    assert np.isnan(gust.to_numpy()).all(axis=(1, 2, 3)).tolist() == [True, False, True]
    assert "gust is missing in 2 of 3 fields (members times hours): unknown there" in forecast.notes


def mean_of_members(what: str) -> bytes:
    """A field as the mean of all members (product template 4.2)."""
    handle = eccodes.codes_new_from_message(Message(what=what).bytes())
    for key, value in {"productDefinitionTemplateNumber": 2, "derivedForecast": 0, "numberOfForecastsInEnsemble": 31}.items():
        eccodes.codes_set(handle, key, value)
    message = bytes(eccodes.codes_get_message(handle))
    eccodes.codes_release(handle)
    return message


def test_the_mean_of_an_ensemble_is_no_member_and_that_is_said(tmp_path: Path) -> None:
    path = write(tmp_path, ensemble(3, wind()))
    path.write_bytes(path.read_bytes() + mean_of_members("10u") + mean_of_members("10v"))
    forecast, = read([path])
    assert forecast.fields[Name.U10_MS]["member"].to_numpy().tolist() == [0, 1, 2]
    assert forecast.notes == ("message 7 (eastward wind at 10 m) is the mean or spread of an ensemble, which evens out every front "
                              "and squall, so it is not used: fetch the members or the control run (and 1 more like it: northward "
                              "wind at 10 m)",)


def test_the_same_message_twice_counts_once_and_a_second_that_differs_is_said(tmp_path: Path) -> None:
    assert only(tmp_path, wind() + wind()).notes == ()
    forecast = only(tmp_path, [*wind(values=4.0), Message(what="10u", values=7.0)])
    assert middle(forecast, Name.U10_MS) == [4.0]
    assert forecast.notes == ("made.grib2 message 3 (eastward wind at 10 m) gives a second time what came before, with other values: "
                              "the first is kept",)


def test_several_fields_in_one_message_are_all_read(tmp_path: Path) -> None:
    handles = [eccodes.codes_new_from_message(message.bytes()) for message in wind(values=Grid().plane(1))]
    multi = eccodes.codes_grib_multi_new()
    for handle in handles:
        eccodes.codes_grib_multi_append(handle, 4, multi)
    path = tmp_path / "multi.grib2"
    with path.open("wb") as out:
        eccodes.codes_grib_multi_write(multi, out)
    for handle in handles:
        eccodes.codes_release(handle)
    eccodes.codes_grib_multi_release(multi)
    assert path.read_bytes().count(b"GRIB") == 1
    forecast, = read([path])
    for name in (Name.U10_MS, Name.V10_MS):
        np.testing.assert_allclose(forecast.fields[name].to_numpy()[0, 0], Grid().plane(1), atol=1e-5)


def test_most_unstable_cape_is_preferred(tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what="cape", values=500.0), Message(what="mucape", values=900.0, centre="kwbc")])
    assert middle(forecast, Name.CAPE_JKG) == [900.0]


def test_a_guise_that_ends_early_gives_way_and_that_is_said(tmp_path: Path) -> None:
    messages = [Message(what="mucape", step=0, values=900.0), *(Message(what="cape", step=step, values=500.0) for step in (0, 6))]
    forecast = only(tmp_path, messages)
    assert middle(forecast, Name.CAPE_JKG) == [500.0, 500.0]
    assert forecast.notes == ("CAPE: cape at surface 0 is used, for mucape at mostUnstableParcel 0 does not reach to 6 h for every member",)


def test_swell_alone_is_not_the_sea_but_beside_the_sea_it_is_passed_over(tmp_path: Path) -> None:
    forecast = only(tmp_path, [Message(what="swh", values=3.0), Message(what="shts", values=2.0)])
    assert middle(forecast, Name.SEA_M) == [3.0]
    assert forecast.notes == ()
    assert only(tmp_path, [*wind(), Message(what="shts")]).notes == (
        "message 3 (wave height) is swell alone, not the whole sea: not used",)


def test_names_that_ecCodes_does_not_know_are_known_by_number(tmp_path: Path) -> None:  # noqa: N802
    """The same numbers from a centre for which ecCodes has no name: rain as a sum, CAPE at the ground."""
    messages = [Message(what="tp", step=(0, 6), statistic="accum", centre="egrr", values=6.0),
                Message(what="cape", centre="egrr", values=700.0)]
    handle = eccodes.codes_new_from_message(messages[0].bytes())
    assert eccodes.codes_get_string(handle, "shortName") == "unknown"
    eccodes.codes_release(handle)
    forecast = only(tmp_path, messages)
    assert middle(forecast, Name.CAPE_JKG) == [700.0]
    assert forecast.fields[Name.RAIN_KGM2S].to_numpy()[0, 0, 2, 2] * 3600 == pytest.approx(1.0, abs=1e-4)


# Times

def test_steps_in_minutes_and_uneven_steps(tmp_path: Path) -> None:
    forecast = only(tmp_path, [m for step in (30, 0, 90, 60, 300) for m in wind(step=step, step_unit="m", values=float(step))])
    assert hours(forecast, Name.U10_MS) == [0.0, 0.5, 1.0, 1.5, 5.0]
    assert middle(forecast, Name.U10_MS) == [0.0, 30.0, 60.0, 90.0, 300.0]


def test_a_field_that_ends_before_the_others_is_said(tmp_path: Path) -> None:
    forecast = only(tmp_path, [*wind(step=0), *wind(step=12), Message(what="gust", step=0)])
    assert forecast.notes == ("gust ends at 0 h, before the end of the forecast at 12 h",)


# Grids and boxes

NORTH_ATLANTIC = Grid(south=30, north=50, west=-60, east=-20, rows=21, columns=41)
COARSE = Grid(south=20, north=60, west=-70, east=-10, rows=9, columns=13)
PACIFIC = Grid(south=-20, north=0, west=170, east=190, rows=5, columns=5)


def test_of_two_grids_the_finer_that_covers_the_box_is_used_and_that_is_said(tmp_path: Path) -> None:
    messages = wind(grid=COARSE, values=1.0) + wind(grid=NORTH_ATLANTIC, values=2.0)
    inside = only(tmp_path, messages, Box(35, 45, -50, -40))
    assert float(inside.fields[Name.U10_MS].mean()) == 2.0
    assert inside.notes == ("eastward wind at 10 m comes on two grids: 35N to 45N, 50W to 40W every 1 degrees is used, "
                            "35N to 45N, 50W to 40W every 5 degrees is left out",)
    beyond = only(tmp_path, messages, Box(25, 45, -50, -40))
    assert float(beyond.fields[Name.U10_MS].mean()) == 1.0


def test_a_coarser_grid_that_reaches_further_ahead_stands_beside_the_finer(tmp_path: Path) -> None:
    near = [m for step in (0, 6) for m in wind(grid=NORTH_ATLANTIC, step=step)]
    far = [m for step in (0, 6, 12, 24) for m in wind(grid=COARSE, step=step)]
    found = read([write(tmp_path, near + far)])
    assert [hours(f, Name.U10_MS) for f in found] == [[0, 6], [0, 6, 12, 24]]
    assert "to 6 h" in found[0].notes[0]
    assert "to 24 h stands beside it as a forecast of its own" in found[0].notes[0]


def test_grids_apart_are_both_kept_without_a_box_and_the_box_chooses(tmp_path: Path) -> None:
    messages = wind(grid=NORTH_ATLANTIC) + wind(grid=PACIFIC)
    assert len(read([write(tmp_path, messages)])) == 2
    chosen = only(tmp_path, messages, Box(-15, -5, 175, -175))
    assert chosen.fields[Name.U10_MS]["longitude"].to_numpy().tolist() == [175, 180, 185]
    assert chosen.notes == ("message 1 (eastward wind at 10 m) covers 30N to 50N, 60W to 20W and does not reach the area asked for: fetch "
                            "the forecast for where she will be (and 1 more like it: northward wind at 10 m)",)


def test_only_the_box_and_what_encloses_it_is_kept(tmp_path: Path) -> None:
    field = only(tmp_path, wind(grid=NORTH_ATLANTIC, values=NORTH_ATLANTIC.plane(1)), Box(35.5, 38.0, -50.2, -48.7)).fields[Name.U10_MS]
    assert field["latitude"].to_numpy().tolist() == [35, 36, 37, 38]
    assert field["longitude"].to_numpy().tolist() == [-51, -50, -49, -48]
    np.testing.assert_allclose(field.to_numpy()[0, 0], NORTH_ATLANTIC.plane(1)[5:9, 9:13], atol=1e-5)


def test_a_box_that_reaches_beyond_the_grid_keeps_what_is_there_and_says_so(tmp_path: Path) -> None:
    forecast = only(tmp_path, wind(grid=NORTH_ATLANTIC), Box(45, 55, -50, -40))
    assert forecast.fields[Name.U10_MS]["latitude"].to_numpy()[-1] == 50
    assert forecast.notes == ("the forecast covers only a part of the area asked for (eastward wind at 10 m, northward wind at 10 m): "
                              "outside it nothing is known",)


def test_a_global_grid_has_no_seam(tmp_path: Path) -> None:
    globe = Grid(south=-90, north=90, west=0, east=350, rows=19, columns=36)
    plane = globe.plane(4)
    whole = only(tmp_path, wind(grid=globe, values=plane)).fields[Name.U10_MS]
    assert (whole["longitude"].to_numpy()[0], whole["longitude"].to_numpy()[-1]) == (0, 360)
    np.testing.assert_array_equal(whole.to_numpy()[..., 0], whole.to_numpy()[..., -1])
    across = only(tmp_path, wind(grid=globe, values=plane), Box(-20, 20, -15, 15)).fields[Name.U10_MS]
    assert across["longitude"].to_numpy().tolist() == [-20, -10, 0, 10, 20]
    np.testing.assert_allclose(across.to_numpy()[0, 0], plane[7:12][:, [34, 35, 0, 1, 2]], atol=1e-5)


def test_missing_values_without_a_bitmap_are_missing(tmp_path: Path) -> None:
    plane = Grid().plane(1)
    plane[1, 1] = 9999.0
    field = only(tmp_path, [Message(what="swh", values=plane, bits=16)]).fields[Name.SEA_M].to_numpy()[0, 0]
    assert np.isnan(field[1, 1])
    assert np.isnan(field).sum() == 1


def test_values_that_are_no_weather_are_said(tmp_path: Path) -> None:
    forecast = only(tmp_path, wind(values=500.0))
    assert forecast.notes[0] == "eastward wind at 10 m runs from 500 to 500 m s-1, which is not to be believed: do not rest on it"


def test_a_regular_gaussian_grid_keeps_its_own_latitudes(tmp_path: Path) -> None:
    handle = eccodes.codes_grib_new_from_samples("regular_gg_pl_grib2")
    for key, value in {"discipline": 0, "parameterCategory": 3, "parameterNumber": 1, "typeOfFirstFixedSurface": 101}.items():
        eccodes.codes_set(handle, key, value)
    latitudes = np.sort(np.unique(eccodes.codes_get_array(handle, "distinctLatitudes")))
    eccodes.codes_set_values(handle, np.full(eccodes.codes_get_size(handle, "values"), 101_000.0))
    path = tmp_path / "gaussian.grib2"
    path.write_bytes(eccodes.codes_get_message(handle))
    eccodes.codes_release(handle)
    field = read([path])[0].fields[Name.PRESSURE_PA]
    np.testing.assert_allclose(field["latitude"], latitudes)
    assert np.ptp(np.diff(latitudes)) > 1e-6  # not even, or the test shows nothing


def test_a_large_message_of_the_first_edition_is_read(tmp_path: Path) -> None:
    """Above 8 MB the first edition counts its length in units of 120 bytes."""
    grid = Grid(south=-60, north=60, west=-180, east=179, rows=1700, columns=2600)
    path = write(tmp_path, [Message(what="msl", edition=1, centre="ecmf", grid=grid, values=101_325.0 + grid.plane(1), bits=16),
                            Message(what="10u", edition=1, centre="ecmf"), Message(what="10v", edition=1, centre="ecmf")])
    assert path.read_bytes()[4] & 0x80
    found = read([path], Box(0, 1, 0, 1))
    assert {name for forecast in found for name in forecast.fields} == {Name.PRESSURE_PA}
    assert replace(found[0], fields={}).centre == "ecmf"
