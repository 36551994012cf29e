"""What is worth fetching when, and which forecasts may go: at their exact edges, and under random histories."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from watch.forecast.budget import Reason
from watch.forecast.catalogue import Cycle, Source
from watch.forecast.errands import LONGEST_WAIT, Had, after_fetch, due, next_due, rest_until
from watch.forecast.kept import YOUNG, Kept, to_drop
from watch.forecast.sources import expected_at
from watch.when import parse_utc

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
DAY = parse_utc("2026-05-14T00:00Z")


def source(name: str = "shore", hours: tuple[int, ...] = (0, 6, 12, 18)) -> Source:
    return Source.model_construct(id=name, cycle=(Cycle(hours=hours, steps=((0, 48, 3),)),), soonest_h=3.5, usual_h=5.0, kept_days=3.0)


def runs(now: datetime, *have: Had) -> list[str]:
    return [f"{run:%d %H}" for _, run in due([source()], now, have)]


def had(run: str, **more: object) -> Had:
    return Had(source="shore", run=parse_utc(f"2026-05-{run}:00Z"), **{"whole": True, **more})  # type: ignore[arg-type]


def test_a_run_is_due_from_its_usual_time_and_not_before() -> None:
    assert runs(DAY + 5 * HOUR - MINUTE, had("13T18")) == []
    assert runs(DAY + 5 * HOUR, had("13T18")) == ["14 00"]
    assert runs(DAY + 5 * HOUR, had("14T00")) == []
    assert runs(DAY + 11 * HOUR, had("13T18")) == ["14 06"], "not the older one while a newer is due"


def test_a_failure_rests_longer_each_time_and_as_long_as_was_said() -> None:
    now = DAY + 5 * HOUR
    record, waits = None, []
    for _ in range(7):
        record = after_fetch(record, "shore", DAY, now, Reason.LINK, None)
        until = rest_until(record, now)
        if until < DAY + 11 * HOUR:  # after that the next run is due
            assert runs(until - MINUTE, record) == []
            assert runs(until, record) == ["14 00"]
        waits.append((until - now) // MINUTE)
        now = until
    assert waits == [10, 20, 40, 80, 120, 120, 120]
    told = after_fetch(None, "shore", DAY, DAY + 5 * HOUR, Reason.BUSY, DAY + 8 * HOUR)
    assert runs(DAY + 8 * HOUR - MINUTE, told) == []
    assert runs(DAY + 8 * HOUR, told) == ["14 00"]


def test_a_success_ends_the_count_of_failures() -> None:
    failed = after_fetch(None, "shore", DAY, DAY, Reason.LINK, None)
    assert after_fetch(failed, "shore", DAY, DAY + HOUR, None, None) == Had(source="shore", run=DAY, whole=True, tried_at=DAY + HOUR)


@pytest.mark.parametrize(("reason", "expected"), [(Reason.NOT_YET, ["13 18"]), (Reason.LINK, []), (Reason.TOO_BIG, []), (Reason.DISK, [])])
def test_the_run_before_is_tried_only_when_the_server_has_not_the_newer(reason: Reason, expected: list[str]) -> None:
    now = DAY + 5 * HOUR
    late = after_fetch(None, "shore", DAY, now, reason, None)
    assert runs(now, late) == expected
    assert runs(now, late, had("13T18")) == [], "it is here already"
    assert runs(now, late, had("13T12")) == expected


def test_a_clock_set_back_does_not_put_off_a_fetch() -> None:
    failed = after_fetch(None, "shore", DAY, DAY + 100 * HOUR, Reason.LINK, DAY + 101 * HOUR)
    assert runs(DAY + 5 * HOUR, failed) == ["14 00"]


def test_sources_do_not_get_in_each_others_way() -> None:
    two = [source("a"), source("b", (0, 12))]
    have = [Had(source="a", run=DAY, whole=True)]
    assert [(s.id, run) for s, run in due(two, DAY + 6 * HOUR, have)] == [("b", DAY)]


histories = st.lists(st.tuples(st.sampled_from(["13T12", "13T18", "14T00", "14T06"]), st.booleans(), st.integers(0, 6), st.integers(0, 600),
                               st.sampled_from([Reason.NOT_YET, Reason.LINK])), unique_by=lambda h: h[0], max_size=4)


@given(histories, st.integers(0, 24 * 60))
@example([("13T18", False, 5, 101, Reason.NOT_YET), ("14T00", False, 2, 0, Reason.NOT_YET)], 300)  # the run before the newest rests, too
def test_what_is_due_is_new_out_and_awake_and_next_due_misses_nothing(history: list[tuple[str, bool, int, int, Reason]], minutes: int) -> None:
    now = DAY + minutes * MINUTE
    have = [had(run, whole=whole, tries=0 if whole else tries, tried_at=now - ago * MINUTE, reason=None if whole else reason)
            for run, whole, tries, ago, reason in history]
    here = source()
    found = due([here], now, have)
    for _, run in found:
        assert expected_at(here, run) <= now
        assert all(run > other.run for other in have if other.whole)
        assert all(rest_until(other, now) <= now for other in have if other.run == run)
    following = next_due([here], now, have)
    assert following is not None
    assert now < following <= now + 6 * HOUR
    at = now
    while at + MINUTE < following:  # nothing changes before it
        at += MINUTE
        assert due([here], at, have) == found
    assert LONGEST_WAIT < 6 * HOUR


# What is kept

def kept(run: datetime, arrived: datetime | None = None, centre: str = "kwbc", name: str = "") -> Kept:
    return Kept(path=Path(name or f"{centre}-{run:%d%H}"), centre=centre, run=run, arrived=arrived or run + 5 * HOUR, bytes=1)


def test_the_newest_six_runs_of_each_centre_stay_and_so_does_what_is_young() -> None:
    old = [kept(DAY + 6 * k * HOUR) for k in range(8)] + [kept(DAY, centre="ecmf")]
    later = DAY + timedelta(days=30)
    assert [one.path.name for one in to_drop(old, later)] == ["kwbc-1400", "kwbc-1406"]
    assert to_drop(old[:6], later) == ()
    edge = kept(DAY).run + YOUNG + 5 * HOUR
    assert [one.path.name for one in to_drop(old, edge)] == ["kwbc-1400"]
    assert to_drop(old, edge - MINUTE) == (), "it arrived less than 48 hours ago"


def test_several_files_of_a_run_count_as_one_run() -> None:
    many = [kept(DAY + 6 * k * HOUR, name=f"{k}-{part}") for k in range(6) for part in range(9)]
    assert to_drop(many, DAY + timedelta(days=30)) == ()


def test_runs_that_are_not_whole_push_nothing_out() -> None:
    whole = [kept(DAY + 6 * k * HOUR) for k in range(6)]
    broken = [replace(kept(DAY + 6 * k * HOUR), whole=False) for k in range(6, 20)]
    later = DAY + timedelta(days=30)
    assert to_drop([*whole, *broken], later) == ()
    assert to_drop([*whole, *broken, kept(DAY + 200 * HOUR)], later) == (whole[0],)


def test_an_old_run_that_came_late_is_young_and_a_run_from_the_future_pushes_nothing_out() -> None:
    later = DAY + timedelta(days=30)
    runs_ = [kept(DAY + 6 * k * HOUR) for k in range(6)]
    assert to_drop([*runs_, kept(DAY - HOUR, arrived=later - HOUR)], later) == ()
    ahead = [kept(later + timedelta(days=k)) for k in range(1, 9)]
    assert to_drop([*runs_, *ahead], later) == ()


@given(st.lists(st.tuples(st.sampled_from(["a", "b"]), st.integers(0, 60), st.integers(-50, 400)), max_size=40), st.integers(0, 500))
def test_whatever_goes_the_newest_stays(found: list[tuple[str, int, int]], hours: int) -> None:
    now = DAY + hours * HOUR
    every = [kept(DAY + 6 * k * HOUR, DAY + arrived * HOUR, centre, f"{n}") for n, (centre, k, arrived) in enumerate(found)]
    gone = to_drop(every, now)
    for one in gone:
        assert now - one.run >= YOUNG
        assert now - one.arrived >= YOUNG
        newer = {other.run for other in every if other.centre == one.centre and other not in gone and other.run > one.run}
        assert len(newer) >= 6
