"""The log as a sailor types it, on the command line: what is written, what is understood, what she then carries. All invented."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from watch.boat.rig import jobs_of, parse_state
from watch.cli import main
from watch.instruments.log_line import Kind, read_line, write_line
from watch.instruments.logged import jobs_meant, listed, misfits, state_after, state_told, understand
from watch.instruments.steps import Step
from watch.service.home import book_of
from watch.service.stand.store_memory import StoreMemory
from watch.service.store.store import Store
from watch.units import kn_to_ms
from watch.when import parse_utc

sys.path.insert(0, str(Path(__file__).parent))
from nights import boat

ROOT = Path(__file__).resolve().parents[2]
SLOOP = str(ROOT / "config" / "boat-sloop.toml")
NOW = parse_utc("2026-05-16T18:40Z")
Log = Callable[..., tuple[int, str, str]]


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    monkeypatch.setenv("NIGHTORDERS_HOME", str(tmp_path))
    monkeypatch.delenv("NIGHTORDERS_BOAT", raising=False)

    def run(*arguments: str, now: str = "2026-05-16T18:40:30Z") -> tuple[int, str, str]:
        result = CliRunner().invoke(main, ["log", "--now", now, *arguments])
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result.exit_code, result.stdout, result.stderr

    return run


def test_one_line_is_written_and_it_says_what_it_understood(log: Log) -> None:
    log("rig main: reef 3, genoa: below", "--boat", SLOOP, now="2026-05-16T18:00Z")
    code, out, err = log("storm jib up 22 min", "--boat", SLOOP)
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "Line 2: 2026-05-16T18:18Z bend on and set the storm jib 22 min; “storm jib up”",
        "Understood: “bend on and set the storm jib”, begun 18:18 UTC, done 18:40, 22 min. "
        "She then carries main: reef 3 · genoa: below · storm jib: set.",
    ]


def test_quotes_are_not_needed(log: Log) -> None:
    assert log("wind", "28", "gusts", "37", "sea", "3")[1].startswith("Line 1: 2026-05-16T18:40Z wind 28 gusts 37 sea 3\n")


def test_the_last_lines(log: Log) -> None:
    assert "The log is empty" in log()[1]
    for k in range(25):
        log(f"wind {k + 5}")
    shown = log()[1].splitlines()
    assert len(shown) == 20
    assert shown[-1] == "   25  2026-05-16T18:40Z wind 29"
    assert len(log("--all")[1].splitlines()) == 25


def test_a_correction_keeps_its_number_and_its_time(log: Log) -> None:
    log("storm jib up 22 min")
    log("wind 20", now="2026-05-16T19:00Z")
    code, out, _ = log("--correct", "1", "storm jib down 12 min", "--boat", SLOOP, now="2026-05-16T20:00Z")
    assert code == 0
    assert out.startswith("Corrected line 1: 2026-05-16T18:28Z lower the storm jib and stow it below 12 min")
    assert log()[1].splitlines()[0].endswith("(corrected)")
    assert log("--correct", "7", "wind 3")[::2] == (2, "--correct 7: there is no such line; see the numbers with: nightorders log --all\n")
    assert log("--correct", "1")[0] == 2


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("rig", "Not written: the rig is missing"),
        ("storm jib up 0 min", "Not written: "),
        ("wind 900", "Not written: wind 900 cannot be"),
        ("x" * 600, "Not written: this is no entry of the log"),
        ("wind 300 gusts", "Not written: "),
        ("a\x1b[2Jb 3 min", "Not written: this is no entry of the log"),
    ],
)
def test_what_is_no_line_is_refused_in_a_sentence(log: Log, typed: str, says: str) -> None:
    code, out, err = log(typed)
    assert (code, out) == (2, "")
    assert err.startswith(says)
    assert "The log is empty" in log()[1]


def test_the_boat_file_that_the_watch_stands_by_is_found_again(log: Log, tmp_path: Path) -> None:
    with Store.open(book_of(tmp_path), NOW) as store:
        store.put("boat_file", SLOOP)
    assert "“bend on and set the storm jib”, begun" in log("storm jib up 15 min")[1]


def test_what_the_watch_was_told_at_its_start_tells_which_job_is_meant(log: Log, tmp_path: Path) -> None:
    with Store.open(book_of(tmp_path), NOW) as store:
        store.put("rig_base", {"state": "main: reef 1, genoa: below", "line": 0})
    _, out, _ = log("third reef 18 min", "--boat", SLOOP, now="2026-05-16T18:30:00Z")
    assert "Understood: “put in the third reef”" in out
    assert "She then carries main: reef 3 · genoa: below · storm jib: below." in out
    _, out, _ = log("storm jib up 8 min", "--boat", SLOOP)
    assert "She then carries main: reef 3 · genoa: below · storm jib: set." in out
    with Store.open(book_of(tmp_path), NOW) as store:
        store.put("rig_base", {"state": "mizzen: full", "line": 0})
    _, out, _ = log("third reef 18 min", "--boat", SLOOP)
    assert "but it may be" in out, "told of another boat: it does not count"


def test_a_boat_file_that_is_gone_is_said(log: Log) -> None:
    assert log("third reef 15 min", "--boat", "/nowhere/boat.toml")[0] == 2


def test_where_she_is_by_hand_goes_into_the_log_and_the_track(log: Log, tmp_path: Path) -> None:
    def track() -> list[tuple[str, float, float, str]]:
        with Store.open(book_of(tmp_path), NOW) as store:
            kept = store.track(parse_utc("2026-05-01T00:00Z"))
            memory = StoreMemory(store, NOW).last_place()
        assert (memory is None) == (not kept)
        assert memory is None or (memory.at, memory.longitude) == (kept[-1].at, kept[-1].longitude_deg)
        return [(f"{p.at:%H:%M}", p.latitude_deg, p.longitude_deg, p.source) for p in kept]

    code, out, _ = log("at 36 30.0 N, 52 00.0 W")
    assert (code, out.splitlines()) == (0, ["Line 1: 2026-05-16T18:40Z at 36 30.0 N 052 00.0 W",
                                            "Understood: she was at 36 30.0 N 052 00.0 W, 18:40 UTC."])
    assert track() == [("18:40", 36.5, -52.0, "the skipper")]
    log("2026-05-16T17:00Z at 36.4, -52.5; by the sun")
    assert track() == [("17:00", 36.4, -52.5, "the skipper"), ("18:40", 36.5, -52.0, "the skipper")]
    assert log("--correct", "1", "2026-05-16T18:20Z at 36 30.0 N 51 00.0 W")[0] == 0
    assert track() == [("17:00", 36.4, -52.5, "the skipper"), ("18:20", 36.5, -51.0, "the skipper")]
    assert log("--correct", "2", "note that was no position")[0] == 0
    assert track() == [("18:20", 36.5, -51.0, "the skipper")]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("at 36 70.0 N, 52 00.0 W", "has 70 minutes"),
        ("at 36 30.0 N", "is no position: write it like"),
        ("at 96.0, 52", "96 is no latitude"),
        ("at nan, 52", ""),
        ("2026-05-16T19:00Z at 36 30.0 N, 52 00.0 W", "has not come yet: leave the time out"),
    ],
)
def test_a_position_that_is_none_is_refused(log: Log, typed: str, says: str) -> None:
    code, out, err = log(typed)
    if says:
        assert (code, out) == (2, "")
        assert says in err
    else:
        assert "Kept as a note" in out, "what does not begin with a number is not meant as a position"


def test_a_note_may_begin_with_at(log: Log) -> None:
    assert log("at dusk the wind veered")[1].startswith("Line 1: 2026-05-16T18:40Z note at dusk the wind veered")


# What the words mean


@pytest.mark.parametrize(
    ("words", "state", "meant"),
    [
        ("storm jib up", None, ["bend on and set the storm jib"]),
        ("set the storm jib", None, ["bend on and set the storm jib"]),
        ("storm jib down", None, ["lower the storm jib and stow it below"]),
        ("STORM JIB STOWED", None, ["lower the storm jib and stow it below"]),
        ("third reef", "main: reef 1", ["put in the third reef"]),
        ("reef 3 in", "main: reef 1", ["put in the third reef"]),
        ("3rd reef", "main: reef 1", ["put in the third reef"]),
        ("third reef", None, ["put in the third reef", "hoist the main to the third reef"]),
        ("third reef", "main: down", ["hoist the main to the third reef"]),
        ("main down", None, ["lower the main"]),
        ("lowered the main", None, ["lower the main"]),
        ("dropped the main", None, ["lower the main"]),
        ("genoa below", None, ["lower the genoa and stow it below"]),
        ("genoa rolled away", None, ["roll the genoa away"]),
        ("genoa half", "genoa: full", ["roll the genoa to half"]),
        ("genoa half", "genoa: rolled", ["unroll the genoa to half"]),
        ("genoa half", None, ["roll the genoa to half", "unroll the genoa to half"]),
        ("second reef", "main: reef 1", ["put in the second reef"]),
        ("second reef", "main: reef 3", ["shake out to the second reef"]),
        ("shook out to the first reef", None, ["shake out to the first reef"]),
        ("spinnaker up", None, []),
        ("the", None, []),
        ("", None, []),
    ],
)
def test_a_few_words_mean_a_job(words: str, state: str | None, meant: list[str]) -> None:
    known = None if state is None else parse_state(boat(), state)
    found = [job.name for job in jobs_meant(boat(), words, known)]
    assert sorted(found) == sorted(meant)


@pytest.mark.parametrize("name", ["sloop", "cutter"])
def test_every_job_means_itself(name: str) -> None:
    for job in jobs_of(boat(name)):
        assert {j.name for j in jobs_meant(boat(name), job.name)} == {job.name}
        entry = understand(f"{job.name} 12 min", NOW, boat(name)).entry
        assert (entry.kind, entry.what, entry.minutes) == (Kind.JOB, job.name, 12.0)


def test_what_may_be_two_jobs_is_kept_as_typed_and_asked() -> None:
    found = understand("genoa half 5 min", NOW, boat())
    assert found.entry.what == "genoa half"
    assert "it may be “roll the genoa to half” or “unroll the genoa to half”: say which with --correct" in found.says


def test_a_job_without_its_minutes_still_tells_what_she_carries() -> None:
    state = parse_state(boat(), "main: reef 2, genoa: below")
    found = understand("storm jib up; sheet jammed", NOW, boat(), state)
    assert found.entry.kind is Kind.RIG
    assert parse_state(boat(), found.entry.what).by_element == {"main": "reef 2", "genoa": "below", "storm jib": "set"}
    assert "How long it took was not said" in found.says
    unknown = understand("storm jib up", NOW, boat())
    assert unknown.entry.kind is Kind.NOTE
    assert "how many minutes it took is missing" in unknown.says


def test_every_line_that_is_understood_reads_back() -> None:
    state = parse_state(boat(), "main: reef 2, genoa: below")
    for typed in ("storm jib up 22 min", "storm jib up", "swell from the west; confused", "rig main: reef 3", "wind 20", "note 3 whales",
                  "2026-05-16T12:00-03:00 third reef 15 min gusts 40; dark", "at 36 30.04 S, 179 59.99 W; a star"):
        entry = understand(typed, NOW, boat(), state).entry
        assert read_line(write_line(entry)) == entry


# What she carries


def after(start: str, *lines: str) -> str:
    return str(state_after(boat(), parse_state(boat(), start), lines))


@pytest.mark.parametrize(
    ("lines", "carries"),
    [
        ((), "main: reef 1 · genoa: full · storm jib: below"),
        (("2026-05-16T12:00Z put in the second reef 15 min",), "main: reef 2 · genoa: full · storm jib: below"),
        (("2026-05-16T12:00Z lower the genoa and stow it below 25 min", "2026-05-16T12:30Z bend on and set the storm jib 20 min"),
         "main: reef 1 · genoa: below · storm jib: set"),
        (("2026-05-16T12:30Z bend on and set the storm jib 20 min", "2026-05-16T12:00Z lower the genoa and stow it below 25 min"),
         "main: reef 1 · genoa: below · storm jib: set"),
        (("2026-05-16T12:00Z bend on and set the storm jib 20 min",), "main: reef 1 · genoa: full · storm jib: below"),
        (("2026-05-16T12:00Z rig main: down, genoa: rolled",), "main: down · genoa: rolled · storm jib: below"),
        (("2026-05-16T12:00Z fly a kite 20 min", "no line at all", "2026-05-16T12:00Z rig main: reef 9"),
         "main: reef 1 · genoa: full · storm jib: below"),
        (("2026-05-16T12:00Z wind 30", "2026-05-16T12:00Z note lower the main 5 min"), "main: reef 1 · genoa: full · storm jib: below"),
    ],
)  # fmt: skip
def test_a_job_done_changes_what_she_carries(lines: tuple[str, ...], carries: str) -> None:
    """Two headsails on one stay cannot be: such a line is not believed."""
    assert after("main: reef 1", *lines) == carries


def test_what_does_not_fit_is_said() -> None:
    state = parse_state(boat(), "main: reef 1")
    said = misfits(boat(), state, ["2026-05-16T12:00Z bend on and set the storm jib 20 min", "2026-05-16T13:00Z fly a kite 20 min", "??",
                                   "2026-05-16T14:00Z shake out to the second reef 9 min"])  # fmt: skip
    assert len(said) == 4
    assert "“??”" in said[0]
    assert "does not fit what she carries by the log" in said[1]
    assert "the boat file has no job “fly a kite”" in said[2]
    assert "by the log the main was reef 1; it is taken to be reef 2 now" in said[3]
    assert misfits(boat(), state, ["2026-05-16T12:00Z put in the second reef 15 min"]) == ()


def test_the_log_alone_tells_it_only_from_the_first_rig_entry_on_and_up_to_a_time() -> None:
    lines = ["2026-05-16T12:00Z put in the second reef 15 min"]
    assert state_told(boat(), lines, NOW) is None
    lines += ["2026-05-16T13:00Z rig main: reef 2, genoa: half", "2026-05-16T14:00Z put in the third reef 15 min"]
    at_two, at_three = (state_told(boat(), lines, parse_utc(f"2026-05-16T1{h}:00Z")) for h in (4, 5))
    assert at_two == parse_state(boat(), "main: reef 2, genoa: half")
    assert at_three == parse_state(boat(), "main: reef 3, genoa: half")
    assert at_three is not None
    assert parse_state(boat(), listed(at_three)) == at_three


# What the boat file claims beside what was sailed


def test_limits_beside_what_was_experienced(log: Log, tmp_path: Path) -> None:
    begin = parse_utc("2026-05-16T12:00Z").timestamp()
    with Store.open(book_of(tmp_path), NOW) as store:
        store.add_step(*(Step(start_s=begin + 600.0 * k, mean_ms=kn_to_ms(24.0), gust_ms=kn_to_ms(31.0), from_deg=200.0, heading_deg=90.0)
                         for k in range(12)))  # fmt: skip
    log("2026-05-16T12:00Z rig main: reef 1", "--boat", SLOOP)
    log("2026-05-16T14:10Z second reef 31 min wind 24 gusts 31", "--boat", SLOOP)
    before = Path(SLOOP).read_bytes()
    code, out, _ = log("--limits", "--boat", SLOOP)
    text = " ".join(out.split())
    assert code == 0
    assert "one reef and genoa, 75 to 180 degrees says: mean 21, gusts 31 kn (practised to 22 kn) was: carried 2.0 h; an hour in all in 24 kn" in text
    assert "It was carried above its working limit of 21 kn for an hour in all" in text
    assert "put in the second reef" in text
    assert "done 1 time, usually 31 min, at most 31; in up to 24 kn, gusts to 31 kn" in text
    assert max(map(len, out.splitlines())) <= 80
    assert Path(SLOOP).read_bytes() == before, "suggestions, never changes"


def test_limits_without_a_log_say_what_is_lacking(log: Log) -> None:
    code, out, _ = log("--limits", "--boat", SLOOP)
    assert code == 0
    assert "What she carried is not known: the log has no rig entry" in " ".join(out.split())
    assert "No instruments were recorded" in out
    assert log("--limits")[0] == 2
    assert log("--limits", "wind 3", "--boat", SLOOP)[0] == 2
