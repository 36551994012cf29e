"""What comes along the track, over all scenarios: fronts and shifts of wind, spells of squalls, the glass."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.units import ms_to_kn
from watch.weather.arrival import Arrival, arrivals
from watch.weather.fronts import find_passages
from watch.weather.glass import Pace, changes_hpa, pace_of
from watch.weather.look import Where
from watch.weather.series import WeatherSeries
from watch.when import STEPS_PER_HOUR, runs

Floats = NDArray[np.float64]

LEAST_SHARE = 0.15  # judgement: a shift that fewer of the weathers have is not spoken of
SQUALL_FROM = 0.1  # judgement: the likelihood from which squalls are spoken of (weather.squalls.WORDS)
EVERY = STEPS_PER_HOUR  # series are looked at by the hour; finer says no more than the forecast has
KELVIN = 273.15


@dataclass(frozen=True, kw_only=True)
class SquallSpell:
    """Steps first <= i < last in which squalls are spoken of: the highest likelihood, and the planning gust in one [m/s]."""

    first: int
    last: int
    likelihood: float
    gust_ms: float


@dataclass(frozen=True, kw_only=True)
class GlassFall:
    """The strongest three-hour fall of the forecast's glass along the track: change [hPa, negative], its pace, the step it ends at."""

    change_hpa: float
    pace: Pace
    step: int


def fronts_ahead(scenarios: xr.Dataset, where: Where) -> list[Arrival]:
    """Scenarios and the track -> fronts, troughs and wind shifts with their times over the scenarios, in order of time."""
    pick = slice(_first_full_hour(where), None, EVERY)
    time, lat, lon = where.time[pick], where.latitude[pick], where.longitude[pick]
    found = []
    for k in range(scenarios.sizes["scenario"]):
        one = {name: scenarios[name].values[k, pick] for name in ("low_ms", "from_deg", "gust_ms", "pressure_pa", "temperature_k")}
        series = WeatherSeries(
            time=time,
            wind_kn=ms_to_kn(one["low_ms"]),
            from_deg=one["from_deg"],
            gust_kn=ms_to_kn(one["gust_ms"]),
            pressure_hpa=one["pressure_pa"] / 100.0,
            temperature_c=one["temperature_k"] - KELVIN,
        )
        own_step_h = float(scenarios["step_h"].values[k])
        found.append(find_passages(series, lat, lon, own_step_h=own_step_h if own_step_h > 1.0 else None))
    return [a for a in arrivals(found, scenarios["weight"].values) if a.share >= LEAST_SHARE]


def _first_full_hour(where: Where) -> int:
    """The first step at a full hour: the forecasts' own instants are full hours, and between them a front looks like a slow veer."""
    seconds = where.time.astype("datetime64[s]").astype(np.int64)
    return int(np.argmax(seconds % 3600 == 0))


def squall_spells(scenarios: xr.Dataset) -> list[SquallSpell] | None:
    """Scenarios -> spells in which squalls are spoken of; None when no forecast can tell of squalls."""
    likelihood, weight = scenarios["squall_likelihood"].values, scenarios["weight"].values
    known = np.isfinite(likelihood)
    if not known.any():
        return None
    share = weight @ np.nan_to_num(likelihood, nan=0.0) / np.maximum(weight @ known, 1e-9)
    spells = []
    for run in runs(share >= SQUALL_FROM):
        if run.value:
            on = slice(run.first, run.last)
            squalls = scenarios["squall"].values[:, on] > 0
            gusts = np.where(squalls, scenarios["gust_ms"].values[:, on], np.nan)
            gust = float(np.nanmax(gusts)) if squalls.any() else float("nan")
            spells.append(SquallSpell(first=run.first, last=run.last, likelihood=float(share[on].max()), gust_ms=gust))
    return spells


def glass_fall(where: Where, pressure_hpa: Floats) -> GlassFall | None:
    """The forecast's pressure along the track (T) -> its strongest three-hour fall; None when the pressure is not known."""
    pick = slice(None, None, EVERY)
    change = changes_hpa(where.time[pick], pressure_hpa[pick])
    if not np.isfinite(change).any():
        return None
    at = int(np.nanargmin(change))
    return GlassFall(change_hpa=float(change[at]), pace=pace_of(float(change[at])), step=at * EVERY)
