"""How fast she goes: boat speed by true wind speed and angle, the angle that gains most ground, and the wind felt on deck."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

VMG_STEP_DEG = 0.25
ANGLE_SLACK_DEG = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class SpeedTable:
    """Boat speed through the water under one sail plan.

    tws_kn (W): rising true wind speeds [kn]. twa_deg (A): rising true wind angles [deg, 0..180]. speed_kn (W, A): boat speeds
    [kn]. Lists or arrays; kept as read-only arrays, equal when all their numbers are. Raises ValueError with a sentence when they
    do not fit together.

    >>> table = SpeedTable(tws_kn=[10, 20], twa_deg=[50, 90, 180], speed_kn=[[5, 6, 4], [6, 7, 6]])
    >>> table.at([15.0, 5.0, 30.0, 15.0], [90.0, -90.0, 90.0, 40.0]).tolist()
    [6.5, 3.0, 7.0, 0.0]
    """

    tws_kn: Floats
    twa_deg: Floats
    speed_kn: Floats

    def __post_init__(self) -> None:
        for name in ("tws_kn", "twa_deg", "speed_kn"):
            values = np.array(getattr(self, name), dtype=np.float64)
            values.flags.writeable = False
            object.__setattr__(self, name, values)
        fault = table_fault(self.tws_kn, self.twa_deg, self.speed_kn)
        if fault:
            raise ValueError(fault)

    @cached_property
    def _numbers(self) -> tuple[bytes, bytes, bytes]:
        return self.tws_kn.tobytes(), self.twa_deg.tobytes(), self.speed_kn.tobytes()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SpeedTable) and self._numbers == other._numbers

    def __hash__(self) -> int:
        return hash(self._numbers)

    @property
    def light_kn(self) -> float:
        """The first wind speed above zero in the table [kn]; below it are light airs."""
        return float(self.tws_kn[self.tws_kn > 0.0][0])

    def at(self, tws_kn: ArrayLike, twa_deg: ArrayLike, motoring_kn: float = 0.0) -> Floats:
        """True wind speed [kn] and angle [deg, either side] -> boat speed [kn], of their common shape; NaN where either is NaN.

        Straight lines between the numbers of the table both ways; in less wind than it begins with, straight down to nothing in
        a calm; in more than it ends with, or wider angles, the last number (see `beyond`). Closer to the wind than its smallest
        angle she does not sail: 0. With motoring_kn she motors in light airs where sailing would be slower.
        """
        tws, twa = np.broadcast_arrays(np.asarray(tws_kn, dtype=np.float64), np.abs(np.asarray(twa_deg, dtype=np.float64)))
        winds, speeds = self._from_calm()
        iw, fw = _place(winds, tws)
        ia, fa = _place(self.twa_deg, twa)
        low = speeds[iw, ia] * (1.0 - fa) + speeds[iw, _next(ia, self.twa_deg)] * fa
        high = speeds[iw + 1, ia] * (1.0 - fa) + speeds[iw + 1, _next(ia, self.twa_deg)] * fa
        speed = low * (1.0 - fw) + high * fw
        speed = np.where(twa < self.twa_deg[0] - ANGLE_SLACK_DEG, 0.0, speed)
        if motoring_kn > 0.0:
            speed = np.where(tws < self.light_kn, np.maximum(speed, motoring_kn), speed)
        return np.where(np.isnan(tws) | np.isnan(twa), np.nan, speed)

    def beyond(self, tws_kn: ArrayLike) -> Flags:
        """True where the wind [kn] is stronger than the table knows, or missing."""
        return np.asarray(~(np.asarray(tws_kn, dtype=np.float64) <= self.tws_kn[-1]))

    def best_vmg_angle(self, tws_kn: ArrayLike, upwind: bool, closest_deg: float = 0.0) -> Floats:
        """True wind speed [kn] -> the angle [deg] that gains most ground straight upwind, or straight downwind, same shape.

        To a quarter of a degree, never closer than closest_deg nor than the table; NaN where no angle gains any, as in a calm.

        >>> table = SpeedTable(tws_kn=[10], twa_deg=[50, 90, 180], speed_kn=[[5, 6, 4]])
        >>> float(table.best_vmg_angle(10.0, upwind=True))
        50.0
        """
        tws = np.asarray(tws_kn, dtype=np.float64)
        first = max(closest_deg, float(self.twa_deg[0]), 0.0 if upwind else 90.0)
        last = max(first, 90.0 if upwind else 180.0)
        angles = np.append(first, np.arange(np.floor(first / VMG_STEP_DEG + 1.0) * VMG_STEP_DEG, last + 0.01, VMG_STEP_DEG))
        gain = self.at(tws[..., None], angles) * np.cos(np.radians(angles)) * (1.0 if upwind else -1.0)
        best = np.argmax(np.where(np.isnan(gain), -np.inf, gain), axis=-1)
        gained = np.take_along_axis(gain, best[..., None], axis=-1)[..., 0]
        return np.where(gained > 1e-9, angles[best], np.nan)

    def _from_calm(self) -> tuple[Floats, Floats]:
        """Winds and speeds with a calm as the first row."""
        if self.tws_kn[0] == 0.0 and len(self.tws_kn) > 1:
            return self.tws_kn, self.speed_kn
        return np.append(0.0, self.tws_kn), np.vstack([np.zeros(len(self.twa_deg)), self.speed_kn])


def _place(axis: Floats, values: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Where values lie on a rising axis: the index before, and the share of the way to the next, held to the ends."""
    held = np.clip(np.nan_to_num(values), axis[0], axis[-1])
    index = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, max(len(axis) - 2, 0))
    width = axis[_next(index, axis)] - axis[index]
    return index, (held - axis[index]) / np.where(width > 0.0, width, 1.0)


def _next(index: NDArray[np.int64], axis: Floats) -> NDArray[np.int64]:
    return np.minimum(index + 1, len(axis) - 1)


def table_fault(tws_kn: Floats, twa_deg: Floats, speed_kn: Floats) -> str | None:
    """The first thing wrong with a speed table, in a sentence; None when it is sound.

    >>> table_fault(np.array([8.0, 8.0]), np.array([50.0, 90.0]), np.ones((2, 2)))
    'its wind speeds must rise, but 8 kn is followed by 8 kn'
    """
    for axis, what, sign in ((tws_kn, "wind speeds", "kn"), (twa_deg, "wind angles", "deg")):
        if axis.ndim != 1 or len(axis) == 0 or not np.isfinite(axis).all():
            return f"its {what} must be a list of numbers"
        falls = np.flatnonzero(~(np.diff(axis) > 0.0))
        if len(falls):
            return f"its {what} must rise, but {axis[falls[0]]:g} {sign} is followed by {axis[falls[0] + 1]:g} {sign}"
    if tws_kn[0] < 0.0 or not (tws_kn > 0.0).any():
        return "its wind speeds must not be negative, and one must be above 0 kn"
    if twa_deg[0] < 0.0 or twa_deg[-1] > 180.0:
        return "its wind angles must be from 0 to 180 deg"
    if speed_kn.shape != (len(tws_kn), len(twa_deg)):
        return f"it needs a speed for each of {len(tws_kn)} wind speeds (rows) and {len(twa_deg)} wind angles (columns)"
    bad = np.argwhere(~((speed_kn >= 0.0) & (speed_kn < 100.0)))
    if len(bad):
        row, column = bad[0]
        where = f"{tws_kn[row]:g} kn and {twa_deg[column]:g} deg"
        return f"its speed at {where} is {speed_kn[row, column]:g}: a number from 0 to 100 kn"
    if tws_kn[0] == 0.0 and speed_kn[0].any():
        return "its speed in no wind must be 0"
    return None


def apparent(tws_kn: ArrayLike, twa_deg: ArrayLike, boat_kn: ArrayLike) -> tuple[Floats, Floats]:
    """True wind speed [kn], its signed angle [deg, + on starboard] and boat speed [kn] -> apparent wind speed [kn] and signed
    angle [deg], of their common shape. Source: apparent-1 (the two velocities added).

    >>> [round(float(x), 4) for x in apparent(12.0, 120.0, 6.0)]
    [10.3923, 90.0]
    """
    tws, boat = np.asarray(tws_kn, dtype=np.float64), np.asarray(boat_kn, dtype=np.float64)
    angle = np.radians(np.asarray(twa_deg, dtype=np.float64))
    ahead, aside = tws * np.cos(angle) + boat, tws * np.sin(angle)
    return np.hypot(ahead, aside), np.degrees(np.arctan2(aside, ahead))
