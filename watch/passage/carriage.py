"""How she goes: under one sail plan, hove to, to a drogue, motoring or stopped; and many such put together for quick reading."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from watch.passage.speed import SpeedTable

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

WIND_STEP_KN = 0.5
LAST_WIND_KN = 100.0
ROUNDING = 1e-6  # rad


class Mode(IntEnum):
    """What she does with the wind. TACKING, GYBING and BORNE_AWAY are found while sailing and never asked for."""

    ON_COURSE = 0
    RUN_OFF = 1
    HEAVE_TO = 2
    DROGUE = 3
    STOPPED = 4
    TACKING = 5  # the course lies closer to the wind than she can point: both tacks, averaged along the course
    GYBING = 6  # both gybes, averaged along the course
    BORNE_AWAY = 7  # she can make no ground that way: as close to the course as she can lie, and off the line


ASKED_FOR = (Mode.ON_COURSE, Mode.RUN_OFF, Mode.HEAVE_TO, Mode.DROGUE, Mode.STOPPED)


@dataclass(frozen=True, kw_only=True)
class Carriage:
    """How she goes while one sail plan (or one way of lying to the wind) is carried.

    mode: one of ON_COURSE, RUN_OFF, HEAVE_TO, DROGUE, STOPPED.
    table, factor: her speed through the water is the table's times the factor. steady_kn: a speed in any wind [kn] instead.
    closest_deg: the smallest true wind angle she holds; the table's smallest (0 for a steady speed) when None.
    gybe: whether she gybes downwind where her table says that it pays. By default she sails the course.
    motoring_kn: the speed she motors at in light airs, on her course, when she would go slower under sail; 0 for never.
    wind_angle_deg: RUN_OFF, HEAVE_TO, DROGUE: the true wind angle she lies at (0 head to wind, 180 stern to wind).
    drift_from_wind_deg: the angle between where she goes and where the wind comes from; as she lies when running off, and
    straight downwind when None otherwise.
    tack: +1 wind on starboard, -1 on port, 0 whichever takes her nearer to her course.
    Raises ValueError with a sentence when it does not say how fast, or where.
    """

    mode: Mode = Mode.ON_COURSE
    table: SpeedTable | None = None
    factor: float = 1.0
    steady_kn: float | None = None
    closest_deg: float | None = None
    gybe: bool = False
    motoring_kn: float = 0.0
    wind_angle_deg: float | None = None
    drift_from_wind_deg: float | None = None
    tack: int = 0

    def __post_init__(self) -> None:
        if self.mode not in ASKED_FOR:
            raise ValueError(f"{self.mode.name} is found while sailing and cannot be asked for")
        if self.mode is Mode.STOPPED:
            object.__setattr__(self, "steady_kn", 0.0)
        if self.table is None and self.steady_kn is None:
            raise ValueError("a carriage needs a speed table or a steady speed in knots")
        if not 0.0 <= (self.steady_kn or 0.0) < 100.0 or not 0.0 <= self.factor < 10.0 or not 0.0 <= self.motoring_kn < 100.0:
            raise ValueError("a carriage's speeds must be from 0 to 100 kn and its factor from 0 to 10")
        for angle in (self.closest_deg, self.wind_angle_deg, self.drift_from_wind_deg):
            if angle is not None and not 0.0 <= angle <= 180.0:
                raise ValueError(f"a wind angle must be from 0 to 180 deg, and {angle:g} is not")
        if self.mode in (Mode.RUN_OFF, Mode.HEAVE_TO, Mode.DROGUE) and self.wind_angle_deg is None:
            raise ValueError(f"{self.mode.name} needs the wind angle she lies at")
        if self.tack not in (-1, 0, 1):
            raise ValueError("tack is +1 for wind on starboard, -1 on port, 0 for either")

    @property
    def lies_deg(self) -> float:
        return 0.0 if self.wind_angle_deg is None else self.wind_angle_deg

    @property
    def goes_deg(self) -> float:
        """Angle between where she goes and where the wind comes from, when she is not on her course."""
        if self.drift_from_wind_deg is not None:
            return self.drift_from_wind_deg
        return self.lies_deg if self.mode is Mode.RUN_OFF else 180.0

    @property
    def points_deg(self) -> float:
        """The smallest true wind angle she holds under way."""
        table = 0.0 if self.table is None or self.steady_kn is not None else float(self.table.twa_deg[0])
        return max(table, self.closest_deg or 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Carriages:
    """P carriages as arrays: one number each (P), angles in radians; and their speed tables on common axes, so that many boats
    read them at once. beat, broad (P, V): the best angle [rad] upwind and downwind at each half knot of wind, NaN for none."""

    on_course: Flags
    mode: NDArray[np.int8]
    points: Floats
    lies: Floats
    goes: Floats
    steady_kn: Floats
    tack: Floats
    motoring_kn: Floats
    light_kn: Floats
    known_to_kn: Floats
    gybe: Flags
    beat: Floats
    broad: Floats
    tws_kn: Floats
    twa: Floats
    speed_kn: Floats

    @cached_property
    def too_close(self) -> Floats:
        """(P) Angles [rad] below which a course cannot be held: `points`, but for rounding."""
        return self.points - ROUNDING

    @cached_property
    def gybes(self) -> bool:
        return bool(self.gybe.any())

    @cached_property
    def motors(self) -> bool:
        return bool(self.motoring_kn.any())

    @cached_property
    def stops(self) -> bool:
        return bool((self.mode == Mode.STOPPED).any())

    def table_kn(self, which: Ints, tws_kn: Floats, angle: Floats) -> Floats:
        """Speeds [kn] of carriage(s) `which` at true wind speeds [kn] and angles [rad, 0..pi], by table, factor and steady speed."""
        w = np.minimum(np.searchsorted(self.tws_kn, tws_kn, side="right"), len(self.tws_kn) - 1)
        a = np.minimum(np.searchsorted(self.twa, angle, side="right"), len(self.twa) - 1)
        w0, a0 = self.tws_kn[w - 1], self.twa[a - 1]
        fw = np.minimum((tws_kn - w0) / (self.tws_kn[w] - w0), 1.0)
        fa = np.minimum((angle - a0) / (self.twa[a] - a0), 1.0)
        columns = len(self.twa)
        at = (which * len(self.tws_kn) + w) * columns + a
        flat = self.speed_kn.ravel()
        high = flat[at]
        high = high + (flat[at - 1] - high) * (1.0 - fa)
        below = at - columns
        low = flat[below]
        low = low + (flat[below - 1] - low) * (1.0 - fa)
        return np.asarray(low + (high - low) * fw)

    def best(self, table: Floats, which: Ints, tws_kn: Floats) -> Floats:
        """The best angle [rad] from `beat` or `broad`, by the nearest half knot."""
        nearest = np.minimum(tws_kn * (1.0 / WIND_STEP_KN) + 0.5, table.shape[1] - 1).astype(np.int64)
        return np.asarray(table[which, nearest])


@lru_cache(maxsize=16)
def put_together(carriages: tuple[Carriage, ...]) -> Carriages:
    """Carriages -> the same as arrays. Bilinear tables stay exact: the common axes hold every number of every table's own."""
    tables = [c.table for c in carriages if c.table is not None and c.steady_kn is None]
    tws_kn = np.unique(np.concatenate([[0.0, LAST_WIND_KN], *(t.tws_kn for t in tables)]))
    twa_deg = np.unique(np.concatenate([[0.0, 180.0], *(t.twa_deg for t in tables)]))
    strongest_kn = max((float(t.tws_kn[-1]) for t in tables), default=1.0)
    winds_kn = tuple(np.arange(0.0, strongest_kn + 2 * WIND_STEP_KN, WIND_STEP_KN).tolist())

    def numbers(values: Sequence[float]) -> Floats:
        return np.array(values, dtype=np.float64)

    return Carriages(
        on_course=np.array([c.mode is Mode.ON_COURSE for c in carriages]),
        mode=np.array([c.mode for c in carriages], dtype=np.int8),
        points=np.radians(numbers([c.points_deg for c in carriages])),
        lies=np.radians(numbers([c.lies_deg for c in carriages])),
        goes=np.radians(numbers([c.goes_deg for c in carriages])),
        steady_kn=numbers([np.nan if c.steady_kn is None else c.steady_kn for c in carriages]),
        tack=numbers([c.tack for c in carriages]),
        motoring_kn=numbers([c.motoring_kn for c in carriages]),
        light_kn=numbers([0.0 if c.table is None else c.table.light_kn for c in carriages]),
        known_to_kn=numbers([c.table.tws_kn[-1] if c.table is not None and c.steady_kn is None else np.inf for c in carriages]),
        gybe=np.array([c.gybe for c in carriages]),
        beat=np.radians(np.stack([_best(c, winds_kn, upwind=True) for c in carriages])),
        broad=np.radians(np.stack([_best(c, winds_kn, upwind=False) for c in carriages])),
        tws_kn=tws_kn,
        twa=np.radians(twa_deg),
        speed_kn=np.stack([_on_axes(c, tws_kn, twa_deg) for c in carriages]),
    )


def _on_axes(c: Carriage, tws_kn: Floats, twa_deg: Floats) -> Floats:
    """A carriage's speeds [kn] on the common axes. Closer to the wind than its smallest angle they are those of that angle, so that
    no line is drawn down to nothing there: whoever reads the table keeps to `points` and wider."""
    if c.steady_kn is not None or c.table is None:
        return np.full((len(tws_kn), len(twa_deg)), 0.0 if c.steady_kn is None else c.steady_kn)
    return c.factor * c.table.at(tws_kn[:, None], np.maximum(twa_deg, c.table.twa_deg[0])[None, :])


def _best(c: Carriage, tws_kn: tuple[float, ...], *, upwind: bool) -> Floats:
    """The best angle [deg] at each wind, NaN for none; in a calm as in the lightest air."""
    if c.steady_kn is not None or c.table is None:
        angle = c.points_deg if upwind else 180.0
        return np.full(len(tws_kn), angle if angle < 90.0 or not upwind else np.nan)
    return _best_by_table(c.table, tws_kn, upwind, c.points_deg)


@lru_cache(maxsize=64)
def _best_by_table(table: SpeedTable, tws_kn: tuple[float, ...], upwind: bool, closest_deg: float) -> Floats:
    """A speed factor does not change the angle: one search serves every carriage with this table and smallest angle."""
    best = table.best_vmg_angle(np.array(tws_kn), upwind, closest_deg)
    best[0] = best[1]
    best.flags.writeable = False
    return best
