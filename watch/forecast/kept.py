"""Forecasts that are kept: how they are named, and which of them may go."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from watch.when import utc

NEWEST_RUNS = 6
YOUNG = timedelta(hours=48)
AHEAD = timedelta(hours=6)  # a base time further ahead than this comes from a wrong clock or a bad file
ENDING = ".grib"
NAME = re.compile(r"([a-z0-9-]+)-(\d{10})(?:-([0-9a-f]{16})\.grib)?")
DIGEST_LETTERS = 16


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A forecast that is kept: a file that came in, or the folder of a run that was fetched. centre: the issuing centre of a file,
    the source of a folder. arrived: when it was put there. digest: of a file's bytes, "" for a folder. paths: what to
    read. whole: nothing of what was asked for is lacking."""

    path: Path
    centre: str
    run: datetime
    arrived: datetime
    bytes: int
    digest: str = ""
    paths: tuple[Path, ...] = ()
    whole: bool = True


def kept_name(centre: str, run: datetime, digest: str) -> str:
    """The name of a file that is kept: the centre, the base time of its newest run, the first letters of its checksum.

    >>> kept_name("kwbc", datetime(2026, 5, 16, 12, tzinfo=UTC), "0123456789abcdef0123")
    'kwbc-2026051612-0123456789abcdef.grib'
    """
    plain = re.sub(r"[^a-z0-9]", "", centre.lower()) or "unknown"
    return f"{plain}-{utc(run):%Y%m%d%H}-{digest[:DIGEST_LETTERS]}{ENDING}"


def parts_of(name: str) -> tuple[str, datetime, str] | None:
    """The name of what is kept -> centre or source, base time, digest ("" for a run's folder); None when it is no such name.

    >>> parts_of("us-global-box-2026051612")[0], parts_of("kwbc-2026051612-0123456789abcdef.grib")[2], parts_of("notes.txt")
    ('us-global-box', '0123456789abcdef', None)
    """
    found = NAME.fullmatch(name)
    if found is None:
        return None
    try:
        run = datetime.strptime(found[2], "%Y%m%d%H").replace(tzinfo=UTC)
    except ValueError:
        return None
    return found[1], run, found[3] or ""


def to_drop(kept: Iterable[Kept], now: datetime, *, newest_runs: int = NEWEST_RUNS, young: timedelta = YOUNG) -> tuple[Kept, ...]:
    """What may go, in order of age: older than the newest whole runs of its centre, and neither begun nor arrived within `young`.

    A base time well ahead of `now` counts as no run: it may be a bad clock's, and must not push the real ones out. What is dated
    ahead of `now` is itself never dropped.
    """
    now, every = utc(now), tuple(kept)
    droppable: list[Kept] = []
    for centre in sorted({one.centre for one in every}):
        own = [one for one in every if one.centre == centre]
        runs = sorted({one.run for one in own if one.whole and one.run <= now + AHEAD}, reverse=True)[: max(1, newest_runs)]
        old = [one for one in own if len(runs) >= max(1, newest_runs) and one.run < runs[-1]]
        droppable += [one for one in old if now - one.run >= young and now - one.arrived >= young]
    return tuple(sorted(droppable, key=lambda one: (one.run, one.arrived, one.path)))


def newest_first(kept: Sequence[Kept]) -> tuple[Kept, ...]:
    """Everything kept, the newest run first."""
    return tuple(sorted(kept, key=lambda one: (one.run, one.centre, one.path), reverse=True))
