"""The possible weathers along the track, each with its weight: the one way in which the forecast's uncertainty is carried.

Ensemble members are weathers as they stand, looked at some miles off (a front 60 miles off is not off). A single run is widened by the
documented errors of its lead time: strength, timing, place, gusts. Older runs add theirs, lighter with age.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.forecast.contract import Forecast, Name
from watch.weather import look
from watch.weather.errors import (
    AGE_HALVES_H,
    ENSEMBLE_SPOTS,
    ENSEMBLE_WEIGHT,
    OLDER_SCENARIOS,
    OLDEST_H,
    SINGLE_SCENARIOS,
    Widening,
    normal_chance,
    normal_points,
)
from watch.weather.gust_scatter import gust_scatter, scattered
from watch.weather.look import Spots, Where
from watch.weather.near_fronts import front_squalls, past_wind
from watch.when import Times, to_np

Floats = NDArray[np.float64]
FloatsOf = TypeVar("FloatsOf", NDArray[np.float32], NDArray[np.float64])

STRENGTH, TIMING, EAST, NORTH, GUST, SEA, SQUALL = range(7)
NM_PER_DEG = 60.0
SERIES = ("mean_ms", "gust_ms", "low_ms", "from_deg", "pressure_pa", "temperature_k", "sea_m", "period_s", "steepness", "squall",
          "squall_likelihood")


@dataclass(frozen=True, kw_only=True)
class Part:
    """Scenarios from one run, arrays (S, T), before they are weighed together; own_weight: of the run beside others."""

    label: str
    own_weight: float
    step_h: float
    series: dict[str, Floats]
    squall_basis: str

    @property
    def count(self) -> int:
        return int(self.series["mean_ms"].shape[0])


class NoWindError(ValueError):
    """No forecast that has wind: nothing can be said."""


def make_scenarios(forecasts: Sequence[Forecast], where: Where, widening: Widening | None = None) -> xr.Dataset:
    """Forecasts, and the track's ten-minute steps -> Scenarios.

    A Dataset with dims (scenario, time), all at 10 m: mean_ms, gust_ms (the stronger end of each step), low_ms (plainly interpolated
    mean), from_deg, pressure_pa, temperature_k, sea_m, period_s, steepness, squall (1 where a squall's gust is in gust_ms),
    squall_likelihood.
    Coordinates: time (start of each step), weight (scenario; adds to one), label (scenario), step_h (scenario; the run's own
    step). attrs["notes"]: sentences for the sailor.
    Missing is NaN. Raises NoWindError.
    """
    widening = widening or Widening()
    notes: list[str] = []
    drawn = draw(forecasts)
    past = past_wind([d.forecast for d in drawn], where.time, where.latitude, where.longitude)
    parts = [_part(one, forecasts, where, widening, past, notes) for one in drawn]
    return _together(parts, where, tuple(dict.fromkeys(notes)))


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What is drawn for one run, wherever it is then looked at: how many scenarios, and where each stands in the spread of errors.

    z (S, 7): standard deviations, columns STRENGTH to SQUALL. own_weight: of the run beside others. single: one run to be widened.
    """

    forecast: Forecast
    own_weight: float
    single: bool
    z: Floats

    @property
    def count(self) -> int:
        return len(self.z)


def draw(forecasts: Sequence[Forecast]) -> list[Drawn]:
    """Forecasts -> what is drawn for each that is used, in the order of the scenarios. Raises NoWindError."""
    used = usable(forecasts)
    if not used:
        raise NoWindError("no forecast has wind at 10 m; fetch one with 10 m wind in it")
    newest = max(f.run for f in used)
    drawn = []
    for f in used:
        single = f.kind == "single"
        alone = f.run == newest and not any(o.kind == "ensemble" and o.run == f.run for o in used)
        count = (SINGLE_SCENARIOS if alone else OLDER_SCENARIOS) if single else f.fields[Name.U10_MS].sizes["member"]
        drawn.append(Drawn(forecast=f, own_weight=_own_weight(f, used), single=single, z=normal_points(count, 7)))
    return drawn


def usable(forecasts: Sequence[Forecast]) -> list[Forecast]:
    """Those with wind at 10 m that are not too old beside the newest of them, newest first."""
    with_wind = sorted((f for f in forecasts if f.has(Name.U10_MS, Name.V10_MS)), key=lambda f: f.run, reverse=True)
    return [f for f in with_wind if (with_wind[0].run - f.run).total_seconds() / 3600.0 <= OLDEST_H]


def _own_weight(forecast: Forecast, used: Sequence[Forecast]) -> float:
    age_h = (used[0].run - forecast.run).total_seconds() / 3600.0
    weight = 0.5 ** (age_h / AGE_HALVES_H)
    if any(o.run == forecast.run and o.kind != forecast.kind for o in used):
        weight *= ENSEMBLE_WEIGHT if forecast.kind == "ensemble" else 1.0 - ENSEMBLE_WEIGHT
    return float(weight)


def _part(
    drawn: Drawn, everything: Sequence[Forecast], where: Where, widening: Widening, past: tuple[Floats, Floats], notes: list[str]
) -> Part:
    forecast, single, z = drawn.forecast, drawn.single, drawn.z
    lead_h = (where.time - to_np(forecast.run)) / np.timedelta64(3600, "s")
    at = _spots(forecast, where, z, lead_h, widening, single)
    series = look.wind(forecast, at)
    luck = normal_chance(z[:, SQUALL])
    fronts = front_squalls(series["low_ms"], series["from_deg"], where.latitude, luck, past)
    excess = look.gust_excess_ms(forecast, at, series["mean_ms"], notes)
    if single:
        for name in ("mean_ms", "low_ms"):
            series[name] = strengthened(series[name], z[:, STRENGTH, None], lead_h, widening)
    if single:
        excess = excess * np.maximum(1.0 + widening.gust_share * z[:, GUST, None], 0.0)
    series["gust_ms"] = series["mean_ms"] + excess
    series["pressure_pa"] = look.linear(everything, forecast, Name.PRESSURE_PA, at)
    series["temperature_k"] = look.linear(everything, forecast, Name.T2M_K, at)
    look.sea(series, everything, forecast, at, where.time, notes)
    if single:
        series["sea_m"] = series["sea_m"] * np.maximum(1.0 + widening.sea_share * z[:, SEA, None], 0.5)
    lively_ms = scattered(series["mean_ms"], series["gust_ms"], gust_scatter(where.time, drawn.count, widening.gust_scatter))
    basis = look.squalls(series, everything, forecast, at, luck, fronts, lively_ms)
    label = f"{forecast.centre} {forecast.run:%d %b %H:%M} UTC"
    return Part(label=label, own_weight=drawn.own_weight, step_h=_own_step_h(forecast), series=series, squall_basis=basis)


def _spots(forecast: Forecast, where: Where, z: Floats, lead_h: Floats, widening: Widening, single: bool) -> Spots:
    """Where and when each scenario looks into the forecast: (S, T) each."""
    places, shifts = (z[:, (EAST, NORTH)], z[:, TIMING, None]) if single else (ENSEMBLE_SPOTS, np.zeros((len(ENSEMBLE_SPOTS), 1)))
    place = widening.at(widening.place_nm, lead_h) / NM_PER_DEG
    east = places[:, 0, None] * place / np.cos(np.radians(np.clip(where.latitude, -80.0, 80.0)))
    return Spots(
        time=_shifted(forecast, where.time, shifts * widening.at(widening.timing_h, lead_h)),
        latitude=np.clip(where.latitude + places[:, 1, None] * place, -89.0, 89.0),
        longitude=where.longitude + east,
        spot=np.arange(len(z)) % len(places),
        members=not single,
        plain=where,
    )


def _shifted(forecast: Forecast, time: Times, shift_h: Floats) -> Times:
    """(T) times and (S, T or 1) shifts, later when positive -> (S, T) times to look at, whole ten minutes, kept inside the forecast
    where the unshifted time is inside it."""
    own = forecast.fields[Name.U10_MS]["time"].values.astype("datetime64[s]")
    ten = np.timedelta64(600, "s")
    moved = time[None, :] - np.round(shift_h * 6.0).astype(np.int64) * ten
    inside = (time >= own[0]) & (time < own[-1])
    last = max(own[-1] - ten, own[0])
    kept: Times = np.where(inside[None, :], np.clip(moved, own[0], last), np.broadcast_to(time, moved.shape))
    return kept


def _own_step_h(forecast: Forecast) -> float:
    """The forecast's own step in hours: the median of its steps of wind."""
    time = forecast.fields[Name.U10_MS]["time"].values.astype("datetime64[s]").astype(np.int64)
    return float(np.median(np.diff(time))) / 3600.0 if len(time) > 1 else 1.0


def strengthened(wind_ms: FloatsOf, z: FloatsOf | float, lead_h: Floats, widening: Widening) -> FloatsOf:
    """Mean wind made stronger or weaker by z standard deviations of the error of its lead; never below nothing."""
    wider = np.maximum(widening.at(widening.strength_ms, lead_h).astype(wind_ms.dtype), widening.strength_share * wind_ms)
    # in light airs the error is less than the wind itself: no calm is turned into a gale by arithmetic
    wider = np.minimum(wider, 0.3 + 0.35 * wind_ms)
    stronger: FloatsOf = np.maximum(wind_ms + z * wider, 0.0)
    return stronger


def _together(parts: Sequence[Part], where: Where, notes: tuple[str, ...]) -> xr.Dataset:
    total = sum(p.own_weight for p in parts)
    weight = np.concatenate([np.full(p.count, p.own_weight / total / p.count) for p in parts])
    label = np.concatenate([np.full(p.count, p.label) for p in parts])
    data = {name: (("scenario", "time"), np.concatenate([p.series[name] for p in parts])) for name in SERIES}
    step_h = np.concatenate([np.full(p.count, p.step_h) for p in parts])
    coords = {
        "time": where.time.astype("datetime64[ns]"),
        "weight": ("scenario", weight / weight.sum()),
        "label": ("scenario", label),
        "step_h": ("scenario", step_h),
    }
    return xr.Dataset(data, coords=coords, attrs={"notes": notes, "squall_basis": parts[0].squall_basis})
