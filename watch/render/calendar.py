"""Deck windows as a calendar (RFC 5545): an event a job, alarms at the call and before it closes. A newer calendar replaces the older.

An event keeps its identifier from orders to orders (boat, job, how often the job has come before in the same orders), and its
SEQUENCE grows with the time the orders were made: a program that has the older event shows the newer in its place. Events of the
last orders that are no longer ordered are sent as cancelled.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from watch.alerts.situation import slug
from watch.orders.document import JobOrder, Orders
from watch.orders.tell import percent
from watch.render.glance import is_hard_close
from watch.render.text import when

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
    for uid, job in now.items():
        made.add_component(_event(orders, uid, job))
    for uid, job in _named(previous) if previous is not None else ():
        if uid not in now:
            made.add_component(_cancelled(orders, uid, job))
    text: bytes = made.to_ical()
    return text.decode("utf-8")


def sequence(orders: Orders) -> int:
    """A number that grows from orders to orders: minutes since 2020."""
    return int((orders.made_at - SEQUENCE_FROM) / timedelta(minutes=1))


def _named(orders: Orders) -> Iterator[tuple[str, JobOrder]]:
    seen: Counter[str] = Counter()
    for job in orders.jobs:
        yield f"{slug(job.job)}.{seen[job.job]}@{slug(orders.boat).replace('_', '-')}.nightorders.invalid", job
        seen[job.job] += 1


def _event(orders: Orders, uid: str, job: JobOrder) -> Event:
    starts = job.start if job.window is None else max(orders.made_at, job.window.first_start)
    ends = job.closes if job.closes > starts else job.end
    event = _base(orders, uid, job, starts, ends)
    event.add("status", "CONFIRMED")
    event.add("description", _words(orders, job))
    event.add("location", job.place)
    event.add_component(_alarm(job.call, f"Call: {job.job} at {when(orders, job.start)}"))
    warn = job.closes - BEFORE_CLOSING
    if is_hard_close(job) and warn > job.call:
        event.add_component(_alarm(warn, f"Closes {when(orders, job.closes)}: {job.job}"))
    return event


def _cancelled(orders: Orders, uid: str, job: JobOrder) -> Event:
    event = _base(orders, uid, job, job.start, job.end)
    event.add("status", "CANCELLED")
    return event


def _base(orders: Orders, uid: str, job: JobOrder, starts: datetime, ends: datetime) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", orders.made_at)
    event.add("sequence", sequence(orders))
    event.add("dtstart", starts)
    event.add("dtend", ends)
    event.add("summary", f"{job.job[:1].upper()}{job.job[1:]}")
    event.add("transp", "TRANSPARENT")
    return event


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
