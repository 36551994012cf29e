"""The track: where she will be when. Many boats at once are sailed along one route through ten-minute steps."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.faults import BadInputError
from watch.passage.carriage import Carriage, put_together
from watch.passage.going import LastKnown, Step, next_step
from watch.passage.route import HIGHEST_DEG, Route
from watch.passage.steering import Fleet, Marks, marks_of
from watch.units import M_PER_NM
from watch.when import STEP, Times, grid

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

Wind = Callable[[int, Floats, Floats], tuple[Floats, Floats]]
"""(index of the mark, latitudes (B) and longitudes (B) [deg, -180..180)) -> wind towards east and north (B) [m/s], NaN unknown."""

STEP_S = STEP.total_seconds()


@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """B boats at T + 1 marks of the ten-minute grid: arrays (B, T + 1), or (T + 1) for one boat (see `boat`).

    What is given at mark i is how she goes from mark i to mark i + 1.
    time (T + 1): UTC. latitude, longitude [deg, longitude -180..180): never missing. leg: index of the leg. mode: a Mode.
    course_deg: the bearing of her next waypoint. heading_deg: where she points, which differs when she tacks (the tack nearer to
    the course), gybes, runs off or lies to the wind. speed_kn: through the water on that heading, or her drift. made_good_kn:
    over the ground; along the course when she tacks. twa_deg: true wind angle of the heading, + with the wind on starboard; 0 in
    a calm, NaN unknown. tws_kn: NaN unknown. arrived: at the last waypoint, where she stays. unknown: the wind is missing and
    she is not in yet: she is taken to go on as last known. beyond: more wind than her speed table knows (its last speeds are
    taken), or unknown. arrival (B): UTC, NaT when not within the time.
    """

    route: Route
    time: Times
    latitude: Floats
    longitude: Floats
    course_deg: Floats32
    heading_deg: Floats32
    speed_kn: Floats32
    made_good_kn: Floats32
    twa_deg: Floats32
    tws_kn: Floats32
    leg: NDArray[np.int16]
    mode: NDArray[np.int8]
    arrived: Flags
    unknown: Flags
    beyond: Flags
    arrival: Times

    @property
    def boats(self) -> int:
        return 1 if self.latitude.ndim == 1 else self.latitude.shape[0]

    def boat(self, b: int) -> "Track":
        """The track of one boat: the same arrays without their first dimension, not copied."""
        one = {f.name: getattr(self, f.name) for f in fields(self)}
        return Track(**{k: v if k in ("route", "time") else v[b] for k, v in one.items()})

    @cached_property
    def distance_to_go_nm(self) -> Floats:
        """What is left to sail along the route [nm], same shape as the positions; worked out when first asked for."""
        marks, leg = marks_of(self.route), self.leg.astype(np.int64)
        return np.where(self.arrived, 0.0, marks.to_go_nm(self.latitude, self.longitude, leg))


def sail(
    route: Route,
    start: datetime,
    carried: ArrayLike,
    carriages: Sequence[Carriage],
    wind: Wind,
    *,
    boats: int = 1,
    latitude: ArrayLike | None = None,
    longitude: ArrayLike | None = None,
    leg: ArrayLike = 0,
    last_known_kn: float = 0.0,
) -> Track:
    """Sail B boats along a route from `start`, on the ten-minute grid, through T steps.

    carried: (T) for all boats or (B, T): the index into `carriages` of how each goes in each step; B is `boats` for (T).
    wind: see Wind; asked at each mark 0..T where the boats are. latitude, longitude [deg], leg: (B) or one number: where they
    are and on which leg; the start of the route when not given. last_known_kn: their speed until a wind is known.

    Each step holds the course and speed of its start. On course she heads for the next waypoint, by great circle or rhumb line
    from where she is. Where that lies closer to the wind than she can point she tacks: at the angle of her best made good, on
    both tacks in the shares that keep her on the course line, so that with speed V at wind angle b a course at angle c to the
    wind is made good at V cos b / cos c; no time is taken for the tacks. Only a little too close, nearly all of it is on
    the making tack. If no angle gains ground to windward she bears away to the closest she can, and leaves the line. Off the
    line, a waypoint is left behind once she is abeam of it. In a step without wind she keeps her last known speed, on her
    course, or in the last known direction when she lies to the wind.

    Raises ValueError for arguments that do not fit together, BadInputError when she comes within a degree of a pole.
    """
    which = _which(carried, boats, len(carriages))
    steps, count = which.shape[0], boats if np.ndim(carried) == 1 else which.shape[1]
    time = grid(start, steps)
    rig, marks = put_together(tuple(carriages)), marks_of(route)
    fleet = _fleet(marks, count, latitude, longitude, leg)
    log = _Log(steps + 1, count)
    last = LastKnown(count, last_known_kn)
    for i in range(steps + 1):
        east, north = fleet.look()
        lat_deg, lon_deg = np.degrees(fleet.lat), np.degrees(fleet.lon)
        u_ms, v_ms = wind(i, lat_deg, lon_deg)
        step = next_step(rig, which[min(i, steps - 1)], east, north, np.asarray(u_ms), np.asarray(v_ms), last)
        if fleet.any_arrived:
            step.rest(fleet.arrived)
        log.put(i, fleet, lat_deg, lon_deg, step)
        if i < steps:
            fleet.advance(
                step.made_kn * (M_PER_NM * STEP_S / 3600.0), step.east, step.north, step.following, i * STEP_S, STEP_S
            )  # fmt: skip
    return log.track(route, time, fleet)


def _which(carried: ArrayLike, boats: int, carriages: int) -> Ints:
    """carried -> (T) or (T, B), checked."""
    which = np.ascontiguousarray(np.asarray(carried, dtype=np.int64).T)
    if which.ndim not in (1, 2) or which.shape[0] < 1:
        raise ValueError("carried must have a carriage for each of one step or more: (T) or (B, T)")
    if which.ndim == 2 and boats not in (1, which.shape[1]):
        raise ValueError(f"carried is for {which.shape[1]} boats, not {boats}")
    if which.min() < 0 or which.max() >= carriages:
        raise ValueError(f"carried names carriages from {which.min()} to {which.max()}; there are {carriages}")
    return which


def _fleet(marks: Marks, boats: int, latitude: ArrayLike | None, longitude: ArrayLike | None, leg: ArrayLike) -> Fleet:
    if (latitude is None) != (longitude is None):
        raise ValueError("a position needs a latitude and a longitude")
    legs = np.broadcast_to(np.asarray(leg, dtype=np.int64), boats)
    if legs.min() < 0 or legs.max() >= len(marks.leg_m):
        raise ValueError(f"a leg must be from 0 to {len(marks.leg_m) - 1}")
    lat = marks.lat[legs] if latitude is None else np.broadcast_to(np.radians(np.asarray(latitude, dtype=np.float64)), boats)
    lon = marks.lon[legs] if longitude is None else np.broadcast_to(np.radians(np.asarray(longitude, dtype=np.float64)), boats)
    if not (np.abs(lat) <= np.radians(HIGHEST_DEG)).all() or not np.isfinite(lon).all():
        raise ValueError("a position is missing, off the earth or within a degree of a pole")
    return Fleet(marks, lat, lon, legs)


class _Log:
    """The rows of a track as they come, a mark at a time."""

    def __init__(self, marks: int, boats: int) -> None:
        shape = (marks, boats)
        self.latitude, self.longitude = np.empty(shape), np.empty(shape)
        names = ("course", "turn", "speed_kn", "made_good_kn", "twa", "tws_kn")
        self.row = {name: np.empty(shape, dtype=np.float32) for name in names}
        self.leg, self.mode = np.empty(shape, dtype=np.int16), np.empty(shape, dtype=np.int8)
        self.arrived, self.unknown, self.beyond = (np.zeros(shape, dtype=bool) for _ in range(3))

    def put(self, i: int, fleet: Fleet, lat_deg: Floats, lon_deg: Floats, s: Step) -> None:
        row = self.row
        self.latitude[i], self.longitude[i], self.leg[i], self.mode[i] = lat_deg, lon_deg, fleet.leg, s.mode
        row["course"][i], row["speed_kn"][i], row["made_good_kn"][i] = s.course, s.through_kn, s.made_kn
        row["twa"][i], row["turn"][i], row["tws_kn"][i] = s.heading_twa, s.course_twa - s.heading_twa, s.tws_kn
        self.beyond[i] = s.beyond
        if fleet.any_arrived:
            self.arrived[i] = fleet.arrived
        if s.unknown is not None:
            self.unknown[i] = s.unknown

    def track(self, route: Route, time: Times, fleet: Fleet) -> Track:
        high = np.abs(self.latitude).max()
        if not high <= HIGHEST_DEG:
            raise BadInputError(route.name, ["she comes within a degree of a pole, where no course can be worked out here"])
        degree = np.float32(180.0 / np.pi)
        course, twa = self.row["course"] * degree, self.row["twa"] * degree
        twa[np.isnan(self.row["tws_kn"])] = np.nan
        seconds = np.where(np.isnan(fleet.arrived_s), 0.0, fleet.arrived_s).round().astype("timedelta64[s]")
        arrival = np.where(np.isnan(fleet.arrived_s), np.datetime64("NaT", "s"), time[0] + seconds)
        return Track(
            route=route, time=time, latitude=self.latitude.T, longitude=self.longitude.T,
            course_deg=_compass(course).T, heading_deg=_compass(_compass(course + self.row["turn"] * degree)).T,
            speed_kn=self.row["speed_kn"].T, made_good_kn=self.row["made_good_kn"].T, twa_deg=twa.T,
            tws_kn=self.row["tws_kn"].T, leg=self.leg.T, mode=self.mode.T, arrived=self.arrived.T,
            unknown=self.unknown.T, beyond=self.beyond.T, arrival=arrival,
        )  # fmt: skip


def _compass(degrees: Floats32) -> Floats32:
    """Bearings less than a turn outside [0, 360) -> inside it."""
    degrees = np.where(degrees < 0.0, degrees + np.float32(360.0), degrees)
    return np.where(degrees >= 360.0, degrees - np.float32(360.0), degrees)
