"""The forecast files of the demo and the small odd ones: made by the scripts, small, each odd in just the way its name says."""

import doctest
import importlib
import platform
from pathlib import Path

import eccodes
import numpy as np
import pytest

from fixtures import make_demo, make_small
from fixtures.make_demo import BASE
from fixtures.read_back import read_back, stack

FOLDER = Path(make_demo.__file__).parent
SMALL = FOLDER / "small"
RUN, BEFORE, ENSEMBLE = (FOLDER / f"kittiwake-{name}.grib2" for name in ("2026051612", "2026051600", "2026051612-ensemble"))
MODULES = ("lows", "airs", "seas", "skies", "encode", "make_demo", "make_small", "read_back", "storms")
WIND = {"10u", "10v", "gust", "prmsl"}
KEPT_TO = {"prmsl": 1.0, "cape": 10.0, "dirpw": 1.0, "r850": 1.0}  # the finest difference a file can show; 0.1 otherwise
SAME_BYTES = eccodes.codes_get_api_version() == make_demo.MADE_WITH and platform.machine() == "x86_64"
TORN = ("cut-short.grib2", "not-grib.grib2")


@pytest.mark.source("squall-1")
def test_gusts_are_never_below_the_mean_in_any_file() -> None:
    files = [RUN, BEFORE, ENSEMBLE, *(p for p in SMALL.glob("*.grib2") if p.name not in TORN)]
    checked = 0
    for path in files:
        fields = {(one.name, one.member, one.to_h): one.values for one in read_back(path)}
        for (name, member, hour), gust in fields.items():
            if name == "gust":
                mean = np.hypot(fields["10u", member, hour], fields["10v", member, hour])
                assert np.all(gust >= mean), f"{path.name} member {member} +{hour} h"
                checked += gust.size
    assert checked > 300_000


@pytest.mark.parametrize(("path", "most_bytes", "fields"), [
    (RUN, 1_200_000, {"10u", "10v", "gust", "prmsl", "cape", "tp", "2t", "swh", "perpw", "dirpw", "t850", "r850", "u850", "v850",
                      "u500", "v500"}),
    (BEFORE, 400_000, {"10u", "10v", "gust", "prmsl", "cape", "swh", "perpw", "dirpw"}),
    (ENSEMBLE, 700_000, {"10u", "10v", "gust", "prmsl"})])
def test_the_files_are_small_and_hold_the_fields_by_their_standard_names(path: Path, most_bytes: int, fields: set[str]) -> None:
    assert path.stat().st_size <= most_bytes
    assert {one.name for one in read_back(path)} == fields


@pytest.mark.parametrize(("path", "make"), [(RUN, make_demo.run), (BEFORE, make_demo.run_before), (ENSEMBLE, make_demo.ensemble)])
def test_the_script_makes_the_files_again(path: Path, make: object, tmp_path: Path) -> None:
    again = tmp_path / path.name
    again.write_bytes(b"".join(make()))  # type: ignore[operator]
    for one, two in zip(read_back(path), read_back(again), strict=True):
        assert (one.name, one.member, one.base, one.from_h, one.to_h) == (two.name, two.member, two.base, two.from_h, two.to_h)
        assert np.abs(one.values - two.values).max() <= 1.01 * KEPT_TO.get(one.name, 0.1)
    if not SAME_BYTES:
        pytest.skip(f"values agree; bytes are compared under ecCodes {make_demo.MADE_WITH} on x86_64 only")
    assert again.read_bytes() == path.read_bytes()


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_the_docstrings_hold(name: str) -> None:
    outcome = doctest.testmod(importlib.import_module(f"fixtures.{name}"))
    assert outcome.failed == 0


def test_members_beyond_the_last_are_refused() -> None:
    with pytest.raises(ValueError, match="0 to 20"):
        make_demo.member(21)
    assert set(make_small.FILES) == {path.name for path in SMALL.iterdir()}


# The small ones

def test_the_small_files_are_small_and_made_by_the_script() -> None:
    for name, make in make_small.FILES.items():
        kept = (SMALL / name).read_bytes()
        assert len(kept) < 20_000
        if SAME_BYTES:
            assert make() == kept, name


def test_gust_missing_has_wind_and_pressure_only() -> None:
    assert {one.name for one in read_back(SMALL / "gust-missing.grib2")} == WIND - {"gust"}


def test_gust_max_is_edition_1_and_over_six_hours() -> None:
    path = SMALL / "gust-max-6h.grib1"
    assert path.read_bytes()[7] == 1
    read = read_back(path)
    gusts = [one for one in read if one.name == "10fg6"]
    assert [(one.from_h, one.to_h) for one in gusts] == [(end - 6, end) for end in range(6, 37, 6)]
    ends = {(one.name, one.to_h): one.values for one in read}
    for one in gusts:  # the highest gust of six hours is no lower than the mean wind at their end
        assert np.all(one.values >= np.hypot(ends["10u", one.to_h], ends["10v", one.to_h]) - 0.1)


def test_wave_only_has_no_wind() -> None:
    assert {one.name for one in read_back(SMALL / "wave-only.grib2")} == {"swh", "perpw", "dirpw"}


def test_the_antimeridian_is_crossed_without_a_seam() -> None:
    read = read_back(SMALL / "wraps-antimeridian.grib2")
    first = read[0]
    assert first.lon[0] < 180.0 < first.lon[-1] == 186.0
    with (SMALL / "wraps-antimeridian.grib2").open("rb") as file:
        handle = eccodes.codes_grib_new_from_file(file)
        assert eccodes.codes_get(handle, "longitudeOfLastGridPointInDegrees") == 186.0
        eccodes.codes_release(handle)
    _, pressure = stack(read, "prmsl")
    second = np.abs(np.diff(pressure, n=2, axis=2))
    assert second[:, :, 4:7].max() <= second.max()  # 180 E is column 6: no jump of its own there
    assert np.abs(np.diff(pressure, axis=2)).max() < 600.0


def test_land_masks_the_waves_and_not_the_wind() -> None:
    read = read_back(SMALL / "land-masked-waves.grib2")
    lat, lon = read[0].lat, read[0].lon
    land = (lat[:, None] >= 38.0) & (lon[None, :] % 360.0 <= 307.0)
    for one in read:
        assert np.array_equal(np.isnan(one.values), land if one.name in ("swh", "perpw", "dirpw") else np.zeros_like(land))


def test_steps_are_irregular_and_ends_early_ends_early() -> None:
    hours, _ = stack(read_back(SMALL / "steps-irregular.grib2"), "10u")
    assert set(np.diff(hours)) == {1.0, 2.0, 3.0, 6.0, 9.0, 18.0}
    assert max(one.to_h for one in read_back(SMALL / "ends-early.grib2")) == 9


def test_cut_short_is_whole_up_to_the_tear() -> None:
    content = (SMALL / "cut-short.grib2").read_bytes()
    whole = content[: content.rindex(b"7777") + 4]
    assert whole.count(b"GRIB") == 32
    with pytest.raises(eccodes.CodesInternalError):
        read_back(SMALL / "cut-short.grib2")


def test_a_page_is_not_grib() -> None:
    content = (SMALL / "not-grib.grib2").read_bytes()
    assert b"GRIB" not in content
    assert content.startswith(b"<!DOCTYPE html>")


def test_one_member_lacks_its_later_steps() -> None:
    last: dict[int, int] = {}
    for one in read_back(SMALL / "one-member-missing-steps.grib2"):
        last[one.member] = max(last.get(one.member, 0), one.to_h)
    assert last == {0: 30, 1: 12, 2: 30}


def test_the_older_run_is_two_days_older() -> None:
    assert {one.base for one in read_back(SMALL / "run-older.grib2")} == {BASE - np.timedelta64(48, "h")}
