"""The passage record of the sloop Kittiwake, from her log and her instruments; all of it invented."""

import math
import sys
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watch.instruments.beside_record import LimitRow, limits_beside_record
from watch.instruments.log_line import Kind, LogEntry, read_line, write_line
from watch.instruments.record import PassageRecord, make_record
from watch.instruments.steps import ObservedSteps, Step
from watch.units import kn_to_ms
from watch.when import parse_utc

sys.path.insert(0, str(Path(__file__).parent))
from nights import boat

NOON = parse_utc("2026-05-16T12:00Z")


def seen(table: list[tuple[int, float, float]], from_deg: float = 200.0) -> ObservedSteps:
    """(steps, mean kn, gust kn) one after the other from noon, heading 090."""
    rows, start_s = [], NOON.timestamp()
    for steps, mean, gust in table:
        for _ in range(steps):
            rows.append(Step(start_s=start_s, mean_ms=kn_to_ms(mean), gust_ms=kn_to_ms(gust), from_deg=from_deg, heading_deg=90.0))
            start_s += 600.0
    return ObservedSteps.of(rows)


def record(lines: list[str], table: list[tuple[int, float, float]], name: str = "sloop") -> PassageRecord:
    return make_record(boat(name), [read_line(line) for line in lines], seen(table))


def row(made: PassageRecord, name: str, sector: str | None = None) -> LimitRow:
    return next(r for r in limits_beside_record(boat(), made) if r.name == name and (sector is None or r.sector == sector))


def test_what_she_carried_in_what_wind_for_how_long() -> None:
    made = record(["2026-05-16T12:00Z rig main: reef 1", "2026-05-16T14:00Z put in the second reef 22 min",
                   "2026-05-16T14:30Z roll the genoa to half 5 min"], [(12, 18, 24), (12, 26, 33)])  # fmt: skip
    told = [(c.sail_plan, round((c.end - c.start) / timedelta(hours=1), 2)) for c in made.carried]
    assert told == [("one reef and genoa", 2.5), ("two or three reefs and genoa", pytest.approx(1 / 6, abs=0.01)),
                    ("two reefs and half genoa", pytest.approx(4 / 3, abs=0.01))]
    assert [(d.job, d.minutes, round(d.mean_kn), round(d.gust_kn)) for d in made.done] == [
        ("put in the second reef", 22.0, 26, 33), ("roll the genoa to half", 5.0, 26, 33)]
    assert (made.notes, made.unknown_h, made.without_wind_h) == ((), 0.0, 0.0)


def test_before_the_first_rig_entry_nothing_is_guessed() -> None:
    made = record(["2026-05-16T13:00Z rig main: reef 1"], [(12, 18, 24)])
    assert made.unknown_h == pytest.approx(1.0)
    assert sum((c.end - c.start) / timedelta(hours=1) for c in made.carried) == pytest.approx(1.0)
    none = record([], [(12, 18, 24)])
    assert none.carried == ()
    assert "has no rig entry" in none.notes[0]


def test_wind_that_was_not_observed_is_counted_as_such() -> None:
    made = record(["2026-05-16T12:00Z rig main: reef 1"], [(6, math.nan, math.nan), (6, 15, 20)])
    assert made.without_wind_h == pytest.approx(1.0)
    assert row(made, "one reef and genoa", "75 to 180 degrees").hours == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("2026-05-16T13:00Z dance on the foredeck 10 min", "has no job “dance on the foredeck”"),
        ("2026-05-16T13:00Z hoist the full main 20 min", "by the log the main was reef 1"),
        ("2026-05-16T13:00Z rig mizzen: full", "mizzen"),
    ],
)
def test_a_log_that_does_not_fit_is_said(line: str, says: str) -> None:
    made = record(["2026-05-16T12:00Z rig main: reef 1", line], [(12, 15, 20)])
    assert any(says in note for note in made.notes)


def test_the_practised_wind_grows_with_what_was_sailed() -> None:
    made = record(["2026-05-16T12:00Z rig main: reef 2, genoa: half"], [(7, 26.6, 33), (2, 40, 44)])
    found = row(made, "two reefs and half genoa", "75 to 180 degrees")
    assert found.hours == pytest.approx(1.5)
    assert found.sustained_kn == pytest.approx(26.6)
    assert found.gust_kn == pytest.approx(44)
    assert "A gust of 44 kn was met with it up, over its hard limit of 37" in found.suggestion
    assert "practised_to_kn" not in found.suggestion, "28 is claimed; 26 is no more than that"


def test_an_estimate_that_was_sailed_can_become_practised() -> None:
    made = record(["2026-05-16T12:00Z rig main: full, genoa: half"], [(6, 17.9, 22)])
    assert row(made, "full main and half genoa").suggestion == (
        'It was carried for an hour in all in 17 kn: rests_on could be "practised" (is "estimated"), and practised_to_kn could be 17.')
    short = record(["2026-05-16T12:00Z rig main: full, genoa: half"], [(5, 17.9, 22)])
    assert row(short, "full main and half genoa").suggestion == "", "fifty minutes are not an hour"


def test_what_is_practised_is_never_said_above_the_limit() -> None:
    made = record(["2026-05-16T12:00Z rig main: full, genoa: half"], [(12, 24.0, 27)])
    found = row(made, "full main and half genoa").suggestion
    assert "practised_to_kn could be 19" in found
    assert "above its working limit of 19" in found


@pytest.mark.parametrize(
    ("minutes", "says"),
    [((14,), ""), ((18,), "usually takes 18 min: minutes could be that, is 15"), ((25,), "usually takes 25 min"),
     ((26,), "longer than its 15 and 10 in reserve (1 of 1 times)"), ((14, 14, 40), "It took 40 min")],
)  # fmt: skip
def test_how_long_jobs_really_take(minutes: tuple[int, ...], says: str) -> None:
    lines = ["2026-05-16T12:00Z rig main: reef 1"]
    for k, minute in enumerate(minutes):
        lines += [f"2026-05-16T{13 + 2 * k}:00Z put in the second reef {minute} min",
                  f"2026-05-16T{14 + 2 * k}:00Z shake out to the first reef 5 min"]
    found = row(record(lines, [(48, 20, 26)]), "put in the second reef")
    assert found.times == len(minutes)
    assert found.longest_minutes == max(minutes)
    assert says in found.suggestion if says else found.suggestion == ""


def test_a_job_done_above_its_limits_makes_no_new_limit() -> None:
    made = record(["2026-05-16T12:00Z rig main: reef 1", "2026-05-16T13:00Z put in the second reef 14 min wind 34 gusts 42 sea 3"],
                  [(12, 20, 26)])
    found = row(made, "put in the second reef")
    assert (found.sustained_kn, found.gust_kn) == (34.0, 42.0)
    assert "one time that went well is no new limit" in found.suggestion
    assert "practised_to_kn could be 31" in found.suggestion


def test_an_unknown_angle_is_practised_in_no_sector() -> None:
    entries = [read_line("2026-05-16T12:00Z rig main: reef 1")]
    made = make_record(boat(), entries, seen([(12, 20, 26)], from_deg=math.nan))
    assert {r.hours for r in limits_beside_record(boat(), made) if r.name == "one reef and genoa"} == {0.0}


def test_wind_of_another_height_is_refused() -> None:
    with pytest.raises(ValueError, match="limits are at anemometer"):
        make_record(boat(), [], seen([(1, 10, 12)]).to_ten_metres(0.95))


# The log line


@pytest.mark.parametrize(
    ("line", "kind", "what", "minutes"),
    [
        ("2026-05-16T18:40Z put in the second reef 22 min", Kind.JOB, "put in the second reef", 22.0),
        ("2026-05-16T18:40-03:00 rig the inner stay 12 min sea 2 m", Kind.JOB, "rig the inner stay", 12.0),
        ("2026-05-16T18:40Z rig main: reef 1, genoa: half; after breakfast", Kind.RIG, "main: reef 1, genoa: half", None),
        ("2026-05-16T18:40Z wind 18 kn gusts 24", Kind.WEATHER, "", None),
        ("2026-05-16T18:40Z note swell; from the north west", Kind.NOTE, "swell; from the north west", None),
    ],
)
def test_a_line_is_read_and_written(line: str, kind: Kind, what: str, minutes: float | None) -> None:
    entry = read_line(line)
    assert (entry.kind, entry.what) == (kind, what)
    assert entry.minutes == minutes or (minutes is None and math.isnan(entry.minutes))
    assert write_line(read_line(write_line(entry))) == write_line(entry)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("", "no entry of the log"),
        ("yesterday put in a reef 5 min", "is no time"),
        ("2026-05-16T18:40 put in a reef 5 min", "no offset from UTC"),
        ("2026-05-16T18:40Z put in a reef", "how many minutes"),
        ("2026-05-16T18:40Z 22 min", "what was done is missing"),
        ("2026-05-16T18:40Z", "what was done is missing"),
        ("2026-05-16T18:40Z rig", "the rig is missing"),
        ("2026-05-16T18:40Z put in a reef 0 min", "how many minutes"),
        ("2026-05-16T18:40Z put in a reef 9000 min", "minutes 9000 cannot be"),
        ("2026-05-16T18:40Z put in a reef 5 min sea 45", "sea 45 cannot be"),
        ("2026-05-16T18:40Z note \x1b[2J", "no entry of the log"),
    ],
)
def test_a_faulty_line_says_how_to_write_it(line: str, says: str) -> None:
    with pytest.raises(ValueError, match=says) as fault:
        read_line(line)
    assert "\n" not in str(fault.value)


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        entry = read_line(f"2026-05-16T18:40Z {text}")
    except ValueError:
        return
    assert isinstance(entry, LogEntry)


@given(minutes=st.integers(1, 1440), wind=st.floats(0, 99), sea=st.none() | st.integers(0, 29))
def test_a_job_survives_being_written(minutes: int, wind: float, sea: int | None) -> None:
    entry = LogEntry(when=NOON, kind=Kind.JOB, what="put in the third reef", minutes=float(minutes), mean_kn=round(wind, 2),
                     sea_m=math.nan if sea is None else float(sea), remark="wet")
    back = read_line(write_line(entry))
    np.testing.assert_equal(vars(back), vars(entry))
