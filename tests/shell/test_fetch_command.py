"""`nightorders fetch` against a server on this machine: the size first, what came in sentences, and what is no use never counts."""

import socket
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.made_gribs import Grid, Message
from tests.shell.shore import BOX, RUN, SOURCES, ShipClock, source
from tests.shell.wire import Wire, breaks_after, but, resets, says, wire
from watch.cli import main
from watch.commands import fetch as command
from watch.forecast.budget import Budget, Reason
from watch.forecast.download import Fetched, Partial, read_sources
from watch.forecast.errands import Had, after_fetch, due
from watch.forecast.fetching import fetch_run, had_in
from watch.forecast.framing import walk
from watch.forecast.grib import read
from watch.forecast.trial import Trial, TrialError
from watch.ready import ready

ROOT = Path(__file__).resolve().parents[2]
STEPS = (0, 3, 6)
NAMES = ("UGRD:10 m above ground", "VGRD:10 m above ground", "GUST:surface")
ADDRESSES = {step: f"/2026051412.f{step:03d}" for step in range(0, 49, 3)}


def stock(shore: Wire, steps: tuple[int, ...] = STEPS) -> None:
    """A run of wind and gust, every field of it real GRIB, with index lines."""
    for step in steps:
        parts = [Message(what=what, step=step, run="20260514 1200", values=Grid().plane(step + n)).bytes()
                 for n, what in enumerate(("10u", "10v", "gust"))]
        at, lines = 0, ""
        for number, (part, name) in enumerate(zip(parts, NAMES, strict=True), start=1):
            lines += f"{number}:{at}:d=2026051412:{name}:{'anl' if step == 0 else f'{step} hour fcst'}:\n"
            at += len(part)
        shore.files[ADDRESSES[step]], shore.files[ADDRESSES[step] + ".idx"] = b"".join(parts), lines.encode()


@pytest.fixture
def shore() -> Iterator[Wire]:
    with wire() as state:
        yield state


class Aboard:
    """A folder, a sources file of the shore's, and a clock that only waits."""

    def __init__(self, shore: Wire, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.to, self.sources, self.ship = folder / "forecasts", folder / "sources.toml", ShipClock()
        url = "{base}/{yyyymmdd}{HH}.f{step:03}"
        text = SOURCES.format(base=shore.base, layout="text-index", url=url, index=url + ".idx")
        spare = text.replace('id = "shore"', 'id = "spare"\nenabled = false')
        self.sources.write_text(text.replace("40000", "300").replace("30000", "300") + spare, encoding="utf-8")
        monkeypatch.setattr(command, "ship_clock", lambda: self.ship.clock)

    def fetch(self, *more: str, hours: int = 6) -> Result:
        given = ["--sources", str(self.sources), "--box", "30 N, 34 N, 60 W, 55 W", "--hours", str(hours), "--to", str(self.to), *more]
        return CliRunner().invoke(main, ["fetch", *given])

    @property
    def files(self) -> list[str]:
        return sorted(path.name[:-14] for path in self.to.rglob("*.grib"))


@pytest.fixture
def aboard(shore: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Aboard:
    stock(shore)
    return Aboard(shore, tmp_path, monkeypatch)


def test_the_size_is_told_and_no_server_asked(shore: Wire, aboard: Aboard) -> None:
    done = aboard.fetch("--size-only")
    assert done.exit_code == 0, done.output
    assert done.stdout == ("For 30 00.0 N 060 00.0 W to 34 00.0 N 055 00.0 W, 6 hours ahead:\n"
                           "  shore, run of Thu 14 May 12Z: about 0.2 MB in 3 files\n"
                           "In all about 0.2 MB.\nNothing was asked of any server.\n")
    assert shore.asked == []


def test_nothing_is_spent_unasked(shore: Wire, aboard: Aboard) -> None:
    done = aboard.fetch()
    assert (done.exit_code, done.stderr) == (2, "Nobody is there to be asked: say --yes to fetch, or --size-only.\n")
    over = aboard.fetch("--yes", "--at-most", "0.1")
    assert over.exit_code == 2
    assert "over the limit of 0.1 MB" in over.stderr
    assert shore.asked == []


def test_a_forecast_is_fetched_and_can_be_read(shore: Wire, aboard: Aboard) -> None:
    done = aboard.fetch("--yes")
    assert done.exit_code == 0, done.output
    folder = aboard.to / "shore-2026051412"
    assert f"nightorders brief --forecast {folder} ..." in done.stdout
    assert "whole: 3 files, " in done.stdout
    assert "Forecast: invented" in done.stdout
    assert "cape_jkg" in done.stdout, "what the files do not hold is said"
    forecast, = read(sorted(folder.glob("*.grib")))
    assert forecast.fields["u10_ms"].sizes["time"] == 3  # type: ignore[index]
    asked = len(shore.asked)
    again = aboard.fetch("--yes")
    assert "Everything is here already." in again.stdout
    assert (again.exit_code, len(shore.asked)) == (0, asked + 1), "one question, whether a newer run is there"


def test_a_source_that_is_not_enabled_is_fetched_when_named(shore: Wire, aboard: Aboard) -> None:
    done = aboard.fetch("--yes", "--source", "spare")
    assert done.exit_code == 0
    assert {path.name for path in aboard.to.iterdir()} == {"spare-2026051412"}


def test_a_break_is_told_and_the_next_fetch_goes_on(shore: Wire, aboard: Aboard) -> None:
    shore.always[ADDRESSES[6]] = breaks_after(0)
    done = aboard.fetch("--yes")
    assert done.exit_code == 0, "two of three came"
    assert "NOT WHOLE: " in done.stdout
    assert "2 files are here" in done.stdout
    assert "lacking: +6 h\n" in done.stdout
    assert "it goes on from here" in done.stdout
    assert aboard.ship.waits, "it waited between tries, by the clock that it was given"
    shore.always.clear()
    before = len(shore.asked)
    assert "whole: 3 files" in aboard.fetch("--yes").stdout
    assert not [asked for asked in shore.asked[before:] if asked.path in (ADDRESSES[0], ADDRESSES[3])]


@pytest.mark.parametrize(("behaviour", "words"), [
    (says(403), "none of the last"),
    (says(404), "none of the last"),
    (says(503, Retry_After="4000"), "the server is busy (503)"),
    (says(429, Retry_After="4000"), "the server is busy (429)"),
    (says(302, Location="http://127.0.0.1:1/"), "the link broke"),
    (resets, "the link broke"),
    (says(200, b"<html>sign in", Content_Type="text/html"), "does the link want a sign-in first?"),
], ids=["403", "404", "503", "429", "away", "reset", "page"])
def test_when_nothing_can_be_had_it_says_why_and_ends_with_1(
    shore: Wire, aboard: Aboard, behaviour: Callable[[Wire, socket.socket, object], bool], words: str,
) -> None:
    aboard.ship.at = RUN + timedelta(hours=5)
    for hour in (*range(0, 24, 6),):
        for day in range(11, 15):
            for step in STEPS:
                shore.always[f"/202605{day}{hour:02d}.f{step:03d}.idx"] = behaviour  # type: ignore[assignment]
    done = aboard.fetch("--yes")
    assert done.exit_code == 1, done.output
    assert words in done.stdout
    assert aboard.files == []


def test_bytes_that_are_framed_like_grib_and_are_none_do_not_count(shore: Wire, aboard: Aboard) -> None:
    def spoilt(status: int, headers: dict[str, object], body: bytes) -> tuple[int, dict[str, object], bytes]:
        return status, headers, body[:16] + b"\xff" * (len(body) - 20) + body[-4:]

    shore.always[ADDRESSES[0]] = but(spoilt)
    done = aboard.fetch("--yes")
    assert done.exit_code == 1
    assert "NOT WHOLE: " in done.stdout
    assert "damaged" in done.stdout
    assert aboard.files == []


def test_the_limit_ends_it_with_the_nearest_hours_whole(shore: Wire, aboard: Aboard) -> None:
    stock(shore, tuple(range(0, 49, 3)))
    done = aboard.fetch("--yes", "--at-most", "0.01", "--begin-if-over", hours=48)
    assert done.exit_code == 0, done.output
    assert "NOT WHOLE: stopped at the limit of " in done.stdout
    assert 1 <= len(aboard.files) < 17
    assert aboard.files == [f"shore-2026051412-f{3 * number:03d}" for number in range(len(aboard.files))]
    assert shore.sent <= 10_000


BAD = [
    ([], "Where is the forecast wanted? Give either --route or --box."),
    (["--box", "30 N"], '--box: "30 N" is no box: write south, north, west, east'),
    (["--box", "45 N, 25 N, 70 W, 40 W"], "--box: a box needs -90 <= south < north <= 90"),
    (["--box", "25 N, 145 N, 70 W, 40 W"], "--box: "),
    (["--route", "nowhere.gpx"], "no such route file"),
    (["--box", "25, 45, -70, -40", "--source", "moon"], '--source: "moon" is not in '),
    (["--box", "25, 45, -70, -40", "--sources", "nowhere.toml"], "nowhere.toml: no such sources file"),
    (["--box", "25, 45, -70, -40", "--proxy", "radio"], "--proxy: an address that begins with https://"),
    (["--box", "25, 45, -70, -40", "--at-most", "0"], "--at-most"),
]


@pytest.mark.parametrize(("given", "said"), BAD, ids=[" ".join(given)[:40] for given, _ in BAD])
def test_what_is_wrong_is_said_in_a_sentence_with_exit_code_2(given: list[str], said: str) -> None:
    done = CliRunner().invoke(main, ["fetch", "--size-only", *given])
    assert done.exit_code == 2, done.output
    assert said in done.stderr
    assert "Traceback" not in done.output


def test_the_route_and_the_boat_give_box_and_hours() -> None:
    def told(*more: str) -> str:
        done = CliRunner().invoke(main, ["fetch", "--size-only", "--route", str(ROOT / "config" / "passage-bermuda-horta.toml"), *more])
        assert done.exit_code == 0, done.output
        return done.stdout

    alone, near = told(), told("--hours", "24", "--boat", str(ROOT / "config" / "boat-sloop.toml"))
    assert "96 hours ahead" in alone
    assert "us-global-box" in near
    assert "us-ensemble" not in near, "too much for a link at sea unless it is named"
    east = [float(text.split(" to ")[1].split()[3]) for text in (alone, near)]
    assert east[0] < east[1] < 64.0, "a day reaches less far than four, with the margin"


def test_what_is_shipped_stays_small_unless_named() -> None:
    shipped = read_sources(ready("config", "sources.toml"))
    assert [source.id for source in shipped.values() if source.enabled] == ["us-global-box"]


# One run, for the daemon

def test_a_run_is_fetched_with_every_file_tried_apart(shore: Wire, tmp_path: Path) -> None:
    stock(shore)
    got = fetch_run(source(shore.base), RUN, BOX, 6, tmp_path, budget=Budget(), clock=ShipClock().clock, random=lambda: 0.5)
    assert isinstance(got, Fetched)
    assert [read([path])[0].run for path in got.paths] == [RUN] * 3
    last = walk(shore.files[ADDRESSES[3]]).starts[2]
    assert shore.ranges(ADDRESSES[3]) == [f"bytes=0-{last - 1}", f"bytes={last}-"], "two fields that touch; the end of the last is not known"


def test_what_is_here_is_not_due_and_what_broke_off_is(shore: Wire, tmp_path: Path) -> None:
    stock(shore)
    here, now = source(shore.base), RUN + timedelta(hours=5)
    assert due([here], now, had_in(tmp_path)) == [(here, RUN)]
    shore.always[ADDRESSES[6]] = breaks_after(0)
    broken = fetch_run(here, RUN, BOX, 6, tmp_path, budget=Budget(), clock=ShipClock().clock, random=lambda: 0.5)
    assert isinstance(broken, Partial)
    assert due([here], now, had_in(tmp_path)) == [(here, RUN)]
    known = after_fetch(None, here.id, RUN, now, broken.reason, broken.retry_at)
    assert due([here], now, [known]) == []
    shore.always.clear()
    fetch_run(here, RUN, BOX, 6, tmp_path, budget=Budget(), clock=ShipClock().clock, random=lambda: 0.5)
    assert had_in(tmp_path) == (Had(source="shore", run=RUN, whole=True),)
    assert due([here], now, had_in(tmp_path)) == []


def test_when_no_process_apart_can_be_had_nothing_counts(shore: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def cannot(*_: object) -> None:
        raise TrialError("a process apart cannot be started (Cannot allocate memory)")

    stock(shore)
    monkeypatch.setattr(Trial, "of", cannot)
    got = fetch_run(source(shore.base), RUN, BOX, 6, tmp_path, budget=Budget(), clock=ShipClock().clock, random=lambda: 0.5)
    assert isinstance(got, Partial)
    assert (got.reason, got.paths) == (Reason.COMPUTER, ())
    assert got.sentence == "a process apart cannot be started (Cannot allocate memory): end other programs on this computer"
    monkeypatch.undo()
    before = len(shore.asked)
    again = fetch_run(source(shore.base), RUN, BOX, 3, tmp_path, budget=Budget(), clock=ShipClock().clock, random=lambda: 0.5)
    assert isinstance(again, Fetched)
    assert ADDRESSES[0] not in [asked.path for asked in shore.asked[before:]], "its bytes were kept"
