"""The coast for a map's box from the land mask, as fine as the map can show, with every islet the mask has. It is no chart."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.passage.land import CELLS, COLUMNS, Land

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

SMOOTH = 0.7  # in blocks: takes the stairs out of a slope, and keeps an island of one block (half its diagonal is 0.707)
MOST_POINTS = 2500  # judgement: about 15 kB of a page; a coast with more is drawn coarser


@dataclass(frozen=True, kw_only=True)
class Box:
    """A map's box [deg]; west < east, counted on past 180 if need be."""

    south: float
    north: float
    west: float
    east: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Coast:
    """Outlines of land and of where land is not known: rings of corners, latitude and longitude [deg], (N, 2), not closed again.

    The land lies to one side of every ring: holes run the other way round. Longitudes are counted as the box's.
    """

    land: tuple[Floats, ...]
    unknown: tuple[Floats, ...]


def coast(land: Land, box: Box, step_deg: tuple[float, float]) -> Coast:
    """The land, a map's box and what one dot of the map spans in latitude and longitude [deg] -> its outlines.

    Cells are put together to blocks of about a dot: a block with any land in it is land, so no islet of the mask is
    lost; smoothing then moves a line by less than a block.
    """
    across = [max(1, int(step * CELLS)) for step in step_deg]
    while True:
        made = _coast(land, box, across[0], across[1])
        if sum(len(ring) for ring in made.land) <= MOST_POINTS:
            return made
        across = [-int(-n * 1.4 // 1) for n in across]


def _coast(land: Land, box: Box, high: int, wide: int) -> Coast:
    """In blocks of so many cells, counted from the north-west corner of the box outwards."""
    first_row, first_column = int(np.floor((90.0 - box.north) * CELLS)), int(np.floor((box.west + 180.0) * CELLS))
    rows = first_row + np.arange(_up((box.north - box.south) * CELLS, high))
    columns = first_column + np.arange(_up((box.east - box.west) * CELLS, wide))
    last_row, last_column = (int(np.ceil(x * CELLS)) - 1 for x in (90.0 - box.south, box.east + 180.0))
    i = np.minimum(rows, last_row) - land.north_row  # a block may reach beyond the box: there its last cell goes on
    j = (np.minimum(columns, last_column) - land.west_column) % COLUMNS
    here, there = (i >= 0) & (i < land.cells.shape[0]), j < land.cells.shape[1]
    found = np.zeros((len(rows), len(columns)), dtype=bool)
    found[np.ix_(here, there)] = land.cells[np.ix_(i[here], j[there])]
    unknown = ~(here[:, None] & there[None, :])

    def rings(cells: Flags) -> tuple[Floats, ...]:
        blocks = np.asarray(cells.reshape(len(rows) // high, high, len(columns) // wide, wide).any(axis=(1, 3)))
        corners = ((simplified(ring, SMOOTH) * (high, wide) + (first_row, first_column)) / CELLS for ring in outlines(blocks))
        return tuple(np.column_stack((90.0 - c[:, 0], c[:, 1] - 180.0)) for c in corners)

    return Coast(land=rings(found), unknown=rings(unknown) if unknown.any() else ())


def _up(cells: float, block: int) -> int:
    """So many cells and one more, as whole blocks."""
    return int(np.ceil((cells + 1.0) / block)) * block


def outlines(cells: Flags) -> Iterator[Floats]:
    """True cells (R, C) -> the rings round them, corners (row, column) as (N, 2), each corner where the ring turns or goes on.

    >>> [ring.astype(int).tolist() for ring in outlines(np.array([[True]]))]
    [[[0, 0], [0, 1], [1, 1], [1, 0]]]
    """
    p = np.pad(cells, 1)
    inside = p[1:-1, 1:-1]
    ways = (
        (inside & ~p[:-2, 1:-1], (0, 0), (0, 1)), (inside & ~p[1:-1, 2:], (0, 1), (1, 1)),
        (inside & ~p[2:, 1:-1], (1, 1), (1, 0)), (inside & ~p[1:-1, :-2], (1, 0), (0, 0)),
    )  # fmt: skip
    follows: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for edge, (r0, c0), (r1, c1) in ways:
        for r, c in zip(*(axis.tolist() for axis in np.nonzero(edge)), strict=True):
            follows.setdefault((r + r0, c + c0), []).append((r + r1, c + c1))
    while follows:
        begin = next(iter(follows))
        ring: list[tuple[int, int]] = []
        at = begin
        while at != begin or not ring:
            ring.append(at)
            ends = follows[at]
            after = ends.pop()
            if not ends:
                del follows[at]
            at = after
        yield np.array(ring, dtype=float)


def simplified(ring: Floats, within: float) -> Floats:
    """A ring (N, 2) -> the fewest of its corners from which no corner left out is farther than `within` (Douglas and Peucker).

    >>> simplified(np.array([[0.0, 0.0], [0.0, 1.0], [0.0, 2.0], [2.0, 2.0], [2.0, 0.0]]), 0.1).tolist()
    [[0.0, 0.0], [0.0, 2.0], [2.0, 2.0], [2.0, 0.0]]
    """
    far = int(np.argmax(((ring - ring[0]) ** 2).sum(axis=1)))
    points = np.vstack((ring, ring[:1]))
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, far]] = True
    todo = [(0, far), (far, len(ring))]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        off = _off_line(points[a + 1 : b], points[a], points[b])
        k = int(np.argmax(off))
        if off[k] > within:
            keep[a + 1 + k] = True
            todo += [(a, a + 1 + k), (a + 1 + k, b)]
    return np.asarray(points[:-1][keep[:-1]])


def _off_line(points: Floats, a: Floats, b: Floats) -> Floats:
    """Distances of points (N, 2) from the stretch between a and b."""
    way = b - a
    length2 = float(way @ way)
    along = np.clip((points - a) @ way / length2, 0.0, 1.0) if length2 > 0 else np.zeros(len(points))
    return np.asarray(np.hypot(*(points - a - along[:, None] * way).T))
