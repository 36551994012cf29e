"""Signal K notifications: an alert as one, and a change made by somebody else as an event. Source: signalk-1."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from watch.alerts.book import Acknowledge, Alert, AlertBook, Call, Event, Silence
from watch.alerts.situation import Priority
from watch.alerts.states import State
from watch.when import utc

BRANCH = "notifications.nightorders"
STATE_WORDS = {
    Priority.CAUTION: "alert", Priority.WARNING: "warn", Priority.ALARM: "alarm", Priority.EMERGENCY_ALARM: "emergency",
}
PRIORITIES = {word: priority for priority, word in STATE_WORDS.items()} | {"warning": Priority.WARNING}
CALM_WORDS = ("nominal", "normal")
Value = Mapping[str, Any] | None


def path_of(name: str) -> str:
    """The name of an alert -> its path; names have no hyphens, so no two share one.

    >>> path_of("job.reef_3")
    'notifications.nightorders.job-reef_3'
    """
    return f"{BRANCH}.{name.replace('.', '-')}"


def value_of(alert: Alert | Call) -> Value:
    """How an alert stands -> the value at its path; None, which clears it, when it is over.

    Sound only while somebody still has to acknowledge it; what is rectified and not acknowledged is 'normal' and on show.
    """
    if alert.state is State.NORMAL:
        return None
    state = "normal" if alert.state is State.RECTIFIED else STATE_WORDS[alert.priority]
    sounds = alert.state is State.UNACKNOWLEDGED and alert.priority.is_heard
    text = " ".join(" ".join([f"{alert.title}.", *alert.news, alert.text]).split())
    return {"state": state, "method": ["visual", "sound"] if sounds else ["visual"], "message": text}


def delta(values: Mapping[str, Value], at: datetime) -> dict[str, Any]:
    """Paths with their values, an aware instant -> a delta message."""
    stamp = utc(at).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    listed = [{"path": path, "value": None if value is None else dict(value)} for path, value in values.items()]
    return {"context": "vessels.self", "updates": [{"timestamp": stamp, "values": listed}]}


def subscription() -> dict[str, Any]:
    """The message that asks for every change to our own notifications."""
    return {"context": "vessels.self", "subscribe": [{"path": f"{BRANCH}.*", "policy": "instant"}]}


def events_of(message: object, book: AlertBook, sent: Mapping[str, Value], where: str) -> list[Event]:
    """A delta that came in, the book, what we sent last at each path -> what somebody did.

    Where we sent sound: an empty method is an acknowledgement, a method without sound a silence, both only with the very state
    and message we sent last, for what was said since then has not been read. Our own words coming back, a value cleared by
    somebody else, and anything that is no delta are nothing: an alert is never ended from outside.
    """
    names = {path_of(a.name): a.name for a in book.alerts}
    return [event for who, path, value in values_in(message) if path in names
            for event in _event(names[path], value, sent.get(path), who, where)]


def _event(name: str, value: Mapping[str, Any], sent: Value, who: str, where: str) -> list[Event]:
    method = value.get("method")
    if sent is None or "sound" not in sent["method"] or not isinstance(method, list) or "sound" in method:
        return []
    if value.get("message") != sent["message"] or PRIORITIES.get(str(value.get("state"))) is not PRIORITIES[sent["state"]]:
        return []
    return [Silence(alert=name, who=who, where=where)] if method else [Acknowledge(alert=name, who=who, where=where)]


def values_in(message: object) -> Iterable[tuple[str, str, Mapping[str, Any]]]:
    """Any message -> (source, path, value) of every value in it that is a table; nothing for what is no delta."""
    updates = message.get("updates") if isinstance(message, dict) else None
    for update in updates if isinstance(updates, list) else []:
        values = update.get("values") if isinstance(update, dict) else None
        for entry in values if isinstance(values, list) else []:
            if isinstance(entry, dict) and isinstance(entry.get("path"), str) and isinstance(entry.get("value"), dict):
                yield str(update.get("$source", "unnamed source")), entry["path"], entry["value"]
