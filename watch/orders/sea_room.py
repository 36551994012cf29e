"""Sea room: how long until land lies to leeward, running off or lying to, in every possible weather; and lee shores along the route.

says: from a start on the track she is blown as each weather blows her, hour by hour; her sea room is the hours until land lies within the
asked-for miles in a sector downwind of her. A lee shore is land so near downwind of the route in a wind worth fearing it in.
why: running off is only open as long as there is sea to run into, and the night is long. example: running at 6 kn with an island 100 miles
to leeward and 20 asked for, sea room runs out after 13 hours. source: plain marching over the mask of land (watch.passage.land); judgement:
both tacks are tried where she does not go straight downwind and the shorter counts; she runs as fast as her sail plan or mode says.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.passage.land import Land
from watch.units import KN_PER_MS
from watch.weather.anywhere import Anywhere
from watch.weather.own_place import own_wind
from watch.when import runs

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

LEE_WIND_KN = 22.0  # judgement: force 6; in less a lee shore is only a shore
LEE_SHARE = 0.1  # judgement: warned of from one weather in ten
STRAIGHT_DEG = 170.0  # from here on she goes straight downwind


@dataclass(frozen=True, kw_only=True)
class Drift:
    """How she goes when she does not hold her course: speed_kn by true wind speed [kn], same shape; goes_deg: the angle between where she
    goes and where the wind comes from, 180 straight downwind."""

    speed_kn: Callable[[Floats], Floats]
    goes_deg: float

    @property
    def sides(self) -> tuple[float, ...]:
        return (180.0,) if self.goes_deg >= STRAIGHT_DEG else (self.goes_deg, -self.goes_deg)


@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """From C starts in S weathers. room_h (C, S): whole hours until land lies to leeward, inf for not within the hours looked at, or as far
    as is known; known_h (C, S): how long the weather there is known. gust_kn (S, hours): what she meets from the first start, at 10 m, NaN
    unknown. latitude, longitude (hours + 1, S): where she is from the first start."""

    starts: Ints
    room_h: Floats
    known_h: Floats
    gust_kn: Floats
    latitude: Floats
    longitude: Floats

    def least_h(self) -> Floats:
        """(C): the shortest sea room over all weathers."""
        return np.asarray(self.room_h.min(axis=1))


def sea_room(
    weathers: Anywhere, land: Land, starts: Ints, latitude: Floats, longitude: Floats, drift: Drift, within_nm: float, hours: int
) -> Room:
    """Starts: whole hours from the first mark (C), and where she is then [deg] (C) -> her sea room over so many hours."""
    found = [_one_side(weathers, land, starts, latitude, longitude, drift, side, within_nm, hours) for side in drift.sides]
    first = found[0]
    return Room(
        starts=starts, room_h=np.min([f.room_h for f in found], axis=0), known_h=np.min([f.known_h for f in found], axis=0),
        gust_kn=first.gust_kn, latitude=first.latitude, longitude=first.longitude,
    )  # fmt: skip


def _one_side(
    weathers: Anywhere, land: Land, starts: Ints, latitude: Floats, longitude: Floats, drift: Drift, side_deg: float, within_nm: float,
    hours: int,
) -> Room:  # fmt: skip
    shape = (len(starts), len(weathers.weight))
    lat, lon = (np.broadcast_to(x[:, None], shape).copy() for x in (latitude, longitude))
    room, known = np.full(shape, np.inf), np.full(shape, float(hours))
    gusts, lats, lons = np.full((shape[1], hours), np.nan), [lat[0].copy()], [lon[0].copy()]
    for h in range(hours):
        wind = own_wind(weathers, starts + h, lat, lon)
        u, v, gust = (np.asarray(x, dtype=float) for x in (wind.u_ms, wind.v_ms, wind.gust_ms))
        tws_kn = np.hypot(u, v) * KN_PER_MS
        here = np.isfinite(tws_kn)
        known = np.where(~here & (known > h), float(h), known)
        live = here & np.isinf(room) & (known >= h + 1)
        downwind = np.degrees(np.arctan2(u, v)) % 360.0
        room = np.where(_land_to_leeward(land, lat, lon, downwind, within_nm, live), float(h), room)
        gusts[:, h] = gust[0] * KN_PER_MS
        bearing = np.radians(downwind + 180.0 + side_deg)
        way_nm = np.where(here, drift.speed_kn(np.where(here, tws_kn, 0.0)), 0.0)
        lat = np.where(here, np.clip(lat + way_nm * np.cos(bearing) / 60.0, -89.0, 89.0), lat)
        lon = np.where(here, lon + way_nm * np.sin(bearing) / 60.0 / np.cos(np.radians(lat)), lon)
        lats.append(lat[0].copy())
        lons.append(lon[0].copy())
    return Room(starts=starts, room_h=room, known_h=known, gust_kn=gusts, latitude=np.array(lats), longitude=np.array(lons))


def _land_to_leeward(land: Land, lat: Floats, lon: Floats, downwind: Floats, within_nm: float, live: Flags) -> Flags:
    near = np.zeros(lat.shape, dtype=bool)
    if live.any():
        near[live] = land.distance_to_land_to_leeward(lat[live], lon[live], downwind[live], within_nm) <= within_nm
    return near


@dataclass(frozen=True, kw_only=True)
class LeeShore:
    """A stretch of the route with a lee shore: hours from first to last, both included; the nearest miles of land to leeward, and the
    strongest mean wind at 10 m [kn] of the weathers that blow on to it."""

    first: int
    last: int
    nearest_nm: float
    mean_kn: float


def lee_shores(weathers: Anywhere, land: Land, latitude: Floats, longitude: Floats, within_nm: float) -> tuple[LeeShore, ...]:
    """Where she is in each whole hour [deg] (H) -> the stretches with a lee shore within so many miles."""
    hour = np.arange(len(latitude))
    found = weathers.at(hour, latitude, longitude)
    mean_kn = np.asarray(found.mean_ms, dtype=float) * KN_PER_MS
    downwind = np.degrees(np.arctan2(found.u_ms, found.v_ms)).astype(float) % 360.0
    windy = mean_kn >= LEE_WIND_KN
    nearest = np.full(mean_kn.shape, np.inf)
    lat, lon = (np.broadcast_to(x[:, None], mean_kn.shape) for x in (latitude, longitude))
    if windy.any():
        nearest[windy] = land.distance_to_land_to_leeward(lat[windy], lon[windy], downwind[windy], within_nm)
    lee = nearest <= within_nm
    warned = lee @ weathers.weight >= LEE_SHARE - 1e-9
    return tuple(
        LeeShore(first=run.first, last=run.last - 1, nearest_nm=float(nearest[run.first : run.last].min()),
                 mean_kn=float(mean_kn[run.first : run.last][lee[run.first : run.last]].max()))
        for run in runs(warned) if run.value
    )  # fmt: skip
