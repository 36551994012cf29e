"""In what light: sun and moon along a track, the twilights, and whether there is light enough to work on deck."""

import math
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum, StrEnum
from itertools import pairwise

import ephem
import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.when import Times, from_np, runs

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Altitudes of the sun's centre [deg], without refraction: source twilight-1; sunrise and sunset with 34' of refraction and 16' of
# half the sun's breadth.
SUNRISE_DEG, CIVIL_DEG, NAUTICAL_DEG, ASTRONOMICAL_DEG = -50.0 / 60.0, -6.0, -12.0, -18.0
REFRACTION_DEG = 34.0 / 60.0
MOON_HIGH_DEG, MOON_LIT = 10.0, 0.4  # a moon worth working by, behind no cloud: judgement, source moonlit-1

EARTH_KM, MOON_KM, AU_KM = 6378.137, 1737.4, 149597870.7
UNIX_EPOCH = 25567.5  # days from ephem's own epoch to 1970
NODE_S = 3600
LONGEST_DAYS = 400


class Sky(IntEnum):
    """How light the sky is, by the sun alone. The order is from light to dark; nothing is darker than not knowing."""

    DAY = 0
    CIVIL = 1
    NAUTICAL = 2
    ASTRONOMICAL = 3
    NIGHT = 4
    UNKNOWN = 5


class Need(StrEnum):
    """The least light a job is done in: day includes civil twilight; moon is day or a high bright moon; none is any or none."""

    DAY = "day"
    MOON = "moon"
    NONE = "none"


class SkyEventKind(StrEnum):
    ASTRONOMICAL_BEGINS = "astronomical twilight begins"
    NAUTICAL_BEGINS = "nautical twilight begins"
    CIVIL_BEGINS = "civil twilight begins"
    SUNRISE = "sunrise"
    SUNSET = "sunset"
    CIVIL_ENDS = "civil twilight ends"
    NAUTICAL_ENDS = "nautical twilight ends"
    ASTRONOMICAL_ENDS = "astronomical twilight ends"
    MOONRISE = "moonrise"
    MOONSET = "moonset"


_BOUNDS = (  # altitude of the sun, what passing it upward is called, and downward
    (SUNRISE_DEG, SkyEventKind.SUNRISE, SkyEventKind.SUNSET),
    (CIVIL_DEG, SkyEventKind.CIVIL_BEGINS, SkyEventKind.CIVIL_ENDS),
    (NAUTICAL_DEG, SkyEventKind.NAUTICAL_BEGINS, SkyEventKind.NAUTICAL_ENDS),
    (ASTRONOMICAL_DEG, SkyEventKind.ASTRONOMICAL_BEGINS, SkyEventKind.ASTRONOMICAL_ENDS),
)


@dataclass(frozen=True, kw_only=True)
class SkyEvent:
    """Something the sun or the moon does, at UTC to the minute, where she is then."""

    kind: SkyEventKind
    time: datetime


@dataclass(frozen=True, kw_only=True, eq=False)
class Light:
    """Light along a track of K instants: arrays (K) at each instant, and the events between the first and the last in order.

    sun_deg, moon_deg: altitude of the centre [deg] as seen from the surface, without refraction; NaN where the place is
    unknown. sky: a Sky. moon_lit: the part of its disc that is lit, 0..1.
    """

    time: Times
    sun_deg: Floats
    moon_deg: Floats
    moon_lit: Floats
    sky: NDArray[np.int8]
    events: tuple[SkyEvent, ...]

    @property
    def moonlit(self) -> Flags:
        """Whether a moon worth working by is up, if no cloud hides it: above 10 deg and more than 40 % lit (judgement)."""
        return _moonlit(self.moon_deg, self.moon_lit)

    def enough(self, need: Need) -> Flags:
        """Whether there is the light needed at each instant; False where it is not known."""
        return _enough(need, self.sun_deg, self.moon_deg, self.moon_lit)


def light_along(time: Times, latitude: ArrayLike, longitude: ArrayLike) -> Light:
    """Rising UTC instants (K) and where she is at each (K) [deg] -> Light.

    Between instants she goes straight, across the antimeridian too. Events are found minute by minute; each rise and set is the
    almanac's: the upper limb on a clear sea horizon with ordinary refraction, which the weather can shift by minutes. Raises
    ValueError for times that do not rise, are missing, or span more than 400 days.

    >>> day = np.datetime64("2026-05-14T12:00") + np.arange(145) * np.timedelta64(10, "m")
    >>> [e.kind.value for e in light_along(day, np.full(145, 32.4), np.full(145, -64.7)).events][:3]
    ['moonset', 'sunset', 'civil twilight ends']
    """
    lat, lon = np.asarray(latitude, dtype=np.float64), np.asarray(longitude, dtype=np.float64)
    seconds = _seconds(time)
    if not seconds.shape == lat.shape == lon.shape:
        raise ValueError("light_along takes one latitude and one longitude for each instant")
    places = _Places(seconds)
    sun_deg, moon_deg = places.altitudes_deg(seconds, lat, lon)
    return Light(
        time=np.asarray(time).astype("datetime64[s]"), sun_deg=sun_deg, moon_deg=moon_deg, moon_lit=places.lit(seconds),
        sky=_sky(sun_deg), events=_events(places, seconds, lat, lon),
    )  # fmt: skip


def light_enough(need: Need, time: Times, latitude: ArrayLike, longitude: ArrayLike) -> Flags:
    """Whether there is the light needed: rising instants (K) and places (..., K) [deg] -> (..., K); False where unknown.

    >>> noon = np.array(["2026-05-14T12:00"], dtype="datetime64[s]")
    >>> light_enough(Need.DAY, noon, [[32.0], [np.nan]], [[-64.0], [-64.0]]).tolist()
    [[True], [False]]
    """
    lat, lon = np.asarray(latitude, dtype=np.float64), np.asarray(longitude, dtype=np.float64)
    if need is Need.NONE:
        return np.ones(np.broadcast_shapes(lat.shape, lon.shape), dtype=bool)
    seconds = _seconds(time)
    places = _Places(seconds)
    sun_deg, moon_deg = places.altitudes_deg(seconds, lat, lon)
    return _enough(need, sun_deg, moon_deg, places.lit(seconds))


def _moonlit(moon_deg: Floats, moon_lit: Floats) -> Flags:
    return np.asarray((moon_deg > MOON_HIGH_DEG) & (moon_lit > MOON_LIT))


def _enough(need: Need, sun_deg: Floats, moon_deg: Floats, moon_lit: Floats) -> Flags:
    if need is Need.NONE:
        return np.ones(sun_deg.shape, dtype=bool)
    day = np.asarray(sun_deg >= CIVIL_DEG)
    return day if need is Need.DAY else np.asarray(day | _moonlit(moon_deg, moon_lit))


def _sky(sun_deg: Floats) -> NDArray[np.int8]:
    """Sun's altitudes [deg] -> Sky; a bound belongs to the lighter side."""
    darker = sum((sun_deg < bound).astype(np.int8) for bound, _, _ in _BOUNDS)
    return np.where(np.isnan(sun_deg), np.int8(Sky.UNKNOWN), darker)


def _seconds(time: Times) -> Floats:
    """Instants -> seconds since 1970 (K)."""
    instants = np.asarray(time).astype("datetime64[s]")
    if instants.ndim != 1 or len(instants) == 0 or np.isnat(instants).any():
        raise ValueError("light needs a row of instants, none of them missing")
    seconds = instants.astype(np.int64).astype(np.float64)
    if not (np.diff(seconds) > 0.0).all():
        raise ValueError("the instants of a track must rise")
    if seconds[-1] - seconds[0] > LONGEST_DAYS * 86400.0:
        raise ValueError(f"light is worked out for {LONGEST_DAYS} days at a time at the most")
    return seconds


class _Places:
    """Sun and moon hour by hour as ephem has them: Greenwich hour angle and declination [rad], distance [km]; straight lines
    between, which keep both within 0.01 deg of a full computation."""

    def __init__(self, seconds: Floats) -> None:
        first, last = int(seconds[0] // NODE_S), int(-(-seconds[-1] // NODE_S))
        self.at_s: Floats = np.arange(first, max(last, first + 1) + 1, dtype=np.float64) * NODE_S
        greenwich = ephem.Observer()
        greenwich.lon, greenwich.lat, greenwich.pressure = "0", "0", 0
        sun, moon = ephem.Sun(), ephem.Moon()
        rows = []
        for at_s in self.at_s:
            greenwich.date = date = ephem.Date(at_s / 86400.0 + UNIX_EPOCH)
            sun.compute(date)
            moon.compute(date)
            stars = float(greenwich.sidereal_time())
            rows.append((
                stars - sun.g_ra, sun.g_dec, sun.earth_distance, stars - moon.g_ra, moon.g_dec, moon.earth_distance, moon.phase,
            ))  # fmt: skip
        table = np.array(rows).T
        self.sun = (np.unwrap(table[0]), table[1], table[2] * AU_KM)
        self.moon = (np.unwrap(table[3]), table[4], table[5] * AU_KM)
        self.moon_phase = table[6] / 100.0

    def lit(self, seconds: Floats) -> Floats:
        """The lit part of the moon's disc, 0..1."""
        return np.asarray(np.interp(seconds, self.at_s, self.moon_phase))

    def altitudes_deg(self, seconds: Floats, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        """Altitudes of sun and moon [deg] at instants (K) and places (..., K), as seen from the surface, without refraction."""
        lat, lon = np.radians(latitude), np.radians(longitude)
        sin, cos = np.sin(lat), np.cos(lat)
        sun, moon = (self._altitude_deg(body, seconds, sin, cos, lon) for body in (self.sun, self.moon))
        return sun, moon

    def _altitude_deg(self, body: tuple[Floats, ...], seconds: Floats, sin: Floats, cos: Floats, lon: Floats) -> Floats:
        angle, declination, distance_km = (np.interp(seconds, self.at_s, column) for column in body)
        height = sin * np.sin(declination) + cos * np.cos(declination) * np.cos(angle + lon)
        altitude = np.arcsin(np.clip(height, -1.0, 1.0))
        return np.asarray(np.degrees(altitude - np.arcsin(EARTH_KM / distance_km) * np.cos(altitude)))

    def moonrise_deg(self, seconds: Floats) -> Floats:
        """Altitude of the moon's centre [deg] when its upper limb is on the horizon."""
        return np.asarray(-REFRACTION_DEG - np.degrees(np.arcsin(MOON_KM / np.interp(seconds, self.at_s, self.moon[2]))))


def _events(places: _Places, seconds: Floats, latitude: Floats, longitude: Floats) -> tuple[SkyEvent, ...]:
    """Events between the first instant and the last, looked for minute by minute."""
    minutes = np.unique(np.concatenate([np.arange(math.ceil(seconds[0] / 60.0) * 60.0, seconds[-1], 60.0), seconds[[0, -1]]]))
    lat = np.interp(minutes, seconds, latitude)
    lon = np.interp(minutes, seconds, _unwrapped(longitude))
    sun_deg, moon_deg = places.altitudes_deg(minutes, lat, lon)
    found = []
    for bound_deg, upward, downward in _BOUNDS:
        found += _crossings(minutes, sun_deg - bound_deg, upward, downward)
    found += _crossings(minutes, moon_deg - places.moonrise_deg(minutes), SkyEventKind.MOONRISE, SkyEventKind.MOONSET)
    return tuple(SkyEvent(kind=kind, time=from_np(np.datetime64(at_s, "s"))) for at_s, kind in sorted(found))


def _unwrapped(longitude: Floats) -> Floats:
    """Longitudes [deg] without the jump at the antimeridian; a missing one does not spoil those after it."""
    known = np.isfinite(longitude)
    smooth = np.full(longitude.shape, np.nan)
    smooth[known] = np.unwrap(longitude[known], period=360.0)
    return smooth


def _crossings(
    minutes: Floats, above: Floats, upward: SkyEventKind, downward: SkyEventKind
) -> list[tuple[int, SkyEventKind]]:  # fmt: skip
    """Where `above` changes sign: (second of the nearest whole minute, kind). No event beside a stretch that is unknown."""
    side = np.where(np.isnan(above), -1, above >= 0.0)
    found = []
    stretches = runs(side)
    for before, after in pairwise(stretches):
        if before.value < 0 or after.value < 0:
            continue
        i = after.first
        share = above[i - 1] / (above[i - 1] - above[i])
        at_s = minutes[i - 1] + share * (minutes[i] - minutes[i - 1])
        found.append((round(at_s / 60.0) * 60, upward if after.value else downward))
    return found
