"""What people do to alerts: acknowledge and silence, followed or refused with a reason."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from watch.alerts.book import Acknowledge, Acknowledgement, Alert, AlertBook, Call, Event, Reason, Refused, call_of
from watch.alerts.members import tell
from watch.alerts.states import State, Turn, after

UNKNOWN = "there is no such alert, or it is over"


def follow_events(book: AlertBook, events: Sequence[Event], now: datetime) -> tuple[AlertBook, list[Call]]:
    """The book, what people did in order, now -> the book after it with what was refused, and what to show of it."""
    refused, calls = [], []
    for event in events:
        alert = book.find(event.alert)
        why = UNKNOWN if alert is None else _refusal(alert, event)
        if alert is None or why is not None:
            refused.append(Refused(event=event, why=why or UNKNOWN, at=now))
            continue
        changed = _followed(alert, event, now)
        if changed is not alert:
            book = replace(book, alerts=tuple(changed if a.name == alert.name else a for a in book.alerts))
            calls.append(call_of(changed, Reason.ACKNOWLEDGED if isinstance(event, Acknowledge) else Reason.SILENCED, now))
    return replace(book, refused=tuple(refused)), calls


def _turn(event: Event) -> Turn:
    return Turn.ACKNOWLEDGE if isinstance(event, Acknowledge) else Turn.SILENCE


def _refusal(alert: Alert, event: Event) -> str | None:
    if event.revision is not None and event.revision < alert.called_revision:
        return "it has got worse since that was read; read it again"
    if after(alert.state, _turn(event)) is None:
        return f"it is {alert.state}: there is nothing to {'acknowledge' if isinstance(event, Acknowledge) else 'silence'}"
    return None


def _followed(alert: Alert, event: Event, now: datetime) -> Alert:
    move = after(alert.state, _turn(event))
    if move is None or (isinstance(event, Acknowledge) and alert.state is State.ACKNOWLEDGED):
        return alert
    changed = replace(alert, state=move[0], revision=alert.revision + 1, last_change=now)
    if not isinstance(event, Acknowledge):
        return replace(changed, silenced_at=now)
    record = Acknowledgement(
        who=event.who, where=event.where, at=now, priority=alert.priority, revision=alert.revision,
        title=alert.title, text="\n".join([*alert.news, alert.text]), due=alert.due,
    )
    return replace(changed, acknowledged=record, members=tell(alert.members), awaits_since=None, silenced_at=None, escalation=0)
