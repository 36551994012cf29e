"""Which runs are worth fetching now, and when to look again: each run's hours and usual delay, with waits that grow after a failure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from watch.forecast.budget import Reason
from watch.forecast.catalogue import Source
from watch.forecast.sources import candidate_runs, expected_at
from watch.when import utc

FIRST_WAIT = timedelta(minutes=10)  # judgement: a late run is seldom more than an hour late
LONGEST_WAIT = timedelta(hours=2)


@dataclass(frozen=True, kw_only=True)
class Had:
    """What is known of one run of one source. tries: fetches in a row that did not make it whole, the last at tried_at, with this
    reason; retry_at: before which the server, or the fetch itself, said that trying again makes no sense."""

    source: str
    run: datetime
    whole: bool
    tries: int = 0
    tried_at: datetime | None = None
    retry_at: datetime | None = None
    reason: Reason | None = None


def due(sources: Iterable[Source], now: datetime, have: Iterable[Had]) -> list[tuple[Source, datetime]]:
    """The run of each source that is worth fetching now, if any; in the order of sources.

    It is the newest that is usually whole by now, and newer than any that we have whole. While that one rests after a failure the one
    before it is only worth a try when the server had not got the newer, and nothing as new is here.
    """
    known = {(had.source, had.run): had for had in have}
    found = ((source, _due(source, utc(now), known)) for source in sources)
    return [(source, run) for source, run in found if run is not None]


def next_due(sources: Sequence[Source], now: datetime, have: Iterable[Had]) -> datetime | None:
    """When `due` next says something that it does not say now; None when there are no sources."""
    known, now = {(had.source, had.run): had for had in have}, utc(now)
    return min((at for source in sources for at in _instants(source, now, known) if at > now), default=None)


def rest_until(had: Had, now: datetime) -> datetime:
    """Until when a run that failed is left alone: 10 minutes, doubled with each failure, 2 hours at the most, or as long as was said.

    >>> from watch.when import parse_utc
    >>> at = parse_utc("2026-05-14T12:00Z")
    >>> rest_until(Had(source="a", run=at, whole=False, tries=3, tried_at=at), at).strftime("%H:%M")
    '12:40'
    """
    if had.tried_at is None or had.tries < 1 or had.tried_at > now:  # the ship's clock was set back: what it said counts no more
        return now
    wait = min(LONGEST_WAIT, FIRST_WAIT * (1 << min(had.tries - 1, 10)))
    return max(had.tried_at + wait, had.retry_at or had.tried_at)


def after_fetch(before: Had | None, source: str, run: datetime, now: datetime, reason: Reason | None, retry_at: datetime | None) -> Had:
    """What is known of a run after a fetch of it. reason: why it is not whole, None when it is."""
    tries = 0 if reason is None else 1 + (before.tries if before is not None and not before.whole else 0)
    return Had(source=source, run=run, whole=reason is None, tries=tries, tried_at=utc(now), retry_at=retry_at, reason=reason)


def _due(source: Source, now: datetime, known: Mapping[tuple[str, datetime], Had]) -> datetime | None:
    newest_whole = max((had.run for had in known.values() if had.source == source.id and had.whole), default=None)
    for run in _usually_whole(source, now):
        if newest_whole is not None and run <= newest_whole:
            return None
        had = known.get((source.id, run))
        if had is None or rest_until(had, now) <= now:
            return run
        if had.reason != Reason.NOT_YET:
            return None  # the link, the limits or the disk: an older run fares no better
    return None


def _instants(source: Source, now: datetime, known: Mapping[tuple[str, datetime], Had]) -> list[datetime]:
    runs = candidate_runs(source, now + timedelta(days=1) + timedelta(hours=source.usual_h))
    resting = [had for had in known.values() if had.source == source.id and not had.whole]
    return [*(expected_at(source, run) for run in runs), *(rest_until(had, now) for had in resting)]


def _usually_whole(source: Source, now: datetime) -> tuple[datetime, ...]:
    return tuple(run for run in candidate_runs(source, now) if expected_at(source, run) <= now)
