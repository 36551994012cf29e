"""GRIB files with one fault each: refused with the exact sentence, nothing of them used; or read rightly."""

import contextlib
from collections.abc import Callable
from pathlib import Path

import eccodes
import numpy as np
import pytest

from tests.made_gribs import Grid, Message, wind, write
from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Name
from watch.forecast.grib import read
from watch.forecast.trial import read_apart

pytestmark = pytest.mark.source("broken-gribs-1")
PLAIN_GRID = "which is not read: fetch it on a plain latitude/longitude grid"


def refusal(path: Path, box: Box | None = None) -> str:
    with pytest.raises(BadInputError) as error:
        read([path], box)
    said = str(error.value)
    assert said.startswith(f"{path}: ")
    assert "\n" not in said
    return said.removeprefix(f"{path}: ")


# The files beside the project

@pytest.mark.parametrize(("name", "sentence"), [
    ("grib-broken/absurd-step.grib2", 'message 1 (rain) has an absurd time step ("6-1.12431e+15"); fetch it again'),
    ("grib-broken/cut-at-102400-0_gfs.t00z.pgrb2.0p25.f000.grib2", "not whole: ends inside message 1 at byte 102400; fetch it again"),
    ("grib-broken/cut-at-102400-2_gfs.t00z.pgrb2.0p50.f000.grib2", "not whole: ends inside message 1 at byte 102400; fetch it again"),
    ("grib-broken/cut-at-102400-5_gfs.t00z.pgrb2.1p00.f000.grib2", "not whole: ends inside message 3 at byte 102400; fetch it again"),
    ("grib-broken/cut-at-102400-7_geavg.t00z.pgrb2a.0p50.f003.grib2", "not whole: ends inside message 1 at byte 102400; fetch it again"),
    ("grib-broken/minimal_buffer_underrun.grib2", "not whole: ends inside message 1 at byte 159; fetch it again"),
    ("grib-broken/second-message-corrupt.grib",
     "message 1 at byte 0 is damaged (its end mark is not where its length says); fetch it again"),
    ("grib-odd/reduced_gg.grib", f"message 1 (eastward wind at 10 m) is on a reduced Gaussian grid, {PLAIN_GRID}"),
    ("grib-odd/regular_ll_wrong_increment.grib", "message 1 (temperature at 2 m) has 37 rows every 2 degrees, which do not fit the 180 "
     "degrees between its corners: fetch it again, or from elsewhere"),
    ("grib-odd/ensemble-mean-not-members.grib", "message 1 (pressure at mean sea level) is the mean or spread of an ensemble, which evens "
     "out every front and squall, so it is not used: fetch the members or the control run (and 5 more like it: temperature at 2 m, wind "
     "speed at 10 m, pressure at mean sea level)"),
    ("grib-odd/swell-ccsds-crosses-greenwich.grib2", "message 1 (wave height) is swell alone, not the whole sea: not used"),
    ("grib/all-fields-lambert-2018091700.grib2", f"message 1 (pressure at mean sea level) is on a Lambert grid, {PLAIN_GRID} (and 15 more "
     "like it: gust, eastward wind at 500 hPa, northward wind at 500 hPa, temperature at 850 hPa, relative humidity at 850 hPa, eastward "
     "wind at 850 hPa, northward wind at 850 hPa, pressure at mean sea level, temperature at 2 m, eastward wind at 10 m, northward wind "
     "at 10 m, rain, CAPE)"),
])
def test_files_beside_the_project_that_are_refused(real_data: Path, name: str, sentence: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert refusal(real_data / name) == sentence
    assert capfd.readouterr() == ("", "")  # the library is silent


@pytest.mark.parametrize("name", ["alternate-scanning.grib", "same-wind-packing-template5-0.grib2", "same-wind-packing-template5-2.grib2",
                                  "same-wind-packing-template5-3.grib2", "step_60m.grib", "two-grids-in-one-file-10u.grib"])
def test_odd_files_beside_the_project_that_are_read(real_data: Path, name: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert read([real_data / "grib-odd" / name])
    assert capfd.readouterr() == ("", "")


def test_temperatures_in_the_wrong_unit_are_said(real_data: Path) -> None:
    forecast, = read([real_data / "grib-odd" / "step_60m.grib"])
    assert forecast.notes == ("temperature at 2 m runs from -3.302 to 3.955 K, which is not to be believed: do not rest on it",)
    assert forecast.fields[Name.T2M_K].sizes["time"] == 73


# Files that are no GRIB at all

@pytest.mark.parametrize(("content", "sentence"), [
    (b"", "is empty: fetch it again"),
    (b"<!DOCTYPE html><html><body>The GRIB you asked for is not here</body></html>",
     "is a web page, not GRIB: the server answered in words, often to say why not; read them, then fetch it again"),
    (b"\xef\xbb\xbf\r\n<html>", "is a web page, not GRIB: the server answered in words, often to say why not; read them, then fetch it again"),
    (b"data file is not present: /data/gfs\n", "is text, not GRIB: read what it says, then fetch it again"),
    (b"\x1f\x8b\x08\x00rest", "is compressed (gzip): unpack it first"),
    (b"BZh91AY&SY", "is compressed (bzip2): unpack it first"),
    (b"CDF\x01rest", "is netCDF, not GRIB: fetch the forecast as GRIB"),
    (b"BUFR\x00\x00\x10\x04", "is BUFR (observations), not GRIB: fetch the forecast as GRIB"),
    (bytes(range(128, 256)) * 40, "is no GRIB: no message begins in it; fetch it again"),
    (b"\0" * 5000, "is no GRIB: no message begins in it; fetch it again"),
    (b"GRIB", "not whole: ends inside message 1 at byte 4; fetch it again"),
    (b"no GRIB data for this area", "is text, not GRIB: read what it says, then fetch it again"),
], ids=["empty", "page", "page with a mark", "text", "gzip", "bzip2", "netCDF", "BUFR", "noise", "zeros", "four letters", "the word"])
def test_files_that_are_no_grib(content: bytes, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "fetched.grib2"
    path.write_bytes(content)
    assert refusal(path) == sentence


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.grib2") == "there is no such file"
    assert refusal(tmp_path) == "is a folder: name the GRIB file itself"


# Whole files with one fault

def whole(folder: Path) -> bytes:
    return write(folder, wind(values=Grid().plane(1)) + wind(step=12, values=Grid().plane(2))).read_bytes()


def begins(content: bytes) -> list[int]:
    return [at for at in range(len(content)) if content[at : at + 4] == b"GRIB"]


def cut(content: bytes) -> bytes:
    return content[: begins(content)[2] + 50]


def cut_at_the_last_byte(content: bytes) -> bytes:
    return content[:-1]


def first_message_longer(content: bytes) -> bytes:
    return content[:15] + bytes([content[15] + 4]) + content[16:]


def second_mark_lost(content: bytes) -> bytes:
    at = begins(content)[1]
    return content[:at] + b"GRIX" + content[at + 4 :]


def second_end_lost(content: bytes) -> bytes:
    at = begins(content)[2]
    return content[: at - 4] + b"0000" + content[at:]


def unknown_edition(content: bytes) -> bytes:
    return content[:7] + b"\x03" + content[8:]


def section_too_long(content: bytes) -> bytes:
    return content[:19] + bytes([content[19] + 9]) + content[20:]


def month_thirteen(content: bytes) -> bytes:
    return content[:30] + b"\x0d" + content[31:]


def year_nine(content: bytes) -> bytes:
    return content[:28] + b"\x00\x09" + content[30:]


def far_step(content: bytes) -> bytes:
    at = content.index(b"\x04\x00\x00\x00\x00\x02\x02") - 4  # section 4: parameter 2, 2
    return content[: at + 18] + (9999).to_bytes(4, "big") + content[at + 22 :]


@pytest.mark.parametrize(("fault", "sentence"), [
    (cut, "not whole: ends inside message 3 at byte {size}; fetch it again"),
    (cut_at_the_last_byte, "not whole: ends inside message 4 at byte {size}; fetch it again"),
    (first_message_longer, "message 1 at byte 0 is damaged (its end mark is not where its length says); fetch it again"),
    (second_mark_lost, "bytes {second} to {third} after message 1 are no GRIB: damaged; fetch it again"),
    (second_end_lost, "message 2 at byte {second} is damaged (its end mark is not where its length says); fetch it again"),
    (unknown_edition, "message 1 at byte 0 is damaged (GRIB edition 3, where 1 or 2 is known); fetch it again"),
    (section_too_long, "message 1 at byte 0 is damaged (its sections do not add up at byte 46 of it); fetch it again"),
    (month_thirteen, "message 1 (eastward wind at 10 m) has a base time that is no date (2026-13-14 00:00); fetch it again"),
    (year_nine, "message 1 (eastward wind at 10 m) has an absurd base time (0009-05-14 00:00); fetch it again"),
    (far_step, 'message 1 (eastward wind at 10 m) has an absurd time step ("9999"); fetch it again'),
], ids=lambda value: getattr(value, "__name__", None))
def test_one_fault_in_a_whole_file(fault: Callable[[bytes], bytes], sentence: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    content = whole(tmp_path)
    path = tmp_path / "faulty.grib2"
    path.write_bytes(fault(content))
    at = begins(content)
    assert refusal(path) == sentence.format(size=path.stat().st_size, second=at[1], third=at[2])
    assert capfd.readouterr() == ("", "")


def test_every_cut_is_noticed(tmp_path: Path) -> None:
    content, path = write(tmp_path, wind()).read_bytes(), tmp_path / "cut.grib2"
    second = begins(content)[1]
    for size in (*range(1, 60), *range(60, second - 3, 7), *range(second - 3, second + 60), *range(second + 60, len(content), 7)):
        if size != second:  # a file that ends between two messages is whole as far as anyone can see
            path.write_bytes(content[:size])
            assert refusal(path) == f"not whole: ends inside message {1 + (size > second)} at byte {size}; fetch it again"


def test_padding_and_bulletin_lines_between_messages_are_no_fault(tmp_path: Path) -> None:
    first, second = (message.bytes() for message in wind())
    path = tmp_path / "bulletin.grib2"
    path.write_bytes(b"\x01\r\r\n001\r\r\nHUXA98 ECMF 140000\r\r\n" + first + b"\r\r\n\x03" + b"\0" * 3000 + second + b"\n")
    assert read([path])[0].has(Name.U10_MS, Name.V10_MS)


def with_keys(message: Message, **keys: object) -> bytes:
    handle = eccodes.codes_new_from_message(message.bytes())
    for key, value in keys.items():
        eccodes.codes_set(handle, key, value)
    content = bytes(eccodes.codes_get_message(handle))
    eccodes.codes_release(handle)
    return content


def of_sample(name: str, **keys: object) -> bytes:
    """10 m wind on another kind of grid, from ecCodes' samples."""
    handle = eccodes.codes_grib_new_from_samples(name)
    for key, value in {"discipline": 0, "parameterCategory": 2, "parameterNumber": 2, "typeOfFirstFixedSurface": 103,
                       "scaleFactorOfFirstFixedSurface": 0, "scaledValueOfFirstFixedSurface": 10, **keys}.items():
        eccodes.codes_set(handle, key, value)
    content = bytes(eccodes.codes_get_message(handle))
    eccodes.codes_release(handle)
    return content


@pytest.mark.parametrize(("content", "sentence"), [
    (lambda: of_sample("reduced_gg_pl_32_grib2"), f"is on a reduced Gaussian grid, {PLAIN_GRID}"),
    (lambda: of_sample("polar_stereographic_sfc_grib2"), f"is on a polar grid, {PLAIN_GRID}"),
    (lambda: of_sample("rotated_ll_sfc_grib2"), f"is on a rotated latitude/longitude grid, {PLAIN_GRID}"),
    (lambda: with_keys(Message(what="10u"), iDirectionIncrementInDegrees=0.25), "has 6 columns every 0.25 degrees, which do not fit the 5 "
     "degrees between its corners: fetch it again, or from elsewhere"),
    (lambda: with_keys(Message(what="10u"), latitudeOfFirstGridPointInDegrees=10), "runs from latitude 10 to 30 against its own scan "
     "order: fetch it again, or from elsewhere"),
], ids=["reduced", "polar", "rotated", "increment", "scan order"])
def test_grids_that_cannot_be_read_rightly(content: Callable[[], bytes], sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "grid.grib2"
    path.write_bytes(content())
    assert refusal(path) == f"message 1 (eastward wind at 10 m) {sentence}"


def test_a_needed_field_on_a_bad_grid_is_said_beside_those_that_are_read_and_others_are_passed_over(tmp_path: Path) -> None:
    path = write(tmp_path, wind())
    ice = of_sample("polar_stereographic_sfc_grib2", discipline=10, parameterCategory=2, parameterNumber=0)
    gust = of_sample("polar_stereographic_sfc_grib2", parameterNumber=22)
    path.write_bytes(path.read_bytes() + ice + gust)
    forecast, = read([path])
    assert forecast.notes == (f"message 4 (gust) is on a polar grid, {PLAIN_GRID}",)


def test_a_claim_of_too_many_points_is_refused_before_room_is_made(tmp_path: Path) -> None:
    content = bytearray(Message(what="10u").bytes())
    section = content.index(b"\x00\x00\x00\x48\x03")
    content[section + 30 : section + 34] = (60_000).to_bytes(4, "big")  # columns
    content[section + 34 : section + 38] = (30_000).to_bytes(4, "big")  # rows
    path = tmp_path / "huge.grib2"
    path.write_bytes(content)
    assert refusal(path) == "message 1 (eastward wind at 10 m) claims 1800000000 points, more than 60000000: fetch a smaller area"


def test_a_box_elsewhere_is_said(tmp_path: Path) -> None:
    assert refusal(write(tmp_path, wind()), Box(-40, -30, 100, 110)) == (
        "message 1 (eastward wind at 10 m) covers 30N to 34N, 60W to 55W and does not reach the area asked for: fetch the forecast for "
        "where she will be (and 1 more like it: northward wind at 10 m)")


def test_a_file_without_any_field_of_use(tmp_path: Path) -> None:
    assert refusal(write(tmp_path, [Message(what="ice"), Message(what="t300")])) == (
        "holds none of the fields that the watch reads (wind, gust, pressure, CAPE, rain, waves, temperature): fetch at least the wind "
        "at 10 m")


def test_one_bad_file_among_good_ones_is_named(tmp_path: Path) -> None:
    good, bad = write(tmp_path, wind()), tmp_path / "bad.grib2"
    bad.write_bytes(b"<html>")
    with pytest.raises(BadInputError, match=r"bad\.grib2: is a web page"):
        read([good, bad])


def test_damage_in_the_packed_data_is_refused_or_read_but_never_more(tmp_path: Path) -> None:
    """Any byte of a simply packed file changed: one sentence or a forecast, no other error, no warning."""
    content, path, rng = whole(tmp_path), tmp_path / "hit.grib2", np.random.default_rng(8)
    refusals = []
    for _ in range(200):
        hit = bytearray(content)
        hit[rng.integers(len(hit))] = rng.integers(256)
        path.write_bytes(hit)
        with contextlib.suppress(BadInputError):
            read([path])
            continue
        refusals.append(refusal(path))
    assert 10 < len(refusals) < 190


# A first reading apart

def test_a_good_file_passes_the_first_reading_and_a_bad_one_is_refused_there_as_here(tmp_path: Path) -> None:
    good = write(tmp_path, wind())
    read_apart([good])
    bad = write(tmp_path, [Message(what="ice")], "ice.grib2")
    with pytest.raises(BadInputError) as here:
        read([bad])
    with pytest.raises(BadInputError) as apart:
        read_apart([good, bad])
    assert str(apart.value) == str(here.value)


def pretended_python(folder: Path, lines: str) -> str:
    script = folder / "python"
    script.write_text(f"#!/bin/sh\n{lines}\n", encoding="utf-8")
    script.chmod(0o755)
    return str(script)


def test_a_file_that_stops_the_decoder_dead_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = [tmp_path / "a.grib2", tmp_path / "b.grib2", tmp_path / "c.grib2"]
    monkeypatch.setattr("sys.executable", pretended_python(tmp_path, "echo $3; echo $4; kill -ABRT $$"))
    with pytest.raises(BadInputError) as error:
        read_apart(paths)
    assert str(error.value) == f"{paths[1]}: stops the decoder dead: damaged inside; fetch it again"


def test_a_file_that_takes_for_ever_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.executable", pretended_python(tmp_path, "echo $3; exec sleep 5"))
    with pytest.raises(BadInputError) as error:
        read_apart([tmp_path / "a.grib2"], seconds=0.3)
    assert str(error.value) == f"{tmp_path / 'a.grib2'}: is not read in 0 seconds: damaged or far too large; fetch it again"


def test_a_real_file_with_damage_in_complex_packing_does_not_take_us_down(real_data: Path, tmp_path: Path) -> None:
    """This packing's decoder gives up the whole process on some damage; whatever it does, we live to say so."""
    content = bytearray((real_data / "grib-odd" / "same-wind-packing-template5-3.grib2").read_bytes())
    for at in range(400, len(content) // 2 - 400, 97):
        content[at] = 255 - content[at]
    path = tmp_path / "hit.grib2"
    path.write_bytes(content)
    with pytest.raises(BadInputError, match=r"stops the decoder dead|cannot be decoded"):
        read_apart([path])
