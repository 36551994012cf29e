"""Fields as they come, sorted by run, then by what they hold, in which guise and on which grid."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from watch.forecast.contract import Name
from watch.forecast.layout import Axes
from watch.forecast.names import FROM, LABELS, SPEED, Statistic, What
from watch.units import wind_components_ms

Interval = tuple[int, int]  # seconds from the run: start and end; equal for an instant
Members = dict[int, NDArray[np.float32]]
Cells = dict[Interval, Members]
LONGEST_UNSAID_S = 6 * 3600
TWO_GUSTS = "gust comes both as the maximum over stretches of time and at instants"


@dataclass(kw_only=True)
class Source:
    """One field in one guise on one grid: its values by interval and member."""

    what: What
    axes: Axes
    partial: bool
    cells: Cells = field(default_factory=dict)

    @property
    def last_s(self) -> int:
        return max(end for _, end in self.cells)

    @property
    def ends(self) -> list[int]:
        return sorted({end for _, end in self.cells})

    @property
    def members(self) -> set[int]:
        return {member for members in self.cells.values() for member in members}


@dataclass(kw_only=True)
class Gathered:
    """Everything that belongs to one run of one centre, single or ensemble."""

    sources: dict[tuple[object, ...], Source] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def add(self, what: What, axes: Axes, partial: bool, member: int, interval: Interval, values: NDArray[np.float32],
            place: str) -> None:
        """Takes one field in. The same field twice is kept once; when the two differ, that is said."""
        key = (what, axes.key)
        source = self.sources.get(key)
        if source is None:
            source = self.sources[key] = Source(what=what, axes=axes, partial=partial)
        members = source.cells.setdefault(interval, {})
        if member not in members:
            members[member] = values
        elif not np.array_equal(members[member], values, equal_nan=True):
            self.say(f"{place} ({LABELS[what.name]}) gives a second time what came before, with other values: the first is kept")

    def say(self, note: str) -> None:
        if note not in self.notes:
            self.notes.append(note)

    def of(self, name: Name | str) -> list[Source]:
        """All sources of a field that have any values, the preferred guise first."""
        return sorted((s for s in self.sources.values() if s.what.name == name and s.cells), key=lambda s: s.what.rank)


def join_speed_and_direction(gathered: Gathered) -> None:
    """Adds wind components wherever speed and direction come for the same grid, member and time."""
    for speed in gathered.of(SPEED):
        match = [s for s in gathered.of(FROM) if s.axes.key == speed.axes.key and s.what.rank == speed.what.rank]
        if not match:
            gathered.say("wind speed at 10 m comes without its direction: it cannot be used")
            continue
        for interval, members in speed.cells.items():
            for member, values in members.items():
                from_deg = match[0].cells.get(interval, {}).get(member)
                if from_deg is None:
                    gathered.say("wind speed at 10 m comes without its direction at some times: it is missing there")
                    continue
                for name, part in zip((Name.U10_MS, Name.V10_MS), wind_components_ms(values, from_deg), strict=True):
                    what = What(name=name, rank=speed.what.rank, statistic=Statistic.INSTANT, scale=1.0, offset=0.0,
                                guise="speed and direction")
                    gathered.add(what, speed.axes, speed.partial, member, interval, part.astype(np.float32), "")


def fill_unsaid_starts(gathered: Gathered) -> None:
    """Gives intervals to gust maxima and rain sums that are written as if they belonged to one instant."""
    for source in gathered.sources.values():
        if source.what.statistic not in (Statistic.MAXIMUM, Statistic.SUM, Statistic.MEAN):
            continue
        label = LABELS[source.what.name]
        previous = 0
        for end in source.ends:
            unsaid = source.cells.pop((end, end), None)
            if unsaid and end > 0:
                start = _start(source.what, end, previous)
                source.cells.setdefault((start, end), unsaid)
                said = "from the start of the run" if source.what.statistic == Statistic.SUM else "since the field before"
                if source.what.hours is None:
                    gathered.say(f"{label} ({source.what.guise}) does not say over which time: taken as {said}")
            previous = end


def _start(what: What, end: int, previous: int) -> int:
    if what.statistic == Statistic.SUM:
        return 0
    if what.hours is not None:
        return max(0, end - what.hours * 3600)
    return max(previous, end - LONGEST_UNSAID_S)


def merged(sources: Iterable[Source]) -> Source:
    """Sources of one field on one grid as one; where two give the same interval the first keeps it."""
    first, *others = sources
    cells = {interval: dict(members) for interval, members in first.cells.items()}
    for other in others:
        for interval, members in other.cells.items():
            cells[interval] = {**members, **cells.get(interval, {})}
    return Source(what=first.what, axes=first.axes, partial=first.partial, cells=cells)


def one_per_end(cells: Cells) -> Cells:
    """Where several intervals end together: the shortest that leaves no gap after the one before, else the longest."""
    chosen: Cells = {}
    by_end: dict[int, list[int]] = {}
    for start, end in cells:
        by_end.setdefault(end, []).append(start)
    previous: int | None = None
    for end in sorted(by_end):
        starts = sorted(by_end[end], reverse=True)
        start = next((s for s in starts if previous is not None and s <= previous), starts[-1])
        chosen[start, end] = cells[start, end]
        previous = end
    return chosen


def gaps(cells: Cells, first: int, last: int) -> bool:
    """True when the intervals leave any part of first to last uncovered."""
    reached = first
    for start, end in sorted(cells):
        if start > reached:
            return True
        reached = max(reached, end)
    return reached < last


def choose_guise(gathered: Gathered, sources: list[Source]) -> Source:
    """One field on one grid in several guises -> the one to use: the one that reaches furthest, then the preferred (first)."""
    if sources[0].what.name == Name.GUST_MS:
        return _choose_gust(gathered, sources)
    best = max(sources, key=lambda s: (s.last_s, len(s.members), -s.what.rank))
    if best is not sources[0]:
        label, hours = LABELS[best.what.name], best.last_s // 3600
        first = sources[0].what.guise
        gathered.say(f"{label}: {best.what.guise} is used, for {first} does not reach to {hours} h for every member")
    return best


def _choose_gust(gathered: Gathered, sources: list[Source]) -> Source:
    """The interval maximum misses nothing between instants, so it is preferred, unless it leaves out times that they have."""
    maxima = [s for s in sources if s.what.statistic == Statistic.MAXIMUM]
    instants = [s for s in sources if s.what.statistic == Statistic.INSTANT]
    if not maxima or not instants:
        return merged(maxima or instants)
    maximum, instant = merged(maxima), merged(instants)
    if gaps(maximum.cells, instant.ends[0], instant.ends[-1]) or not maximum.members >= instant.members:
        gathered.say(f"{TWO_GUSTS}: the instants are used, for the maxima leave times out")
        return instant
    gathered.say(f"{TWO_GUSTS}: the maxima are used, which miss nothing between instants")
    return maximum
