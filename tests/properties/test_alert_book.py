"""In whatever order, with whatever clock: nothing that holds is lost and nothing unacknowledged falls silent."""

import json
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from watch.alerts.book import Acknowledge, AlertBook, Call, Event, Reason, Silence, Timing
from watch.alerts.kept import from_dict, to_dict
from watch.alerts.situation import Priority, Situation
from watch.alerts.states import TRANSITIONS, State
from watch.alerts.step import next_step, step
from watch.faults import BadInputError
from watch.when import parse_utc

START = parse_utc("2026-05-14T20:00Z")
TIMING = Timing()
KEYS = ("front.a", "front.b", "job.reef", "glass.low")
PRIORITIES = st.sampled_from(list(Priority))
SITUATIONS = st.builds(
    lambda key, priority, due, group: Situation(
        key=key, priority=priority, title=key, text=f"{key} text", why="why", clears="clears", group=group,
        due=None if due is None else START + timedelta(minutes=due),
    ),
    st.sampled_from(KEYS), PRIORITIES, st.none() | st.integers(-600, 600), st.sampled_from([None, "front.group"]),
)
SECONDS = st.one_of(st.integers(1, 60), st.integers(60, 7200), st.integers(0, 400_000), st.floats(0.001, 120.0))


class TheBook(RuleBasedStateMachine):
    """Random passes, deeds and times against a plain account of what is owed to the sailor."""

    def __init__(self) -> None:
        super().__init__()
        self.book, self.now, self.holding = AlertBook(), START, list[Situation]()
        self.heard: dict[str, datetime] = {}

    def go(self, seconds: float, situations: list[Situation] | None, events: list[Event]) -> list[Call]:
        before, self.now = self.book, self.now + timedelta(seconds=seconds)
        if situations is not None:
            self.holding = situations
        self.book, calls = step(before, situations, events, self.now, timing=TIMING)
        if seconds < 0:  # every wait was moved back with the clock
            self.heard = {name: min(t, self.now) for name, t in self.heard.items()}
        self.heard |= {c.alert: self.now for c in calls if c.sounds}
        kept = from_dict(json.loads(json.dumps(to_dict(before))))
        assert kept == before
        assert step(kept, situations, events, self.now, timing=TIMING) == (self.book, calls)
        if seconds < 0:
            called = {c.alert for c in calls if c.sounds}
            assert {a.name for a in self.book.alerts if a.state is State.UNACKNOWLEDGED and a.priority.is_heard} <= called
        self.check_rises(before, calls)
        return calls

    def check_rises(self, before: AlertBook, calls: list[Call]) -> None:
        """An acknowledged alert that is now more severe than what was acknowledged has called."""
        for alert in self.book.alerts:
            record = alert.acknowledged
            if alert.state is State.ACKNOWLEDGED and record is not None:
                assert all(m.told is None or m.situation.priority <= m.told.priority for m in alert.present
                           if m.situation.priority.is_heard)

    @rule(seconds=SECONDS, situations=st.lists(SITUATIONS, max_size=5))
    def a_pass(self, seconds: float, situations: list[Situation]) -> None:
        self.go(seconds, situations, [])

    @rule(seconds=SECONDS)
    def time_goes_by(self, seconds: float) -> None:
        self.go(seconds, None, [])

    @rule(seconds=SECONDS)
    def the_clock_is_set_back(self, seconds: float) -> None:
        self.go(-seconds, None, [])

    @rule(name=st.sampled_from([*KEYS, "front.group"]), seconds=st.integers(0, 30))
    def acknowledge(self, name: str, seconds: int) -> None:
        self.go(seconds, None, [Acknowledge(alert=name, who="sailor", where="deck")])

    @rule(name=st.sampled_from([*KEYS, "front.group"]), seconds=st.integers(0, 30))
    def silence(self, name: str, seconds: int) -> None:
        self.go(seconds, None, [Silence(alert=name, who="sailor", where="deck")])

    @invariant()
    def every_situation_that_holds_is_in_an_active_alert(self) -> None:
        shown = {m.situation.key: m.situation for a in self.book.alerts if a.state.is_active for m in a.present}
        for situation in self.holding:
            assert situation.key in shown
            assert shown[situation.key].priority >= situation.priority

    @invariant()
    def the_priority_is_that_of_the_worst_that_holds_or_higher(self) -> None:
        for alert in self.book.alerts:
            if alert.present:
                assert alert.priority >= max(m.situation.priority for m in alert.present)

    @invariant()
    def what_nobody_acknowledged_has_been_heard_within_its_repeat_time(self) -> None:
        for alert in self.book.alerts:
            if alert.state is State.UNACKNOWLEDGED and alert.priority.is_heard:
                assert self.now - self.heard[alert.name] < TIMING.repeats(alert.priority)

    @invariant()
    def the_next_step_is_never_later_than_the_next_call_owed(self) -> None:
        due = next_step(self.book, TIMING)
        for alert in self.book.alerts:
            if alert.state.awaits and alert.priority.is_heard:
                assert due is not None
                assert due <= self.now + max(TIMING.repeats(alert.priority), TIMING.silence)

    @invariant()
    def no_number_is_given_twice(self) -> None:
        numbers = [a.number for a in self.book.alerts]
        assert len(numbers) == len(set(numbers))


TestTheBook = pytest.mark.source("calls-1")(TheBook.TestCase)
TestTheBook.settings = settings(max_examples=200, stateful_step_count=30, deadline=None)


@pytest.mark.source("bam-1")
@settings(max_examples=60, deadline=None)
@given(priority=st.sampled_from([Priority.WARNING, Priority.ALARM, Priority.EMERGENCY_ALARM]))
def test_waking_when_the_book_asks_sounds_an_unacknowledged_alert_every_repeat_time(priority: Priority) -> None:
    situation = Situation(key="job.reef", priority=priority, title="t", text="t", why="w", clears="c")
    book, _ = step(AlertBook(), [situation], [], START)
    now, last = START, START
    for _ in range(30):
        due = next_step(book)
        assert due is not None
        now = due
        book, calls = step(book, None, [], now)
        if any(c.sounds for c in calls):
            assert now - last <= TIMING.repeats(priority)
            last = now
    assert now - START >= 29 * min(TIMING.alarm_repeats, TIMING.emergency_repeats)


@pytest.mark.source("calls-1")
@pytest.mark.parametrize("early", [timedelta(0), timedelta(microseconds=1)])
@pytest.mark.parametrize(("wait", "priority", "reason"), [
    (TIMING.emergency_repeats, Priority.EMERGENCY_ALARM, Reason.REPEAT),
    (TIMING.alarm_repeats, Priority.ALARM, Reason.REPEAT),
    (TIMING.warning_repeats, Priority.WARNING, Reason.REPEAT),
])
def test_a_call_is_due_at_its_time_exactly(wait: timedelta, priority: Priority, reason: Reason, early: timedelta) -> None:
    situation = Situation(key="job.reef", priority=priority, title="t", text="t", why="w", clears="c")
    book, _ = step(AlertBook(), [situation], [], START)
    _, calls = step(book, None, [], START + wait - early)
    assert [c.reason for c in calls] == ([] if early else [reason])


@pytest.mark.source("bam-1")
def test_the_table_and_the_calls_agree() -> None:
    """Every move that the table says calls at once goes to the state that sounds; no other goes there but a return."""
    for (state, turn), (to, calls) in TRANSITIONS.items():
        assert calls <= (to is State.UNACKNOWLEDGED), (state, turn)


@pytest.mark.source("calls-1")
@pytest.mark.parametrize("torn", [None, [], {}, {"schema": 1}, {"schema": 2, "book": {}}, {"schema": 1, "book": {"alerts": [{}]}},
                                  {"schema": 1, "book": 3}])
def test_a_torn_book_is_refused_in_a_sentence(torn: object) -> None:
    with pytest.raises(BadInputError, match="alert book"):
        from_dict(torn)


@pytest.mark.source("calls-1")
def test_a_naive_now_is_refused() -> None:
    with pytest.raises(ValueError, match="offset from UTC"):
        step(AlertBook(), [], [], datetime(2026, 5, 14, 20, 0))  # noqa: DTZ001
