"""Each scenario's look into a forecast: wind, gust, pressure, sea and squalls at its own spots; what is missing is said."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.forecast.contract import Forecast, Name
from watch.weather import sample
from watch.weather.near_fronts import FrontSqualls
from watch.weather.sea import sea_from_wind, steepness
from watch.weather.squalls import BASIS_WORDS, Basis, SquallInputs, front_gust_ms, squall_outlook
from watch.weather.wind import gust_factor
from watch.when import STEPS_PER_HOUR, Times

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Where:
    """The track's ten-minute steps: time (T), latitude and longitude [deg] (T)."""

    time: Times
    latitude: Floats
    longitude: Floats


@dataclass(frozen=True, kw_only=True)
class Spots:
    """Where and when the scenarios look into the forecast: P spots by T steps. spot (S): which of them is each scenario's. members:
    whether scenario k is member k of an ensemble (a single run has but one). plain: the track itself, for a spot off the grid."""

    time: Times
    latitude: Floats
    longitude: Floats
    spot: NDArray[np.int64]
    members: bool
    plain: Where

    @property
    def shape(self) -> tuple[int, int]:
        """(S, T)."""
        return len(self.spot), self.latitude.shape[1]


Finder = Callable[[Times, Floats, Floats], Floats]


def _find(find: Finder, at: Spots) -> Floats:
    """What a finder gives each scenario (S, T) at its spot; where that is off the grid, at the track itself at the same time."""
    found = _own(find(at.time, at.latitude, at.longitude), at)
    if np.isfinite(found).all():
        return found
    plain_lat = np.broadcast_to(at.plain.latitude, at.latitude.shape)
    plain_lon = np.broadcast_to(at.plain.longitude, at.longitude.shape)
    return np.where(np.isfinite(found), found, _own(find(at.time, plain_lat, plain_lon), at))


def _own(found: Floats, at: Spots) -> Floats:
    """(member, P, T) -> (S, T): each scenario's own member and spot; a run with one member serves all."""
    member = np.arange(len(at.spot)) if at.members and found.shape[0] == len(at.spot) else np.zeros(len(at.spot), dtype=np.int64)
    return np.asarray(found[member, at.spot], dtype=float)


def wind(forecast: Forecast, at: Spots) -> dict[str, Floats]:
    """mean_ms (stronger end of each step), low_ms (plain), from_deg: (S, T) each."""
    return {
        "mean_ms": _find(lambda t, la, lo: sample.strong_mean(forecast, t, la, lo), at),
        "low_ms": _find(lambda t, la, lo: np.hypot(*sample.plain_wind(forecast, t, la, lo)), at),
        "from_deg": _find(lambda t, la, lo: sample.direction_deg(forecast, t, la, lo), at),
    }


def gust_excess_ms(forecast: Forecast, at: Spots, mean_ms: Floats, notes: list[str]) -> Floats:
    """(S, T): how far the gust stands above the mean of the same spots (not yet made stronger or weaker); by a published factor where
    the forecast has no gust."""
    by_factor = mean_ms * (gust_factor() - 1.0)
    if not forecast.has(Name.GUST_MS):
        notes.append(f"{_called(forecast)} has no gusts: mean wind times {gust_factor():.2f} is taken (a published factor at sea).")
        return by_factor
    gust_ms = _find(lambda t, la, lo: sample.strong_gust(forecast, t, la, lo), at)
    own = np.maximum(gust_ms - mean_ms, 0.0)
    missing = ~np.isfinite(own) & np.isfinite(mean_ms)
    if missing.any():
        notes.append(f"{_called(forecast)} lacks gusts for part of the time: mean wind times {gust_factor():.2f} is taken there.")
    return np.where(missing, by_factor, own)


def linear(everything: Sequence[Forecast], forecast: Forecast, name: Name, at: Spots) -> Floats:
    """(S, T): a field interpolated plainly, from the run itself or, where it lacks it, from the newest run that has it."""
    found = np.full(at.shape, np.nan)
    for source in sources(everything, forecast, name):
        more = _find(lambda t, la, lo, s=source: sample.at(s.fields[name], t, la, lo), at)  # type: ignore[misc]
        found = np.where(np.isfinite(found), found, more)
        if np.isfinite(found).all():
            break
    return found


def sources(everything: Sequence[Forecast], forecast: Forecast, name: Name) -> list[Forecast]:
    """The run itself, when it has a field, and then the others that have it, newest first."""
    others = sorted((f for f in everything if f is not forecast and f.has(name)), key=lambda f: f.run, reverse=True)
    return ([forecast] if forecast.has(name) else []) + others


def sea(
    series: dict[str, Floats],
    everything: Sequence[Forecast],
    forecast: Forecast,
    at: Spots,
    time: Times,
    notes: list[str],
) -> None:
    """Adds sea_m, period_s, steepness: from wave fields; where there are none, raised by each scenario's own wind (said)."""
    height = np.full(at.shape, np.nan)
    period = np.full(at.shape, np.nan)
    for source in sources(everything, forecast, Name.SEA_M):
        more = _find(lambda t, la, lo, s=source: sample.strongest(s.fields[Name.SEA_M], t, la, lo), at)  # type: ignore[misc]
        if source.has(Name.PERIOD_S):
            spell = _find(lambda t, la, lo, s=source: sample.at(s.fields[Name.PERIOD_S], t, la, lo), at)  # type: ignore[misc]
            period = np.where(np.isfinite(height), period, spell)
        height = np.where(np.isfinite(height), height, more)
    missing = ~np.isfinite(height) & np.isfinite(series["mean_ms"])
    if missing.any():
        part = "" if missing.all() else " for part of the time"
        notes.append(f"No wave forecast{part}: the sea is estimated from the wind over open water (a published method).")
        raised_m, raised_s = _raised(series, time)
        height, period = np.where(missing, raised_m, height), np.where(missing | ~np.isfinite(period), raised_s, period)
    series["sea_m"], series["period_s"], series["steepness"] = height, period, steepness(height, period)


def _raised(series: dict[str, Floats], time: Times) -> tuple[Floats, Floats]:
    """The sea raised by the wind, worked hourly (the strongest of each hour) and held to the ten-minute steps: (S, T) each."""
    steps = len(time)
    firsts = np.arange(0, steps, STEPS_PER_HOUR)
    strongest = np.maximum.reduceat(series["mean_ms"], firsts, axis=1)
    raised = sea_from_wind(time[firsts], strongest, series["from_deg"][:, firsts])
    hour = np.arange(steps) / STEPS_PER_HOUR
    at = np.arange(len(firsts), dtype=float)
    spread = [np.stack([np.interp(hour, at, row) for row in rows]) for rows in (raised.height_m, raised.period_s)]
    return spread[0], spread[1]


ALOFT = (Name.U10_MS, Name.V10_MS, Name.U925_MS, Name.V925_MS, Name.U850_MS, Name.V850_MS, Name.U500_MS, Name.V500_MS)


def squalls(
    series: dict[str, Floats], everything: Sequence[Forecast], forecast: Forecast, at: Spots, luck: Floats, fronts: FrontSqualls,
    lively_ms: Floats,
) -> str:  # fmt: skip
    """Adds squall (S, T), 1 where a scenario has one, and makes gust_ms what comes: lively_ms, the gusts as they scatter, and where
    there is a squall its gust when that is more; the likelihood rests on the gusts to be expected, as they were. -> in words, what the likelihood rests on.

    luck (S): a rank between 0 and 1; a scenario has a squall where the likelihood is above its luck, so that the share of the
    weathers with a squall is the likelihood itself; those of fronts come at their own hours. What the file does not have is not guessed: where it
    cannot tell, none is added.
    """
    rain = _strongest(everything, forecast, Name.RAIN_KGM2S, at) * 3600.0
    levels = {str(name): linear(everything, forecast, name, at) for name in ALOFT}
    outlook = squall_outlook(
        SquallInputs(
            wind_ms=series["mean_ms"],
            gust_ms=series["gust_ms"],
            gust_has_convection=has_convection(forecast),
            cape_jkg=linear(everything, forecast, Name.CAPE_JKG, at),
            rain_mmh=rain,
            cold_front=fronts.chance,
            **levels,
        )
    )
    comes = (outlook.of_the_air > luck[:, None]) | fronts.comes
    series["squall"] = np.where(np.isnan(outlook.likelihood), np.nan, comes)
    series["squall_likelihood"] = outlook.likelihood
    gust_ms = np.where(fronts.comes, np.fmax(outlook.gust_ms, front_gust_ms(series["mean_ms"])), outlook.gust_ms)
    series["gust_ms"] = np.where(comes, np.fmax(lively_ms, gust_ms), lively_ms)
    return BASIS_WORDS[Basis(int(np.bincount(outlook.basis.ravel()).argmax()))]


def has_convection(forecast: Forecast) -> bool:
    """Gusts that are the most of an interval come from models that add their convective part; instantaneous ones do not."""
    if not forecast.has(Name.GUST_MS):
        return False
    gust = forecast.fields[Name.GUST_MS]
    return bool((gust["time_from"].values != gust["time"].values).any())


def _strongest(everything: Sequence[Forecast], forecast: Forecast, name: Name, at: Spots) -> Floats:
    """(S, T): the strongest of a field in each step, from the run itself or else the newest run that has it."""
    for source in sources(everything, forecast, name):
        return _find(lambda t, la, lo, s=source: sample.strongest(s.fields[name], t, la, lo), at)  # type: ignore[misc]
    return np.full(at.shape, np.nan)


def _called(forecast: Forecast) -> str:
    return f"The {forecast.centre} run of {forecast.run:%d %b %H:%M} UTC"
