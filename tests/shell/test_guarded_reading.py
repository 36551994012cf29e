"""Reading by a copy of the process: the same forecasts, and whatever the decoder does, we live to say so."""

import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import xarray as xr
from click.testing import CliRunner

from tests.made_gribs import wind, write
from watch.cli import main
from watch.faults import BadInputError
from watch.forecast import guarded
from watch.forecast.grib import read
from watch.forecast.guarded import read_guarded

ALONE = guarded.alone
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Servers of other tests may be asleep in threads of this process."""
    monkeypatch.setattr(guarded, "alone", lambda: True)


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    return [write(tmp_path, wind()), write(tmp_path, wind(step=12), "later.grib2")]


def test_what_the_copy_hands_over_is_what_is_read_here(files: list[Path]) -> None:
    handed, here = read_guarded(files), read(files)
    assert [(f.run, f.centre, f.kind, f.files, f.notes) for f in handed] == [(f.run, f.centre, f.kind, f.files, f.notes) for f in here]
    for a, b in zip(handed, here, strict=True):
        assert a.fields.keys() == b.fields.keys()
        for name in a.fields:
            xr.testing.assert_identical(a.fields[name], b.fields[name])


def test_bad_files_are_refused_in_the_same_words(files: list[Path], tmp_path: Path) -> None:
    bad = tmp_path / "bad.grib2"
    bad.write_bytes(files[0].read_bytes()[:-9])
    with pytest.raises(BadInputError) as here:
        read([files[0], bad])
    with pytest.raises(BadInputError) as handed:
        read_guarded([files[0], bad])
    assert (str(handed.value), handed.value.faults) == (str(here.value), here.value.faults)


def second(act: Callable[[], object]) -> Callable[..., object]:
    """A reading that comes to grief over the second file."""
    def reading(paths: list[Path], box: object, begins: Callable[[int], None] = lambda _: None) -> object:
        begins(0)
        begins(1)
        return act()
    return reading


def no_memory() -> None:
    raise MemoryError


def children() -> set[str]:
    """The processes that this one has begun and not yet buried; none where the system does not say."""
    listed = list(Path("/proc/self/task").glob("*/children"))
    return {child for path in listed for child in path.read_text().split()}


@pytest.mark.parametrize(("act", "words"), [
    (os.abort, "stops the decoder dead: damaged inside"),
    (lambda: os.kill(os.getpid(), signal.SIGSEGV), "stops the decoder dead: damaged inside"),
    (lambda: time.sleep(60), "is not read in 2 seconds: damaged or far too large"),
    (no_memory, "takes more memory than there is: far too large, or damaged"),
], ids=["abort", "fault", "for ever", "memory"])
def test_a_file_that_brings_the_copy_down_is_named(
    files: list[Path], monkeypatch: pytest.MonkeyPatch, act: Callable[[], object], words: str, capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(guarded, "read", second(act))
    before = children()
    with pytest.raises(BadInputError) as error:
        read_guarded(files, seconds=2.0 if "2 seconds" in words else 60.0)
    assert str(error.value) == f"{files[1]}: {words}; fetch it again"
    assert capfd.readouterr() == ("", "")
    assert children() == before, "nobody is left behind"


def test_an_error_of_ours_is_told_as_it_is(files: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(guarded, "read", second(broken))
    with pytest.raises(ZeroDivisionError):
        read_guarded(files)


def test_beside_other_threads_no_copy_is_made(files: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    def never() -> int:
        raise AssertionError("a process with threads was copied")

    monkeypatch.setattr(os, "fork", never)
    monkeypatch.setattr(guarded, "alone", ALONE)
    done = threading.Event()
    other = threading.Thread(target=done.wait)
    other.start()
    try:
        assert len(read_guarded(files)) == len(read(files))
    finally:
        done.set()
        other.join()


def test_brief_outlives_damage_deep_in_a_real_file(real_data: Path, tmp_path: Path) -> None:
    content = bytearray((real_data / "grib-odd" / "same-wind-packing-template5-3.grib2").read_bytes())
    for at in range(400, len(content) // 2 - 400, 97):
        content[at] = 255 - content[at]
    path = tmp_path / "hit.grib2"
    path.write_bytes(content)
    done = CliRunner().invoke(main, [
        "brief", "--boat", str(ROOT / "config" / "boat-sloop.toml"), "--route", str(ROOT / "config" / "passage-bermuda-horta.toml"),
        "--forecast", str(path), "--now", "2026-05-14T12:00Z"])
    assert done.exit_code == 2
    assert str(path) in done.stderr
    assert "fetch it again" in done.stderr
