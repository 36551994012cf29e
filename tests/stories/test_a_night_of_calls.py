"""Nights as tables: what holds, what the sailor does, and what she hears. Ship's time is UTC here."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import pytest

from watch.alerts.book import Acknowledge, AlertBook, Call, Event, Silence, Timing
from watch.alerts.situation import Priority, Situation, cannot_compute
from watch.alerts.states import State
from watch.alerts.step import step
from watch.when import ShipTime, parse_utc

pytestmark = pytest.mark.source("calls-1")

W, A, E, C = Priority.WARNING, Priority.ALARM, Priority.EMERGENCY_ALARM, Priority.CAUTION


def at(clock: str) -> datetime:
    """'22:40' on the evening of 14 May, 'D+02:10' on the morning after, seconds allowed."""
    day = "2026-05-15" if clock.startswith("D+") else "2026-05-14"
    return parse_utc(f"{day}T{clock.removeprefix('D+')}Z")


def job(name: str, priority: Priority = W, due: str | None = None, group: str | None = "front.thursday") -> Situation:
    return Situation(
        key=f"job.{name}", priority=priority, title=name.replace("_", " ").capitalize(), text="Do it while you can.",
        clears="it is done", why="gust 38 kn, limit 34 kn", due=None if due is None else at(due), group=group,
    )


def ack(alert: str = "front.thursday") -> Acknowledge:
    return Acknowledge(alert=alert, who="sailor", where="chart table")


class Night:
    """Plays rows through the book and keeps what was heard."""

    def __init__(self, timing: Timing | None = None) -> None:
        self.book, self.timing, self.shown = AlertBook(), timing or Timing(), list[Call]()

    def row(self, clock: str, situations: Sequence[Situation] | None, *deeds: Event) -> list[str]:
        self.book, calls = step(self.book, situations, deeds, at(clock), timing=self.timing)
        self.shown += calls
        return [f"{c.priority.words}, {c.reason.value}, {c.repeat}" for c in calls if c.sounds]

    @property
    def text(self) -> str:
        return "\n".join([*self.book.alerts[0].news, self.book.alerts[0].text])


def test_one_front_is_one_call_not_twenty() -> None:
    night = Night()
    front = [job(f"step_{i}", due=f"23:{i:02d}") for i in range(20)]
    assert night.row("20:00", front) == ["warning, new, 1"]
    assert night.book.alerts[0].title == "Step 0 (and 19 more)"
    assert night.book.alerts[0].due == at("23:00")
    assert night.row("20:01", front, ack()) == []
    for hour in ("20:10", "21:00", "22:00"):
        assert night.row(hour, front) == []


def test_an_unacknowledged_warning_is_repeated_and_becomes_an_alarm() -> None:
    night, reef = Night(), [job("reef_3")]
    assert night.row("20:00", reef) == ["warning, new, 1"]
    assert night.row("20:04:59", reef) == []
    assert night.row("20:05", reef) == ["warning, again, 2"]
    assert night.row("20:09:59", reef) == []
    assert night.row("20:10", reef) == ["alarm, nobody acknowledged it, 3"]
    assert night.row("20:10:30", reef) == ["alarm, again, 4"]
    assert night.row("20:10:40", reef, ack()) == []
    assert night.row("20:30", reef) == []
    assert (night.book.alerts[0].priority, night.book.alerts[0].state) == (W, State.ACKNOWLEDGED)


def test_a_rule_may_ask_for_a_sooner_alarm() -> None:
    night = Night()
    soon = timedelta(minutes=2)
    turn = Situation(key="shelter.horta", priority=W, title="Turn", text="x", why="x", clears="x", escalates_after=soon)
    assert night.row("20:00", [turn]) == ["warning, new, 1"]
    assert night.row("20:01:59", [turn]) == []
    assert night.row("20:02", [turn]) == ["alarm, nobody acknowledged it, 2"]


def test_silence_lasts_thirty_seconds() -> None:
    night, reef = Night(), [job("reef_3", A)]
    assert night.row("20:00", reef) == ["alarm, new, 1"]
    assert night.row("20:00:10", reef, Silence(alert="front.thursday", who="sailor", where="deck")) == []
    assert night.row("20:00:39", reef) == []
    assert night.row("20:00:40", reef) == ["alarm, the silence is over, 2"]


def test_a_flicker_is_no_new_call() -> None:
    night, reef = Night(), [job("reef_3", A)]
    night.row("20:00", reef)
    night.row("20:00:10", reef, ack())
    assert night.row("21:00", []) == []
    assert night.row("21:29:59", reef) == []  # back before 30 minutes: still acknowledged
    assert night.book.alerts[0].state is State.ACKNOWLEDGED
    assert night.row("22:00", []) == []
    assert night.row("22:30", reef) == ["alarm, new, 1"]  # away for 30 minutes: a new call


def test_a_flicker_that_comes_back_worse_is_a_call() -> None:
    night = Night()
    night.row("20:00", [job("reef_3")])
    night.row("20:00:10", [job("reef_3")], ack())
    assert night.row("20:10", []) == []
    assert night.row("20:20", [job("reef_3", A)]) == ["alarm, worse than you were told, 1"]


def test_a_priority_that_swings_calls_once_until_it_has_been_lighter_for_long() -> None:
    night = Night()
    night.row("20:00", [job("reef_3", A)])
    night.row("20:00:10", [job("reef_3", A)], ack())
    for clock, priority in (("20:10", W), ("20:20", A), ("20:30", W), ("20:40", A)):
        assert night.row(clock, [job("reef_3", priority)]) == []
    assert night.row("21:00", [job("reef_3", W)]) == []
    assert night.row("21:30", [job("reef_3", W)]) == []
    assert night.row("21:40", [job("reef_3", A)]) == ["alarm, worse than you were told, 1"]


def test_passes_far_apart_do_not_turn_a_new_rise_into_a_flicker() -> None:
    night = Night()
    night.row("18:00", [job("reef_3", A)])
    night.row("18:00:10", [job("reef_3", A)], ack())
    assert night.row("19:00", [job("reef_3", W)]) == []
    assert night.row("23:00", [job("reef_3", A)]) == ["alarm, worse than you were told, 1"]


@pytest.mark.parametrize(("due", "heard"), [
    ("23:00", []), ("23:30", []), ("22:30:01", []),
    ("22:30", ["warning, worse than you were told, 1"]), ("21:00", ["warning, worse than you were told, 1"]),
])
def test_due_earlier_by_half_an_hour_calls_again(due: str, heard: list[str]) -> None:
    night = Night()
    night.row("20:00", [job("reef_3", due="23:00")])
    night.row("20:01", [job("reef_3", due="23:00")], ack())
    assert night.row("20:02", [job("reef_3", due=due)]) == heard


def test_due_that_creeps_earlier_calls_when_it_has_crept_half_an_hour() -> None:
    night = Night()
    night.row("19:00", [job("reef_3", due="23:00")])
    night.row("19:01", [job("reef_3", due="23:00")], ack())
    heard = [night.row(f"19:{m}", [job("reef_3", due=due)]) for m, due in (("10", "22:50"), ("20", "22:40"), ("30", "22:30"))]
    assert heard == [[], [], ["warning, worse than you were told, 1"]]
    assert night.text.startswith("Earlier, now Thu 22:30, was Thu 23:00 (UTC): Reef 3.")


def test_a_due_time_that_appears_is_worse_than_none() -> None:
    night = Night()
    night.row("19:00", [job("reef_3")])
    night.row("19:01", [job("reef_3")], ack())
    assert night.row("19:02", [job("reef_3", due="23:00")]) == ["warning, worse than you were told, 1"]


def test_what_joins_a_front_later_is_called_once_after_the_hold_down() -> None:
    night = Night()
    reef, jib, glass = job("reef_3"), job("storm_jib"), job("glass", C)
    night.row("20:00", [reef])
    night.row("20:01", [reef], ack())
    assert night.row("20:09:59", [reef, jib, glass]) == []
    assert night.row("20:10", None) == ["warning, worse than you were told, 1"]
    assert night.book.alerts[0].news == ("New: Storm jib.", "New: Glass.")
    assert night.row("20:11", [reef, jib, glass], ack()) == []
    assert night.row("21:00", [reef, jib, glass]) == []


def test_what_joins_and_is_worse_does_not_wait_for_the_hold_down() -> None:
    night = Night()
    night.row("20:00", [job("reef_3")])
    night.row("20:01", [job("reef_3")], ack())
    assert night.row("20:02", [job("reef_3"), job("storm_jib", A)]) == ["alarm, worse than you were told, 1"]


def test_the_text_says_what_is_gone() -> None:
    night = Night()
    both = [job("reef_3"), job("storm_jib")]
    night.row("20:00", both)
    night.row("20:01", both, ack())
    assert night.row("20:02", both[1:]) == []
    assert night.text == "No longer: Reef 3.\nDo it while you can."


def test_a_clock_set_back_an_hour_calls_at_once_and_keeps_calling() -> None:
    night, reef = Night(), [job("reef_3", A)]
    assert night.row("20:00", reef) == ["alarm, new, 1"]
    assert night.row("19:00:10", reef) == ["alarm, the clock was set back, 2"]
    assert night.row("19:00:39", reef) == []
    assert night.row("19:00:40", reef) == ["alarm, again, 3"]


def test_a_clock_set_back_ends_a_silence_and_keeps_the_way_to_escalation() -> None:
    night, reef = Night(), [job("reef_3")]
    night.row("20:00", reef)
    night.row("20:08", reef, Silence(alert="front.thursday", who="sailor", where="deck"))
    assert night.row("18:00", None) == ["warning, the clock was set back, 2"]
    assert night.row("18:01:59", None) == []
    assert night.row("18:02", None) == ["alarm, nobody acknowledged it, 3"]


def test_a_clock_set_back_keeps_what_was_acknowledged() -> None:
    night, reef = Night(), [job("reef_3")]
    night.row("20:00", reef)
    night.row("20:01", reef, ack())
    assert night.row("19:00", reef) == []
    record = night.book.alerts[0].acknowledged
    assert record is not None
    assert record.at == at("20:01")


def test_a_clock_set_forward_calls_once_and_loses_nothing() -> None:
    night, reef = Night(), [job("reef_3")]
    night.row("20:00", reef)
    assert night.row("D+08:00", reef) == ["alarm, nobody acknowledged it, 2"]
    assert night.row("D+08:00:30", reef) == ["alarm, again, 3"]


def test_power_lost_and_back_hours_later_calls_again() -> None:
    night, reef = Night(), [job("reef_3", A)]
    night.row("20:00", reef)
    assert night.row("23:00", None) == ["alarm, again, 2"]


def test_a_caution_is_shown_once_and_never_heard() -> None:
    night, glass = Night(), [job("glass", C)]
    assert night.row("20:00", glass) == []
    assert [c.reason.value for c in night.shown] == ["new"]
    assert night.row("23:59", glass) == []
    assert night.row("D+00:00", [job("glass", W)]) == ["warning, worse than you were told, 1"]


def test_what_ended_before_it_was_acknowledged_is_silent_and_stays_on_show() -> None:
    night, reef = Night(), [job("reef_3", A)]
    night.row("20:00", reef)
    assert night.row("20:00:20", []) == []
    assert night.row("D+08:00", []) == []
    assert night.book.alerts[0].state is State.RECTIFIED
    night.row("D+08:01", [], ack())
    assert night.book.alerts == ()


def test_what_ended_unacknowledged_and_is_back_goes_on_calling() -> None:
    night, reef = Night(), [job("reef_3", A)]
    night.row("20:00", reef)
    night.row("20:00:20", [])
    assert night.row("20:05", reef) == ["alarm, again, 2"]


def test_a_rule_that_cannot_be_computed_speaks_and_holds_what_it_said() -> None:
    night = Night()
    front = Situation(key="front.thursday", priority=A, title="Front", text="Be reefed.", why="gust 38", clears="it is past")
    blind = cannot_compute("front", title="No watch on fronts", reason="the forecast has no wind", clears="a forecast with wind")
    night.row("20:00", [front])
    night.row("20:00:10", [front], ack())
    assert night.row("20:01", [blind]) == ["warning, new, 1"]
    held = night.book.find("front.thursday")
    assert held is not None
    assert held.state is State.ACKNOWLEDGED
    assert held.text == "Be reefed.\nNot checked now: the forecast has no wind."
    night.row("20:02", [])
    assert night.book.find("front.thursday").state is State.NORMAL  # type: ignore[union-attr]


def test_an_acknowledgement_of_an_older_text_is_refused_once_it_got_worse() -> None:
    night = Night()
    night.row("20:00", [job("reef_3")])
    read = night.book.alerts[0].revision
    night.row("20:01", [job("reef_3", A)])
    night.row("20:01:05", None, Acknowledge(alert="front.thursday", who="sailor", where="phone", revision=read))
    assert night.book.refused[0].why == "it has got worse since that was read; read it again"
    assert night.book.alerts[0].state is State.UNACKNOWLEDGED


def test_the_record_keeps_who_where_when_and_what() -> None:
    night = Night()
    night.row("20:00", [job("reef_3", due="22:40")])
    night.row("20:01", None, ack())
    record = night.book.alerts[0].acknowledged
    assert record is not None
    assert (record.who, record.where, record.at, record.text, record.due, record.priority) == (
        "sailor", "chart table", at("20:01"), "Do it while you can.", at("22:40"), W,
    )


def test_worse_in_the_same_breath_as_an_acknowledgement_still_calls() -> None:
    night = Night()
    night.row("20:00", [job("reef_3")])
    assert night.row("20:01", [job("reef_3", A)], ack()) == ["alarm, worse than you were told, 1"]


def test_due_times_are_said_in_ships_time() -> None:
    book, _ = step(AlertBook(), [job("reef_3", due="23:00")], [], at("19:00"))
    book, _ = step(book, [job("reef_3", due="22:00")], [], at("19:01"), ship=ShipTime(-180))
    assert book.alerts[0].news == ("Earlier, now Thu 19:00, was Thu 20:00 (UTC-3): Reef 3.",)


def test_a_quiet_passage_is_a_quiet_night() -> None:
    night = Night()
    heard = [night.row(f"D+0{h}:{m:02d}", [job("glass", C)]) for h in range(8) for m in range(0, 60, 10)]
    assert sum(map(len, heard)) == 0
