"""The piece of sea, and how many hours, that a forecast is wanted for: where she can be by then, the shelters, and a margin."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from watch.boat.model import BoatFile
from watch.forecast.box import Box
from watch.passage.earth import unit
from watch.passage.route import Route, Waypoint, leg_nm, route_length_nm
from watch.passage.shelters import Shelter

MARGIN_NM = 200.0  # round what is wanted: for scenarios that look some way off, and for running off
FASTEST_KN = 8.0  # where no boat file says: few boats sailed alone make more from noon to noon (judgement)
SLOW = 0.5  # of her fastest: what a passage is counted to take at the longest (judgement)
AFTER_H = 24  # past the end of the passage: a landfall can be late
MOST_H = 96  # further ahead a single run says little of squalls and fronts (judgement)
EVERY_NM = 60.0


def fastest_kn(boat: BoatFile | None) -> float:
    """The greatest boat speed [kn] in her speed table; a fast one's where there is no boat."""
    return FASTEST_KN if boat is None else max(max(row) for row in boat.speed.boat_kn)


def hours_for(route: Route, speed_kn: float) -> int:
    """Hours of forecast wanted: to the end of the passage at half her fastest speed [kn] and a day more, 96 at the most.

    >>> a, b = (Waypoint(name=n, latitude=0.0, longitude=x) for n, x in (("A", 0.0), ("B", 1.0)))
    >>> hours_for(Route(name="short", waypoints=(a, b)), 6.0)
    45
    """
    return min(MOST_H, math.ceil(route_length_nm(route) / (SLOW * speed_kn)) + AFTER_H)


def box_within(route: Route, place: tuple[float, float] | None, reach_nm: float, shelters: Sequence[Shelter] = ()) -> Box:
    """The box round as much of the route as she can sail [nm] from its start, or from her place [deg], and round the shelters."""
    ahead = route if place is None else route.from_position(*place)
    points = [*along(ahead, reach_nm), *((s.latitude, s.longitude) for s in shelters)]
    return whole_degrees(Box.around(np.array([p[0] for p in points]), np.array([p[1] for p in points]), miles=MARGIN_NM))


def whole_degrees(box: Box) -> Box:
    """The box grown to whole degrees: while she sails a little way it stays the same, and a broken fetch can go on.

    >>> whole_degrees(Box(30.5, 45.0, 170.2, -179.5))
    Box(south=30, north=45, west=170, east=-179)
    """
    south, north = max(-90, math.floor(box.south)), min(90, math.ceil(box.north))
    west, east = math.floor(box.west), math.ceil(box.east)
    return Box(south, north, -180.0, 180.0) if box.width_deg >= 358.0 else Box(south, north, west, east)


def along(route: Route, reach_nm: float) -> list[tuple[float, float]]:
    """Places [deg] on the route from its start, 60 nm apart or closer, to its end or to the first that is `reach_nm` away along it.

    >>> a, b = (Waypoint(name=n, latitude=0.0, longitude=x) for n, x in (("A", 0.0), ("B", 9.0)))
    >>> [round(place[1], 2) for place in along(Route(name="east", waypoints=(a, b)), 130.0)]
    [0.0, 0.9, 1.8, 2.7]
    """
    first = route.waypoints[0]
    places, sailed = [(first.latitude, first.longitude)], 0.0
    for a, b in pairwise(route.waypoints):
        length = leg_nm(a, b, route.kind)
        steps = max(1, math.ceil(length / EVERY_NM))
        for step in range(1, steps + 1):
            places.append(_between(a, b, step / steps, route.kind == "great circle"))
            sailed += length / steps
            if sailed >= reach_nm:
                return places
    return places


def _between(a: Waypoint, b: Waypoint, share: float, great_circle: bool) -> tuple[float, float]:
    """A place on a leg, near enough for a margin of two hundred miles; a rhumb line is taken as straight in degrees."""
    if not great_circle:
        east = (b.longitude - a.longitude + 180.0) % 360.0 - 180.0
        return a.latitude + share * (b.latitude - a.latitude), a.longitude + share * east
    p, q = unit(a.latitude, a.longitude), unit(b.latitude, b.longitude)
    angle = math.acos(max(-1.0, min(1.0, float(p @ q))))
    if angle < 1e-9:
        return b.latitude, b.longitude
    x, y, z = (math.sin((1.0 - share) * angle) * p + math.sin(share * angle) * q) / math.sin(angle)
    return math.degrees(math.atan2(z, math.hypot(x, y))), math.degrees(math.atan2(y, x))
