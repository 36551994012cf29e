"""The part of the orders document that is about shelter and its rivals: the table of choices and the point of no return."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class TurnWindow:
    """Turns from first to last, at full hours from the start, that have the asked-for chance; the least of it; what shuts it after that."""

    first: datetime
    last: datetime
    chance: float
    reason: str
    words: str


@dataclass(frozen=True, kw_only=True)
class ShelterOrder:
    """A shelter, or holding on, running off or lying to, as a choice: until when, at what chance, and why.

    turn_by: the last good turn, None when there is none; distance, arrivals (when 10, 50 and 90 in 100 are there), daylight (nearly all
    arrive by day) and chance are for a turn then, or for the best turn when none is good. gust_kn: the gust met on the way (or holding
    on, running off) that the planning share of the weather stays below. miles_lost_nm: to the destination, by going there first.
    sea_room_h: hours until land lies to leeward in the worst weather, None when it does not, or is not known.
    stand_off_share, stand_off_h: the share of the weather in which she first stands off until light or tide let her in (arrivals are then
    when she goes in), and for how long at most in most of it; None when in none. latitude_deg, longitude_deg: off its entrance; None for
    what is no place.
    """

    name: str
    kind: str
    distance_nm: float | None
    turn_by: datetime | None
    arrival_early: datetime | None
    arrival: datetime | None
    arrival_late: datetime | None
    chance: float | None
    daylight: bool | None
    gust_kn: int | None
    miles_lost_nm: float | None
    sea_room_h: float | None
    reason: str
    words: str
    rank: int
    windows: tuple[TurnWindow, ...] = ()
    stand_off_share: float | None = None
    stand_off_h: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class NoReturn:
    """The point of no return: after this time, and this place on the track, no shelter of the file is left at the asked-for chance."""

    time: datetime
    latitude_deg: float
    longitude_deg: float
    shelter: str
    words: str
