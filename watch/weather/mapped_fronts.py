"""Fronts on the map of the newest run that has the air at 850 hPa, where they cross her track: seen there before any wind tells of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import xarray as xr

from watch.forecast.contract import Forecast, Name
from watch.units import Floats
from watch.weather.front_fields import Crossing, Quantity, crossings, front_maps
from watch.weather.look import Where

ALOFT = (Name.T850_K, Name.Q850_KGKG, Name.R850_PCT, Name.U850_MS, Name.V850_MS)
MARGIN_DEG = 12.0  # round the track: a front farther off than 900 km is not looked at (front_fields.REACH_M), and lines want room
AROUND = np.timedelta64(12 * 3600, "s")
OLDEST_H = 24.0  # judgement: an older map than the newest run's by so much says nothing any more


@dataclass(frozen=True, kw_only=True)
class MapFronts:
    """Where front lines cross the track, in order of time; of which run, and what the lines were drawn on."""

    run: datetime
    quantity: Quantity
    crossings: tuple[Crossing, ...]


def fronts_on_maps(forecasts: Sequence[Forecast], where: Where) -> MapFronts | None:
    """Forecasts and the track -> the front lines that cross it on the newest run with temperature at 850 hPa; None without such a run.

    says: on the map, a cold front crosses her between these times. why: an along-track series shows a front only as it passes, and a
    front without much wind hardly at all. example: see `front_fields.crossings`. source: fronts-2, fronts-3 by way of front_lines.
    """
    newest = max((f.run for f in forecasts), default=None)
    for forecast in sorted((f for f in forecasts if f.has(Name.T850_K)), key=lambda f: f.run, reverse=True):
        if newest is None or (newest - forecast.run).total_seconds() / 3600.0 > OLDEST_H:
            break
        near = _near(forecast, where)
        member = int(near.fields[Name.T850_K]["member"].values[0])
        maps = front_maps(near, member) if near.fields[Name.T850_K].sizes["time"] >= 2 else None
        if maps is not None:
            found = crossings(maps, where.time, where.latitude, where.longitude)
            return MapFronts(run=forecast.run, quantity=maps.quantity, crossings=tuple(found))
    return None


def _near(forecast: Forecast, where: Where) -> Forecast:
    """The air aloft alone, cut to the surroundings of the track and its time."""
    return replace(forecast, fields={name: _cut(forecast.fields[name], where) for name in ALOFT if forecast.has(name)})


def _cut(field: xr.DataArray, where: Where) -> xr.DataArray:
    time = field["time"].values
    north = field["latitude"].values
    low, high = float(np.nanmin(where.latitude)) - MARGIN_DEG, float(np.nanmax(where.latitude)) + MARGIN_DEG
    wide = MARGIN_DEG / max(float(np.cos(np.radians(min(max(abs(low), abs(high)), 80.0)))), 0.1)
    return field.isel(
        time=(time >= where.time[0] - AROUND) & (time <= where.time[-1] + AROUND),
        latitude=(north >= low) & (north <= high),
        longitude=_beside(field["longitude"].values, where.longitude, wide),
    )


def _beside(longitude: Floats, track: Floats, wide: float) -> slice:
    """The columns not farther than so many degrees off the track; all of them where it lies across the grid's seam."""
    unwrapped = np.degrees(np.unwrap(np.radians(track)))
    middle = 0.5 * (float(unwrapped.min()) + float(unwrapped.max()))
    half = 0.5 * float(np.ptp(unwrapped)) + wide
    near = np.flatnonzero(np.abs((longitude - middle + 180.0) % 360.0 - 180.0) <= half)
    if len(near) == 0 or near[-1] - near[0] + 1 != len(near):
        return slice(None)
    return slice(int(near[0]), int(near[-1]) + 1)
