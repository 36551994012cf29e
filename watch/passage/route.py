"""The route: waypoints in order, joined by great circles or rhumb lines; which leg she is on; what is left to sail."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise
from typing import Literal, get_args

import numpy as np

from watch.passage.earth import Floats, distance_nm, on_arc, rhumb_nm, unit, wrap_rad
from watch.when import utc

Kind = Literal["great circle", "rhumb line"]
KINDS: tuple[str, ...] = get_args(Kind)

HIGHEST_DEG = 89.0  # nearer to a pole than this, courses turn round in minutes and nothing here holds
LONGEST_LEG_NM = 10_000.0  # nearly half way round: which way a great circle goes is no longer certain
SAME_PLACE_NM = 0.005
SAME_LEG_NM = 0.1
NM_PER_RAD = 180.0 * 60.0 / math.pi  # a minute of arc, near enough to choose a leg by


@dataclass(frozen=True, kw_only=True)
class Waypoint:
    """A place with a name: latitude and longitude in degrees on WGS84, north and east positive, up to 89 and 180.

    Raises ValueError with a sentence for a place off the earth or within a degree of a pole.
    """

    name: str
    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        if not abs(self.latitude) <= 90.0:
            raise ValueError(f"latitude {self.latitude:g} of {self.name} is out of range: -90 to 90, north positive")
        if not abs(self.longitude) <= 180.0:
            raise ValueError(f"longitude {self.longitude:g} of {self.name} is out of range: -180 to 180, east positive")
        if not abs(self.latitude) <= HIGHEST_DEG:
            raise ValueError(f"{self.name} lies within a degree of a pole, where no course can be worked out here")


@dataclass(frozen=True, kw_only=True)
class Route:
    """Two waypoints or more, in the order they are sailed; the first is where she starts.

    kind: how the legs run. departure: aware UTC, or None when it is not settled. notes: sentences for the sailor on what was
    left out or chosen on reading. Raises ValueError with a sentence for a route that cannot be sailed.

    >>> a, b = Waypoint(name="A", latitude=32.0, longitude=-64.0), Waypoint(name="B", latitude=33.0, longitude=-60.0)
    >>> Route(name="out", waypoints=(a, b)).legs
    1
    """

    name: str
    waypoints: tuple[Waypoint, ...]
    kind: Kind = "great circle"
    departure: datetime | None = None
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f'"{self.kind}" is no kind of route: it is "great circle" or "rhumb line"')
        if len(self.waypoints) < 2:
            raise ValueError(f"a route needs two waypoints or more; this one has {len(self.waypoints)}")
        if self.departure is not None:
            object.__setattr__(self, "departure", utc(self.departure))
        faults = leg_faults(self.waypoints, self.kind)
        if faults:
            raise ValueError("; ".join(faults))

    @property
    def legs(self) -> int:
        return len(self.waypoints) - 1

    def nearest_leg(self, latitude: float, longitude: float, from_leg: int = 0) -> tuple[int, float]:
        """The leg a position [deg] lies on and its distance from it [nm], looking from from_leg on.

        It is the nearest leg; where the next one is as near to within 0.1 nm, as at a waypoint and outside a corner, the next:
        she never turns back for a waypoint that she has reached.
        """
        here = Waypoint(name="the present position", latitude=latitude, longitude=longitude)
        away = [_off_nm(a, b, here, self.kind) for a, b in pairwise(self.waypoints)]
        first = min(max(from_leg, 0), self.legs - 1)
        leg = min(range(first, self.legs), key=away.__getitem__)
        nearest = away[leg]
        while leg + 1 < self.legs and away[leg + 1] <= nearest + SAME_LEG_NM:
            leg += 1
        return leg, away[leg]

    def from_position(self, latitude: float, longitude: float, from_leg: int = 0) -> "Route":
        """The rest of the route from a position [deg]: from there straight to the end of the leg she is on, and on from it.

        The leg is the nearest one (see nearest_leg); what lies before its end is behind her and dropped, even when she is off
        the line, so that she never sails backwards. from_leg keeps an out-and-back route from jumping a loop ahead or back.

        >>> a, b, c = (Waypoint(name=n, latitude=30.0, longitude=x) for n, x in (("A", -60.0), ("B", -50.0), ("C", -40.0)))
        >>> [w.name for w in Route(name="east", waypoints=(a, b, c)).from_position(30.5, -55.0).waypoints]
        ['the present position', 'B', 'C']
        """
        leg, _ = self.nearest_leg(latitude, longitude, from_leg)
        here = Waypoint(name="the present position", latitude=latitude, longitude=longitude)
        return replace(self, waypoints=(here, *self.waypoints[leg + 1 :]))


def leg_nm(a: Waypoint, b: Waypoint, kind: Kind) -> float:
    """Length of one leg [nm] on the ellipsoid."""
    measure = distance_nm if kind == "great circle" else rhumb_nm
    return measure(a.latitude, a.longitude, b.latitude, b.longitude)


def route_length_nm(route: Route) -> float:
    """Length of the whole route [nm] on the ellipsoid, leg by leg.

    >>> a, b = Waypoint(name="A", latitude=0.0, longitude=0.0), Waypoint(name="B", latitude=0.0, longitude=1.0)
    >>> round(route_length_nm(Route(name="equator", waypoints=(a, b))), 2)
    60.11
    """
    return sum(leg_nm(a, b, route.kind) for a, b in pairwise(route.waypoints))


def without_repeats(waypoints: Sequence[Waypoint]) -> tuple[tuple[Waypoint, ...], tuple[str, ...]]:
    """Waypoints -> the same without those in the place of the one before them, and a note on each that was dropped."""
    kept: list[Waypoint] = []
    notes = []
    for waypoint in waypoints:
        if kept and leg_nm(kept[-1], waypoint, "great circle") <= SAME_PLACE_NM:
            notes.append(f"{waypoint.name} is in the same place as {kept[-1].name} before it: left out")
        else:
            kept.append(waypoint)
    return tuple(kept), tuple(notes)


def leg_faults(waypoints: Sequence[Waypoint], kind: Kind) -> list[str]:
    """A sentence for each leg that cannot be sailed as it stands: too long to be certain, or over a pole."""
    faults = []
    for a, b in pairwise(waypoints):
        length_nm = distance_nm(a.latitude, a.longitude, b.latitude, b.longitude)
        if length_nm > LONGEST_LEG_NM:
            faults.append(f"{a.name} to {b.name} is {length_nm:.0f} nm, nearly half way round the earth: put a waypoint between")
        elif kind == "great circle" and _highest_deg(a, b) > HIGHEST_DEG:
            faults.append(
                f"the great circle from {a.name} to {b.name} passes within a degree of a pole: put waypoints between "
                'that keep clear of it, or make the route a "rhumb line"'
            )
    return faults


def _highest_deg(a: Waypoint, b: Waypoint) -> float:
    """The highest latitude of a great-circle leg, north or south."""
    start, end = unit(a.latitude, a.longitude), unit(b.latitude, b.longitude)
    tops = (on_arc(start, end, np.array([0.0, 0.0, z])) for z in (1.0, -1.0))
    return max(math.degrees(math.asin(min(1.0, abs(float(top[2]))))) for top in tops)


def _off_nm(a: Waypoint, b: Waypoint, here: Waypoint, kind: Kind) -> float:
    """How far `here` is from the leg, in minutes of arc."""
    p = unit(here.latitude, here.longitude)
    if kind == "great circle":
        foot = on_arc(unit(a.latitude, a.longitude), unit(b.latitude, b.longitude), p)
    else:
        foot = _on_rhumb(a, b, here)
    return math.atan2(float(np.linalg.norm(np.cross(p, foot))), float(p @ foot)) * NM_PER_RAD


def _on_rhumb(a: Waypoint, b: Waypoint, here: Waypoint) -> Floats:
    """The nearest point of a rhumb leg, worked on the Mercator chart, where it is straight and angles are true."""
    start, end, point = (np.array([math.radians(w.longitude), _mercator(w)]) for w in (a, b, here))
    end[0] = start[0] + float(wrap_rad(end[0] - start[0]))
    middle = 0.5 * (start[0] + end[0])
    point[0] = middle + float(wrap_rad(point[0] - middle))
    along, length2 = end - start, float((end - start) @ (end - start))
    share = min(1.0, max(0.0, float((point - start) @ along) / length2)) if length2 > 0.0 else 0.0
    lon, iso = start + share * along
    return unit(math.degrees(math.atan(math.sinh(iso))), math.degrees(lon))


def _mercator(w: Waypoint) -> float:
    """Isometric latitude on the sphere: choosing a leg needs no ellipsoid."""
    return math.asinh(math.tan(math.radians(w.latitude)))
