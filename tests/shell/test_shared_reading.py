"""Reading by several copies of the process: in everything the same as reading here, and a copy that dies costs nothing but time."""

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from tests.made_gribs import Grid, Message, ensemble, wind, write
from watch.faults import BadInputError
from watch.forecast import grib, guarded, shared
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.frames import ALL, Frame, Share, frames
from watch.forecast.grib import read
from watch.forecast.guarded import read_guarded

ROOT = Path(__file__).resolve().parents[2]
SMALL = sorted((ROOT / "fixtures" / "small").iterdir())
REAL = ("ens51-gust6h-europe-2018112012.grib", "gust6h-north-atlantic-2011121512.grib", "wave-7days-indian-ocean-2016030106.grib1",
        "wind-0p25-wraps-greenwich.grib2", "all-fields-global-10deg-96h.grib2")


@pytest.fixture(autouse=True)
def _three_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also on a machine with one, and for small files; servers of other tests may be asleep in threads of this process."""
    monkeypatch.setattr(guarded, "alone", lambda: True)
    monkeypatch.setattr(shared, "cores", lambda: 3)
    monkeypatch.setattr(shared, "LEAST_BYTES", 0)


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    """An ensemble; then two steps more, rain as sums, a gust given twice with two values, and a field on a grid that is elsewhere."""
    plane = Grid().plane(3)
    rain = [Message(what="tp", step=(0, end), statistic="accum", values=end / 10) for end in (6, 12, 18)]
    twice = [Message(what="gust", step=12, values=plane), Message(what="gust", step=12, values=plane + 1)]
    elsewhere = Message(what="swh", grid=Grid(south=-40.0, north=-36.0))
    first = ensemble(4, [*wind(values=plane), Message(what="prmsl", values=101_000.0)])
    second = [*wind(step=12, values=plane, missing=True), *rain, *twice, elsewhere, *wind(step=18)]
    return [write(tmp_path, first, "first.grib2"), write(tmp_path, second, "second.grib2")]


def the_same(handed: tuple[Forecast, ...], here: tuple[Forecast, ...]) -> None:
    assert [(f.run, f.centre, f.kind, f.files, f.notes) for f in handed] == [(f.run, f.centre, f.kind, f.files, f.notes) for f in here]
    for a, b in zip(handed, here, strict=True):
        assert list(a.fields) == list(b.fields)
        for name in a.fields:
            xr.testing.assert_identical(a.fields[name], b.fields[name])
            assert a.fields[name].dtype == np.float32


def by_shares(paths: list[Path], box: Box | None = None) -> tuple[Forecast, ...]:
    """Not by the way that is taken when this one fails."""
    found = shared.read_shared(paths, box, 60.0)
    assert found is not None
    return found


@pytest.mark.parametrize("box", [None, Box(30.5, 32.5, -58.0, -56.0)], ids=["all", "box"])
@pytest.mark.parametrize("copies", [2, 3, 8, 50])
def test_shares_make_the_same_forecasts_and_notes(files: list[Path], monkeypatch: pytest.MonkeyPatch, copies: int, box: Box | None) -> None:
    monkeypatch.setattr(shared, "cores", lambda: copies)
    here = read(files, box)
    assert {note.split()[0] for forecast in here for note in forecast.notes} >= {"second.grib2"}  # what is said depends on the order
    the_same(by_shares(files, box), here)
    the_same(by_shares(files[::-1], box), read(files[::-1], box))


@pytest.mark.parametrize("path", SMALL, ids=lambda path: path.name)
def test_files_with_an_oddity_are_read_or_refused_in_the_same_words(path: Path) -> None:
    if (fault := refusal(read, path)) is None:
        the_same(by_shares([path]), read([path]))
    assert refusal(read_guarded, path) == fault


def refusal(reading: Callable[[list[Path]], object], path: Path) -> str | None:
    try:
        reading([path])
    except BadInputError as refused:
        return str(refused)
    return None


@pytest.mark.parametrize("name", REAL)
def test_real_files_are_read_the_same(real_data: Path, name: str) -> None:
    the_same(by_shares([real_data / "grib" / name]), read([real_data / "grib" / name]))


def test_odd_and_broken_real_files_are_read_or_refused_in_the_same_words(real_data: Path) -> None:
    paths = sorted([*(real_data / "grib-odd").iterdir(), *(real_data / "grib-broken").iterdir()])
    faults = {path: refusal(read, path) for path in paths}
    assert {path: refusal(read_guarded, path) for path in paths} == faults
    assert None in faults.values()
    for path in (path for path, fault in faults.items() if fault is None):
        the_same(by_shares([path]), read([path]))


def test_a_fault_in_any_share_is_the_first_that_is_met_in_the_file(files: list[Path]) -> None:
    for number in (11, 6):
        files[0].write_bytes(broken_sections(files[0].read_bytes(), number))
    with pytest.raises(BadInputError) as here:
        read(files)
    with pytest.raises(BadInputError, match="message 6") as handed:
        read_guarded(files)
    assert str(handed.value) == str(here.value)


def broken_sections(content: bytes, number: int) -> bytes:
    """The same bytes, where the first section of a message says a length that leads out of it."""
    starts = [at for at in range(len(content)) if content.startswith(b"GRIB", at)]
    at = starts[number - 1] + 16
    return content[:at] + (1 << 20).to_bytes(4, "big") + content[at + 4 :]


def coming_to_grief(act: Callable[[], object], always: bool) -> Callable[[Path, Share], Iterator[Frame]]:
    """Something happens over the third message of the second file: to any copy, or only to those that read a share."""
    def reading(path: Path, share: Share = ALL) -> Iterator[Frame]:
        for frame in frames(path, share):
            if path.name == "second.grib2" and frame.number == 3 and (always or share != ALL):
                act()
            yield frame
    return reading


def no_memory() -> None:
    raise MemoryError


def ours() -> None:
    raise ZeroDivisionError


@pytest.mark.parametrize("act", [os.abort, no_memory, ours, lambda: os._exit(0)], ids=["abort", "memory", "ours", "gone"])
def test_when_a_copy_comes_to_grief_over_its_share_all_is_read_as_ever(
    files: list[Path], monkeypatch: pytest.MonkeyPatch, act: Callable[[], object],
) -> None:
    here = read(files)
    monkeypatch.setattr(grib, "frames", coming_to_grief(act, always=False))
    assert shared.read_shared(files, None, 60.0) is None
    the_same(read_guarded(files), here)


@pytest.mark.parametrize(("act", "words"), [
    (os.abort, "stops the decoder dead: damaged inside"),
    (lambda: os._exit(0), "stops the decoder dead: damaged inside"),
    (lambda: time.sleep(60), "is not read in 1 seconds: damaged or far too large"),
    (no_memory, "takes more memory than there is: far too large, or damaged"),
], ids=["abort", "gone", "for ever", "memory"])
def test_the_file_that_brings_every_copy_down_is_named(
    files: list[Path], monkeypatch: pytest.MonkeyPatch, act: Callable[[], object], words: str, capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(grib, "frames", coming_to_grief(act, always=True))
    with pytest.raises(BadInputError) as error:
        read_guarded(files, seconds=1.0 if "1 seconds" in words else 60.0)
    assert str(error.value) == f"{files[1]}: {words}; fetch it again"
    assert capfd.readouterr() == ("", "")


@pytest.fixture(autouse=True)
def nobody_is_left_behind() -> Iterator[None]:
    """Each test ends with the processes it began with: others of this session may have some of their own."""
    before = children()
    yield
    assert children() == before


def children() -> set[str]:
    """The processes that this one has begun and not yet buried; none where the system does not say."""
    return {child for path in Path("/proc/self/task").glob("*/children") for child in path.read_text().split()}


def test_one_core_and_small_files_are_read_as_ever(files: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "LEAST_BYTES", sum(path.stat().st_size for path in files) + 1)
    assert shared.read_shared(files, None, 60.0) is None
    monkeypatch.setattr(shared, "LEAST_BYTES", 0)
    assert shared.read_shared(files, None, 60.0) is not None
    monkeypatch.setattr(shared, "cores", lambda: 1)
    assert shared.read_shared(files, None, 60.0) is None


def test_without_memory_without_a_name_a_file_without_a_name_serves(files: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "memfd_create")
    the_same(by_shares(files), read(files))
