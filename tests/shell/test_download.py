"""The download from a proper server over a link that breaks, within limits that hold."""

import gzip
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shell.shore import ShipClock, fetched, messages, partly, path_of, plan_for, stock, wanted_bytes, whole
from tests.shell.wire import Wire, breaks_after, properly, resets, says, stalls_after, wire
from watch.forecast.budget import Budget, Reason
from watch.forecast.contract import Name
from watch.forecast.download import Progress, estimate

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


# ---- As it should be ------------------------------------------------------------------------------------------------------------

@pytest.mark.source("http-ranges-1")
def test_only_the_wanted_bytes_are_fetched_in_the_fewest_ranges(shore: Wire, tmp_path: Path) -> None:
    found = whole(fetched(plan_for(shore, 3), tmp_path))
    (path,) = found.paths
    assert path.read_bytes() == wanted_bytes(3)
    u, v, t, gust, p, _ = (len(one) for one in messages(3))
    assert shore.ranges(FILE) == [f"bytes=0-{u + v - 1}", f"bytes={u + v + t}-{u + v + t + gust - 1}", f"bytes={u + v + t + gust + p}-"]
    assert shore.ranges(INDEX) == [""]
    assert found.attribution == "Forecast: invented"
    assert leftovers(tmp_path) == []
    assert path.parent.name == "shore-2026051412"


def test_the_spending_told_is_what_crossed_the_wire(shore: Wire, tmp_path: Path) -> None:
    found = whole(fetched(plan_for(shore, 3, 6), tmp_path))
    received = found.spent.bytes
    sent_here = sum(len(f"{a.method} {a.path} HTTP/1.1\r\n") + sum(len(k) + len(v) + 4 for k, v in a.headers.items()) for a in shore.asked)
    assert received == pytest.approx(shore.sent + sent_here, rel=0.01)
    assert found.spent.exchanges == len(shore.asked) == 8


def test_earlier_steps_come_first_and_progress_is_told(shore: Wire, tmp_path: Path) -> None:
    told: list[Progress] = []
    found = whole(fetched(plan_for(shore, 9, 3, 6), tmp_path, progress=told.append))
    assert [path.read_bytes() for path in found.paths] == [wanted_bytes(step) for step in (3, 6, 9)]
    assert next(t.title for t in told if t.file == 2) == "+6 h"
    assert [t.bytes for t in told] == sorted(t.bytes for t in told)
    assert told[-1].file == told[-1].files == 3


def test_what_is_there_already_costs_nothing(shore: Wire, tmp_path: Path) -> None:
    whole(fetched(plan_for(shore, 3, 6), tmp_path))
    count = len(shore.asked)
    made = plan_for(shore, 3, 6)
    again = whole(fetched(made, tmp_path))
    assert (len(shore.asked), again.spent.bytes, len(again.paths)) == (count, 0, 2)
    assert estimate(made, tmp_path).bytes == 0
    assert estimate(made).bytes == 2 * 115_400


def test_a_field_that_the_file_does_not_have_is_told_and_the_rest_taken(shore: Wire, tmp_path: Path) -> None:
    found = whole(fetched(plan_for(shore, 3, fields=(Name.U10_MS, Name.RAIN_KGM2S)), tmp_path))
    assert found.notes == ("+3 h: rain_kgm2s not in the file",)
    assert found.paths[0].read_bytes() == messages(3)[0]


def test_a_query_is_fetched_whole(shore: Wire, tmp_path: Path) -> None:
    path = query_path(shore)
    shore.files[path] = wanted_bytes(3)
    found = whole(fetched(plan_for(shore, 3, layout="query"), tmp_path))
    assert found.paths[0].read_bytes() == wanted_bytes(3)
    assert shore.ranges(path) == [""]


def test_an_index_may_come_packed(shore: Wire, tmp_path: Path) -> None:
    packed = gzip.compress(shore.files[INDEX])
    shore.todo[INDEX] = [says(200, packed, Content_Encoding="gzip")]
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)
    assert shore.asked[0].headers["accept-encoding"] == "gzip"


def test_a_redirection_to_the_web_is_followed_and_to_anything_else_is_not(shore: Wire, tmp_path: Path) -> None:
    shore.files["/moved"] = shore.files[INDEX]
    shore.todo[INDEX] = [says(302, Location="/moved")]
    whole(fetched(plan_for(shore, 3), tmp_path))
    shore.todo[path_of(6) + ".idx"] = [says(302, bytes(300_000), Location="/nowhere")]
    assert partly(fetched(plan_for(shore, 6), tmp_path / "long")).spent.bytes < 2_000, "the body of a redirection is not read"
    for number, target in enumerate(("file:///etc/passwd", "ftp://127.0.0.1/x", "http://[bad", "http://h:99999/", "gopher:x")):
        shore.todo[path_of(6) + ".idx"] = [says(301, Location=target)]
        found = partly(fetched(plan_for(shore, 6), tmp_path / str(number)))
        assert (found.reason, "sends on to what is no web address" in found.sentence) == (Reason.ANSWER, True), target
    shore.always["/round.idx"] = says(302, Location="/round.idx")
    shore.todo[path_of(6) + ".idx"] = [says(302, Location="/round.idx")]
    found = partly(fetched(plan_for(shore, 6), tmp_path / "round"))
    assert "sends on and on" in found.sentence
    assert sum(a.path == "/round.idx" for a in shore.asked) == 5


# ---- Breaks, and going on -------------------------------------------------------------------------------------------------------

@pytest.mark.source("http-ranges-1")
@pytest.mark.parametrize("at", [0, 1, 3, 15, 16, 17, 16_384, 39_999, 70_005])
@pytest.mark.parametrize("tag", ['"one"', ""])
def test_a_break_goes_on_from_the_last_byte_that_came(shore: Wire, tmp_path: Path, at: int, tag: str) -> None:
    shore.tags[FILE] = tag
    shore.todo[FILE] = [breaks_after(at)]
    found = whole(fetched(plan_for(shore, 3), tmp_path))
    assert found.paths[0].read_bytes() == wanted_bytes(3)
    assert shore.ranges(FILE)[1] == f"bytes={at}-70005"
    assert [a.headers.get("if-range", "") for a in shore.asked if a.path == FILE][1:] == [tag] * 3 if at or tag else True
    assert found.spent.bytes < 120_000


def test_a_fetch_that_gave_up_goes_on_the_next_time(shore: Wire, tmp_path: Path) -> None:
    shore.tags[FILE] = '"one"'
    shore.todo[FILE] = [breaks_after(30_000)] + [resets] * 3
    first = partly(fetched(plan_for(shore, 3), tmp_path, tries=3))
    assert (first.reason, first.paths, first.lacking) == (Reason.LINK, (), ("+3 h",))
    assert "tried 3 times" in first.sentence
    asked = len(shore.asked)
    shore.todo.clear()
    second = whole(fetched(plan_for(shore, 3), tmp_path))
    assert second.paths[0].read_bytes() == wanted_bytes(3)
    assert [a.path for a in shore.asked[asked:]] == [FILE] * 3, "the index is not paid for twice"
    assert shore.asked[asked].range == "bytes=30000-70005"
    assert second.spent.bytes < 90_000
    assert leftovers(tmp_path) == []


def test_after_a_crash_only_what_was_safely_on_disk_is_believed(shore: Wire, tmp_path: Path) -> None:
    shore.todo[FILE] = [breaks_after(30_000)]
    partly(fetched(plan_for(shore, 3), tmp_path, tries=1))
    (note,) = tmp_path.rglob("*.part.json")
    said = json.loads(note.read_text())
    assert said["synced"] == 30_000
    note.write_text(json.dumps({**said, "synced": 20_000}))
    (part,) = tmp_path.rglob("*.part")
    part.write_bytes(part.read_bytes()[:20_000] + bytes(10_000))  # as a file system may leave it
    asked = len(shore.asked)
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)
    assert shore.asked[asked].range == "bytes=20000-70005"


@pytest.mark.parametrize("note", ["", "{", "[]", '{"synced": 5}', "null", '{"what": 1, "synced": "all"}', "\udcff"])
def test_a_note_that_cannot_be_read_means_beginning_anew(shore: Wire, tmp_path: Path, note: str) -> None:
    shore.todo[FILE] = [breaks_after(30_000)]
    partly(fetched(plan_for(shore, 3), tmp_path, tries=1))
    (path,) = tmp_path.rglob("*.part.json")
    path.write_bytes(note.encode("utf-8", "surrogateescape"))
    asked = len(shore.asked)
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)
    assert shore.asked[asked].range == "bytes=0-70005"


def test_bytes_that_went_bad_on_disk_are_fetched_once_more(shore: Wire, tmp_path: Path) -> None:
    shore.todo[FILE] = [properly, breaks_after(10_000)]
    partly(fetched(plan_for(shore, 3), tmp_path, tries=1))
    (part,) = tmp_path.rglob("*.part")
    data = bytearray(part.read_bytes())
    data[len(messages(3)[0]) - 2] ^= 0xFF  # the end mark of the first message
    part.write_bytes(bytes(data))
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


def test_silence_is_a_break_like_any_other(shore: Wire, tmp_path: Path) -> None:
    shore.todo[FILE] = [stalls_after(5_000), stalls_after(0)]
    ship = ShipClock()
    found = whole(fetched(plan_for(shore, 3), tmp_path, ship, stall_s=0.2))
    assert found.paths[0].read_bytes() == wanted_bytes(3)
    assert shore.ranges(FILE)[:3] == ["bytes=0-70005", "bytes=5000-70005", "bytes=5000-70005"]
    shore.todo[path_of(6)] = [stalls_after(0)] * 2
    given_up = partly(fetched(plan_for(shore, 6), tmp_path, stall_s=0.2, tries=2))
    assert "nothing came for a long time; tried 2 times" in given_up.sentence


def test_waits_double_with_a_spread_up_to_a_bound(shore: Wire, tmp_path: Path) -> None:
    shore.todo[INDEX] = [resets] * 6
    ship = ShipClock()
    whole(fetched(plan_for(shore, 3), tmp_path, ship, tries=9, backoff_s=2.0, max_wait_s=20.0))
    assert ship.waits == [1.5, 3.0, 6.0, 12.0, 15.0, 15.0]  # (0.5 + 0.5 * 0.5) of 2, 4, 8, 16, 20, 20: worked by hand


def test_an_exchange_that_brought_something_does_not_count_as_a_failure_in_a_row(shore: Wire, tmp_path: Path) -> None:
    shore.todo[FILE] = [breaks_after(8_000)] * 6
    ship = ShipClock()
    found = whole(fetched(plan_for(shore, 3), tmp_path, ship, tries=2, backoff_s=2.0))
    assert found.paths[0].read_bytes() == wanted_bytes(3)
    assert ship.waits == [1.5] * 6


def test_nobody_there(tmp_path: Path) -> None:
    with wire() as gone:
        made = plan_for(gone, 3)
    found = partly(fetched(made, tmp_path, tries=2))
    assert (found.reason, "the link broke; tried 2 times" in found.sentence) == (Reason.LINK, True)


def test_a_query_that_breaks_goes_on_only_when_the_server_can_tell_that_it_is_the_same(shore: Wire, tmp_path: Path) -> None:
    path = query_path(shore)
    shore.files[path] = wanted_bytes(3)
    for number, tag in enumerate(("", '"one"', 'W/"one"')):
        shore.tags[path] = tag
        shore.todo[path] = [breaks_after(60_000)]
        shore.asked.clear()
        assert whole(fetched(plan_for(shore, 3, layout="query"), tmp_path / str(number))).paths[0].read_bytes() == wanted_bytes(3)
        assert shore.ranges(path) == ["", "bytes=60000-" if tag == '"one"' else ""]


# ---- Limits ---------------------------------------------------------------------------------------------------------------------

def test_a_plan_over_the_limit_is_told_before_a_byte_is_spent(shore: Wire, tmp_path: Path) -> None:
    found = partly(fetched(plan_for(shore, 3, 6, 9), tmp_path, max_bytes=200_000))
    assert (found.reason, found.spent.bytes, shore.asked) == (Reason.TOO_BIG, 0, [])
    assert found.sentence == ("it would come to about 0.3 MB, over the limit of 0.2 MB: ask for fewer days, fewer fields or a smaller box, "
                              "or allow it to begin")
    assert found.lacking == ("+3 h", "+6 h", "+9 h")


def test_an_index_that_tells_of_more_than_was_thought_ends_it_before_the_data(shore: Wire, tmp_path: Path) -> None:
    from tests.shell.wire import message, text_index
    large = [message(900_000, 1), message(30_000, 2), *messages(3)[2:]]
    shore.files[INDEX] = text_index(large, "2026051412", "3 hour fcst")
    found = partly(fetched(plan_for(shore, 3), tmp_path, max_bytes=500_000))
    assert found.reason == Reason.TOO_BIG
    assert "about 1.0 MB" in found.sentence
    assert [a.path for a in shore.asked] == [INDEX]


@pytest.mark.parametrize("limit", [600, 1_500, 50_000, 100_000, 130_000])
def test_bytes_are_never_over_the_limit_and_are_not_lost(shore: Wire, tmp_path: Path, limit: int) -> None:
    made = plan_for(shore, 3, 6)
    received, rounds = 0, 0
    while True:
        found = fetched(made, tmp_path, max_bytes=limit, begin_if_over=True)
        assert found.spent.bytes <= limit + 1_500, "the headers of the last exchange at most"
        rounds += 1
        received += found.spent.bytes
        if not hasattr(found, "reason"):
            break
        assert partly(found).reason == Reason.TOO_BIG
        if limit < 2_000:
            assert found.paths == ()
            return
        assert rounds < 9
    assert [path.read_bytes() for path in found.paths] == [wanted_bytes(3), wanted_bytes(6)]
    assert received < 2 * 115_000 + rounds * 2_500 + 6_000


def test_the_nearest_days_are_whole_when_the_limit_ends_it(shore: Wire, tmp_path: Path) -> None:
    found = partly(fetched(plan_for(shore, 3, 6, 9), tmp_path, max_bytes=260_000, begin_if_over=True))
    assert [path.read_bytes() for path in found.paths] == [wanted_bytes(3), wanted_bytes(6)]
    assert found.lacking == ("+9 h",)
    assert found.sentence == "stopped at the limit of 0.3 MB"


def test_time_is_held_during_the_transfer(shore: Wire, tmp_path: Path) -> None:
    ship = ShipClock()

    def slow(_: Progress) -> None:
        ship.passed_s += 10.0

    found = partly(fetched(plan_for(shore, 3), tmp_path, ship, slow, max_seconds=45.0))
    assert (found.reason, found.sentence) == (Reason.TOO_LONG, "stopped at the limit of 1 minutes")
    assert 45.0 <= found.spent.seconds <= 60.0
    assert whole(fetched(plan_for(shore, 3), tmp_path)).paths[0].read_bytes() == wanted_bytes(3)


def test_a_wait_that_goes_beyond_the_time_left_is_not_begun(shore: Wire, tmp_path: Path) -> None:
    shore.todo[INDEX] = [resets] * 5
    ship = ShipClock()
    found = partly(fetched(plan_for(shore, 3), tmp_path, ship, max_seconds=4.0, backoff_s=2.0))
    assert (found.reason, ship.waits) == (Reason.LINK, [1.5])


def test_a_trickle_ends_at_the_time_limit(shore: Wire, tmp_path: Path) -> None:
    ship = ShipClock()
    trickled = []

    def trickle(state, sock, asked):  # type: ignore[no-untyped-def]
        sock.sendall(b"HTTP/1.1 206 X\r\nContent-Length: 70006\r\nContent-Range: bytes 0-70005/174018\r\n\r\n")
        for byte in shore.files[FILE]:
            if state.closing.wait(0.01):
                return False
            sock.sendall(bytes([byte]))
            trickled.append(byte)
        return False

    shore.todo[FILE] = [trickle]
    found = partly(fetched(plan_for(shore, 3), tmp_path, ship, lambda _: ship.sleep(1.0), max_seconds=20.0))
    assert found.reason == Reason.TOO_LONG
    assert len(trickled) < 60


@pytest.mark.parametrize("bad", [
    {"max_bytes": 0}, {"max_seconds": -1.0}, {"tries": 0}, {"stall_s": float("nan")}, {"proxy_url": "socks:x"}])
def test_a_budget_of_nothing_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"above nothing|address"):
        Budget(**bad)  # type: ignore[arg-type]
