"""Rain as a mean rate over each stretch of time, from sums since the start of the run, sums over stretches, or mean rates."""

import numpy as np
from numpy.typing import NDArray

from watch.forecast.gather import Cells, Interval, Members, Source
from watch.forecast.names import Statistic

PACKING_MM = 0.5  # sums are packed to a few bits: a difference may come out this much below nothing


def rates(source: Source) -> tuple[Cells, list[str]]:
    """Rain in any guise -> rate [kg m-2 s-1] by interval and member, and notes. Instantaneous rates stay as they are.

    Of sums that begin together (since the start of the run, or since the last six-hourly reset) the differences are taken.
    """
    if source.what.statistic == Statistic.INSTANT:
        return source.cells, []
    depths = source.cells
    if source.what.statistic == Statistic.MEAN:
        depths = {(start, end): {m: v * np.float32(end - start) for m, v in members.items()}
                  for (start, end), members in source.cells.items() if end > start}
    found: Cells = {}
    notes: list[str] = []
    previous = 0
    for end in sorted({end for start, end in depths if end > start}):
        interval, base = _best(depths, end, previous)
        members, lost = _rate(depths, interval, base, end)
        found[interval] = members
        if lost:
            notes.append("rain sums fall from one time to the next at some places: rain is taken as unknown there")
        previous = end
    return found, sorted(set(notes))


def _best(depths: Cells, end: int, previous: int) -> tuple[Interval, Interval | None]:
    """The interval whose rate can be had that ends at `end`, and the shorter sum to take away for it (None: nothing).

    Of all ways the one that begins where the last interval ended, else the shortest that overlaps it, else the least gap.
    """
    ways: list[tuple[int, Interval | None]] = []
    for start, last in depths:
        if last == end and start < end:
            before = [e for s, e in depths if s == start and start < e < end]
            ways.append((start, None))
            ways.extend((e, (start, e)) for e in before)
    overlapping = [way for way in ways if way[0] <= previous]
    if overlapping:
        begin, base = max(overlapping, key=lambda way: (way[0], way[1] is None))
    else:
        begin, base = min(ways, key=lambda way: (way[0], way[1] is not None))
    return (begin, end), base


def _rate(depths: Cells, interval: Interval, base: Interval | None, end: int) -> tuple[Members, bool]:
    seconds = np.float32(interval[1] - interval[0])
    if base is None:
        return {m: _floor(v)[0] / seconds for m, v in depths[interval].items()}, False
    whole, part = depths[base[0], end], depths[base]
    members, lost = {}, False
    for member, values in whole.items():
        if member in part:
            depth, fell = _floor(values - part[member])
            members[member] = depth / seconds
            lost = lost or fell
    return members, lost


def _floor(depth: NDArray[np.float32]) -> tuple[NDArray[np.float32], bool]:
    """Nothing below nothing: a little is packing, more is unknown (NaN); True when any was."""
    fell = depth < -PACKING_MM
    out = np.where(fell, np.float32(np.nan), np.maximum(depth, np.float32(0.0)))
    return out.astype(np.float32), bool(fell.any())
