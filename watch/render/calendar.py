"""Deck windows as a calendar (RFC 5545): an event a window, alarms at the call and before it closes. A newer calendar replaces the older.

In it are the windows of every job that is ordered, and of every job that would be the way out if one of those is missed; only what is
ordered has alarms: nobody is woken for what need not be done. An event keeps its identifier from orders to orders (boat, job, the ship's
day from noon to noon in which the window closes), and its SEQUENCE grows with the time the orders were made: a program that has the
older event shows the newer in its place, also when the job becomes ordered or is ordered no more. Events of the last orders that are
gone are sent as cancelled.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from watch.alerts.situation import slug
from watch.orders.document import JobOrder, Orders, WindowOrder
from watch.orders.tell import percent
from watch.render.glance import is_hard_close
from watch.render.text import when
from watch.when import STEP

BEFORE_CLOSING = timedelta(minutes=30)  # judgement: long enough to wake and dress, too short to fall asleep again
SEQUENCE_FROM = datetime(2020, 1, 1, tzinfo=UTC)


def calendar(orders: Orders, previous: Orders | None = None) -> str:
    """Orders, and those before them when known -> the text of an .ics file, CRLF line ends as the standard wants."""
    made = Calendar()
    made.add("prodid", "-//nightorders//deck windows//EN")
    made.add("version", "2.0")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", f"Night orders, {orders.boat}")
    now = dict(_named(orders))
    for uid, entry in now.items():
        made.add_component(_event(orders, uid, entry))
    for uid, entry in _named(previous) if previous is not None else ():
        if uid not in now:
            made.add_component(_cancelled(orders, uid, entry))
    text: bytes = made.to_ical()
    return text.decode("utf-8")


def sequence(orders: Orders) -> int:
    """A number that grows from orders to orders: minutes since 2020."""
    return int((orders.made_at - SEQUENCE_FROM) / timedelta(minutes=1))


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One event to be: a deck window, or a job that has none, and the order for it if it is ordered. missed: the job it is a way out of."""

    job: str
    starts: datetime
    ends: datetime
    order: JobOrder | None
    window: WindowOrder | None
    missed: str = ""


def entries(orders: Orders) -> tuple[Entry, ...]:
    """What the calendar of these orders holds, in the order of time."""
    ordered = [_ordered(orders, job) for job in orders.jobs]
    taken = {(j.job, j.window.first_start) for j in orders.jobs if j.window is not None}
    names = {job.job for job in orders.jobs}
    others = [
        Entry(job=w.job, starts=max(orders.made_at, w.first_start), ends=w.last_start + STEP, order=None, window=w, missed=missed)
        for w in orders.windows
        if (w.job, w.first_start) not in taken and ((missed := _way_out_of(orders, w.job)) or w.job in names)
        and w.last_start >= orders.made_at
    ]  # fmt: skip
    return tuple(sorted([*ordered, *others], key=lambda e: (e.starts, e.job)))


def _ordered(orders: Orders, job: JobOrder) -> Entry:
    starts = job.start if job.window is None else max(orders.made_at, job.window.first_start)
    return Entry(job=job.job, starts=starts, ends=job.closes if job.closes > starts else job.end, order=job, window=job.window)


def _way_out_of(orders: Orders, name: str) -> str:
    """The ordered job that this one would be a way out of, if that is missed; empty when it is of none."""
    return next((j.job for j in orders.jobs if any(way.startswith(f"{name} at ") for way in j.if_missed.instead)), "")


def _named(orders: Orders) -> Iterator[tuple[str, Entry]]:
    seen: Counter[str] = Counter()
    for entry in entries(orders):
        closes = entry.ends if entry.window is None else entry.window.last_start
        day = orders.ship_time.local(closes) - timedelta(hours=12)
        name = f"{slug(entry.job)}.{day:%Y%m%d}"
        yield f"{name}.{seen[name]}@{slug(orders.boat).replace('_', '-')}.nightorders.invalid", entry
        seen[name] += 1


def _event(orders: Orders, uid: str, entry: Entry) -> Event:
    event = _base(orders, uid, entry)
    job = entry.order
    event.add("status", "CONFIRMED" if job is not None else "TENTATIVE")
    event.add("description", _unordered_words(orders, entry) if job is None else _words(orders, job))
    if job is None:
        return event
    event.add("location", job.place)
    event.add_component(_alarm(job.call, f"Call: {job.job} at {when(orders, job.start)}"))
    warn = job.closes - BEFORE_CLOSING
    if is_hard_close(job) and warn > job.call:
        event.add_component(_alarm(warn, f"Closes {when(orders, job.closes)}: {job.job}"))
    return event


def _cancelled(orders: Orders, uid: str, entry: Entry) -> Event:
    event = _base(orders, uid, entry)
    event.add("status", "CANCELLED")
    return event


def _base(orders: Orders, uid: str, entry: Entry) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", orders.made_at)
    event.add("sequence", sequence(orders))
    event.add("dtstart", entry.starts)
    event.add("dtend", entry.ends)
    head = "" if entry.order is not None else "Not ordered: "
    event.add("summary", f"{head}{entry.job if head else entry.job[:1].upper() + entry.job[1:]}")
    event.add("transp", "TRANSPARENT")
    return event


def _unordered_words(orders: Orders, entry: Entry) -> str:
    why = f"A way out if “{entry.missed}” is missed." if entry.missed else "The deck is open for it again; it is ordered for another time."
    window = entry.window
    if window is None:
        return why
    return "\n".join((
        why, f"Deck open to {when(orders, window.last_start)} ship's time ({orders.ship_time.name}), then: {window.words}.",
        f"Chance of finishing: {percent(window.chance)} at least.",
    ))  # fmt: skip


def _words(orders: Orders, job: JobOrder) -> str:
    closes = f"Closes {when(orders, job.closes)}: {job.closes_words}." if is_hard_close(job) else ""
    return "\n".join(line for line in (
        f"Planned for {when(orders, job.start)} ship's time ({orders.ship_time.name}), {job.minutes:g} min and "
        f"{job.reserve_minutes:g} in reserve.",
        closes, f"Chance of finishing: {percent(job.chance)}. Limits: {job.limits_words}.", f"Why: {job.because}.",
        f"If missed: {job.if_missed.words}.",
    ) if line)  # fmt: skip


def _alarm(at: datetime, words: str) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", at, parameters={"VALUE": "DATE-TIME"})
    alarm.add("description", words)
    return alarm
