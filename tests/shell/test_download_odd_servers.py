"""Servers that ignore, lie, refuse, are late, busy or changing, or answer with a page: what the download makes of them."""

from collections.abc import Iterator
from email.utils import format_datetime
from pathlib import Path

import pytest

from tests.shell.shore import RUN, ShipClock, fetched, messages, partly, path_of, plan_for, stock, wanted_bytes, whole
from tests.shell.wire import Wire, breaks_after, but, ignores_range, properly, says, wire
from watch.forecast.budget import Reason
from watch.forecast.contract import Name

FILE = path_of(3)
INDEX = FILE + ".idx"


@pytest.fixture
def shore() -> Iterator[Wire]:
    with wire() as state:
        stock(state, 3, 6, 9)
        yield state


def query_path(shore: Wire) -> str:
    return plan_for(shore, 3, layout="query").requests[0].url.removeprefix(shore.base)


def leftovers(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.rglob("*") if p.is_file() and not p.name.startswith(".plan-") and p.suffix != ".grib")


def test_a_server_that_ignores_ranges_is_read_once_from_the_start(shore: Wire, tmp_path: Path) -> None:
    shore.always[FILE] = ignores_range
    found = whole(fetched(plan_for(shore, 3), tmp_path))
    assert found.paths[0].read_bytes() == wanted_bytes(3)
    assert len(shore.ranges(FILE)) == 1, "one stream gives all ranges"
    assert found.spent.bytes < 180_000


def test_it_is_not_read_on_beyond_the_last_byte_wanted(shore: Wire, tmp_path: Path) -> None:
    shore.always[FILE] = but(lambda _s, h, _b: (200, {k: v for k, v in h.items() if k != "Content-Range"} | {"Content-Length": 60_000_000},
                                                shore.files[FILE] + bytes(1_000_000)))
    found = whole(fetched(plan_for(shore, 3, fields=(Name.U10_MS,)), tmp_path, max_bytes=200_000))
    assert found.paths[0].read_bytes() == messages(3)[0]
    assert found.spent.bytes < 80_000


def test_a_server_of_whole_files_only_is_left_when_the_budget_does_not_bear_it(shore: Wire, tmp_path: Path) -> None:
    for step in (3, 6, 9):
        shore.always[path_of(step)] = ignores_range
    found = partly(fetched(plan_for(shore, 3, 6, 9), tmp_path, max_bytes=400_000))
    assert found.reason == Reason.WHOLE_ONLY
    assert found.spent.bytes < 20_000
    assert "gives whole files only, here 0.2 MB each" in found.sentence


def test_whole_files_after_a_break_keep_what_came(shore: Wire, tmp_path: Path) -> None:
    shore.todo[FILE] = [breaks_after(50_000)]
    shore.always[FILE] = ignores_range
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


@pytest.mark.source("http-ranges-1")
@pytest.mark.parametrize("said", ["bytes 1-70006/174018", "bytes 0-70006/174018", "bytes 0-70005/5", "bytes */174018",
                                  "items 0-70005/174018", "", "bytes 70005-0/174018", "bytes 10000-70005/174018"])
def test_a_part_that_is_not_the_one_asked_for_is_not_taken(shore: Wire, tmp_path: Path, said: str) -> None:
    shore.always[FILE] = but(lambda s, h, b: (s, {k: v for k, v in h.items() if k != "Content-Range"} | {"Content-Range": said}, b))
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, len(shore.ranges(FILE))) == (Reason.ANSWER, 1)
    assert "not taken" in found.sentence
    assert list(tmp_path.rglob("*.grib")) == []


@pytest.mark.source("http-ranges-1")
def test_a_shorter_part_than_asked_for_is_taken_and_the_rest_asked_for(shore: Wire, tmp_path: Path) -> None:
    shore.todo[FILE] = [but(lambda s, h, b: (s, {**h, "Content-Range": "bytes 0-999/174018", "Content-Length": 1000}, b[:1000]))]
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)
    assert shore.ranges(FILE)[1] == "bytes=1000-70005"


@pytest.mark.parametrize("lie", [-1, -5000, 1, 5000])
def test_a_lie_about_the_length_of_a_part_does_not_get_through(shore: Wire, tmp_path: Path, lie: int) -> None:
    shore.todo[FILE] = [but(lambda s, h, b: (s, {**h, "Content-Length": len(b) + lie}, b))]
    assert whole(fetched(plan_for(shore, 3), tmp_path, stall_s=0.3)).paths[0].read_bytes() == wanted_bytes(3)


@pytest.mark.parametrize("lie", [-1, -60_000, 1])
def test_a_lie_about_the_length_of_a_whole_file_does_not_get_through(shore: Wire, tmp_path: Path, lie: int) -> None:
    path = query_path(shore)
    shore.files[path] = wanted_bytes(3)
    shore.todo[path] = [but(lambda s, h, b: (s, {**h, "Content-Length": len(b) + lie}, b))]
    assert whole(fetched(plan_for(shore, 3, layout="query"), tmp_path, stall_s=0.3)).paths[0].read_bytes() == wanted_bytes(3)


def test_more_bytes_than_announced_are_not_taken(shore: Wire, tmp_path: Path) -> None:
    def endless(_s, h, b):  # type: ignore[no-untyped-def]
        return 206, {k: v for k, v in h.items() if k != "Content-Length"} | {"Connection": "close"}, b + b"junk" * 50_000

    shore.todo[FILE] = [but(endless)] * 3
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


@pytest.mark.parametrize("status", [403, 404, 410])
def test_what_is_not_there_yet_is_told_and_asked_for_later(shore: Wire, tmp_path: Path, status: int) -> None:
    shore.todo[path_of(6) + ".idx"] = [says(status)]
    ship = ShipClock()
    found = partly(fetched(plan_for(shore, 3, 6, 9), tmp_path, ship))
    assert (found.reason, len(found.paths), found.lacking) == (Reason.NOT_YET, 1, ("+6 h", "+9 h"))
    assert found.sentence == f"{shore.base}{path_of(6)}.idx is not there yet ({status}): try later"
    assert found.retry_at is not None
    assert found.retry_at > ship.clock.now()
    assert ship.waits == []


@pytest.mark.source("http-ranges-1")
@pytest.mark.parametrize(("headers", "waits"), [
    ({"Retry-After": "7"}, [7.0]),
    ({"Retry-After": "Thu, 14 May 2026 12:00:33 GMT", "Date": "Thu, 14 May 2026 12:00:00 GMT"}, [33.0]),
    ({"Retry-After": format_datetime(RUN, usegmt=True), "Date": format_datetime(RUN, usegmt=True)}, [0.0]),
    ({"Retry-After": "soon"}, [1.5]),
    ({}, [1.5]),
])
@pytest.mark.parametrize("status", [429, 503])
def test_a_busy_server_is_left_alone_for_as_long_as_it_asks(
    shore: Wire, tmp_path: Path, status: int, headers: dict[str, str], waits: list[float],
) -> None:
    shore.todo[INDEX] = [says(status, b"busy", **{key.replace("-", "_"): value for key, value in headers.items()})]
    ship = ShipClock()
    whole(fetched(plan_for(shore, 3), tmp_path, ship))
    assert ship.waits == waits


def test_a_server_that_asks_for_an_hour_gets_it_from_a_later_fetch(shore: Wire, tmp_path: Path) -> None:
    shore.todo[INDEX] = [says(429, Retry_After="3600")]
    ship = ShipClock()
    found = partly(fetched(plan_for(shore, 3), tmp_path, ship))
    assert (found.reason, ship.waits) == (Reason.BUSY, [])
    assert found.retry_at is not None
    assert (found.retry_at - ship.at).total_seconds() == 3600.0


def test_a_server_that_fails_again_and_again_ends_it(shore: Wire, tmp_path: Path) -> None:
    path = query_path(shore)
    shore.always[path] = says(500, b"<html>field not found</html>")
    found = partly(fetched(plan_for(shore, 3, layout="query"), tmp_path, tries=3))
    assert found.reason == Reason.ANSWER
    assert "a field or a step that it does not have can be why (500); tried 3 times" in found.sentence


@pytest.mark.parametrize("status", [400, 401, 405, 451])
def test_other_refusals_end_it_at_once(shore: Wire, tmp_path: Path, status: int) -> None:
    shore.todo[INDEX] = [says(status)]
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, len(shore.asked)) == (Reason.ANSWER, 1)


PAGE = b"<!DOCTYPE html><html><head><title>Wait</title><style>p{}</style></head><body><p>Too many\nrequests &amp; more</p>" + b"x" * 90_000


def test_a_page_with_status_200_is_no_forecast_and_not_read_to_its_end(shore: Wire, tmp_path: Path) -> None:
    path = query_path(shore)
    shore.always[path] = says(200, PAGE, Content_Type="text/html")
    found = partly(fetched(plan_for(shore, 3, layout="query"), tmp_path))
    assert found.reason == Reason.NOT_GRIB
    assert found.sentence.startswith(f'{shore.base}/2026051412.f003 gave words instead of GRIB: "Wait Too many requests & more xxx')
    assert len(found.sentence) < 250
    assert found.spent.bytes < 40_000
    assert leftovers(tmp_path) == []


def test_a_page_in_place_of_an_index_or_of_a_part(shore: Wire, tmp_path: Path) -> None:
    shore.todo[INDEX] = [says(200, PAGE[:200] + b"\n")]
    assert "is a web page, not GRIB" in partly(fetched(plan_for(shore, 3), tmp_path)).sentence
    shore.todo[FILE] = [says(200, PAGE, Content_Type="text/html; charset=utf-8")]
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, "gave words" in found.sentence) == (Reason.NOT_GRIB, True)
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


@pytest.mark.parametrize(("text", "words"), [
    (b"", "is empty"), (b"1:0:d=2026051412:UGRD:10 m above ground:3 hour fcst:\n2:40", "its last line breaks off"),
    (b"1:0:d=2026051406:UGRD:10 m above ground:3 hour fcst:\n", "line 1 is of another run than 2026-05-14 12Z"),
    (b"1:0:d=2026051412:UGRD:10 m above ground:6 hour fcst:\n", "has none of the fields asked for at +3 h"),
    (b"one:0:d=2026051412:UGRD:surface:3 hour fcst:\n", 'line 1 = "one:0:d=2026051412:UGRD:surface:3 hour fcst:": an index line, like'),
    (b"1:-5:d=2026051412:UGRD:surface:3 hour fcst:\n", "an index line, like"),
])
def test_an_index_that_is_none_or_of_something_else(shore: Wire, tmp_path: Path, text: bytes, words: str) -> None:
    shore.files[INDEX] = text
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, words in found.sentence) == (Reason.ANSWER, True), found.sentence
    assert [a.path for a in shore.asked] == [INDEX]


@pytest.mark.parametrize("tags", [('"one"', '"two"'), ("", "")])
def test_a_file_that_changes_while_it_comes_is_begun_anew_with_its_new_index(shore: Wire, tmp_path: Path, tags: tuple[str, str]) -> None:
    shore.tags[FILE] = tags[0]
    from tests.shell.wire import message, text_index
    later = [message(len(one) + 700, seed=500 + number) for number, one in enumerate(messages(3))]

    def changes(state, sock, asked):  # type: ignore[no-untyped-def]
        properly(state, sock, asked)
        state.files[FILE], state.tags[FILE] = b"".join(later), tags[1]
        state.files[INDEX] = text_index(later, "2026051412", "3 hour fcst")
        return False

    shore.todo[FILE] = [changes]
    found = whole(fetched(plan_for(shore, 3), tmp_path))
    u, v, _, gust, _, cape = later
    assert found.paths[0].read_bytes() == u + v + gust + cape
    assert sum(a.path == INDEX for a in shore.asked) == 2


def test_a_file_that_keeps_changing_is_left_for_later(shore: Wire, tmp_path: Path) -> None:
    count = 0

    def restless(state, sock, asked):  # type: ignore[no-untyped-def]
        nonlocal count
        count += 1
        state.tags[FILE] = f'"{count}"'
        return properly(state, sock, Asked_without_condition(asked))

    def Asked_without_condition(asked):  # type: ignore[no-untyped-def]  # noqa: N802
        return type(asked)(asked.method, asked.path, {k: v for k, v in asked.headers.items() if k != "if-range"})

    shore.always[FILE] = restless
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, "changed on the server while it was coming" in found.sentence) == (Reason.CHANGED, True)
    assert leftovers(tmp_path) == []
    assert count == 4


def test_an_index_that_does_not_agree_with_its_file(shore: Wire, tmp_path: Path) -> None:
    shore.files[INDEX] = shore.files[INDEX].replace(b":40003:", b":39990:")
    found = partly(fetched(plan_for(shore, 3, fields=(Name.U10_MS,)), tmp_path))
    assert (found.reason, "does not agree with its index" in found.sentence) == (Reason.CHANGED, True)
    assert found.spent.bytes < 40_000, "told by the first bytes, not by the last"
    shore.files[path_of(6)] = shore.files[path_of(6)][:1000]
    found = partly(fetched(plan_for(shore, 6), tmp_path))
    assert found.reason in (Reason.CHANGED, Reason.LINK)
    assert list(tmp_path.rglob("*.grib")) == []


def test_a_message_that_is_damaged_on_the_server_never_counts(shore: Wire, tmp_path: Path) -> None:
    data = bytearray(shore.files[FILE])
    data[len(messages(3)[0]) - 1] = 0
    shore.files[FILE] = bytes(data)
    found = partly(fetched(plan_for(shore, 3), tmp_path))
    assert (found.reason, "is damaged: message 1 at byte 0" in found.sentence) == (Reason.DAMAGED, True)
    assert list(tmp_path.rglob("*.grib")) == []
    assert leftovers(tmp_path) == []


def test_what_the_reader_refuses_never_counts(shore: Wire, tmp_path: Path) -> None:
    given: list[bytes] = []

    def reader(path: Path) -> str | None:
        given.append(path.read_bytes())
        return "message 2 is damaged"

    found = partly(fetched(plan_for(shore, 3), tmp_path, is_readable=reader))
    assert (found.reason, found.sentence) == (Reason.DAMAGED, f"{shore.base}{FILE} message 2 is damaged")
    assert given == [wanted_bytes(3)] * 2
    assert list(tmp_path.rglob("*.grib")) == []
