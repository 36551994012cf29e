"""Many boats on one route: where the next waypoint lies, a step over the ellipsoid, and which leg each is on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.passage.earth import (
    E2,
    TINY,
    Floats,
    isometric,
    quick_distance_m,
    quick_rhumb_m,
    radii_m,
    wrap_rad,
)
from watch.passage.route import SAME_PLACE_NM, Route
from watch.units import M_PER_NM

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SAME_PLACE_M = SAME_PLACE_NM * M_PER_NM


@dataclass(frozen=True, kw_only=True, eq=False)
class Marks:
    """A route as arrays, angles in radians. lat, lon, sin, cos, iso (W): the waypoints; axis_m, north_m (W): how far each is from
    the earth's axis and north of the plane of the equator. leg_m (W - 1): lengths of the legs;
    out_east, out_north, in_east, in_north (W - 1): unit vectors of their courses at the start and at the end. to_go_m (W): the
    way from each waypoint to the last."""

    rhumb: bool
    lat: Floats
    lon: Floats
    sin: Floats
    cos: Floats
    iso: Floats
    axis_m: Floats
    north_m: Floats
    leg_m: Floats
    out_east: Floats
    out_north: Floats
    in_east: Floats
    in_north: Floats
    to_go_m: Floats

    def measure_m(self, lat1: Floats, lon1: Floats, lat2: Floats, lon2: Floats) -> Floats:
        """Distances [m] along the kind of line this route is made of; radians."""
        return (quick_rhumb_m if self.rhumb else quick_distance_m)(lat1, lon1, lat2, lon2)

    def to_go_nm(self, latitude: Floats, longitude: Floats, leg: Ints) -> Floats:
        """What is left to sail [nm] from positions [deg] on legs, same shape."""
        lat, lon = np.radians(latitude), np.radians(longitude)
        return (self.measure_m(lat, lon, self.lat[leg + 1], self.lon[leg + 1]) + self.to_go_m[leg + 1]) / M_PER_NM


def marks_of(route: Route) -> Marks:
    """Route -> Marks."""
    lat = np.radians(np.array([w.latitude for w in route.waypoints]))
    lon = np.radians(np.array([w.longitude for w in route.waypoints]))
    rhumb = route.kind == "rhumb line"
    leg_m = (quick_rhumb_m if rhumb else quick_distance_m)(lat[:-1], lon[:-1], lat[1:], lon[1:])
    sin, cos, iso = np.sin(lat), np.cos(lat), isometric(lat)
    across_m = radii_m(sin)[1]
    axis_m, north_m = across_m * cos, across_m * (1.0 - E2) * sin
    here, there = slice(None, -1), slice(1, None)

    def course(a: slice, b: slice) -> Floats:
        if rhumb:
            way = np.stack([wrap_rad(lon[b] - lon[a]), iso[b] - iso[a]], axis=-1)
        else:
            way = np.stack(toward_m(sin[a], cos[a], across_m[a], lon[b] - lon[a], axis_m[b], north_m[b]), axis=-1)
        size = np.hypot(way[:, :1], way[:, 1:])
        return np.where(size > 0.0, way / np.maximum(size, TINY), [0.0, 1.0])  # north, for a leg of no length

    out, back = course(here, there), -course(there, here)
    return Marks(
        rhumb=rhumb, lat=lat, lon=lon, sin=sin, cos=cos, iso=iso, axis_m=axis_m, north_m=north_m, leg_m=leg_m,
        out_east=out[:, 0], out_north=out[:, 1], in_east=back[:, 0], in_north=back[:, 1],
        to_go_m=np.append(np.cumsum(leg_m[::-1])[::-1], 0.0),
    )  # fmt: skip


def toward_m(sin: Floats, cos: Floats, across_m: Floats, lon: Floats, axis_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
    """East and north parts [m], on the horizon at a place, of the straight line through the earth to another: the bearing of the
    normal section, within 0.1 deg of the geodesic's at any distance here and exact close by.

    sin, cos, across_m: of the place's latitude, and its radius of curvature across the meridian [m]; lon: how far east the other
    lies [rad]; axis_m, north_m: its distance from the axis and from the plane of the equator [m].
    """
    return axis_m * np.sin(lon), cos * north_m - sin * axis_m * np.cos(lon) + E2 * across_m * sin * cos


class Fleet:
    """B boats under way: the one thing here that changes, inside `sail` alone. Angles in radians, lon within [-pi, pi)."""

    def __init__(self, marks: Marks, lat: Floats, lon: Floats, leg: Ints) -> None:
        self.marks = marks
        self.last_leg = len(marks.leg_m) - 1
        self.lat, self.lon, self.leg = lat.copy(), wrap_rad(lon), leg.copy()
        self.arrived: Flags = np.zeros(len(lat), dtype=bool)
        self.arrived_s: Floats = np.full(len(lat), np.nan)
        self.any_arrived = False
        self._pass_those_at_their_mark()
        self._turn_to_marks()

    def _pass_those_at_their_mark(self) -> None:
        """A boat that begins in the place of her next waypoint has reached it."""
        m = self.marks
        for _ in range(len(m.leg_m)):
            near_m = m.measure_m(self.lat, self.lon, m.lat[self.leg + 1], m.lon[self.leg + 1])
            there = np.flatnonzero((near_m <= SAME_PLACE_M) & ~self.arrived)
            if not len(there):
                return
            self._finish(there[self.leg[there] == self.last_leg], 0.0)
            self.leg[there] = np.minimum(self.leg[there] + 1, self.last_leg)

    def _finish(self, boats: Ints, seconds: Floats | float) -> None:
        if len(boats):
            self.arrived[boats] = True
            self.arrived_s[boats] = seconds
            self.any_arrived = True

    def _turn_to_marks(self) -> None:
        """Take in the waypoint each boat steers for; only needed when a leg changes."""
        m, nxt = self.marks, self.leg + 1
        self.mark_lon, self.mark_axis_m, self.mark_north_m = m.lon[nxt], m.axis_m[nxt], m.north_m[nxt]
        self.mark_lat, self.mark_iso = m.lat[nxt], m.iso[nxt]

    def look(self) -> tuple[Floats, Floats]:
        """Unit vectors (east, north) of the course to each boat's waypoint; keeps what a step needs."""
        sin, cos = np.sin(self.lat), np.cos(self.lat)
        along_m, across_m = radii_m(sin)
        lon = self.mark_lon - self.lon
        if self.marks.rhumb:
            lon = wrap_rad(lon)
            east, north = lon, self.mark_iso - isometric(self.lat)
            near_m = np.hypot(along_m * (self.mark_lat - self.lat), across_m * cos * lon)
        else:
            east, north = toward_m(sin, cos, across_m, lon, self.mark_axis_m, self.mark_north_m)
            near_m = np.hypot(east, north)
        size = np.maximum(np.hypot(east, north) if self.marks.rhumb else near_m, TINY)
        east, north = east / size, north / size
        if self.any_arrived:
            east = np.where(self.arrived, self.marks.in_east[self.leg], east)
            north = np.where(self.arrived, self.marks.in_north[self.leg], north)
        self._sin, self._cos, self._along_m, self._across_m, self._near_m = sin, cos, along_m, across_m, near_m
        return east, north

    def advance(self, way_m: Floats, east: Floats, north: Floats, following: Flags | None, seconds: float, step_s: float) -> None:
        """Move each boat way_m in the direction (east, north). following: which hold their course; None for all. Those that come
        to their waypoint go on along the next leg with what is left of the step; seconds: time at its start, for arrivals.

        near_m is right close to the waypoint and never small far off, the earth being round (see LONGEST_LEG_NM).
        """
        reached = self._near_m <= way_m
        if following is not None:
            reached &= following
        if self.any_arrived:
            reached &= ~self.arrived
        d_lat = way_m * north / self._along_m
        self.lat = self.lat + d_lat
        self.lon = self.lon + way_m * east / (self._across_m * (self._cos - 0.5 * d_lat * self._sin))
        if reached.any():
            self._round_marks(np.flatnonzero(reached), way_m, seconds, step_s)
        if following is not None:
            self._leave_behind(np.flatnonzero(~following))
        if self.lon.max() >= np.pi or self.lon.min() < -np.pi:
            self.lon = wrap_rad(self.lon)

    def _round_marks(self, boats: Ints, way_m: Floats, seconds: float, step_s: float) -> None:
        """Carry boats that reach their waypoint in this step round it, and round any further ones within the same step."""
        m = self.marks
        left_m = (way_m - self._near_m)[boats]
        while len(boats):
            leg = self.leg[boats]
            self.lat[boats], self.lon[boats] = m.lat[leg + 1], m.lon[leg + 1]
            home = leg == self.last_leg
            share = 1.0 - left_m[home] / np.maximum(way_m[boats[home]], TINY)
            self._finish(boats[home], seconds + step_s * share)
            boats, left_m, leg = boats[~home], left_m[~home], leg[~home] + 1
            self.leg[boats] = leg
            further = left_m >= m.leg_m[leg]
            self._set_out(boats[~further], leg[~further], left_m[~further])
            boats, left_m = boats[further], left_m[further] - m.leg_m[leg[further]]
        self._turn_to_marks()

    def _set_out(self, boats: Ints, leg: Ints, way_m: Floats) -> None:
        m = self.marks
        along_m, across_m = radii_m(m.sin[leg])
        d_lat = way_m * m.out_north[leg] / along_m
        self.lat[boats] = m.lat[leg] + d_lat
        self.lon[boats] = m.lon[leg] + way_m * m.out_east[leg] / (across_m * (m.cos[leg] - 0.5 * d_lat * m.sin[leg]))

    def _leave_behind(self, boats: Ints) -> None:
        """A boat off her course that has come abeam of her waypoint goes on to the next: she never turns back for it. The last
        waypoint is where she is bound and stays."""
        m = self.marks
        boats = boats[self.leg[boats] < self.last_leg]
        if not len(boats):
            return
        leg = self.leg[boats]
        lon = self.lon[boats] - m.lon[leg + 1]
        sin, cos = np.sin(self.lat[boats]), np.cos(self.lat[boats])
        east = np.sin(lon) * cos
        north = m.cos[leg + 1] * sin - m.sin[leg + 1] * cos * np.cos(lon)
        past = east * m.in_east[leg] + north * m.in_north[leg] > 0.0
        if past.any():
            self.leg[boats[past]] += 1
            self._turn_to_marks()
