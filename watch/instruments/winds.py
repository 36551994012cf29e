"""The true wind of a step from whatever the instruments give: against north, from the bow, or from the apparent wind."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from watch.instruments.averages import (
    BOAT_WITHIN_S,
    ENOUGH,
    HEADING_WITHIN_S,
    WIND_BIN_S,
    Chosen,
    Preferences,
    WindWay,
    at_times,
    choose,
    coverage,
    true_heading,
)
from watch.instruments.readings import Quantity
from watch.instruments.streams import Key, Stream
from watch.units import Floats, wind_components_ms, wind_from_deg

Q = Quantity
Pick = Callable[[Quantity], Chosen | None]
STILL_MS = 0.5  # below this a boat's course does not matter to the wind, and receivers often leave it out (judgement)
PAIR_S = 3.0  # a direction this near in time belongs to a speed (judgement)
NEVER = np.empty(0)


def true_from_apparent(
    apparent_ms: Floats, apparent_deg: Floats, heading_deg: Floats, boat_ms: Floats, boat_deg: Floats
) -> tuple[Floats, Floats]:
    """Apparent wind [m/s] and its angle from the bow [deg, starboard positive], heading [deg true], boat speed [m/s] and the
    direction she moves [deg true] -> true wind speed [m/s] and direction it comes from [deg true]; one shape, NaN stays NaN.

    With speed and course over the ground it is the wind over the ground; with speed through the water and the heading in place
    of the course it is the wind over the water, leeway left out. Source: apparent-wind-checks-1.

    >>> speed, direction = true_from_apparent(*(np.array(v) for v in (10.3923, 90.0, 0.0, 6.0, 0.0)))
    >>> round(float(speed), 3), round(float(direction), 2)
    (12.0, 120.0)
    """
    east, north = wind_components_ms(apparent_ms, np.asarray(heading_deg) + apparent_deg)
    along = np.radians(boat_deg)
    east, north = east + boat_ms * np.sin(along), north + boat_ms * np.cos(along)
    return np.hypot(east, north), wind_from_deg(east, north)


@dataclass(frozen=True)
class Wind:
    """Readings of the true wind, by one way: seconds, speed [m/s], direction it comes from [deg true, NaN unknown]."""

    way: WindWay
    grade: int
    source: str
    seconds: Floats
    speed_ms: Floats
    from_deg: Floats


NO_WIND = Wind(WindWay.NONE, 0, "", NEVER, NEVER, NEVER)


def winds_of(window: Mapping[Key, Stream], start_s: float, preferences: Preferences, variation_deg: float) -> list[Wind]:
    """All ways that give a true wind in this step, in the order of WindWay."""
    def pick(quantity: Quantity) -> Chosen | None:
        return choose(window, quantity, start_s, preferences)

    heading = true_heading(window, start_s, preferences, variation_deg)
    found = [
        _against_north(pick(Q.TRUE_WIND_MS), pick(Q.TRUE_FROM_DEG), 0.0),
        _against_north(pick(Q.TRUE_WIND_MS), pick(Q.TRUE_FROM_MAGNETIC_DEG), variation_deg),
        _from_bow(WindWay.GROUND, pick(Q.GROUND_WIND_MS), pick(Q.GROUND_ANGLE_DEG), heading),
        _from_bow(WindWay.BOW, pick(Q.TRUE_WIND_MS), pick(Q.TRUE_ANGLE_DEG), heading),
        _from_apparent(WindWay.APPARENT_GROUND, pick, heading, pick(Q.GROUND_SPEED_MS), pick(Q.GROUND_COURSE_DEG)),
        _from_apparent(WindWay.APPARENT_WATER, pick, heading, pick(Q.WATER_SPEED_MS), heading),
        _speed_only(pick(Q.TRUE_WIND_MS)),
    ]
    return [wind for wind in found if wind is not None]


def _joined(way: WindWay, parts: tuple[Chosen, ...], speed_ms: Floats, from_deg: Floats) -> Wind:
    keep = np.isfinite(speed_ms) & (np.isfinite(from_deg) | (way is WindWay.SPEED_ONLY))
    source = " + ".join(dict.fromkeys(part.stream.source for part in parts))
    return Wind(way, min(part.grade for part in parts), source, parts[0].stream.seconds[keep], speed_ms[keep], from_deg[keep])


def _against_north(speed: Chosen | None, direction: Chosen | None, variation_deg: float) -> Wind | None:
    if speed is None or direction is None or math.isnan(variation_deg):
        return None
    from_deg = (at_times(direction, speed.stream.seconds, PAIR_S) + variation_deg) % 360.0
    return _joined(WindWay.NORTH, (speed, direction), speed.stream.values, from_deg)


def _from_bow(way: WindWay, speed: Chosen | None, angle: Chosen | None, heading: Chosen | None) -> Wind | None:
    if speed is None or angle is None or heading is None:
        return None
    times_s = speed.stream.seconds
    from_deg = (at_times(angle, times_s, PAIR_S) + at_times(heading, times_s, HEADING_WITHIN_S)) % 360.0
    return _joined(way, (speed, angle, heading), speed.stream.values, from_deg)


def _from_apparent(way: WindWay, pick: Pick, heading: Chosen | None, boat: Chosen | None, course: Chosen | None) -> Wind | None:
    speed, angle = pick(Q.APPARENT_WIND_MS), pick(Q.APPARENT_ANGLE_DEG)
    if speed is None or angle is None or heading is None or boat is None:
        return None
    times_s = speed.stream.seconds
    heading_deg, boat_ms = at_times(heading, times_s, HEADING_WITHIN_S), at_times(boat, times_s, BOAT_WITHIN_S)
    course_deg = at_times(course, times_s, BOAT_WITHIN_S) if course else np.full(times_s.shape, np.nan)
    course_deg = np.where(np.isnan(course_deg) & (boat_ms <= STILL_MS), heading_deg, course_deg)
    angle_deg = at_times(angle, times_s, PAIR_S)
    true_ms, from_deg = true_from_apparent(speed.stream.values, angle_deg, heading_deg, boat_ms, course_deg)
    return _joined(way, (speed, angle, heading, boat), true_ms, from_deg)


def _speed_only(speed: Chosen | None) -> Wind | None:
    if speed is None:
        return None
    return _joined(WindWay.SPEED_ONLY, (speed,), speed.stream.values, np.full(speed.stream.values.size, np.nan))


def best_wind(winds: list[Wind], start_s: float) -> tuple[Wind, float]:
    """The wind to use and its coverage [1]: enough and clean first, enough but doubtful next, in the order of WindWay."""
    def key(wind: Wind) -> tuple[int, float]:
        part = coverage(wind.seconds, start_s, WIND_BIN_S)
        return (wind.grade, 0.0) if part >= ENOUGH else (0, part)

    best = max(winds, key=key, default=NO_WIND)  # the first of equals: the order of WindWay
    return best, coverage(best.seconds, start_s, WIND_BIN_S)
