"""What a shelter is worth: hour by hour and weather by weather, whether its entrance can be taken and whether she lies safe afterwards."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watch.orders.sea_room import LEE_WIND_KN
from watch.orders.shelter_reasons import TurnReason
from watch.passage.land import Land
from watch.passage.light import Need, light_enough
from watch.passage.shelters import Shelter, in_sectors
from watch.units import KN_PER_MS, wind_from_deg
from watch.weather.anywhere import Anywhere, Weather
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, Times, to_np

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

AWAY_NM = 3.0  # judgement: so far off an entrance she may wait
TEN = np.timedelta64(STEP_MINUTES * 60, "s")


@dataclass(frozen=True, kw_only=True, eq=False)
class There:
    """A shelter through H hours in S weathers, by running counts, so that any stretch is looked up at once.

    entrance, stay: for each reason a count (H + 1, S) of the hours before each in which it holds; entrance and stay apart. dark (6 H + 2): the count
    of ten-minute marks without daylight; shut, of those at which a bar or lock cannot be passed by the times of the file, None without such
    times. next_bad (H + 1, S): the first hour from each on in which she would not lie safe; H when none. gust_kn (H, S): at the height of
    the limits, off the entrance. lee (H, S): land too near to leeward to wait there; None when land is not known.
    """

    hours: int
    entrance: dict[TurnReason, Ints]
    stay: dict[TurnReason, Flags]
    next_bad: Ints
    dark: Ints
    shut: Ints | None
    daylight: bool
    minutes: float
    gust_kn: Floats
    lee: Flags | None

    def entering(self, arrival_h: Floats) -> dict[TurnReason, Flags]:
        """Arrivals, hours from the start (..., S) and within the forecast -> what stands against going in then (..., S)."""
        from_hour = np.floor(arrival_h).astype(np.int64)
        to_hour = np.floor(arrival_h + self.minutes / 60.0).astype(np.int64)
        past = to_hour >= self.hours
        first, last = np.minimum(from_hour, self.hours - 1), np.minimum(to_hour, self.hours - 1)
        weather = np.arange(arrival_h.shape[-1])
        found = {r: count[last + 1, weather] > count[first, weather] for r, count in self.entrance.items()}
        found[TurnReason.FORECAST_ENDS] = past
        if self.daylight:
            found[TurnReason.DARK] = ~self.in_daylight(arrival_h)
        if self.shut is not None:
            found[TurnReason.TIDE] = ~self._without(self.shut, arrival_h)
        return found

    def in_daylight(self, arrival_h: Floats) -> Flags:
        """Whether it is day from an arrival until she lies safe."""
        return self._without(self.dark, arrival_h)

    def _without(self, count: Ints, arrival_h: Floats) -> Flags:
        """Whether none of what is counted at the ten-minute marks falls between an arrival and lying safe."""
        most = len(count) - 2
        first = np.clip(np.floor(arrival_h * STEPS_PER_HOUR), 0, most).astype(np.int64)
        last = np.clip(np.ceil((arrival_h + self.minutes / 60.0) * STEPS_PER_HOUR - 1e-9), 0, most).astype(np.int64)
        return np.asarray(count[last + 1] == count[first])

    @cached_property
    def _let_in_at(self) -> Ints:
        """(6 H + 2): the first mark from each on at which she may go in by light and tide; one past the last when there is none."""
        at = np.arange(len(self.dark) - 1) / STEPS_PER_HOUR
        ok = np.ones(len(at), dtype=bool)
        for count in ([self.dark] if self.daylight else []) + ([self.shut] if self.shut is not None else []):
            ok &= self._without(count, at)
        return _next(ok[:, None])[:, 0]

    def let_in_h(self, arrival_h: Floats) -> Floats:
        """Arrivals, hours from the start -> when light and tide let her in: then, or at a later ten-minute mark; inf for not in the
        forecast, or where land is not known, so that she cannot wait for it."""
        found = self.entering_by_clock(arrival_h)
        if self.lee is None or found.all():
            return np.where(found, arrival_h, np.inf)
        marks = len(self._let_in_at) - 1
        mark = self._let_in_at[np.clip(np.ceil(arrival_h * STEPS_PER_HOUR), 0, marks).astype(np.int64)]
        return np.where(found, arrival_h, np.where(mark < marks, mark / STEPS_PER_HOUR, np.inf))

    def entering_by_clock(self, arrival_h: Floats) -> Flags:
        """Whether light and tide let her in at an arrival, if they matter."""
        ok = np.ones(arrival_h.shape, dtype=bool)
        if self.daylight:
            ok &= self.in_daylight(arrival_h)
        if self.shut is not None:
            ok &= self._without(self.shut, arrival_h)
        return ok

    def staying(self, arrival_h: Floats, stay_hours: int) -> dict[TurnReason, Flags]:
        """Arrivals (..., S) -> what ends her safe stay before so many hours are over (..., S)."""
        from_hour = np.minimum(np.floor(arrival_h).astype(np.int64), self.hours - 1)
        weather = np.broadcast_to(np.arange(arrival_h.shape[-1]), from_hour.shape)
        bad_at = self.next_bad[from_hour, weather]
        broken = bad_at < np.minimum(from_hour + stay_hours, self.hours)
        at = np.minimum(bad_at, self.hours - 1)
        found = {r: broken & flag[at, weather] for r, flag in self.stay.items()}
        found[TurnReason.FORECAST_ENDS] = ~broken & (from_hour + stay_hours > self.hours)
        return found


def all_there(
    shelters: Sequence[Shelter], weathers: Anywhere, height_factor: float, land: Land | None = None, sea_room_nm: float = 20.0
) -> list[There]:  # fmt: skip
    """Shelters and the weathers anywhere -> the hours of each. Limits of wind are as the boat's own: height_factor brings 10 m to them;
    waiting outside wants so much sea room."""
    marks = weathers.hours[0] + np.arange((len(weathers.hours) - 1) * STEPS_PER_HOUR + 1) * TEN
    lat, lon = (np.array([[getattr(s, n)] for s in shelters]).reshape(-1, 1) for n in ("latitude", "longitude"))
    dark = ~light_enough(Need.DAY, marks, np.broadcast_to(lat, (len(lat), len(marks))), np.broadcast_to(lon, (len(lat), len(marks))))
    return [_there(s, weathers, height_factor, dark[i], marks, land, sea_room_nm) for i, s in enumerate(shelters)]


def _there(
    shelter: Shelter, weathers: Anywhere, height_factor: float, dark: Flags, marks: Times, land: Land | None, sea_room_nm: float
) -> There:  # fmt: skip
    hours = len(weathers.hours) - 1
    hour = np.arange(hours)
    lat, lon = np.full(hours, shelter.latitude), np.full(hours, shelter.longitude)
    found = weathers.at(hour, lat, lon)
    mean_kn, gust_kn = (np.asarray(x, dtype=float) * KN_PER_MS * height_factor for x in (found.mean_ms, found.gust_ms))
    sea_m, from_deg = np.asarray(found.sea_m, dtype=float), wind_from_deg(found.u_ms.astype(float), found.v_ms.astype(float))
    unknown = ~(np.isfinite(mean_kn) & np.isfinite(gust_kn) & np.isfinite(from_deg))
    entrance = shelter.entrance
    windy = ~(mean_kn <= entrance.mean_kn) | in_sectors(from_deg, entrance.shut_to)
    if entrance.gust_kn is not None:
        windy |= ~(gust_kn <= entrance.gust_kn)
    waves_from = weathers.waves_from_deg(hour, lat, lon)[:, None]  # where that is not known, the swell counts as out of an open sector
    never = np.zeros(mean_kn.shape, dtype=bool)
    exposed = never if shelter.open_wind_kn is None else in_sectors(from_deg, shelter.open_to_wind) & ~(mean_kn <= shelter.open_wind_kn)
    swell = never if shelter.swell_m is None else in_sectors(waves_from, shelter.open_to_swell) & ~(sea_m <= shelter.swell_m)
    holding = never if shelter.hold_gust_kn is None else ~(gust_kn <= shelter.hold_gust_kn)
    stay = {
        TurnReason.UNKNOWN: unknown, TurnReason.EXPOSED: exposed & ~unknown, TurnReason.SWELL: swell & ~unknown & ~exposed,
        TurnReason.HOLDING: holding & ~unknown & ~exposed & ~swell,
    }  # fmt: skip
    return There(
        hours=hours,
        entrance={
            TurnReason.UNKNOWN: _counted(unknown), TurnReason.ENTRANCE_WIND: _counted(windy & ~unknown),
            TurnReason.ENTRANCE_SEA: _counted(~(sea_m <= entrance.sea_m) & ~unknown),
        },
        stay=stay, next_bad=_next(np.logical_or.reduce(list(stay.values()))), dark=_counted(dark),
        shut=None if entrance.open_at is None else _counted(_outside(marks, entrance.open_at)),
        daylight=entrance.daylight, minutes=entrance.minutes, gust_kn=gust_kn,
        lee=_lee(shelter, land, found, sea_room_nm) if entrance.daylight or entrance.open_at is not None else None,
    )  # fmt: skip


def _outside(marks: Times, spans: Sequence[tuple[datetime, datetime]]) -> Flags:
    """Whether each mark is in none of the spans, both ends included."""
    inside = np.zeros(len(marks), dtype=bool)
    for first, last in spans:
        inside |= (marks >= to_np(first)) & (marks <= to_np(last))
    return ~inside


def _lee(shelter: Shelter, land: Land | None, found: Weather, within_nm: float) -> Flags | None:
    """(H, S): the mean wind is worth fearing a lee shore in, and wherever she might wait off the entrance land lies to leeward."""
    if land is None:
        return None
    windy = ~(np.asarray(found.mean_ms, dtype=float) * KN_PER_MS < LEE_WIND_KN)
    downwind = np.degrees(np.arctan2(found.u_ms, found.v_ms))[windy].astype(float) % 360.0
    shut = np.ones(downwind.shape, dtype=bool)
    for lat, lon in zip(*_waiting_places(shelter), strict=True):
        if shut.any() and not land.on_land(lat, lon):
            off = land.distance_to_land_to_leeward(np.full(shut.sum(), lat), np.full(shut.sum(), lon), downwind[shut], within_nm)
            shut[shut] = ~(off > within_nm)
    out = np.zeros(windy.shape, dtype=bool)
    out[windy] = shut
    return out


def _waiting_places(shelter: Shelter) -> tuple[Floats, Floats]:
    """Where she may wait [deg]: off the entrance, and a few miles from it all round."""
    bearing = np.radians(np.arange(0.0, 360.0, 45.0))
    north, east = AWAY_NM * np.cos(bearing) / 60.0, AWAY_NM * np.sin(bearing) / 60.0 / np.cos(np.radians(shelter.latitude))
    return shelter.latitude + np.append(0.0, north), shelter.longitude + np.append(0.0, east)


def _counted(true: Flags) -> Ints:
    """Running count along the first axis, 0 before it."""
    return np.concatenate([np.zeros((1, *true.shape[1:]), dtype=np.int64), np.cumsum(true, axis=0)])


def _next(true: Flags) -> Ints:
    """(H, S) -> (H + 1, S): the first index from each on that is True; H when none."""
    hours = true.shape[0]
    at = np.where(true, np.arange(hours)[:, None], hours)
    held = np.minimum.accumulate(at[::-1], axis=0)[::-1]
    return np.concatenate([held, np.full((1, true.shape[1]), hours)])
