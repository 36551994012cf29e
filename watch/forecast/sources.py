"""What a run, a box, some steps and some fields of a source come to: requests for files, and how many bytes."""

import hashlib
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import quote

from watch.forecast.box import Box
from watch.forecast.catalogue import Layout, Source, SourceField, SourceFile
from watch.forecast.contract import Name
from watch.when import utc

HEADER_BYTES = 250  # a GRIB message of nothing but headers, near enough


@dataclass(frozen=True, kw_only=True)
class Want:
    """One field wanted of one file. number: which member, in a file that holds many."""

    name: Name
    any_of: tuple[SourceField, ...]
    number: int | None = None


@dataclass(frozen=True, kw_only=True)
class FileRequest:
    """One file, or part of one. key: a name for it on disk, the same for the same request. estimate_bytes: index not counted."""

    key: str
    layout: Layout
    url: str
    index_url: str
    wants: tuple[Want, ...]
    run: datetime
    step_h: int
    member: str
    estimate_bytes: int
    index_bytes: int

    @property
    def title(self) -> str:
        """For a person: which step, and which member."""
        return f"+{self.step_h} h" + (f" {self.member}" if self.member else "")


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is asked of a source for one run: earlier steps first. key: a name for it on disk, the same for the same plan."""

    key: str
    source: str
    kind: str
    run: datetime
    requests: tuple[FileRequest, ...]
    attribution: str

    @property
    def estimate_bytes(self) -> int:
        """Bytes to be received, indexes and all, near enough to decide by."""
        return sum(request.estimate_bytes + request.index_bytes for request in self.requests)


def steps_of(source: Source, run: datetime) -> tuple[int, ...]:
    """The steps [h] that a run has, rising; ValueError when no run starts then.

    >>> from watch.when import parse_utc
    >>> from watch.forecast.catalogue import Cycle
    >>> cycle = Cycle(hours=(0, 12), steps=((0, 6, 3), (6, 12, 6)))
    >>> steps_of(Source.model_construct(id="a", cycle=(cycle,)), parse_utc("2026-05-14T12:00Z"))
    (0, 3, 6, 12)
    """
    run = utc(run)
    for cycle in source.cycle:
        if run.hour in cycle.hours and run == run.replace(minute=0, second=0, microsecond=0):
            return tuple(sorted({step for first, last, every in cycle.steps for step in range(first, last + 1, every)}))
    raise ValueError(f"{source.id} has no run that starts at {run:%H:%M} UTC")


def steps_to(source: Source, run: datetime, hours: int, every_h: int = 1) -> tuple[int, ...]:
    """The steps that a run has up to the first at or after `hours`, no closer together than every_h where it has a choice."""
    kept: list[int] = []
    for step in steps_of(source, run):
        if not kept or step - kept[-1] >= every_h:
            kept.append(step)
        if kept[-1] >= hours:
            break
    return tuple(kept)


def candidate_runs(source: Source, now: datetime) -> tuple[datetime, ...]:
    """Base times of runs that may be on the server now, newest first.

    A run is worth asking for from `soonest_h` after its base time, until it has been there for `kept_days`.
    """
    newest, oldest = utc(now) - timedelta(hours=source.soonest_h), utc(now) - timedelta(days=source.kept_days)
    hours = sorted({hour for cycle in source.cycle for hour in cycle.hours}, reverse=True)
    midnight = newest.replace(hour=0, minute=0, second=0, microsecond=0)
    days = range(math.ceil(source.kept_days) + 2)
    runs = (midnight - timedelta(days=day) + timedelta(hours=hour) for day in days for hour in hours)
    return tuple(run for run in runs if oldest <= run <= newest)


def expected_at(source: Source, run: datetime) -> datetime:
    """When a run is usually whole."""
    return utc(run) + timedelta(hours=source.usual_h)


def plan(
    source: Source, run: datetime, box: Box, steps: Sequence[int], fields: Sequence[Name], members: int | None = None,
) -> Plan:
    """What to ask for: a request a file, earlier steps first, so that a fetch cut short still has the nearest days whole.

    members: take the first so many of an ensemble; None for all. Fields that the source does not have are left out; that nothing
    is left, or a step that the run does not have, raises ValueError. The box matters to a query only: indexes give whole fields.
    """
    run = utc(run)
    known = steps_of(source, run)
    strange = sorted(set(steps) - set(known))
    if strange or not steps:
        raise ValueError(f"{source.id} has no step +{strange[0]} h in this run" if strange else "a plan needs at least one step")
    requests = [request for step in sorted(set(steps)) for file in source.file
                for request in _requests(source, file, run, box, step, tuple(dict.fromkeys(fields)), members)]
    if not requests:
        raise ValueError(f"{source.id} has none of the fields asked for")
    key = _digest(*(request.key for request in requests))
    return Plan(key=key, source=source.id, kind=source.kind, run=run, requests=tuple(requests), attribution=source.attribution)


def lacks(source: Source, fields: Sequence[Name]) -> tuple[Name, ...]:
    """The fields that a source does not have at all."""
    return tuple(name for name in fields if not any(name in file.fields for file in source.file))


def probe_urls(source: Source, run: datetime, step: int) -> tuple[str, ...]:
    """Addresses that are there once a run has reached a step: the index (or else the file) of each family, for its last member."""
    return tuple(_filled(file.index or file.url, source, run, step, file.members[-1] if file.members else "") for file in source.file)


def _requests(
    source: Source, file: SourceFile, run: datetime, box: Box, step: int, fields: tuple[Name, ...], members: int | None,
) -> Iterator[FileRequest]:
    numbers: Sequence[int | None] = range(file.numbers[0], file.numbers[1] + 1)[:members] if file.numbers else (None,)
    wants = tuple(
        Want(name=name, any_of=usable, number=number) for number in numbers for name in fields
        if (usable := tuple(f for f in file.fields.get(name, ()) if f.first_step_h <= step)))
    if not wants:
        return
    extra = {}
    size = sum(want.any_of[0].bytes for want in wants)
    if source.layout == Layout.QUERY:
        extra, values = _box_words(source, box), _values(source, box)
        extra["fields"] = _query(wants)
        size = math.ceil(len(wants) * (HEADER_BYTES + values * source.bytes_per_value))
    for member in file.members[:members] or ("",):
        url = _filled(file.url, source, run, step, member, extra)
        index = "" if source.layout == Layout.QUERY else _filled(file.index, source, run, step, member)
        what = ";".join(f"{w.name}:{w.number}:{w.any_of}" for w in wants)
        name = f"{source.id}-{run:%Y%m%d%H}-f{step:03d}" + (f"-{member}" if member else "")
        # The server is no part of the name: what came whole from one is not asked of its mirror again.
        yield FileRequest(
            key=f"{name}-{_digest(url.removeprefix(source.base_url), what)[:8]}", layout=source.layout, url=url, index_url=index,
            wants=wants, run=run, step_h=step, member=member, estimate_bytes=size, index_bytes=file.index_bytes if index else 0)


def _filled(
    template: str, source: Source, run: datetime, step: int, member: str, extra: dict[str, str] | None = None,
) -> str:
    return template.format(
        base=source.base_url, yyyymmdd=f"{run:%Y%m%d}", HH=f"{run:%H}", step=step, member=member, **(extra or {}))


def _box_words(source: Source, box: Box) -> dict[str, str]:
    """The box grown to whole grid cells; east is counted on from west, so it may pass 180."""
    grid = source.grid_deg
    west = math.floor(((box.west + 180.0) % 360.0 - 180.0) / grid) * grid
    east = west + min(360.0 - grid, (math.ceil(box.width_deg / grid) + 1) * grid)
    south, north = max(-90.0, math.floor(box.south / grid) * grid), min(90.0, math.ceil(box.north / grid) * grid)
    return {"west": f"{west:g}", "east": f"{east:g}", "south": f"{south:g}", "north": f"{north:g}"}


def _values(source: Source, box: Box) -> int:
    words = {word: float(value) for word, value in _box_words(source, box).items()}
    wide, high = (words["east"] - words["west"]) / source.grid_deg, (words["north"] - words["south"]) / source.grid_deg
    return math.ceil(wide + 1) * math.ceil(high + 1)


def _query(wants: Sequence[Want]) -> str:
    levels = dict.fromkeys("lev_" + re.sub(r"\s", "_", want.any_of[0].level) for want in wants)
    variables = dict.fromkeys("var_" + want.any_of[0].var for want in wants)
    return "&".join(f"{quote(word)}=on" for word in (*variables, *levels))


def _digest(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:16]
