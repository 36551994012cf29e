"""Legs to shelter: from every hour of the track to every shelter, over water, in the central wind.

says: where she would be in each hour if she turned then and carried what her working limits allow.
why: the weather of a leg is looked up along it, hour by hour. example: 40 hours and 5 shelters are 200 legs, sailed at once.
source: the same sailing as the track (watch.passage.track). Judgement: legs that her fastest could not end before the forecast does are not
sailed; each leg has room for being slower than this first reckoning (SLOWER).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watch.passage.around import Way, ways_over_water
from watch.passage.carriage import Carriage, Mode
from watch.passage.land import Land, arc_nm
from watch.passage.light import Need, light_enough
from watch.passage.route import Route, Waypoint
from watch.passage.shelters import Shelter
from watch.passage.track import Track, Wind, sail
from watch.when import STEPS_PER_HOUR, from_np

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

SLOWER = 1.4  # judgement: the sail plans of the leg may make it so much longer, and two hours
MUCH_SLOWER = 3.0
THERE_NM = 4.0  # in the step in which she comes to the shelter she is nearer than this
LEAST_NM = 0.2  # a leg shorter than this is no leg


@dataclass(frozen=True, kw_only=True, eq=False)
class Legs:
    """L legs: shelter and turn (hour) of each, length [nm], whether it goes round land, and for J hours from the turn: latitude,
    longitude [deg] at the middle of each, course [deg], and the hours it has (J is the most). arrival_h (L): from the turn, in the
    central wind; NaN never. day, moon (L, hours of the forecast): light enough by day, and by day or a bright moon, through each hour.

    ways (shelters, turns): LEG, a leg is here; NO_WAY over water; TOO_FAR for the time; ENDS_FIRST, the forecast before the hours she
    has to lie there, however fast she is.
    resolution_nm (shelters): of the search round land; 0 when none was needed.
    """

    shelter: Ints
    turn: Ints
    length_nm: Floats
    round_land: Flags
    hours: Ints
    latitude: Floats
    longitude: Floats
    course_deg: Floats
    arrival_h: Floats
    day: Flags
    moon: Flags
    ways: Ints
    resolution_nm: Floats

    def some(self, chosen: Ints) -> "Legs":
        """Some of the legs, with as many hours as they need."""
        most = int(self.hours[chosen].max(initial=1))
        cut = {n: getattr(self, n)[chosen][:, :most] for n in ("latitude", "longitude", "course_deg")}
        kept = {n: getattr(self, n)[chosen] for n in ("shelter", "turn", "length_nm", "round_land", "hours", "arrival_h", "day", "moon")}
        return Legs(**cut, **kept, ways=self.ways, resolution_nm=self.resolution_nm)

    def at_the_pace(self, made_nm: Floats, hours: int) -> "Legs":
        """The same legs, of `hours` hours of forecast, at another pace: made_nm (L, J) along the way in each hour; after those at their
        mean. Room is made for three times the first reckoning."""
        count = self.hours
        there_nm = np.concatenate([np.zeros((len(count), 1)), np.cumsum(made_nm, axis=1)], axis=1)
        room = np.where(np.isnan(self.arrival_h), hours - self.turn, np.ceil(np.nan_to_num(self.arrival_h) * MUCH_SLOWER) + 6)
        own = np.clip(room, 1, hours - self.turn).astype(np.int64)
        out: dict[str, Any] = {n: np.zeros((len(count), int(own.max(initial=1)))) for n in ("latitude", "longitude", "course_deg")}
        middle = np.arange(out["latitude"].shape[1]) + 0.5
        for i, n in enumerate(count):
            pace = there_nm[i, n] / n
            miles = np.interp(middle, np.arange(n + 1), there_nm[i, : n + 1]) + np.maximum(middle - n, 0.0) * pace
            first_nm = self._first_reckoning_nm(i, int(n))
            east = np.unwrap(self.longitude[i, :n], period=360.0)
            out["latitude"][i] = np.interp(miles, first_nm, self.latitude[i, :n])
            out["longitude"][i] = (np.interp(miles, first_nm, east) + 180.0) % 360.0 - 180.0
            out["course_deg"][i] = self.course_deg[i, np.minimum(np.searchsorted(first_nm, miles), n - 1)]
        return replace(self, hours=own, **out)

    def _first_reckoning_nm(self, leg: int, hours: int) -> Floats:
        """Miles along the way at the middle of each hour, by the first reckoning."""
        lat, lon = self.latitude[leg, :hours], self.longitude[leg, :hours]
        steps_nm = arc_nm(lat[:-1], lon[:-1], lat[1:], lon[1:])
        done = np.concatenate([[0.0], np.cumsum(steps_nm)])
        first = 0.5 * steps_nm[0] if len(steps_nm) else 0.0
        return np.asarray(np.minimum(first + done, self.length_nm[leg]))


LEG, NO_WAY, TOO_FAR, ENDS_FIRST = 0, 1, 2, 3


def legs_to(
    shelters: Sequence[Shelter], track: Track, hours: int, carriage: Carriage, wind: Wind, land: Land | None, fastest_kn: float,
    stay_hours: int,
) -> Legs:  # fmt: skip
    """Shelters, the track (one boat) and whole hours of forecast along it -> the legs from each hour to each shelter. Those that her
    fastest cannot end in time, or not so many hours before the forecast does, are not sailed."""
    at = np.arange(hours) * STEPS_PER_HOUR
    lat, lon = track.latitude[at], track.longitude[at]
    ways: list[tuple[int, int, Way]] = []
    state, resolution = np.full((len(shelters), hours), TOO_FAR), np.zeros(len(shelters))
    for i, shelter in enumerate(shelters):
        end = (shelter.latitude, shelter.longitude)
        straight_nm = arc_nm(lat, lon, np.full(hours, end[0]), np.full(hours, end[1]))
        within = np.flatnonzero(straight_nm <= fastest_kn * (hours - np.arange(hours)))
        found = ways_over_water(land, lat[within], lon[within], end)
        resolution[i] = found.resolution_nm
        for h, way in zip(within.tolist(), found.found, strict=True):
            state[i, h] = NO_WAY if way is None else _in_time(h + way.length_nm / fastest_kn, hours, stay_hours)
            if way is not None and state[i, h] == LEG:
                ways.append((i, h, way))
    return _sailed(ways, track, hours, carriage, wind, state, resolution)


def _in_time(soonest_h: float, hours: int, stay_hours: int) -> int:
    if soonest_h > hours:
        return TOO_FAR
    return ENDS_FIRST if int(soonest_h) + stay_hours > hours else LEG


def _sailed(
    ways: list[tuple[int, int, Way]], track: Track, hours: int, carriage: Carriage, wind: Wind, state: Ints, resolution: Floats
) -> Legs:
    shelter, turn = (np.array([w[k] for w in ways], dtype=np.int64) for k in (0, 1))
    length_nm = np.array([w[2].length_nm for w in ways])
    common = {
        "shelter": shelter, "turn": turn, "length_nm": length_nm, "ways": state, "resolution_nm": resolution,
        "round_land": np.array([len(w[2].points) > 1 for w in ways], dtype=bool),
    }  # fmt: skip
    if not ways:
        none: Any = np.zeros((0, 1))
        return Legs(**common, hours=turn, latitude=none, longitude=none, course_deg=none, arrival_h=length_nm, day=none, moon=none)
    route, first, last = _chained([w[2] for w in ways], track)
    fleet = _fleet(route, track, hours, turn, first, carriage, wind)
    begins = turn * STEPS_PER_HOUR
    ends = np.array([(w[2].points[-1]) for w in ways])
    there = _arrivals(fleet, begins, last, ends)
    arrival_h = np.where(length_nm < LEAST_NM, 0.0, (there - begins) / STEPS_PER_HOUR)
    own = np.where(np.isnan(arrival_h), hours - turn, np.minimum(np.ceil(np.nan_to_num(arrival_h) * SLOWER) + 2, hours - turn))
    own = np.maximum(own, 1).astype(np.int64)
    lat, lon, course = _cells(fleet, turn, own, there, ends, hours)
    day, moon = (_light(need, fleet, there, ends, hours) for need in (Need.DAY, Need.MOON))
    return Legs(
        **common, hours=own, latitude=lat, longitude=lon, course_deg=course, arrival_h=arrival_h, day=day, moon=moon
    )


def _fleet(route: Route, track: Track, hours: int, turn: Ints, first: Ints, carriage: Carriage, wind: Wind) -> Track:
    """All legs sailed at once; each boat lies where she turns until her hour has come."""
    at = turn * STEPS_PER_HOUR
    waiting = np.arange(hours * STEPS_PER_HOUR)[None, :] < at[:, None]
    return sail(
        route, from_np(track.time[0]), waiting.astype(np.int64), (carriage, Carriage(mode=Mode.STOPPED)), wind,
        latitude=track.latitude[at], longitude=track.longitude[at], leg=first,
    )  # fmt: skip


def _light(need: Need, fleet: Track, there: Floats, ends: Floats, hours: int) -> Flags:
    """(L, hours): the light needed at both ends of each hour; once there, at the shelter."""
    marks = np.arange(hours + 1) * STEPS_PER_HOUR
    in_it = marks[None, :] >= np.nan_to_num(there, nan=np.inf)[:, None]
    lat = np.where(in_it, ends[:, :1], fleet.latitude[:, marks])
    lon = np.where(in_it, ends[:, 1:], fleet.longitude[:, marks])
    enough = light_enough(need, fleet.time[marks], lat, lon)
    return np.asarray(enough[:, :-1] & enough[:, 1:])


def _chained(ways: list[Way], track: Track) -> tuple[Route, Ints, Ints]:
    """All ways as one route, each a run of its waypoints; the leg that each boat begins on and the last leg of its way.

    A boat is put on the leg that ends at its first turning point, where she is: what the route has before that does not matter to her.
    """
    points: list[tuple[float, float]] = [(float(track.latitude[0]), float(track.longitude[0]))]
    at: dict[tuple[tuple[float, float], ...], int] = {}
    for chain in sorted({w.points for w in ways}, key=lambda c: (-len(c), c)):
        if chain in at:
            continue
        begins = len(points)
        points += chain
        for k in range(len(chain)):
            at.setdefault(chain[k:], begins + k)
    first = np.array([at[w.points] - 1 for w in ways], dtype=np.int64)
    last = first + np.array([len(w.points) - 1 for w in ways], dtype=np.int64)
    marks = tuple(Waypoint(name=str(k), latitude=p[0], longitude=p[1]) for k, p in enumerate(points))
    return Route(name="legs to shelter", waypoints=marks), first, last


def _arrivals(fleet: Track, begins: Ints, last: Ints, ends: Floats) -> Floats:
    """The mark (L) at or after which she is at the end of her way; NaN when never, or when she was blown past its turning points."""
    past = (fleet.leg > last[:, None]) | fleet.arrived
    past &= np.arange(past.shape[1])[None, :] >= begins[:, None]
    there = np.argmax(past, axis=1)
    before = np.maximum(there - 1, 0)
    rows = np.arange(len(begins))
    off_nm = arc_nm(fleet.latitude[rows, before], fleet.longitude[rows, before], ends[:, 0], ends[:, 1])
    astray = np.array([bool((fleet.mode[i, b:t] == Mode.BORNE_AWAY).any()) for i, b, t in zip(rows, begins, there, strict=True)])
    return np.where(past.any(axis=1) & (off_nm <= THERE_NM) & ~astray, there.astype(float), np.nan)


def _cells(fleet: Track, turn: Ints, own: Ints, there: Floats, ends: Floats, hours: int) -> tuple[Floats, Floats, Floats]:
    """Places at the middle of each hour after the turn, and courses (L, J); once there, at the shelter."""
    most = int(own.max())
    hour = np.minimum(turn[:, None] + np.arange(most)[None, :], hours - 1)
    middle = hour * STEPS_PER_HOUR + STEPS_PER_HOUR // 2
    rows = np.arange(len(turn))[:, None]
    in_it = middle >= np.nan_to_num(there, nan=np.inf)[:, None]
    lat = np.where(in_it, ends[:, :1], fleet.latitude[rows, middle])
    lon = np.where(in_it, ends[:, 1:], fleet.longitude[rows, middle])
    course = np.asarray(fleet.course_deg[rows, middle], dtype=float)
    arrived = np.nan_to_num(there, nan=0.0).astype(np.int64)[:, None]
    at_last = np.asarray(fleet.course_deg[rows, np.maximum(arrived - 1, 0)], dtype=float)
    return lat, lon, np.where(in_it, at_last, course)
