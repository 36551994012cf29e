"""Fronts on the forecast's own maps: where the lines run, how fast they go, and when one crosses her track."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from watch.forecast.contract import Forecast, Name
from watch.units import Floats
from watch.weather.front_lines import EARTH_M, STANDING_MS, Lines, lines_on_map
from watch.weather.thermo import dew_point_k, saturation_hpa, theta_e_k, theta_w_k, vapour_hpa
from watch.when import Times, from_np

LEVEL_HPA = 850.0
SHIFT_H = 6.0  # source fronts-4
SHIFT_MS = 2.0
REACH_M = 900e3  # judgement: a front farther off than it can run between two maps six hours apart is not this front
ABREAST = 0.5  # judgement: cosine between the way to the front's nearest point and the way across the front
SEAM_DEG = 15.0  # a world-wide grid is carried on so far past its seam
LONGEST_STEP_H = 12.0  # judgement: maps farther apart than this cannot tell one front from the next


class Quantity(StrEnum):
    """What the fronts were drawn on; plain temperature misses fronts of moisture and is said to the sailor."""

    THETA_W = "wet-bulb potential temperature at 850 hPa"
    TEMPERATURE = "temperature alone at 850 hPa: the forecast has no humidity there"


class LineKind(StrEnum):
    """Kind of a front by the way it goes. UNKNOWN: no wind at 850 hPa to tell."""

    COLD = "cold front"
    WARM = "warm front"
    QUASI_STATIONARY = "quasi-stationary front"
    UNKNOWN = "front"


@dataclass(frozen=True, kw_only=True)
class FrontMaps:
    """Front lines at each map time of a forecast: time (n,), one `Lines` a time, and what they were drawn on."""

    time: Times
    lines: tuple[Lines, ...]
    quantity: Quantity


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """A front line passes the track: best time, the two map times between which it does, and where she is then.

    kind: COLD when she comes from the warm to the cold side, WARM the other way. speed_ms: the front's own, towards the warm side
    [m/s], NaN without winds.
    """

    time: datetime
    earliest: datetime
    latest: datetime
    kind: LineKind
    latitude: float
    longitude: float
    speed_ms: float


def kind_of(speed_ms: float) -> LineKind:
    """Speed of a front towards its warm side [m/s] -> its kind. Source: fronts-3 (1.5 m/s either way).

    >>> kind_of(8.0).value, kind_of(-3.0).value, kind_of(0.5).value, kind_of(float("nan")).value
    ('cold front', 'warm front', 'quasi-stationary front', 'front')
    """
    if np.isnan(speed_ms):
        return LineKind.UNKNOWN
    if abs(speed_ms) <= STANDING_MS:
        return LineKind.QUASI_STATIONARY
    return LineKind.COLD if speed_ms > 0.0 else LineKind.WARM


def front_temperature(forecast: Forecast, member: int = 0) -> tuple[xr.DataArray, Quantity] | None:
    """Temperature to draw fronts on (time, latitude, longitude) [K]: theta-w where 850 hPa humidity is there, else T850; None
    without T850.

    Fields on different grids or times are cut to what they share. Source: bolton-1, theta-w-1.
    """
    if not forecast.has(Name.T850_K):
        return None
    warm = forecast.fields[Name.T850_K].sel(member=member)
    for name in (Name.Q850_KGKG, Name.R850_PCT):
        if not forecast.has(name):
            continue
        warm_here, wet = xr.align(warm, forecast.fields[name].sel(member=member), join="inner")
        if min(warm_here.shape) < 3 and min(warm.shape) >= 3:
            continue
        if name is Name.Q850_KGKG:
            vapour = vapour_hpa(LEVEL_HPA, wet.values)
        else:
            vapour = np.clip(wet.values.astype(float), 0.1, 100.0) / 100.0 * saturation_hpa(warm_here.values)
        values = theta_w_k(theta_e_k(LEVEL_HPA, warm_here.values, dew_point_k(vapour)))
        return warm_here.copy(data=values), Quantity.THETA_W
    return warm.astype(float), Quantity.TEMPERATURE


def front_maps(forecast: Forecast, member: int = 0) -> FrontMaps | None:
    """Front lines on every map of one member of a forecast; None when it has no temperature at 850 hPa, or a grid too small to
    tell.

    says: where the fronts run. why, example, source: see `lines_on_map`.
    """
    found = front_temperature(forecast, member)
    if found is None:
        return None
    warm, quantity = found
    winds: list[xr.DataArray] = []
    if forecast.has(Name.U850_MS, Name.V850_MS):
        winds = [forecast.fields[name].sel(member=member).reindex_like(warm) for name in (Name.U850_MS, Name.V850_MS)]
    warm, winds = _past_the_seam(warm), [_past_the_seam(w) for w in winds]
    latitude, longitude = (np.asarray(warm[name].values, dtype=float) for name in ("latitude", "longitude"))
    if min(latitude.size, longitude.size) < 3:
        return None
    lines = []
    for i in range(warm.sizes["time"]):
        u, v = (w.values[i] for w in winds) if winds else (None, None)
        lines.append(lines_on_map(warm.values[i], u, v, latitude, longitude))
    return FrontMaps(time=np.asarray(warm["time"].values, dtype="datetime64[s]"), lines=tuple(lines), quantity=quantity)


def _past_the_seam(field: xr.DataArray) -> xr.DataArray:
    """A grid that goes round the world (first column repeated at + 360) is carried on past its seam both ways: no edge there."""
    longitude = np.asarray(field["longitude"].values, dtype=float)
    if longitude.size < 3 or abs(longitude[-1] - longitude[0] - 360.0) > 1e-6:
        return field
    more = min(int(np.ceil(SEAM_DEG / (longitude[1] - longitude[0]))), longitude.size - 2)
    west, east = field.isel(longitude=slice(-1 - more, -1)), field.isel(longitude=slice(1, more + 1))
    west = west.assign_coords(longitude=west["longitude"] - 360.0)
    east = east.assign_coords(longitude=east["longitude"] + 360.0)
    return xr.concat([west, field, east], dim="longitude")


@dataclass(frozen=True, kw_only=True)
class Offing:
    """Her distance from the nearest front at each map time: warm_side_m [m] is + on its warm side, - on its cold side, NaN when
    none is
    near or none abreast; speed_ms of that front towards its warm side."""

    warm_side_m: Floats
    speed_ms: Floats


def offing(maps: FrontMaps, latitude: ArrayLike, longitude: ArrayLike) -> Offing:
    """Her place at each map time [deg], (n,) -> Offing (n,)."""
    places = zip(maps.lines, np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float), strict=True)
    pairs = [_offing_on_map(lines, float(lat), float(lon)) for lines, lat, lon in places]
    distance, speed = zip(*pairs, strict=True) if pairs else ((), ())
    return Offing(warm_side_m=np.array(distance, dtype=float), speed_ms=np.array(speed, dtype=float))


def _offing_on_map(lines: Lines, latitude: float, longitude: float) -> tuple[float, float]:
    if np.isnan(latitude + longitude) or lines.segments.size == 0:
        return np.nan, np.nan
    scale = np.radians(1.0) * EARTH_M
    east = ((longitude - lines.longitude + 180.0) % 360.0 - 180.0) * scale * np.cos(np.radians(latitude))
    north = (latitude - lines.latitude) * scale
    a, b = lines.segments[:, 0], lines.segments[:, 1]
    way_e, way_n = east[a] - east[b], north[a] - north[b]
    length2 = np.maximum(way_e**2 + way_n**2, 1.0)
    share = np.clip((east[a] * way_e + north[a] * way_n) / length2, 0.0, 1.0)  # foot of the perpendicular, from a towards b
    from_e, from_n = east[a] - share * way_e, north[a] - share * way_n
    distance = np.hypot(from_e, from_n)
    k = int(np.argmin(distance))
    if distance[k] > REACH_M:
        return np.nan, np.nan
    warm_e, warm_n = (
        float(part[a[k]] * (1.0 - share[k]) + part[b[k]] * share[k]) for part in (lines.toward_warm_east, lines.toward_warm_north)
    )
    across = float(from_e[k] * warm_e + from_n[k] * warm_n)
    if abs(across) < ABREAST * distance[k]:
        return np.nan, np.nan
    speed = lines.speed_ms[a[k]] * (1.0 - share[k]) + lines.speed_ms[b[k]] * share[k]
    return float(np.sign(across) * distance[k]), float(speed)


def crossings(maps: FrontMaps, time: Times, latitude: ArrayLike, longitude: ArrayLike) -> list[Crossing]:
    """Her track, time (m,) increasing, latitude, longitude (m,) [deg] -> when a front line passes her, in order of time.

    Between two maps she is crossed when she is abreast of a front on both, once on its warm and once on its cold side, the front
    within 900 km; the time is where her distance from it falls to zero.

    says: a cold (warm) front passes her between these times.
    why: seen on the map days before any wind at her place tells of it.
    example: 300 km ahead of a cold front at noon, 100 km behind it at 18Z: it passes at 16:30.
    source: judgement on top of fronts-2. Errs: maps six hours apart leave hours of doubt, said as earliest and latest; a front
    that forms or dies between two maps is missed here, and left to the wind series.
    """
    at = maps.time.astype(np.int64).astype(float)
    own = np.asarray(time, dtype="datetime64[s]").astype(np.int64).astype(float)
    unwrapped = np.degrees(np.unwrap(np.radians(np.asarray(longitude, dtype=float))))
    lat, lon = (np.interp(at, own, np.asarray(x, dtype=float), left=np.nan, right=np.nan) for x in (latitude, unwrapped))
    off = offing(maps, lat, lon)
    side = off.warm_side_m
    found = []
    for i in range(at.size - 1):
        near_enough = at[i + 1] - at[i] <= LONGEST_STEP_H * 3600.0
        if not (near_enough and side[i] * side[i + 1] < 0.0):
            continue
        share = side[i] / (side[i] - side[i + 1])
        place_lat, place_lon = (float(part[i] * (1.0 - share) + part[i + 1] * share) for part in (lat, lon))
        speed = float(off.speed_ms[i if share < 0.5 else i + 1])  # of the map on which the front is nearer
        moment = np.datetime64(int(at[i] + share * (at[i + 1] - at[i])), "s")
        found.append(Crossing(
            time=from_np(moment), earliest=from_np(maps.time[i]), latest=from_np(maps.time[i + 1]),
            kind=LineKind.COLD if side[i] > 0.0 else LineKind.WARM, latitude=place_lat, longitude=place_lon, speed_ms=speed,
        ))
    return found


def wind_shifts(u10_ms: xr.DataArray, v10_ms: xr.DataArray, over_h: float = SHIFT_H) -> xr.DataArray:
    """Wind-shift method on 10 m wind (time, latitude, longitude) [m/s] -> 1 where a front passed in the over_h hours [h] up to a
    time, 0 where not, NaN where the wind is missing at either end or the map over_h before does not exist; same shape, float.

    North: from the south-west to the north-west quarter with the northward wind falling by more than 2 m/s; mirrored in the
    south.
    source: fronts-4. It misses warm fronts, and fronts that turn the wind within one quarter.
    """
    time = np.asarray(u10_ms["time"].values, dtype="datetime64[s]")
    before = np.searchsorted(time, time - np.timedelta64(int(over_h * 3600), "s"))
    exact = time[before] == time - np.timedelta64(int(over_h * 3600), "s")
    pole = np.sign(u10_ms["latitude"].values)[:, None]
    u, v = np.asarray(u10_ms.values, dtype=float), np.asarray(v10_ms.values, dtype=float) * pole
    u1, v1 = u[before], v[before]
    shifted = (u1 > 0.0) & (v1 > 0.0) & (u > 0.0) & (v < 0.0) & (v1 - v > SHIFT_MS)
    missing = np.isnan(u + v + u1 + v1) | ~exact[:, None, None]
    return u10_ms.copy(data=np.where(missing, np.nan, shifted.astype(float)))


def shift_line(shifts: xr.DataArray) -> tuple[NDArray[np.int64], Floats, Floats]:
    """`wind_shifts` -> (index of time, latitude, longitude) of the eastern edge of each stretch: the front. Source: fronts-4."""
    on = np.nan_to_num(shifts.values) > 0.5
    edge = on & ~np.pad(on[..., 1:], ((0, 0), (0, 0), (0, 1)))
    when, row, column = np.nonzero(edge)
    return when.astype(np.int64), np.asarray(shifts["latitude"].values)[row], np.asarray(shifts["longitude"].values)[column]
