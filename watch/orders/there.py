"""What a shelter is worth: hour by hour and weather by weather, whether its entrance can be taken and whether she lies safe afterwards."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.orders.shelter_reasons import TurnReason
from watch.passage.light import Need, light_enough
from watch.passage.shelters import Shelter, in_sectors
from watch.units import KN_PER_MS, wind_from_deg
from watch.weather.anywhere import Anywhere
from watch.when import STEP_MINUTES, STEPS_PER_HOUR

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

TEN = np.timedelta64(STEP_MINUTES * 60, "s")


@dataclass(frozen=True, kw_only=True, eq=False)
class There:
    """A shelter through H hours in S weathers, by running counts, so that any stretch is looked up at once.

    bad: for each reason a count (H + 1, S) of the hours before each in which it holds; entrance and stay apart. dark (6 H + 2): the count
    of ten-minute marks without daylight. next_bad (H + 1, S): the first hour from each on in which she would not lie safe; H when none.
    """

    hours: int
    entrance: dict[TurnReason, Ints]
    stay: dict[TurnReason, Flags]
    next_bad: Ints
    dark: Ints
    daylight: bool
    minutes: float

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
        return found

    def in_daylight(self, arrival_h: Floats) -> Flags:
        """Whether it is day from an arrival until she lies safe."""
        most = len(self.dark) - 2
        first = np.clip(np.floor(arrival_h * STEPS_PER_HOUR), 0, most).astype(np.int64)
        last = np.clip(np.ceil((arrival_h + self.minutes / 60.0) * STEPS_PER_HOUR), 0, most).astype(np.int64)
        return np.asarray(self.dark[last + 1] == self.dark[first])

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


def all_there(shelters: Sequence[Shelter], weathers: Anywhere, height_factor: float) -> list[There]:
    """Shelters and the weathers anywhere -> the hours of each. Limits of wind are as the boat's own: height_factor brings 10 m to them."""
    marks = weathers.hours[0] + np.arange((len(weathers.hours) - 1) * STEPS_PER_HOUR + 1) * TEN
    lat, lon = (np.array([[getattr(s, n)] for s in shelters]).reshape(-1, 1) for n in ("latitude", "longitude"))
    dark = ~light_enough(Need.DAY, marks, np.broadcast_to(lat, (len(lat), len(marks))), np.broadcast_to(lon, (len(lat), len(marks))))
    return [_there(s, weathers, height_factor, dark[i]) for i, s in enumerate(shelters)]


def _there(shelter: Shelter, weathers: Anywhere, height_factor: float, dark: Flags) -> There:
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
        daylight=entrance.daylight, minutes=entrance.minutes,
    )  # fmt: skip


def _counted(true: Flags) -> Ints:
    """Running count along the first axis, 0 before it."""
    return np.concatenate([np.zeros((1, *true.shape[1:]), dtype=np.int64), np.cumsum(true, axis=0)])


def _next(true: Flags) -> Ints:
    """(H, S) -> (H + 1, S): the first index from each on that is True; H when none."""
    hours = true.shape[0]
    at = np.where(true, np.arange(hours)[:, None], hours)
    held = np.minimum.accumulate(at[::-1], axis=0)[::-1]
    return np.concatenate([held, np.full((1, true.shape[1]), hours)])
