"""Ways over water: straight where the mask of land is clear, else round the land by a search on a grid; never a way over land.

says: from each place, a short way to one end that keeps a mile off the mask's land (half of it round corners), or that none was found at
this resolution.
why: a turn-by time for a leg through an island is worth nothing. example: from north of Faial to a harbour on its south-east side:
round its east end. Two grids are searched: one of three quarters of a mile for forty miles round the end, then one of the whole sea
between, whose cells grow with it (a 120th of its breadth); a passage narrower than two cells may not be found. Every leg of the way found
is looked at again on the mask itself. Time is bounded: so many cells, so many looks. source: relaxation of costs over a grid, a general
method; judgement: the margins.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watch.passage.land import NEAR_NM, Land, arc_nm

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]
Place = tuple[float, float]

FINE_NM, FINE_REACH_NM = 0.75, 40.0
MOST_CELLS = 120
MARGIN_NM = 40.0  # round start and end: how far out a way may swing
SAME_PIECE_NM = 30.0  # starts so near to one whose way is known try its turning points before a search of their own
MOST_LOOKS, LOOKS = 512, 64  # first legs tried from a start, cheapest first, and how many at once
MOVES = [(r, c) for r in range(-2, 3) for c in range(-2, 3) if (r, c) != (0, 0) and np.gcd(r, c) == 1]


@dataclass(frozen=True, kw_only=True)
class Way:
    """A way over water: its turning points (latitude, longitude) [deg], the last of them the end, and its length [nm]."""

    points: tuple[Place, ...]
    length_nm: float


@dataclass(frozen=True, kw_only=True)
class Ways:
    """The ways from N places to one end; None where there is none at `resolution_nm`, the coarsest grid searched (0: none was)."""

    found: tuple[Way | None, ...]
    resolution_nm: float


def ways_over_water(land: Land | None, latitude: Floats, longitude: Floats, end: Place) -> Ways:
    """Places [deg] (N) and an end [deg] -> a way from each. Without a mask of land every way is straight (and has to be said so)."""
    lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
    ways: list[Way | None] = [Way(points=(end,), length_nm=float(d)) for d in _far_nm(lat, lon, end)]
    if land is None:
        return Ways(found=tuple(ways), resolution_nm=0.0)
    search = _Search(land, end, lat, lon)
    for i in np.flatnonzero(land.leg_crosses_land(lat, lon, end[0], end[1])):
        ways[i] = search.way((float(lat[i]), float(lon[i])))
    return Ways(found=tuple(ways), resolution_nm=search.resolution_nm)


class _Search:
    """Finds ways to one end and remembers what it found: turning points with the rest of their way, and starts already searched from."""

    def __init__(self, land: Land, end: Place, latitude: Floats, longitude: Floats) -> None:
        self.land, self.end, self.starts = land, end, (latitude, longitude)
        self.resolution_nm = 0.0
        self.grids: list[_Grid] = []
        self.known: dict[Place, Way] = {}
        self.searched: list[Place] = []

    def way(self, start: Place) -> Way | None:
        lat, lon = np.array(self.searched).reshape(-1, 2).T
        near = bool((_far_nm(lat, lon, start) <= SAME_PIECE_NM).any())
        by_known = self._by_known(start) if near else None
        if by_known is not None:
            return by_known
        self.searched.append(start)
        for size in range(2):
            if len(self.grids) <= size:
                self.grids.append(self._grid(whole=size == 1))
                self.resolution_nm = self.grids[size].cell_nm
            points = self.grids[size].way(self.land, start)
            if points is not None:
                return self._remember(start, points)
        return self._by_known(start)

    def _grid(self, *, whole: bool) -> "_Grid":
        if not whole:
            return _Grid(self.land, self.end, np.array([self.end[0]]), np.array([self.end[1]]), FINE_REACH_NM, FINE_NM)
        return _Grid(self.land, self.end, *self.starts, MARGIN_NM, 0.0)

    def _remember(self, start: Place, points: tuple[Place, ...]) -> Way:
        for k in range(len(points) - 1):
            self.known[points[k]] = Way(points=points[k + 1 :], length_nm=_length_nm(points[k:]))
        return Way(points=points, length_nm=_length_nm((start, *points)))

    def _by_known(self, start: Place) -> Way | None:
        """The shortest way by a turning point already known and seen over water."""
        if not self.known:
            return None
        lat, lon = np.array(list(self.known)).T
        clear = ~self.land.leg_crosses_land(start[0], start[1], lat, lon, (start, self.end))
        whole_nm = np.where(clear, _far_nm(lat, lon, start) + [w.length_nm for w in self.known.values()], np.inf)
        best = int(np.argmin(whole_nm))
        if not np.isfinite(whole_nm[best]):
            return None
        place, rest = list(self.known.items())[best]
        return Way(points=(place, *rest.points), length_nm=float(whole_nm[best]))


def _far_nm(latitude: Any, longitude: Any, place: Place) -> Floats:
    lat = np.asarray(latitude, dtype=float)
    return arc_nm(lat, np.asarray(longitude, dtype=float), np.full(lat.shape, place[0]), np.full(lat.shape, place[1]))


def _length_nm(points: tuple[Place, ...]) -> float:
    lat, lon = np.array(points).T
    return float(arc_nm(lat[:-1], lon[:-1], lat[1:], lon[1:]).sum())


class _Grid:
    """Costs to the end [nm] over a grid round some places and the end; inf where no way leads."""

    def __init__(self, land: Land, end: Place, latitude: Floats, longitude: Floats, margin_nm: float, cell_nm: float) -> None:
        self.end = end
        lon = end[1] + (longitude - end[1] + 180.0) % 360.0 - 180.0
        south, north = min(float(latitude.min()), end[0]), max(float(latitude.max()), end[0])
        west, east = min(float(lon.min()), end[1]), max(float(lon.max()), end[1])
        shrink = float(np.cos(np.radians((south + north) / 2.0)))
        tall_nm, wide_nm = (north - south) * 60.0 + 2 * margin_nm, (east - west) * 60.0 * shrink + 2 * margin_nm
        self.cell_nm = max(cell_nm, FINE_NM, tall_nm / MOST_CELLS, wide_nm / MOST_CELLS)
        rows, columns = np.indices((int(tall_nm / self.cell_nm) + 1, int(wide_nm / self.cell_nm) + 1))
        step = self.cell_nm / 60.0
        self.lat = north + margin_nm / 60.0 - rows * step
        self.lon = (west - margin_nm / 60.0 / shrink + columns * step / shrink + 180.0) % 360.0 - 180.0
        to_end_nm = _far_nm(self.lat, self.lon, end)
        self.open = ~land.near_land(self.lat, self.lon) | (to_end_nm < NEAR_NM)
        self.costs, self.next = self._relax(np.unravel_index(int(np.argmin(to_end_nm)), self.lat.shape))

    def _relax(self, at_end: tuple[np.intp, ...]) -> tuple[Floats, Ints]:
        """Each cell takes the cheapest of its 16 neighbours until nothing changes, or four times as often as there are cells across."""
        costs, follow = np.full(self.open.shape, np.inf), np.full(self.open.shape, -1)
        costs[at_end] = 0.0
        for _ in range(4 * max(self.open.shape)):
            before = costs.copy()
            for k, (r, c) in enumerate(MOVES):
                here, there = _overlap(self.open.shape, r, c)
                through = costs[there] + self.cell_nm * float(np.hypot(r, c))
                cheaper = (through < costs[here] - 1e-9) & self.open[here]
                costs[here] = np.where(cheaper, through, costs[here])
                follow[here] = np.where(cheaper, k, follow[here])
            if np.array_equal(before, costs):
                break
        return costs, follow

    def way(self, land: Land, start: Place) -> tuple[Place, ...] | None:
        """The turning points from a start: first the cell seen from it over water that makes the whole way shortest."""
        whole_nm = _far_nm(self.lat, self.lon, start) + self.costs
        finite = np.flatnonzero(np.isfinite(whole_nm))
        best = finite[np.argsort(whole_nm.flat[finite])][:MOST_LOOKS]
        for some in np.split(best, range(LOOKS, len(best), LOOKS)):
            crosses = land.leg_crosses_land(start[0], start[1], self.lat.flat[some], self.lon.flat[some], (start, self.end))
            clear = np.flatnonzero(~crosses)
            for i in clear:
                points = _pulled(land, start, self.trail(int(some[i])))
                if points is not None:
                    return points
        return None

    def trail(self, cell: int) -> list[Place]:
        """The cells from one to the end, the end itself last."""
        row, column = (int(k) for k in np.unravel_index(cell, self.lat.shape))
        trail = [(float(self.lat[row, column]), float(self.lon[row, column]))]
        while self.next[row, column] >= 0:
            r, c = MOVES[self.next[row, column]]
            row, column = row + r, column + c
            trail.append((float(self.lat[row, column]), float(self.lon[row, column])))
        return [*trail[:-1], self.end] if len(trail) > 1 else [*trail, self.end]


def _pulled(land: Land, start: Place, trail: list[Place]) -> tuple[Place, ...] | None:
    """A trail of cells -> the turning points needed: from each, the farthest that is seen over water, or the next cell where it is only
    the mile kept from land that would be cut. None when the next cell is not seen either."""
    points, here, first = [], start, 0
    while first < len(trail):
        lat, lon = np.array(trail[first:]).T
        seen = np.flatnonzero(~land.leg_crosses_land(here[0], here[1], lat, lon, (start, trail[-1])))
        if not len(seen):
            if land.leg_crosses_land(here[0], here[1], lat[:1], lon[:1], (start, trail[-1]), bare=True)[0]:
                return None
            seen = np.zeros(1, dtype=np.int64)
        here = trail[first + int(seen[-1])]
        points.append(here)
        first += int(seen[-1]) + 1
    return tuple(points)


def _overlap(shape: tuple[int, ...], row: int, column: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Where a grid and itself moved by (row, column) overlap: (cells, their neighbours)."""
    rows = [(max(0, -row), min(shape[0], shape[0] - row)), (max(0, row), min(shape[0], shape[0] + row))]
    columns = [(max(0, -column), min(shape[1], shape[1] - column)), (max(0, column), min(shape[1], shape[1] + column))]
    here, there = ((slice(*rows[k]), slice(*columns[k])) for k in (0, 1))
    return here, there
