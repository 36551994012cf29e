"""How boats go in one step: on their course, tacking, gybing, borne away, motoring, lying to the wind, or in a wind unknown."""

import numpy as np
from numpy.typing import NDArray

from watch.passage.carriage import Carriages, Mode
from watch.units import KN_PER_MS

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


class LastKnown:
    """How each boat went when the wind was last known."""

    def __init__(self, boats: int, speed_kn: float) -> None:
        self.made_kn: Floats = np.full(boats, speed_kn)
        self.bearing: Floats | None = None


class Step:
    """How each boat goes from one mark to the next. Angles in radians; following None: all hold their course."""

    def __init__(self) -> None:
        self.following: Flags | None = None
        self.mode: NDArray[np.int8] | np.int8 = np.int8(Mode.ON_COURSE)
        self.unknown: Flags | None = None
        self.made_kn: Floats
        self.through_kn: Floats
        self.tws_kn: Floats
        self.course: Floats
        self.course_twa: Floats
        self.heading_twa: Floats
        self.beyond: Flags
        self.east: Floats
        self.north: Floats

    def rest(self, arrived: Flags) -> None:
        """Boats that have arrived lie still."""
        self.made_kn = np.where(arrived, 0.0, self.made_kn)
        self.through_kn = np.where(arrived, 0.0, self.through_kn)
        self.heading_twa = np.where(arrived, self.course_twa, self.heading_twa)
        self.mode = np.where(arrived, np.int8(Mode.STOPPED), self.mode)
        if self.unknown is not None:
            self.unknown = self.unknown & ~arrived


def next_step(rig: Carriages, k: Ints, east: Floats, north: Floats, u_ms: Floats, v_ms: Floats, last: LastKnown) -> Step:
    s = Step()
    tws_kn = np.hypot(u_ms, v_ms) * KN_PER_MS
    known = np.isfinite(tws_kn)
    if not known.all():
        s.unknown = ~known
        tws_kn, u_ms, v_ms = np.where(known, tws_kn, 0.0), np.where(known, u_ms, 0.0), np.where(known, v_ms, 0.0)
    s.tws_kn, s.east, s.north = tws_kn, east, north
    s.course = np.arctan2(east, north)
    s.course_twa = np.arctan2(east * v_ms - north * u_ms, 0.0 - (east * u_ms + north * v_ms))
    s.beyond = tws_kn > rig.known_to_kn[k]
    _go(rig, k, s)
    if s.unknown is not None:
        _go_on(rig, k, s, s.unknown, last)
    last.made_kn = np.where(rig.mode[k] == Mode.STOPPED, last.made_kn, s.made_kn) if rig.stops else s.made_kn
    if s.following is not None or s.unknown is not None:
        last.bearing = np.arctan2(s.east, s.north)
    else:
        last.bearing = s.course
    return s


def _go(rig: Carriages, k: Ints, s: Step) -> None:
    """Fill in how each boat goes in a known wind."""
    angle = np.abs(s.course_twa)
    on = rig.on_course[k]
    all_on = bool(on.all())
    close = angle < rig.too_close[k]
    any_close = bool(close.any())
    look_up, gains = angle, close
    if any_close:
        close = close & (s.tws_kn > 0.0)  # in a calm there is no wind to point at
        beat = rig.best(rig.beat, k, s.tws_kn)
        gains = close & (beat == beat)
        look_up = np.where(gains, beat, np.where(close, rig.points[k], angle))
    if not all_on:
        look_up = np.where(on, look_up, rig.lies[k])
    s.through_kn = s.made_kn = rig.table_kn(k, s.tws_kn, look_up)
    s.heading_twa = s.course_twa
    if any_close:
        s.made_kn = np.where(gains & on, s.through_kn * np.cos(look_up) / np.cos(angle), s.made_kn)
        s.heading_twa = np.where(close, np.copysign(look_up, s.course_twa), s.heading_twa)
        s.mode = np.where(gains, np.int8(Mode.TACKING), np.where(close, np.int8(Mode.BORNE_AWAY), s.mode))
    if rig.gybes:
        _gybe(rig, k, s, angle, on)
    if rig.motors:
        _motor(rig, k, s, on)
    if not all_on or any_close:
        _leave_course(rig, k, s, on, all_on)


def _leave_course(rig: Carriages, k: Ints, s: Step, on: Flags, all_on: bool) -> None:
    """Turn the way of those that lie to the wind, or have borne away, off the course."""
    goes = s.heading_twa
    off = s.mode == Mode.BORNE_AWAY
    if not all_on:
        side = np.where(rig.tack[k] == 0.0, np.copysign(1.0, s.course_twa), rig.tack[k])
        s.heading_twa = np.where(on, s.heading_twa, side * rig.lies[k])
        s.mode = np.where(on, s.mode, rig.mode[k])
        goes = np.where(on, s.heading_twa, side * rig.goes[k])
        off = ~on | off
    if np.any(off):
        off = np.broadcast_to(off, s.course.shape)
        bearing = np.where(off, s.course + s.course_twa - goes, s.course)
        s.following, s.east, s.north = ~off, np.sin(bearing), np.cos(bearing)


def _gybe(rig: Carriages, k: Ints, s: Step, angle: Floats, on: Flags) -> None:
    """Gybing where it is allowed and pays: the same sum as for tacking."""
    broad = rig.best(rig.broad, k, s.tws_kn)
    deep = on & rig.gybe[k] & (angle > broad)
    if not deep.any():
        return
    through_kn = rig.table_kn(k, s.tws_kn, np.where(deep, broad, angle))
    made_kn = through_kn * np.cos(np.where(deep, broad, 0.0)) / np.cos(np.where(deep, angle, 0.0))
    pays = deep & (made_kn > s.made_kn)
    s.made_kn, s.through_kn = np.where(pays, made_kn, s.made_kn), np.where(pays, through_kn, s.through_kn)
    s.heading_twa = np.where(pays, np.copysign(broad, s.course_twa), s.heading_twa)
    s.mode = np.where(pays, np.int8(Mode.GYBING), s.mode)


def _motor(rig: Carriages, k: Ints, s: Step, on: Flags) -> None:
    """Motoring on her course in light airs, where she would make less under sail."""
    motors = on & (s.tws_kn < rig.light_kn[k]) & (s.made_kn < rig.motoring_kn[k])
    if motors.any():
        s.made_kn = np.where(motors, rig.motoring_kn[k], s.made_kn)
        s.through_kn = np.where(motors, rig.motoring_kn[k], s.through_kn)
        s.heading_twa = np.where(motors, s.course_twa, s.heading_twa)
        s.mode = np.where(motors, np.int8(Mode.ON_COURSE), s.mode)


def _go_on(rig: Carriages, k: Ints, s: Step, unknown: Flags, last: LastKnown) -> None:
    """Boats without a known wind: the last known speed, on the course, or the last known way when she lies to the wind."""
    on = np.broadcast_to(rig.on_course[k], unknown.shape)
    stopped = rig.mode[k] == Mode.STOPPED
    kept_kn = np.where(stopped, 0.0, last.made_kn)
    s.made_kn, s.through_kn = np.where(unknown, kept_kn, s.made_kn), np.where(unknown, kept_kn, s.through_kn)
    s.mode = np.where(unknown, rig.mode[k], s.mode)
    bearing = s.course if last.bearing is None else np.where(on, s.course, last.bearing)
    s.east, s.north = np.where(unknown, np.sin(bearing), s.east), np.where(unknown, np.cos(bearing), s.north)
    if s.following is not None or not on.all():
        s.following = np.where(unknown, on, True if s.following is None else s.following)
    s.heading_twa = np.where(unknown, s.course_twa, s.heading_twa)
    s.tws_kn = np.where(unknown, np.nan, s.tws_kn)
    s.beyond = s.beyond | unknown
