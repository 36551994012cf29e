"""Notifications as the Signal K specification has them."""

from datetime import timedelta

import pytest

from watch.alerts.book import Acknowledge, AlertBook, Event, Silence
from watch.alerts.notifications import CALM_WORDS, PRIORITIES, STATE_WORDS, delta, events_of, path_of, subscription, value_of
from watch.alerts.situation import Priority, Situation
from watch.alerts.step import step
from watch.when import parse_utc

pytestmark = pytest.mark.source("signalk-1")

NOW = parse_utc("2017-08-15T16:00:05.538Z")
PATH = "notifications.nightorders.job-reef"


def book(priority: Priority, *events: Event) -> AlertBook:
    situation = Situation(key="job.reef", priority=priority, title="Reef 3", text="By 22:40.", why="w", clears="c")
    raised, _ = step(AlertBook(), [situation], [], NOW)
    return step(raised, None, list(events), NOW + timedelta(seconds=1))[0]


ACK = Acknowledge(alert="job.reef", who="sailor", where="deck")


def test_the_states_are_the_specifications_and_warning_is_accepted() -> None:
    assert {*CALM_WORDS, *STATE_WORDS.values()} == {"nominal", "normal", "alert", "warn", "alarm", "emergency"}
    assert PRIORITIES["warning"] is PRIORITIES["warn"] is Priority.WARNING


@pytest.mark.parametrize(("priority", "state", "method"), [
    (Priority.EMERGENCY_ALARM, "emergency", ["visual", "sound"]), (Priority.ALARM, "alarm", ["visual", "sound"]),
    (Priority.WARNING, "warn", ["visual", "sound"]), (Priority.CAUTION, "alert", ["visual"]),
])
def test_an_alert_is_a_notification(priority: Priority, state: str, method: list[str]) -> None:
    value = value_of(book(priority).alerts[0])
    assert value == {"state": state, "method": method, "message": "Reef 3. By 22:40."}


def test_an_acknowledged_alert_makes_no_sound_and_keeps_its_state() -> None:
    value = value_of(book(Priority.ALARM, ACK).alerts[0])
    assert value is not None
    assert (value["state"], value["method"]) == ("alarm", ["visual"])


def test_what_is_over_and_unacknowledged_is_normal_and_on_show() -> None:
    rectified, _ = step(book(Priority.ALARM), [], [], NOW + timedelta(seconds=2))
    value = value_of(rectified.alerts[0])
    assert value is not None
    assert (value["state"], value["method"]) == ("normal", ["visual"])


def test_a_notification_is_cleared_with_null() -> None:
    _, calls = step(book(Priority.ALARM, ACK), [], [], NOW + timedelta(seconds=2))
    message = delta({path_of(calls[0].alert): value_of(calls[0])}, NOW)
    assert message == {
        "context": "vessels.self",
        "updates": [{"timestamp": "2017-08-15T16:00:05.538Z", "values": [{"path": PATH, "value": None}]}],
    }


def test_the_subscription_is_for_our_own_notifications() -> None:
    wanted = [{"path": "notifications.nightorders.*", "policy": "instant"}]
    assert subscription() == {"context": "vessels.self", "subscribe": wanted}


def incoming(**value: object) -> dict[str, object]:
    return {"context": "vessels.self", "updates": [{"$source": "helm", "values": [{"path": PATH, "value": value}]}]}


SENT = {"state": "warn", "method": ["visual", "sound"], "message": "Reef 3. By 22:40."}


@pytest.mark.parametrize(("changed", "expected"), [
    ({"method": []}, [Acknowledge(alert="job.reef", who="helm", where="server")]),
    ({"method": [], "state": "warning"}, [Acknowledge(alert="job.reef", who="helm", where="server")]),
    ({"method": ["visual"]}, [Silence(alert="job.reef", who="helm", where="server")]),
    ({}, []),  # our own words coming back
    ({"method": ["sound"]}, []),
    ({"method": [], "message": "Reef 3. By 23:40."}, []),  # somebody read an older text
    ({"method": [], "state": "alarm"}, []),
    ({"method": [], "state": "normal"}, []),
    ({"method": None}, []), ({"method": "none"}, []), ({"message": None, "method": []}, []),
])
def test_a_changed_method_is_what_somebody_did(changed: dict[str, object], expected: list[Event]) -> None:
    assert events_of(incoming(**{**SENT, **changed}), book(Priority.WARNING), {PATH: SENT}, "server") == expected


@pytest.mark.parametrize("message", [
    None, 3, "x", [], {}, {"updates": 3}, {"updates": [3]}, {"updates": [{"values": 3}]}, {"updates": [{"values": [3]}]},
    {"updates": [{"values": [{"path": PATH, "value": None}]}]}, {"updates": [{"values": [{"path": 3, "value": {}}]}]},
])
def test_what_is_no_delta_or_clears_is_nothing(message: object) -> None:
    assert events_of(message, book(Priority.WARNING), {PATH: SENT}, "server") == []


def test_what_we_never_sent_is_not_acknowledged() -> None:
    assert events_of(incoming(**{**SENT, "method": []}), book(Priority.WARNING), {}, "server") == []


def test_a_silent_notification_cannot_be_acknowledged_again() -> None:
    silent = {**SENT, "method": ["visual"]}
    assert events_of(incoming(**{**SENT, "method": []}), book(Priority.WARNING, ACK), {PATH: silent}, "server") == []
