"""How the points of a message lie on the sea: axes, scan order, the seam of a global grid, and the window that a box cuts out."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watch.forecast.box import Box
from watch.units import Floats

TOO_MANY_POINTS = 60_000_000
NEAR_MISSING = 0.5  # a missing value written without a bitmap comes back from packing a little off
GRID_NAMES = {
    "reduced_gg": "a reduced Gaussian grid", "reduced_ll": "a reduced latitude/longitude grid", "lambert": "a Lambert grid",
    "rotated_ll": "a rotated latitude/longitude grid", "rotated_gg": "a rotated Gaussian grid",
    "polar_stereographic": "a polar grid", "mercator": "a Mercator grid",
    "sh": "spectral coefficients", "unstructured_grid": "an unstructured grid",
    "space_view": "a satellite's view", "healpix": "a HEALPix grid", "lambert_azimuthal_equal_area": "a Lambert grid",
}
READABLE = ("regular_ll", "regular_gg")
ELSEWHERE = "fetch it again, or from elsewhere"
PLAIN_GRID = "fetch it on a plain latitude/longitude grid"


class GridRefusedError(Exception):
    """A grid that cannot be read rightly; the text completes 'message 3 (gust) ...'."""


def unreadable(kind: str) -> GridRefusedError:
    """The refusal of a grid of this type (ecCodes' name for it)."""
    return GridRefusedError(f"is on {GRID_NAMES.get(kind, f'a grid of type {kind}')}, which is not read: {PLAIN_GRID}")


@dataclass(frozen=True, kw_only=True)
class GridHeader:
    """The grid as ecCodes reads it. Corners and steps [deg], steps None where not given; gaussian: latitudes where not even."""

    kind: str
    columns: int
    rows: int
    first: tuple[float, float]
    last: tuple[float, float]
    steps: tuple[float | None, float | None]  # along latitude, along longitude
    i_negative: bool
    j_positive: bool
    j_consecutive: bool
    alternate: bool
    offset_rows: bool
    rounding: float  # how exactly the edition writes an angle [deg]
    gaussian: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Axes of a field in the contract [deg]: increasing, longitude unwrapped, closed at the seam when it goes round the world."""

    latitude: Floats
    longitude: Floats

    @cached_property
    def key(self) -> tuple[Any, ...]:
        """Equal for equal axes; to tell grids apart."""
        return self.latitude.tobytes(), self.longitude.tobytes()

    @property
    def spacing(self) -> float:
        """Mean distance between points [deg], the coarser of the two ways."""
        return max(float(np.ptp(axis)) / max(1, axis.size - 1) for axis in (self.latitude, self.longitude))

    def span(self) -> str:
        """In words, like '60N to 48N, 12W to 3E'."""
        north, south = _degrees(self.latitude[-1], "N", "S"), _degrees(self.latitude[0], "N", "S")
        return f"{south} to {north}, {_degrees(self.longitude[0], 'E', 'W')} to {_degrees(self.longitude[-1], 'E', 'W')}"

    def covers(self, box: Box) -> bool:
        """True when the whole box lies on the grid."""
        low, high = float(self.latitude[0]), float(self.latitude[-1])
        start = (box.west - float(self.longitude[0])) % 360.0
        width = float(np.ptp(self.longitude))
        return low <= box.south and box.north <= high and (width >= 360.0 - 1e-6 or start + box.width_deg <= width + 1e-6)


def _degrees(value: float, positive: str, negative: str) -> str:
    value = (float(value) + 180.0) % 360.0 - 180.0 if positive == "E" else float(value)
    return f"{abs(value):.4g}{positive if value >= 0 else negative}"


@dataclass(frozen=True, kw_only=True)
class Layout:
    """How to take a message's values into the contract: reshape, turn, cut. `take` does it."""

    header: GridHeader
    rows: slice
    columns: NDArray[np.int64] | slice
    axes: Axes
    partial: bool  # True when a box was asked for and only part of it lies on the grid

    def take(self, values: Floats, missing: float, scale: float = 1.0, offset: float = 0.0) -> NDArray[np.float32]:
        """Values in the message's own order [rows * columns] -> float32 (latitude, longitude) of the window; missing -> NaN.

        Raises GridRefusedError for values too large to be numbers here.
        """
        grid = self.header
        lines = values.reshape((grid.columns, grid.rows) if grid.j_consecutive else (grid.rows, grid.columns))
        if grid.alternate:
            lines = lines.copy()
            lines[1::2] = lines[1::2, ::-1]
        if grid.j_consecutive:
            lines = lines.T
        north_up = lines[:: 1 if grid.j_positive else -1, :: -1 if grid.i_negative else 1]
        window = north_up[self.rows, self.columns]
        gone = np.abs(window - missing) < NEAR_MISSING
        if scale != 1.0 or offset != 0.0:
            window = window * scale + offset
        with np.errstate(over="ignore"):
            out = np.ascontiguousarray(window, dtype=np.float32)
        if np.isinf(out).any():
            raise GridRefusedError("holds values beyond all measure")
        if gone.any():
            out[gone] = np.nan
        return out


def layout(grid: GridHeader, box: Box | None) -> Layout | None:
    """A grid and the box wanted (None: everything) -> how to read it; None when the grid does not reach the box.

    Raises GridRefusedError for a grid that would be read wrongly.
    """
    if grid.kind not in READABLE:
        raise unreadable(grid.kind)
    if grid.columns * grid.rows > TOO_MANY_POINTS:
        raise GridRefusedError(f"claims {grid.columns * grid.rows} points, more than {TOO_MANY_POINTS}: fetch a smaller area")
    if grid.columns < 2 or grid.rows < 2:
        raise GridRefusedError(f"has a grid of {grid.columns} by {grid.rows} points, too small to use: fetch a larger area")
    if grid.offset_rows:
        raise GridRefusedError(f"is on a grid with shifted rows, which is not read: {PLAIN_GRID}")
    latitude, longitude = _latitudes(grid), _longitudes(grid)
    step = float(np.ptp(longitude)) / (longitude.size - 1)
    if abs(longitude.size * step - step - 360.0) < 0.01 * step:
        longitude = longitude[:-1]  # it repeats its first column already
    closes = abs(longitude.size * step - 360.0) < 0.01 * step
    rows: slice = slice(0, latitude.size)
    columns: NDArray[np.int64] | slice = np.append(np.arange(longitude.size), 0) if closes else slice(0, longitude.size)
    axis = np.append(longitude, longitude[0] + 360.0) if closes else longitude
    partial = False
    if box is not None:
        cut_rows, cut = _cut(latitude, box.south, box.north), _cut_longitude(longitude, step, closes, box)
        if cut_rows is None or cut is None:
            return None
        partial = not Axes(latitude=latitude, longitude=axis).covers(box)
        rows, (columns, axis) = cut_rows, cut
    return Layout(header=grid, rows=rows, columns=columns, axes=Axes(latitude=latitude[rows], longitude=axis), partial=partial)


def _latitudes(grid: GridHeader) -> Floats:
    """South to north."""
    if grid.kind == "regular_gg":
        axis = np.sort(np.asarray(grid.gaussian, dtype=float))
        if axis.size != grid.rows:
            raise GridRefusedError(f"has {axis.size} Gaussian latitudes for {grid.rows} rows: {PLAIN_GRID}")
        return axis
    first, last = grid.first[0], grid.last[0]
    if not (abs(first) <= 90.001 and abs(last) <= 90.001) or (last > first) != grid.j_positive or first == last:
        raise GridRefusedError(f"runs from latitude {first:g} to {last:g} against its own scan order: {ELSEWHERE}")
    _fits(grid, grid.rows, abs(last - first), grid.steps[0], "rows")
    return np.linspace(min(first, last), max(first, last), grid.rows)


def _longitudes(grid: GridHeader) -> Floats:
    """West to east, unwrapped, beginning between -180 and 360 as in the file."""
    west, east = (grid.last[1], grid.first[1]) if grid.i_negative else (grid.first[1], grid.last[1])
    width = (east - west) % 360.0
    if width == 0.0:
        width = 360.0  # round the world, its first column repeated at the end
    _fits(grid, grid.columns, width, grid.steps[1], "columns")
    start = west if -180.0 <= west < 360.0 else west % 360.0
    return start + np.linspace(0.0, width, grid.columns)


def _fits(grid: GridHeader, count: int, width: float, step: float | None, what: str) -> None:
    """Refuses a grid whose own increment does not lead from its first point to its last: one of the three is wrong."""
    if step is not None and abs((count - 1) * step - width) > max(0.5 * step, 2.0 * grid.rounding * count):
        raise GridRefusedError(f"has {count} {what} every {step:g} degrees, which do not fit the {width:g} degrees between its "
                               f"corners: {ELSEWHERE}")


def _cut(axis: Floats, low: float, high: float) -> slice | None:
    """The points of an increasing axis that enclose low to high; None when they do not meet."""
    if high < axis[0] or low > axis[-1]:
        return None
    first = max(0, int(np.searchsorted(axis, low, side="right")) - 1)
    last = min(axis.size - 1, int(np.searchsorted(axis, high, side="left")))
    if last == first:
        first, last = max(0, last - 1), min(axis.size - 1, first + 1)
    return slice(first, last + 1)


def _cut_longitude(axis: Floats, step: float, closes: bool, box: Box) -> tuple[NDArray[np.int64] | slice, Floats] | None:
    """Columns to take and their longitudes, unwrapped and beginning near the box's west."""
    if closes:
        first = int(np.floor((box.west - axis[0]) / step + 1e-9))
        last = int(np.ceil((box.west + box.width_deg - axis[0]) / step - 1e-9))
        index = np.arange(first, min(last, first + axis.size) + 1)
        return index % axis.size, axis[0] + index * step
    best: tuple[float, int, slice] | None = None
    for turn in range(-3, 4):
        cut = _cut(axis + 360.0 * turn, box.west, box.west + box.width_deg)
        if cut is not None:
            shifted = axis[cut] + 360.0 * turn
            shared = min(float(shifted[-1]), box.west + box.width_deg) - max(float(shifted[0]), box.west)
            if best is None or shared > best[0]:
                best = (shared, turn, cut)
    return None if best is None else (best[2], axis[best[2]] + 360.0 * best[1])
