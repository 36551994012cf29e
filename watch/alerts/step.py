"""One step of the alert book: situations, events and the time in; the new book and the calls out."""

from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from datetime import datetime, timedelta
from typing import Any

from watch.alerts.advance import Moment, advance, escalates_after, severity, unborn
from watch.alerts.book import MOST_ALERT_NUMBERS, Alert, AlertBook, Call, Event, Member, Timing
from watch.alerts.events import follow_events
from watch.alerts.members import Pass, is_untold
from watch.alerts.situation import Priority, Situation, severest
from watch.alerts.states import State
from watch.when import ShipTime, utc

UTC_ONLY = ShipTime()
USUAL = Timing()


def step(
    book: AlertBook, situations: Iterable[Situation] | None, events: Sequence[Event], now: datetime, *,
    timing: Timing = USUAL, ship: ShipTime = UTC_ONLY,
) -> tuple[AlertBook, list[Call]]:
    """The book, all situations that hold now (None: no new pass, only time goes by), events, now (aware) -> new book, calls.

    Events are followed first, on the book as the sailor saw it; then the situations. A clock that was set back takes all
    reckoning back with it, and everything that nobody acknowledged is called at once. Raises ValueError for a naive `now`.

    >>> from watch.when import parse_utc
    >>> reef = Situation(key="job.reef_3", priority=Priority.WARNING, title="Reef 3", text="Take it in by 22:40.",
    ...                  why="gust 38 kn, limit 34", clears="reef 3 is in")
    >>> book, calls = step(AlertBook(), [reef], [], parse_utc("2026-05-14T20:00Z"))
    >>> calls[0].reason.value, calls[0].sounds, book.alerts[0].state.value
    ('new', True, 'active, unacknowledged')
    """
    now = utc(now)
    book, set_back = _rebased(book, now)
    book, calls = follow_events(book, events, now)
    moment = Moment(found=_pass_of(situations), now=now, set_back=set_back, timing=timing, ship=ship)
    alerts, number = _with_unborn(book, moment)
    moved = [advance(alert, moment) for alert in alerts]
    calls += sorted((call for _, call in moved if call is not None), key=lambda c: -c.priority)
    kept = [alert for alert, _ in moved if alert.state is not State.NORMAL or alert.members]
    kept.sort(key=lambda a: (-a.priority, not a.state.is_active, a.raised_at, a.number))
    return replace(book, alerts=tuple(kept), as_of=now, next_number=number), calls


def next_step(book: AlertBook, timing: Timing = USUAL) -> datetime | None:
    """When the book has something to say though nothing new is known, None when never: take a step at that time at the latest."""
    return min((t for alert in book.alerts for t in _wants(alert, timing)), default=None)


def _wants(alert: Alert, timing: Timing) -> list[datetime]:
    times = []
    if alert.state is State.UNACKNOWLEDGED and alert.priority.is_heard and alert.last_call:
        times.append(alert.last_call + timing.repeats(alert.priority))
    if alert.state is State.SILENCED and alert.silenced_at:
        times.append(alert.silenced_at + timing.silence)
    if alert.state.awaits and alert.priority is Priority.WARNING and alert.awaits_since:
        times.append(alert.awaits_since + escalates_after(alert.present, timing))
    untold = alert.state is State.ACKNOWLEDGED and any(is_untold(m, severity(alert.present)) for m in alert.present)
    if untold and alert.last_call:
        times.append(alert.last_call + timing.hold_down)
    return times


def _rebased(book: AlertBook, now: datetime) -> tuple[AlertBook, bool]:
    """After a clock was set back every time that is reckoned from moves with it, so that no wait grows longer.

    How long it has really been cannot be known, so what was gone is forgotten: if it returns, it calls.
    """
    if book.as_of is None or now >= book.as_of:
        return book, False
    back = book.as_of - now
    return replace(book, alerts=tuple(_earlier(alert, back) for alert in book.alerts)), True


def _earlier(alert: Alert, back: timedelta) -> Alert:
    members = tuple(replace(m, **_times(m, back)) for m in alert.present)
    return replace(alert, members=members, **_times(alert, back))


def _times(thing: Alert | Member, back: timedelta) -> dict[str, Any]:
    """The fields of an alert or a member that time is reckoned from, moved back; a due time is the weather's and stays."""
    values = {f.name: getattr(thing, f.name) for f in fields(thing) if f.name != "due"}
    return {name: value - back for name, value in values.items() if isinstance(value, datetime)}


def _pass_of(situations: Iterable[Situation] | None) -> Pass | None:
    if situations is None:
        return None
    found = severest(situations)
    return Pass(found=found, uncomputed={s.rule: s.why for s in found.values() if not s.computed})


def _with_unborn(book: AlertBook, moment: Moment) -> tuple[list[Alert], int]:
    """The alerts of the book and one for each name that is new, and the next free number."""
    alerts, number = list(book.alerts), book.next_number
    found = moment.found.found.values() if moment.found else ()
    known = {a.name for a in alerts}
    for name in dict.fromkeys(s.alert for s in found if s.alert not in known):
        number = _free(number, alerts)
        alerts.append(unborn(name, number, moment.now))
        number = number % MOST_ALERT_NUMBERS + 1
    return alerts, number


def _free(number: int, alerts: Sequence[Alert]) -> int:
    taken = {a.number for a in alerts}
    while number in taken:
        number = number % MOST_ALERT_NUMBERS + 1
    return number
