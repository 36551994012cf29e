"""When the watch has to look again, though nothing new comes: every ten minutes, and at every time that the orders name."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from watch.alerts.rules import CLOSING_SOON, SHELTER_SOON
from watch.orders.document import Orders
from watch.when import STEP_MINUTES, ceil_step

SOONEST = timedelta(seconds=30)  # judgement: two passes are never closer together than this


def next_wake(orders: Orders | None, now: datetime, begun: datetime | None = None) -> tuple[datetime, str]:
    """The orders that stand, now -> when the next pass is due, and why: the next ten minutes, or a time of the orders before that.

    begun: the time that the pass just made is of. What came due while it was made is due now, once, however much of it there was: a slow
    computer skips, it does not fall behind.

    >>> from watch.when import parse_utc
    >>> next_wake(None, parse_utc("2026-05-16T12:03Z"))[1]
    'the next ten minutes'
    >>> str(next_wake(None, parse_utc("2026-05-16T12:34Z"), parse_utc("2026-05-16T12:03Z"))[0].time())
    '12:34:00'
    """
    since = now if begun is None else min(begun, now)
    usual = ceil_step(since + timedelta(seconds=1))
    if usual - since < SOONEST:
        usual += timedelta(minutes=STEP_MINUTES)
    named = [] if orders is None else [(at, why) for at, why in times_named(orders) if since + SOONEST <= at < usual]
    at, why = min(named, default=(usual, "the next ten minutes"))
    return max(at, now), why


def times_named(orders: Orders) -> Iterator[tuple[datetime, str]]:
    """The times at which something changes for the sailor: call, begin and closing times, the hour before closing, turn-by times."""
    for job in orders.jobs:
        yield job.call, f"call time of “{job.job}”"
        yield job.start, f"time to begin “{job.job}”"
        yield job.closes - CLOSING_SOON, f"an hour before “{job.job}” closes"
        yield job.closes, f"“{job.job}” closes"
    for shelter in orders.shelters:
        if shelter.turn_by is not None:
            yield shelter.turn_by - SHELTER_SOON, f"turn-by time for {shelter.name} near"
            yield shelter.turn_by, f"turn-by time for {shelter.name}"
