"""The possible weathers along the track, each with its weight: the one way in which the forecast's uncertainty is carried.

Ensemble members are weathers as they stand, looked at some miles off (a front 60 miles off is not off). A single run is widened by the
documented errors of its lead time: strength, timing, place, gusts. Older runs add theirs, lighter with age.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.forecast.contract import Forecast, Name
from watch.units import wind_from_deg
from watch.weather import sample
from watch.weather.errors import (
    AGE_HALVES_H,
    ENSEMBLE_SHARE_OF_PLACE,
    ENSEMBLE_WEIGHT,
    OLDER_SCENARIOS,
    OLDEST_H,
    SINGLE_SCENARIOS,
    Widening,
    normal_points,
    spread_points,
)
from watch.weather.sea import sea_from_wind, steepness
from watch.weather.squalls import SquallOutlook, squall_outlook
from watch.weather.wind import GUST_FACTOR_SEA
from watch.when import Times, to_np

Floats = NDArray[np.float64]

STRENGTH, TIMING, EAST, NORTH, GUST, SEA = range(6)
NM_PER_DEG = 60.0


@dataclass(frozen=True, kw_only=True)
class Where:
    """The track's ten-minute steps: time (T), latitude (T), longitude (T), and `now`, from which lead times are not counted:
    lead is counted from each run's own base time."""

    time: Times
    latitude: Floats
    longitude: Floats


@dataclass(frozen=True, kw_only=True)
class Part:
    """Scenarios from one run, arrays (S, T), before they are weighed together."""

    label: str
    weight: float
    series: dict[str, Floats]

    @property
    def count(self) -> int:
        return int(self.series["mean_ms"].shape[0])


def make_scenarios(forecasts: Sequence[Forecast], where: Where, now: datetime, widening: Widening | None = None) -> xr.Dataset:
    """Forecasts (newest first), the track's steps -> Scenarios.

    Dataset with dims (scenario, time): mean_ms, gust_ms (stronger end of each ten-minute step, at 10 m), low_ms (plain interpolation),
    from_deg, pressure_pa, temperature_k, sea_m, steepness, period_s, wave_from_deg; squall (scenario, time) 0/1: a squall's gust is in
    gust_ms. Coordinates: weight (scenario, adds to one), label (scenario). attrs: notes (sentences), squall_basis.
    Missing is NaN. Raises ValueError when no forecast has wind.
    """
    widening = widening or Widening()
    with_wind = [f for f in forecasts if f.has(Name.U10_MS, Name.V10_MS)]
    if not with_wind:
        raise ValueError("no forecast with 10 m wind")
    notes: list[str] = []
    newest = with_wind[0].run
    parts = []
    for forecast in with_wind:
        age_h = (newest - forecast.run).total_seconds() / 3600.0
        if age_h > OLDEST_H:
            continue
        weight = 0.5 ** (age_h / AGE_HALVES_H)
        beside = any(o.run == forecast.run and o.kind != forecast.kind for o in with_wind)
        if beside:
            weight *= ENSEMBLE_WEIGHT if forecast.kind == "ensemble" else 1.0 - ENSEMBLE_WEIGHT
        count = SINGLE_SCENARIOS if age_h == 0 else OLDER_SCENARIOS
        parts.append(_part(forecast, forecasts, where, widening, weight, count, notes))
    return _together(parts, where, forecasts, notes)


def _part(
    forecast: Forecast,
    all_forecasts: Sequence[Forecast],
    where: Where,
    widening: Widening,
    weight: float,
    count: int,
    notes: list[str],
) -> Part:
    lead_h = (where.time - to_np(forecast.run)) / np.timedelta64(3600, "s")
    single = forecast.kind == "single"
    members = forecast.fields[Name.U10_MS].sizes["member"]
    count = count if single else members
    z = normal_points(count, 6)
    share = 1.0 if single else ENSEMBLE_SHARE_OF_PLACE
    place = share * widening.at(widening.place_nm, lead_h) / NM_PER_DEG
    latitude = where.latitude + z[:, NORTH, None] * place
    longitude = where.longitude + z[:, EAST, None] * place / np.cos(np.radians(np.clip(where.latitude, -85.0, 85.0)))
    shift_h = z[:, TIMING, None] * widening.at(widening.timing_h, lead_h) if single else np.zeros((count, 1))
    time = _shifted(forecast, where.time, shift_h)
    at = Spots(time=time, latitude=latitude, longitude=longitude, plain=where)
    series = _wind(forecast, at, single)
    if single:
        _strengthen(series, z, lead_h, widening)
    gust_part = _gust(forecast, at, series, single, notes)
    series["gust_ms"] = series["mean_ms"] + np.maximum(gust_part, 0.0) * (
        1.0 + widening.gust_share * z[:, GUST, None] if single else 1.0
    )
    for key, name in (("pressure_pa", Name.PRESSURE_PA), ("temperature_k", Name.T2M_K)):
        series[key] = _field(forecast, all_forecasts, name, at, single)
    _sea(series, forecast, all_forecasts, at, single, z, widening, notes)
    label = f"{forecast.centre} {forecast.run:%d %b %H:%M} UTC"
    return Part(label=label, weight=weight, series=series)


@dataclass(frozen=True, kw_only=True)
class Spots:
    """Where and when each scenario (S, T) looks into the forecast; plain: the track itself, for where a spot lies off the grid."""

    time: Times
    latitude: Floats
    longitude: Floats
    plain: Where


def _shifted(forecast: Forecast, time: Times, shift_h: Floats) -> Times:
    """(T) times and (S, T) shifts -> (S, T) times to look at, whole ten minutes, kept inside what the forecast covers."""
    own = forecast.fields[Name.U10_MS]["time"].values
    ten = np.timedelta64(600, "s")
    moved = time[None, :] - np.round(shift_h * 6.0).astype(np.int64) * ten
    inside = (time >= own[0]) & (time < own[-1])
    last = max(own[-1] - ten, own[0])
    kept: Times = np.where(inside[None, :], np.clip(moved, own[0], last), np.broadcast_to(time, moved.shape))
    return kept


def _look(function: str, forecast: Forecast, at: Spots, single: bool, *names: Name) -> Floats:
    """A sampling function at every scenario's spot (S, T); where that lies off the grid, at the track itself."""
    find = getattr(sample, function)
    found = _own_member(find(forecast, *names, at.time, at.latitude, at.longitude), single)
    if not np.isfinite(found).all():
        here = np.broadcast_to(at.plain.latitude, at.latitude.shape), np.broadcast_to(at.plain.longitude, at.longitude.shape)
        found = np.where(np.isfinite(found), found, _own_member(find(forecast, *names, at.time, *here), single))
    return found


def _own_member(found: Floats, single: bool) -> Floats:
    """(member, S, T) -> (S, T): scenario k is member k of an ensemble, or the one member of a single run."""
    if single:
        return np.asarray(found[0], dtype=float)
    return np.asarray(found[np.arange(found.shape[0]), np.arange(found.shape[0])], dtype=float)
