"""(I/O) Land and sea from a packaged mask of one kilometre, for sea room and for legs over water. It is no chart.

The mask is the data file of the package global-land-mask (MIT): the sea cells of the GLOBE elevation model of NOAA (public domain), 30
seconds of arc, half a mile. The file is read as a stream and only the rows and columns asked for are kept: importing the package itself
would unpack all 933 MB of it. Rocks, shoals, breakwaters and islets smaller than a cell are not in it; lakes are land.
"""

import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.faults import BadInputError

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

CELLS = 120  # a degree
ROWS, COLUMNS = 180 * CELLS, 360 * CELLS
CELL_NM = 60.0 / CELLS
BLOCK = 20  # cells: the coarse grid of ten minutes of arc that says where looking closely is worth it
PACKAGE, FILE, MEMBER = "global_land_mask", "globe_combined_mask_compressed.npz", "mask.npy"
ABOUT = "land is from a mask of half a mile, which is no chart: rocks, shoals and small islets are not in it"
NOT_KNOWN = "Land is not known (the package global-land-mask is not installed): no leg and no sea room is checked for land."
CLEAR_NM = 1.0  # judgement: two cells, kept between a leg and the land of the mask
NEAR_NM = 2.0  # judgement: within this of either end the mask is not asked: a harbour's last miles are the chart's
LOOK_NM, STEP_NM = 4.0, 0.4  # along a leg: between looks at the coarse grid, and between close looks
RAY_NM = 0.4  # between looks to leeward
SECTOR_DEG = (-20.0, -10.0, 0.0, 10.0, 20.0)  # judgement: she does not run true, and the wind does not blow true


@dataclass(frozen=True, kw_only=True, eq=False)
class Land:
    """Land over a box: cells (rows from north to south, columns eastward from `west_column`), True on land.

    north_row, west_column: of the first cell, counted from 90 north and from 180 west. Outside the box nothing is known, and what is
    not known is not clear: it counts as land for a place or a leg, and as nothing seen to leeward.
    """

    cells: Flags
    north_row: int
    west_column: int

    def _index(self, latitude: Floats, longitude: Floats) -> tuple[Ints, Ints, Flags]:
        known = np.isfinite(latitude) & np.isfinite(longitude)
        lat, lon = np.where(known, latitude, 0.0), np.where(known, longitude, 0.0)
        row = np.minimum(np.floor((90.0 - lat) * CELLS).astype(np.int64), ROWS - 1) - self.north_row
        column = (np.floor((lon + 180.0) * CELLS).astype(np.int64) - self.west_column) % COLUMNS
        inside = known & (row >= 0) & (row < self.cells.shape[0]) & (column < self.cells.shape[1])
        return np.where(inside, row, 0), np.where(inside, column, 0), inside

    def _at(self, cells: Flags, latitude: Floats, longitude: Floats, unknown: bool) -> Flags:
        row, column, inside = self._index(latitude, longitude)
        return np.where(inside, cells[row, column], unknown)

    def knows(self, latitude: ArrayLike, longitude: ArrayLike) -> Flags:
        """Whether places [deg] lie inside the box, same shape."""
        return self._index(np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float))[2]

    def on_land(self, latitude: ArrayLike, longitude: ArrayLike) -> Flags:
        """Places [deg] -> whether their cell is land, same shape; True outside the box and for a missing place."""
        return self._at(self.cells, np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float), True)

    def near_land(self, latitude: ArrayLike, longitude: ArrayLike) -> Flags:
        """As on_land, with CLEAR_NM of water round the land counted as land."""
        return self._at(self.wide, np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float), True)

    @cached_property
    def wide(self) -> Flags:
        """The land and CLEAR_NM round it; in longitude by the narrowest degree of the box, so never less."""
        highest = max(abs(90.0 - self.north_row / CELLS), abs(90.0 - (self.north_row + self.cells.shape[0]) / CELLS))
        up = int(np.ceil(CLEAR_NM / CELL_NM))
        across = int(np.ceil(up / max(np.cos(np.radians(min(highest, 85.0))), 0.05)))
        return _spread(_spread(self.cells, up, 0), across, 1)

    @cached_property
    def blocks(self) -> Flags:
        """Ten minutes of arc each: any land in them; the last row and column may be cut."""
        rows, columns = (-(-n // BLOCK) * BLOCK for n in self.cells.shape)
        padded = np.zeros((rows, columns), dtype=bool)
        padded[: self.cells.shape[0], : self.cells.shape[1]] = self.cells
        return np.asarray(padded.reshape(rows // BLOCK, BLOCK, columns // BLOCK, BLOCK).any(axis=(1, 3)))

    def worth_a_look(self, latitude: Floats, longitude: Floats, within_nm: float) -> Flags:
        """Places [deg] that may have land within so many miles; never False for one that has. True outside the box."""
        row, column, inside = self._index(latitude, longitude)
        spread = self._spread_blocks(within_nm)
        return np.where(inside, spread[row // BLOCK, column // BLOCK], True)

    def _spread_blocks(self, within_nm: float) -> Flags:
        south = 90.0 - (self.north_row + self.cells.shape[0]) / CELLS
        highest = min(max(abs(90.0 - self.north_row / CELLS), abs(south)), 85.0)
        up = int(np.ceil(within_nm / (BLOCK * CELL_NM)))
        across = int(np.ceil(within_nm / (BLOCK * CELL_NM * np.cos(np.radians(highest)))))
        return _spread(_spread(self.blocks, up, 0), across, 1)

    def leg_crosses_land(
        self, latitude1: ArrayLike, longitude1: ArrayLike, latitude2: ArrayLike, longitude2: ArrayLike,
        by_chart: Sequence[tuple[float, float]] | None = None, *, bare: bool = False,
    ) -> Flags:  # fmt: skip
        """Legs by great circle between places [deg, (N) each] -> whether each comes within CLEAR_NM of land, or `bare` over it (N).

        Within NEAR_NM of the places `by_chart` the mask is not asked: of both ends of each leg when not given. A leg that leaves the box,
        or with a place missing, is not clear.
        """
        ends = [np.atleast_1d(np.asarray(x, dtype=float)) for x in (latitude1, longitude1, latitude2, longitude2)]
        lat1, lon1, lat2, lon2 = np.broadcast_arrays(*ends)
        length_nm = arc_nm(lat1, lon1, lat2, lon2)
        crosses = ~np.isfinite(length_nm)
        length_nm = np.where(crosses, 0.0, length_nm)
        looks = np.ceil(length_nm / LOOK_NM).astype(np.int64) + 1
        leg = np.repeat(np.arange(len(length_nm)), looks)
        first = np.repeat(np.cumsum(looks) - looks, looks)
        along_nm = np.minimum((np.arange(len(leg)) - first) * LOOK_NM, length_nm[leg])
        lat, lon = on_the_way(lat1[leg], lon1[leg], lat2[leg], lon2[leg], along_nm)
        close = self.worth_a_look(lat, lon, LOOK_NM + CLEAR_NM)
        leg, along_nm = leg[close], along_nm[close]
        offsets = np.arange(-LOOK_NM / 2.0, LOOK_NM / 2.0 + STEP_NM / 2.0, STEP_NM)
        fine_nm = along_nm[:, None] + offsets
        margin = NEAR_NM if by_chart is None else 0.0
        asked = (fine_nm >= margin) & (fine_nm <= length_nm[leg, None] - margin)
        which = np.broadcast_to(leg[:, None], fine_nm.shape)[asked]
        lat, lon = on_the_way(lat1[which], lon1[which], lat2[which], lon2[which], fine_nm[asked])
        for place in by_chart or ():
            off = arc_nm(lat, lon, np.full(lat.shape, place[0]), np.full(lat.shape, place[1])) >= NEAR_NM
            which, lat, lon = which[off], lat[off], lon[off]
        crosses[which[self.on_land(lat, lon) if bare else self.near_land(lat, lon)]] = True
        return crosses

    def distance_to_land_to_leeward(
        self, latitude: ArrayLike, longitude: ArrayLike, bearing_deg: ArrayLike, within_nm: float
    ) -> Floats:
        """Miles to the first land in a sector of 20 degrees to each side of a bearing [deg true, the way she is blown], same shape.

        inf when there is none within so many miles, or none that the box shows; 0 on land; NaN where place or bearing is missing.
        """
        lat, lon, bearing = np.broadcast_arrays(*(np.asarray(x, dtype=float) for x in (latitude, longitude, bearing_deg)))
        missing = ~(np.isfinite(lat) & np.isfinite(lon) & np.isfinite(bearing))
        found = np.where(missing, np.nan, np.inf)
        look = np.flatnonzero((~missing & self.knows(lat, lon) & self.worth_a_look(lat, lon, within_nm)).ravel())
        for some in np.array_split(look, len(look) // 20_000 + 1):
            found.flat[some] = self._leeward(lat.ravel()[some], lon.ravel()[some], bearing.ravel()[some], within_nm)
        return found

    def _leeward(self, lat: Floats, lon: Floats, bearing: Floats, within_nm: float) -> Floats:
        away_nm = np.append(np.arange(0.0, within_nm, RAY_NM), within_nm)
        nearest = np.full(lat.shape, np.inf)
        for off_deg in SECTOR_DEG:
            angle = np.radians(bearing + off_deg)[:, None]
            there_lat = lat[:, None] + away_nm * np.cos(angle) / 60.0
            there_lon = lon[:, None] + away_nm * np.sin(angle) / 60.0 / np.cos(np.radians(np.clip(there_lat, -89.0, 89.0)))
            land = self._at(self.cells, there_lat, there_lon, False)
            hit = np.where(land.any(axis=1), away_nm[np.argmax(land, axis=1)], np.inf)
            nearest = np.minimum(nearest, hit)
        return nearest


def _spread(cells: Flags, by: int, axis: int) -> Flags:
    """Each True cell, and so many to each side of it along an axis."""
    out = cells.copy()
    length = cells.shape[axis]
    for k in range(1, min(by, length - 1) + 1):
        low, high = [slice(None)] * 2, [slice(None)] * 2
        low[axis], high[axis] = slice(0, length - k), slice(k, length)
        out[tuple(low)] |= cells[tuple(high)]
        out[tuple(high)] |= cells[tuple(low)]
    return out


def arc_nm(latitude1: Floats, longitude1: Floats, latitude2: Floats, longitude2: Floats) -> Floats:
    """Lengths of great circles on the sphere [nm, a mile to the minute] between places [deg], same shape."""
    a, b = np.radians(latitude1), np.radians(latitude2)
    half = np.sin((b - a) / 2.0) ** 2 + np.cos(a) * np.cos(b) * np.sin(np.radians(longitude2 - longitude1) / 2.0) ** 2
    return np.asarray(60.0 * np.degrees(2.0 * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))))


def on_the_way(
    latitude1: Floats, longitude1: Floats, latitude2: Floats, longitude2: Floats, along_nm: Floats
) -> tuple[Floats, Floats]:  # fmt: skip
    """Places [deg] so many miles along great circles on the sphere, same shape; short of half way round the earth.

    >>> lat, lon = on_the_way(np.array([0.0]), np.array([179.0]), np.array([0.0]), np.array([-179.0]), np.array([60.0]))
    >>> round(float(lat[0]), 6), round(abs(float(lon[0])), 6)
    (0.0, 180.0)
    """
    whole = np.radians(arc_nm(latitude1, longitude1, latitude2, longitude2) / 60.0)
    done = np.radians(along_nm / 60.0)
    sine = np.sin(whole)
    tiny = sine < 1e-12
    a = np.where(tiny, 1.0, np.sin(whole - done) / np.where(tiny, 1.0, sine))
    b = np.where(tiny, 0.0, np.sin(done) / np.where(tiny, 1.0, sine))
    lat1, lon1, lat2, lon2 = (np.radians(x) for x in (latitude1, longitude1, latitude2, longitude2))
    x = a * np.cos(lat1) * np.cos(lon1) + b * np.cos(lat2) * np.cos(lon2)
    y = a * np.cos(lat1) * np.sin(lon1) + b * np.cos(lat2) * np.sin(lon2)
    z = a * np.sin(lat1) + b * np.sin(lat2)
    return np.degrees(np.arctan2(z, np.hypot(x, y))), np.degrees(np.arctan2(y, x))


def load_land(south: float, north: float, west: float, east: float) -> Land | None:
    """The land of a box [deg; eastward from west to east] from the packaged mask; None when the package is not installed.

    Half a second for the North Atlantic, up to two for the far south: the stream has to be read from the north down.
    """
    spec = find_spec(PACKAGE)
    if spec is None or not spec.submodule_search_locations:
        return None
    path = Path(spec.submodule_search_locations[0]) / FILE
    first = int(np.floor((90.0 - min(north, 90.0)) * CELLS))
    last = min(int(np.ceil((90.0 - max(south, -90.0)) * CELLS)), ROWS)
    start = int(np.floor((west + 180.0) * CELLS)) % COLUMNS
    width = min(int(np.ceil(((east - west) % 360.0 or 360.0) * CELLS)) + 1, COLUMNS)
    try:
        return Land(cells=_read(path, first, last, start, width), north_row=first, west_column=start)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        raise BadInputError(path, ["the land mask cannot be read; install the package global-land-mask again"]) from None


def _read(path: Path, first: int, last: int, start: int, width: int) -> Flags:
    """Rows first to last of the mask, turned to True on land, columns `start` on, round the antimeridian if need be."""
    with zipfile.ZipFile(path) as folder, folder.open(MEMBER) as stream:
        np.lib.format.read_magic(stream)
        shape, by_column, kind = np.lib.format.read_array_header_1_0(stream)
        if shape != (ROWS, COLUMNS) or by_column or kind != np.dtype(bool):
            raise ValueError("not the mask that is known here")
        left = first * COLUMNS
        while left > 0:
            left -= len(stream.read(min(left, 16 * 1024 * 1024))) or left
        land = np.empty((last - first, width), dtype=bool)
        for i in range(last - first):
            row = np.frombuffer(stream.read(COLUMNS), dtype=bool)
            land[i] = ~(row[start : start + width] if start + width <= COLUMNS else np.append(row[start:], row[: start + width - COLUMNS]))
    return land
