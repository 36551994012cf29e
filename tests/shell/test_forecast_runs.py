"""Which run is the newest on the server, which runs lie in the folder, and what may be cleared away."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.shell.shore import BOX, RUN, WANTED, ShipClock, fetched, partly, plan_for, source, stock, whole
from tests.shell.wire import Wire, resets, says, wire
from watch.forecast.budget import Budget, Reason
from watch.forecast.download import fetch
from watch.forecast.runs import NewestRun, drop_older, held_runs, newest_run
from watch.forecast.sources import plan

FIVE_LATER = RUN + timedelta(hours=5)


@pytest.fixture
def shore() -> Iterator[Wire]:
    with wire() as state:
        yield state


def index_path(run: datetime, step: int) -> str:
    return f"/{run:%Y%m%d%H}.f{step:03d}.idx"


def asked_for(shore: Wire, hours: int = 24, at: datetime = FIVE_LATER, **limits: float) -> NewestRun:
    return newest_run(source(shore.base), hours, Budget(stall_s=2.0, **limits), ShipClock(at=at).clock, random=lambda: 0.5)  # type: ignore[arg-type]


def test_the_newest_run_is_the_one_whose_last_step_is_there(shore: Wire) -> None:
    shore.files[index_path(RUN, 24)] = b"1\n"
    found = asked_for(shore)
    assert (found.run, found.reason) == (RUN, None)
    assert [(a.method, a.path) for a in shore.asked] == [("HEAD", index_path(RUN, 24))]
    assert found.spent.bytes < 1_000


def test_a_run_that_has_not_reached_the_last_step_needed_is_passed_over(shore: Wire) -> None:
    shore.files[index_path(RUN, 12)] = b"1\n"
    shore.files[index_path(RUN - timedelta(hours=6), 24)] = b"1\n"
    found = asked_for(shore)
    assert found.run == RUN - timedelta(hours=6)
    assert found.sentence == "the run of 14 May 12Z is not whole yet (late: usually whole by 17:00 UTC); the newest that is, is 14 May 06Z"
    assert asked_for(shore, hours=12).run == RUN
    assert asked_for(shore, hours=10).run == RUN, "the first step at or after the hours needed"


def test_a_run_too_young_to_be_there_is_not_asked_for(shore: Wire) -> None:
    for hours in (0, 6, 12):
        shore.files[index_path(RUN - timedelta(hours=hours), 24)] = b"1\n"
    assert asked_for(shore, at=RUN + timedelta(hours=2.9)).run == RUN - timedelta(hours=6)
    assert asked_for(shore, at=RUN + timedelta(hours=3)).run == RUN
    early = asked_for(shore, at=RUN + timedelta(hours=3.5), hours=24)
    assert early.sentence == "the newest run, 14 May 12Z, is there"


def test_beyond_the_end_of_a_run_its_own_last_step_counts(shore: Wire) -> None:
    shore.files[index_path(RUN, 48)] = b"1\n"
    assert asked_for(shore, hours=240).run == RUN


@pytest.mark.parametrize("status", [403, 404, 410])
def test_no_run_at_all(shore: Wire, status: int) -> None:
    for back in range(12):
        shore.always[index_path(RUN - timedelta(hours=6 * back), 24)] = says(status)
    found = asked_for(shore)
    assert (found.run, found.reason) == (None, Reason.NOT_YET)
    assert found.sentence == "shore: none of the last 8 runs is there"
    assert len(shore.asked) == 8


def test_a_server_that_does_not_answer_by_headers_is_asked_for_a_byte(shore: Wire) -> None:
    path = index_path(RUN, 24)
    shore.files[path] = b"1:0:d=2026051412:\n" * 500
    shore.todo[path] = [says(405)]
    found = asked_for(shore)
    assert found.run == RUN
    assert [(a.method, a.range) for a in shore.asked] == [("HEAD", ""), ("GET", "bytes=0-0")]


def test_a_link_that_wants_a_sign_in_is_told_and_ends_the_search(shore: Wire) -> None:
    shore.always[index_path(RUN, 24)] = says(302, Location="/welcome")
    shore.always["/welcome"] = says(200, b"<html>Welcome", Content_Type="text/html")
    found = asked_for(shore)
    assert (found.run, found.reason, len(shore.asked)) == (None, Reason.NOT_GRIB, 2)
    assert "does the link want a sign-in first?" in found.sentence


def test_a_link_that_breaks_is_tried_again_and_then_told(shore: Wire) -> None:
    path = index_path(RUN, 24)
    shore.files[path] = b"1\n"
    shore.todo[path] = [resets, says(503)]
    assert asked_for(shore).run == RUN
    shore.always[path] = resets
    found = asked_for(shore, tries=2)
    assert (found.run, found.reason) == (None, Reason.LINK)
    busy = says(503, Retry_After="7200")
    shore.always[path] = busy
    assert asked_for(shore).reason == Reason.BUSY


def test_what_lies_in_the_folder_is_known_from_the_folder(shore: Wire, tmp_path: Path) -> None:
    assert held_runs(tmp_path / "none") == ()
    stock(shore, 3, 6)
    partly(fetched(plan_for(shore, 3, 6, 9), tmp_path))
    (held,) = held_runs(tmp_path)
    assert (held.source, held.run, held.whole, len(held.paths)) == ("shore", RUN, False, 2)
    assert held.attribution == "Forecast: invented"
    stock(shore, 9)
    done = whole(fetched(plan_for(shore, 3, 6, 9), tmp_path))
    (held,) = held_runs(tmp_path)
    assert (held.whole, held.paths) == (True, done.paths)
    whole(fetched(plan_for(shore, 3), tmp_path))
    assert [(h.whole, len(h.paths)) for h in held_runs(tmp_path)] in ([(True, 3), (True, 1)], [(True, 1), (True, 3)])
    done.paths[1].unlink()
    assert sorted((h.whole, len(h.paths)) for h in held_runs(tmp_path)) == [(False, 2), (True, 1)]


@pytest.mark.parametrize("note", [b"", b"[]", b"{", b'{"files": 3, "attribution": ""}', b"\xff\xfe"])
def test_notes_and_folders_that_are_none_of_ours_are_passed_over(tmp_path: Path, note: bytes) -> None:
    for name in ("shore-2026051412", "shore-2026991412", "charts", "Shore-2026051412"):
        (tmp_path / name).mkdir()
        (tmp_path / name / ".plan-0123456789abcdef.json").write_bytes(note)
    (tmp_path / "shore-2026051500").write_bytes(b"a file, not a folder")
    assert held_runs(tmp_path) == ()


def test_the_newest_whole_runs_are_kept_and_what_is_older_may_go(shore: Wire, tmp_path: Path) -> None:
    runs = [RUN - timedelta(hours=6 * back) for back in range(5)]
    stock(shore, 3)
    for run in runs:
        for suffix in ("", ".idx"):
            like = shore.files["/2026051412.f003" + suffix]
            shore.files[f"/{run:%Y%m%d%H}.f003{suffix}"] = like.replace(b"2026051412", f"{run:%Y%m%d%H}".encode())
        made = plan(source(shore.base), run, BOX, [3], WANTED)
        fetch(made, tmp_path, Budget(), ShipClock().clock, random=lambda: 0.5)
    for path in held_runs(tmp_path)[0].paths:
        path.unlink()  # the newest is no longer whole
    with pytest.raises(ValueError, match="at least one"):
        drop_older(tmp_path, 0)
    assert drop_older(tmp_path, 4) == ()
    gone = drop_older(tmp_path, 2)
    assert [p.name for p in gone] == [f"shore-{run:%Y%m%d%H}" for run in sorted(runs[3:])]
    assert [(h.run, h.whole) for h in held_runs(tmp_path)] == [(runs[0], False), (runs[1], True), (runs[2], True)]
    assert drop_older(tmp_path, 3) == (), "as long as there are not enough whole ones nothing goes"
