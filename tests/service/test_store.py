"""What the store keeps and gives back, topic by topic."""

import math
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from tests.page_demo import demo_orders, not_good_enough
from tests.service.stores import NOON, after, lines_of
from watch.alerts.book import Acknowledge, AlertBook, Call, Refused, Silence
from watch.alerts.situation import Priority, Situation
from watch.alerts.step import step as alert_step
from watch.faults import BadInputError
from watch.instruments.averages import GustKind, WindWay
from watch.instruments.readings import Doubt, DoubtKind
from watch.instruments.series import Observed
from watch.instruments.steps import ObservedSteps, Step
from watch.render.as_json import as_json
from watch.service.store import Store
from watch.when import from_np

REEF = Situation(key="job.reef_3", priority=Priority.WARNING, title="Reef 3", text="Take it in by 22:40.", why="gust 38 kn, limit 34",
                 clears="reef 3 is in")  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "watch.db"


def test_a_forecast_is_known_until_it_is_forgotten(path: Path) -> None:
    with Store.open(path, NOON) as store:
        store.keep_forecast(Path("/in/a.grib2"), "aa", "kwbc", NOON, "single", after(300), 10)
        store.keep_forecast(Path("/in/b.grib2"), "bb", "ecmf", after(360), "ensemble", after(700), 20)
        store.keep_forecast(Path("/in/a.grib2"), "a2", "kwbc", NOON, "single", after(301), 11)
        assert [(f.path.name, f.checksum, f.run, f.size_bytes) for f in store.forecasts()] == [
            ("b.grib2", "bb", after(360), 20), ("a.grib2", "a2", NOON, 11),
        ]  # fmt: skip
        store.forget_forecast(Path("/in/b.grib2"))
        store.forget_forecast(Path("/in/never.grib2"))
        assert [f.path.name for f in store.forecasts()] == ["a.grib2"]


def test_orders_come_back_as_they_were_given(path: Path) -> None:
    orders = demo_orders()
    with Store.open(path, NOON) as store:
        assert store.latest_orders() is None
        store.keep_pass(orders, NOON, after(10), "made with two runs")
        store.keep_pass(not_good_enough(), after(10), after(20), "worse")
        store.keep_pass(None, after(20), None, "the forecast ended")
    with Store.open(path, NOON) as store:
        latest, before = store.latest_orders(), store.orders_before(after(10))
        assert latest is not None
        assert before is not None
        assert as_json(latest) == as_json(not_good_enough())
        assert before == orders
        assert store.orders_before(NOON) is None
        assert [(p.made_at, p.next_wake, p.sentence, p.has_orders) for p in store.passes(after(10))] == [
            (after(10), after(20), "worse", True), (after(20), None, "the forecast ended", False),
        ]  # fmt: skip
        assert store.said == ()


def test_a_clock_set_back_does_not_bring_old_orders_back(path: Path) -> None:
    with Store.open(path, NOON) as store:
        store.keep_pass(demo_orders(), after(9000), None, "the clock was ahead")
        store.keep_pass(not_good_enough(), after(10), None, "the clock was set right")
        latest = store.latest_orders()
        assert latest is not None
        assert not latest.feasible


@pytest.mark.parametrize("what", ["orders = x'00'", "orders = NULL, form = NULL", "orders = 'text'"])
def test_orders_that_cannot_be_read_are_passed_over_aloud(path: Path, what: str) -> None:
    with Store.open(path, NOON) as store:
        store.keep_pass(demo_orders(), NOON, None, "good")
        store.keep_pass(demo_orders(), after(10), None, "to be spoilt")
    db = sqlite3.connect(path)
    db.execute(f"UPDATE pass_kept SET {what} WHERE id = 2")
    db.commit()
    db.close()
    with Store.open(path, NOON) as store:
        assert store.latest_orders() == demo_orders()
        spoilt = "NULL" not in what
        assert len(store.said) == spoilt
        assert not spoilt or store.said[0].startswith("1 kept orders cannot be read")


def test_the_alert_book_comes_back_and_a_torn_one_is_said(path: Path) -> None:
    book, _ = alert_step(AlertBook(), [REEF], [], NOON)
    with Store.open(path, NOON) as store:
        assert store.book() is None
        store.keep_book(AlertBook())
        store.keep_book(book)
    with Store.open(path, NOON) as store:
        assert store.book() == book
        assert store.said == ()
    db = sqlite3.connect(path)
    db.execute("UPDATE alert_book SET book = substr(book, 1, 40)")
    db.commit()
    db.close()
    with Store.open(path, NOON) as store:
        assert store.book() is None
        assert store.said == ("The kept alert book cannot be read; a new one is begun and every alert calls again.",)


def test_an_acknowledgement_waits_until_it_is_taken_up(path: Path) -> None:
    book, _ = alert_step(AlertBook(), [REEF], [], NOON)
    alert = book.alerts[0]
    with Store.open(path, NOON) as store:
        by_name = store.ask_ack("front.20260517", "skipper", NOON, revision=3, where="page at 10.0.0.7")
        by_alert = store.ask_ack(alert, "skipper", after(1))
        by_member = store.ask_ack(alert.members[0], "skipper", after(2))
        grouped = store.ask_ack(replace(REEF, group="front.20260517"), "skipper", after(3))
        assert [(a.id, a.alert, a.revision, a.where) for a in store.acks_wanted()] == [
            (by_name, "front.20260517", 3, "page at 10.0.0.7"), (by_alert, "job.reef_3", None, ""), (by_member, "job.reef_3", None, ""),
            (grouped, "front.20260517", None, ""),
        ]  # fmt: skip
        store.ack_taken([by_name], after(4), "it has got worse since that was read; read it again")
        store.ack_taken([by_name, by_alert], after(5))
        assert [a.id for a in store.acks_wanted()] == [by_member, grouped]
        done = {a.id: a for a in store.acks(NOON)}
        assert (done[by_name].taken_at, done[by_name].outcome) == (after(4), "it has got worse since that was read; read it again")
        assert (done[by_alert].taken_at, done[by_alert].outcome) == (after(5), "")
        assert [a.id for a in store.acks(after(2))] == [by_member, grouped]


def test_what_was_called_and_done_is_kept(path: Path) -> None:
    _, calls = alert_step(AlertBook(), [REEF], [], NOON)
    ack = Acknowledge(alert="job.reef_3", who="skipper", where="page", revision=1)
    silence = Silence(alert="job.reef_3", who="skipper", where="button")
    refused = Refused(event=ack, why="there is no such alert, or it is over", at=after(3))
    with Store.open(path, NOON) as store:
        store.keep_events(calls)
        store.keep_events([ack, silence], after(2))
        store.keep_events([refused])
        kept = store.events(NOON)
        assert [(e.kind, e.at, e.alert) for e in kept] == [
            ("Call", NOON, "job.reef_3"), ("Acknowledge", after(2), "job.reef_3"), ("Silence", after(2), "job.reef_3"),
            ("Refused", after(3), "job.reef_3"),
        ]  # fmt: skip
        assert [e.event for e in kept] == [*calls, ack, silence, refused]
        assert isinstance(kept[0].event, Call)
        assert [e.kind for e in store.events(after(3))] == ["Refused"]
        with pytest.raises(ValueError, match="when it happened is missing"):
            store.keep_events([ack])


def test_a_corrected_line_keeps_what_it_said_before(path: Path) -> None:
    with Store.open(path, NOON) as store:
        first = store.add_log("put in the second reef 22 min", after(5), "skipper")
        second = store.add_log("note swell from the north west", NOON, "skipper")
        store.correct_log(first, "put in the second reef 12 min", after(9), "skipper")
        store.correct_log(first, "put in the second reef 13 min")
        assert [(line.id, line.line, line.before, line.at) for line in store.log_lines()] == [
            (second, "note swell from the north west", (), NOON),
            (first, "put in the second reef 13 min", ("put in the second reef 22 min", "put in the second reef 12 min"), after(5)),
        ]  # fmt: skip
        assert [line.id for line in store.log_lines(after(1))] == [first]
        with pytest.raises(BadInputError, match="there is no line 99; look up its number"):
            store.correct_log(99, "x")


def test_a_line_is_kept_whatever_was_typed(path: Path) -> None:
    typed = ["", " två rev 20 min ☂ ", "a\nb", "'; DROP TABLE log_line; --", "\udcf6 from an odd terminal", "x" * 100_000, "\ufffd from a copied page"]
    with Store.open(path, NOON) as store:
        for k, line in enumerate(typed):
            store.add_log(line, after(k), "skipper")
    assert lines_of(path) == [line.replace("\udcf6", "\\udcf6") for line in typed]


def test_the_track_holds_positions_and_nothing_else(path: Path) -> None:
    with Store.open(path, NOON) as store:
        store.add_position(after(2), 36.5, -52.0, "GP/RMC")
        store.add_position(after(1), 36.4, -52.1, "log")
        assert [(p.latitude_deg, p.longitude_deg, p.source) for p in store.track(NOON)] == [(36.4, -52.1, "log"), (36.5, -52.0, "GP/RMC")]
        assert [p.at for p in store.track(after(2))] == [after(2)]
        for bad in (math.nan, 91.0, math.inf):
            with pytest.raises(ValueError, match="is no position"):
                store.add_position(after(3), bad, 0.0, "GP/RMC")


def test_a_line_of_which_the_text_is_torn_is_left_out_aloud(path: Path) -> None:
    with Store.open(path, NOON) as store:
        for k in range(4):
            store.add_log(f"line {k}", after(k), "skipper")
    db = sqlite3.connect(path)
    db.execute("UPDATE log_line SET line = CAST(x'ff00' AS TEXT) WHERE id = 2")
    db.execute("UPDATE log_line SET line = CAST(x'6c6900' AS TEXT) WHERE id = 3")
    db.commit()
    db.close()
    with Store.open(path, NOON) as store:
        assert [line.line for line in store.log_lines()] == ["line 0", "line 3"]
        assert store.said == ("What cannot be read any more is left out: lines of the log, 2.",)


def steps(count: int, start: datetime = NOON) -> list[Step]:
    doubt = Doubt(DoubtKind.STUCK, "the glass of WI/XDR has stood at 1013.00 hPa for 40 minutes without the least change")
    return [
        Step(start_s=start.timestamp() + 600.0 * k, mean_ms=8.0 + k % 7, from_deg=225.0, gust_ms=12.0 + k % 7, gust_kind=GustKind.THREE_SECOND,
             wind_way=WindWay.BOW, wind_source="WI/MWV", wind_coverage=1.0, latitude_deg=36.5, longitude_deg=-52.0, doubts=(doubt,) * (k % 2))
        for k in range(count)
    ]  # fmt: skip


def test_steps_come_back_with_what_was_not_known(path: Path) -> None:
    given = steps(5)
    with Store.open(path, NOON) as store:
        store.add_step(*reversed(given))
        better = replace(given[3], pressure_pa=101_300.0)
        store.add_step(better)
        kept = store.steps(after(10))
        assert [repr(s) for s in kept] == [repr(s) for s in [given[1], given[2], better, given[4]]]
        series = ObservedSteps.of(kept)
        assert np.isnan(series.pressure_pa).tolist() == [True, True, False, True]


def test_the_observed_series_goes_on_after_a_restart(path: Path) -> None:
    with Store.open(path, NOON) as store:
        store.add_step(*steps(3))
        observed = Observed()
        observed.resume(store.steps(NOON), after(55))
    series = observed.steps(after(55))
    assert [from_np(t) for t in series.start] == [after(10 * k) for k in range(5)]
    assert np.isnan(series.mean_ms).tolist() == [False, False, False, True, True]
    bounded = Observed(keep_hours=1.0)
    bounded.resume(steps(200), NOON + timedelta(minutes=2000))
    assert [from_np(t) for t in bounded.steps(after(2000)).start] == [after(1940 + 10 * k) for k in range(6)]
    ahead = Observed()
    ahead.resume(steps(3, after(600)), NOON)
    assert ahead.steps(NOON).start.size == 0, "steps from a clock that was ahead are no past"


def test_settings_are_what_was_put_last(path: Path) -> None:
    with Store.open(path, NOON) as store:
        assert store.get("rig", "unknown") == "unknown"
        store.put("rig", {"main": "reef 1", "since": [1, 2.5, None, True]})
        store.put("rig", {"main": "reef 2"})
        store.put("none", None)
        assert (store.get("rig"), store.get("none", 3)) == ({"main": "reef 2"}, None)
        with pytest.raises(ValueError, match="Out of range"):
            store.put("wind", math.nan)


def test_naive_times_are_refused_and_others_come_out_in_utc(path: Path) -> None:
    azores = NOON.astimezone(timezone(timedelta(hours=-1)))
    with Store.open(path, NOON) as store:
        store.add_log("x", azores, "skipper")
        (line,) = store.log_lines(azores)
        assert (line.at, line.at.tzinfo) == (NOON, UTC)
        with pytest.raises(ValueError, match="has no offset from UTC"):
            store.add_log("x", datetime(2026, 5, 16), "skipper")  # noqa: DTZ001
    with pytest.raises(ValueError, match="has no offset from UTC"):
        Store.open(path, datetime(2026, 5, 16))  # noqa: DTZ001


def test_what_is_old_is_thinned_and_log_and_acknowledgements_never(path: Path) -> None:
    now = NOON + timedelta(days=500)
    with Store.open(path, NOON) as store:
        for hours in range(48):
            store.keep_pass(None, now - timedelta(days=30, hours=hours + 1 / 60), None, "old")
        store.keep_pass(None, now - timedelta(days=30), None, "young enough")
        store.keep_pass(None, now + timedelta(days=900), None, "from a clock that was ahead")
        old = steps(12, now.replace(minute=0) - timedelta(days=61))
        store.add_step(*old, *steps(6, now - timedelta(days=60)))
        for k in range(12):
            store.add_position(now - timedelta(days=60, minutes=10 * k + 1), 36.0, -52.0, "GP/RMC")
        store.add_log("the first day", NOON, "skipper")
        store.ask_ack("job.reef_3", "skipper", NOON)
        store.keep_events([Acknowledge(alert="job.reef_3", who="skipper", where="page")], NOON)
        store.prune(now)
        store.prune(now)
        assert len([p for p in store.passes(NOON) if p.sentence == "old"]) in (8, 9)
        assert [p.sentence for p in store.passes(NOON) if p.sentence != "old"] == ["young enough", "from a clock that was ahead"]
        kept = store.steps(NOON)
        assert [s.mean_ms for s in kept[:2]] == [13.0, 14.0], "of each hour the windiest: steps 0 to 5 and 6 to 11 blow 8 to 13 and 14, 8 to 12"
        assert len(kept) == 2 + 6
        assert len(store.track(NOON)) in (2, 3)
        assert (len(store.log_lines()), len(store.acks(NOON)), len(store.events(NOON))) == (1, 1, 0)
        assert path.with_name("watch.db-wal").stat().st_size == 0
        assert store.size_bytes() == path.stat().st_size
