"""What IMO MSC.302(87) says of the states of alerts, held against the table and the book."""

from datetime import timedelta

import pytest

from watch.alerts.book import Acknowledge, AlertBook, Event, Silence, Timing
from watch.alerts.situation import Priority, Situation
from watch.alerts.states import TRANSITIONS, State, Turn, after
from watch.alerts.step import step
from watch.when import parse_utc

NOW = parse_utc("2026-05-14T20:00Z")
ACK = Acknowledge(alert="rule.thing", who="sailor", where="deck")
SILENCE = Silence(alert="rule.thing", who="sailor", where="deck")


def thing(priority: Priority) -> list[Situation]:
    return [Situation(key="rule.thing", priority=priority, title="Thing", text="Text.", why="Why.", clears="It ends.")]


def play(priority: Priority, *rows: tuple[float, bool, list[Event]]) -> list[tuple[State | None, bool]]:
    """Rows of (seconds, whether the situation holds, deeds) -> (state or None when gone, whether anything sounds) after each."""
    book, out = AlertBook(), []
    for seconds, holds, deeds in rows:
        book, calls = step(book, thing(priority) if holds else [], deeds, NOW + timedelta(seconds=seconds))
        alert = book.find("rule.thing")
        out.append((alert.state if alert else None, any(c.sounds for c in calls)))
    return out


@pytest.mark.source("bam-1")
def test_there_are_four_priorities_in_order() -> None:
    assert [p.words for p in sorted(Priority, reverse=True)] == ["emergency alarm", "alarm", "warning", "caution"]


@pytest.mark.source("bam-1")
@pytest.mark.parametrize("priority", [Priority.ALARM, Priority.EMERGENCY_ALARM])
def test_a_detected_alarm_is_unacknowledged_and_audible_with_a_message(priority: Priority) -> None:
    assert play(priority, (0, True, [])) == [(State.UNACKNOWLEDGED, True)]
    _, calls = step(AlertBook(), thing(priority), [], NOW)
    assert (calls[0].title, calls[0].text) == ("Thing", "Text.")


@pytest.mark.source("bam-1")
def test_a_silenced_alarm_sounds_again_after_thirty_seconds_and_not_before() -> None:
    rows = play(Priority.ALARM, (0, True, []), (5, True, [SILENCE]), (34.999, True, []), (35, True, []))
    assert rows == [
        (State.UNACKNOWLEDGED, True), (State.SILENCED, False), (State.SILENCED, False), (State.UNACKNOWLEDGED, True),
    ]


@pytest.mark.source("bam-1")
def test_a_silence_cannot_be_set_longer_than_thirty_seconds() -> None:
    with pytest.raises(ValueError, match="30 seconds"):
        Timing(silence=timedelta(seconds=31))


@pytest.mark.source("bam-1")
def test_an_acknowledged_alarm_is_steady_until_it_is_rectified() -> None:
    rows = play(Priority.ALARM, (0, True, []), (5, True, [ACK]), (3600, True, []), (3605, False, []))
    assert rows[1:] == [(State.ACKNOWLEDGED, False), (State.ACKNOWLEDGED, False), (State.NORMAL, False)]


@pytest.mark.source("bam-1")
def test_the_sound_ends_when_the_condition_is_rectified_and_the_visual_stays_until_acknowledged() -> None:
    rows = play(Priority.ALARM, (0, True, []), (10, False, []), (7200, False, []), (7210, False, [ACK]))
    assert rows[1:] == [(State.RECTIFIED, False), (State.RECTIFIED, False), (None, False)]


@pytest.mark.source("bam-1")
def test_an_unacknowledged_warning_becomes_an_alarm() -> None:
    book, _ = step(AlertBook(), thing(Priority.WARNING), [], NOW)
    book, calls = step(book, thing(Priority.WARNING), [], NOW + Timing().warning_escalates)
    assert [(c.priority, c.sounds, c.escalation) for c in calls] == [(Priority.ALARM, True, 1)]


@pytest.mark.source("bam-2")
def test_an_unacknowledged_warning_is_repeated_within_five_minutes() -> None:
    assert play(Priority.WARNING, (0, True, []), (299, True, []), (300, True, []))[1:] == [
        (State.UNACKNOWLEDGED, False), (State.UNACKNOWLEDGED, True),
    ]
    with pytest.raises(ValueError, match="5 minutes"):
        Timing(warning_repeats=timedelta(minutes=5, seconds=1))


@pytest.mark.source("bam-2")
def test_a_caution_is_silent_and_needs_no_acknowledgement() -> None:
    rows = play(Priority.CAUTION, (0, True, []), (86400, True, []), (86460, False, []))
    assert rows == [(State.ACTIVE, False), (State.ACTIVE, False), (State.NORMAL, False)]


@pytest.mark.source("bam-1")
def test_not_more_than_one_alert_for_one_situation() -> None:
    book, calls = step(AlertBook(), [*thing(Priority.WARNING), *thing(Priority.ALARM)], [], NOW)
    assert [(a.name, a.priority) for a in book.alerts] == [("rule.thing", Priority.ALARM)]
    assert len(calls) == 1


@pytest.mark.source("bam-1")
def test_only_an_acknowledgement_ends_the_calling_of_a_situation_that_holds() -> None:
    ways = {turn for (state, turn), (to, _) in TRANSITIONS.items() if state.awaits and to is State.ACKNOWLEDGED}
    assert ways == {Turn.ACKNOWLEDGE}


@pytest.mark.source("bam-1")
@pytest.mark.parametrize("state", list(State))
def test_every_state_says_how_it_clears_and_can_be_left(state: State) -> None:
    assert state.clears
    assert any(after(state, turn) not in (None, (state, False)) for turn in Turn)
