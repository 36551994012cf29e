"""The sea from the wind alone, for when the forecast brings no waves; steepness, and the words for the state of the sea.

Everything here errs to the larger sea: the stronger wind of each step counts, an unknown past is taken for a day of the same
wind, the fetch is open ocean, and the sea that a dropping or shifting wind leaves behind is kept whole and dies slowly.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.units import Floats, sea_state, wrap_180
from watch.when import Times

G_MS2 = 9.80665
OPEN_OCEAN_FETCH_KM = 1000.0  # judgement: the width of a large low; full growth below 21 m/s is reached within it
UNKNOWN_PAST_H = 24.0  # judgement: the first wind of a series is taken to have blown so long
SWELL_HALVES_IN_H = 24.0  # judgement: height of the sea left behind, to half
FOREVER = 1e6  # hours, or kilometres, that stand for no limit
LEAST_ENERGY_M2 = 1e-9
CALM_MS = 0.1  # less wind raises no sea; keeps the equivalent time finite
TURNS_IN_H = 3.0  # judgement: time in which a running sea follows the wind, or leaves it and becomes swell
# Carter's numbers (metres, seconds, hours, kilometres, m/s): source carter-1.
FETCH_HEIGHT, FETCH_PERIOD, FETCH_HOURS = 0.0163, 0.566, 1.167
BLOWN_HEIGHT, BLOWN_PERIOD = 0.0146, 0.540
FULL_HEIGHT, FULL_PERIOD = 0.0248, 0.729
FULL_FETCH_KM = (FULL_HEIGHT / FETCH_HEIGHT) ** 2  # times wind squared
# Steepest mean sea by peak period: source steep-1. Words by share of it: judgement.
STEEPEST_PERIOD_S, STEEPEST = (8.0, 15.0), (1.0 / 15.0, 1.0 / 25.0)
STEEP_SHARE, VERY_STEEP_SHARE = 0.5, 0.8
SEA_WORDS = ("calm, glassy", "calm, rippled", "smooth", "slight", "moderate", "rough", "very rough", "high", "very high",
"phenomenal")


class Limit(IntEnum):
    """What keeps the sea from growing further."""

    UNKNOWN = 0
    DURATION = 1
    FETCH = 2
    FULLY_DEVELOPED = 3


@dataclass(frozen=True, kw_only=True)
class Carter:
    """Sea raised by a steady wind: significant height [m], peak period [s], and a `Limit` each; same shape."""

    height_m: Floats
    period_s: Floats
    limit: NDArray[np.int8]


@dataclass(frozen=True, kw_only=True)
class SeaSeries:
    """The sea along a series, shape (..., time): all of it, and its two parts. NaN while the wind is unknown.

    height_m: wind sea and swell together [m]. period_s, from_deg: of the higher of the two [s, degrees true].
    """

    height_m: Floats
    period_s: Floats
    from_deg: Floats
    wind_sea_m: Floats
    wind_sea_period_s: Floats
    swell_m: Floats


def carter(wind_ms: ArrayLike, fetch_km: ArrayLike, hours: ArrayLike) -> Carter:
    """Steady wind at 10 m [m/s] over fetch_km [km] for hours [h], shapes that broadcast -> Carter.

    says: how high the sea gets, and what holds it there.
    why: jobs on deck close by the sea as often as by the wind.
    example: 15 m/s over 200 km: 3.5 m and 8.2 s after 16 h; 2.5 m after 10 h.
    source: carter-1. Methods of this kind differ by about a tenth of the height.

    >>> c = carter(15.0, 200.0, 48.0)
    >>> round(float(c.height_m), 3), round(float(c.period_s), 2), Limit(int(c.limit)).name
    (3.458, 8.2, 'FETCH')
    """
    wind, fetch, blown = np.broadcast_arrays(*(np.asarray(x, dtype=float) for x in (wind_ms, fetch_km, hours)))
    known = ~(np.isnan(wind) | np.isnan(fetch) | np.isnan(blown))
    u, x, d = (np.where(known, part, 0.0).clip(min=0.0, max=FOREVER) for part in (wind, fetch, blown))
    u = np.where(u < CALM_MS, 0.0, u)
    full = x >= FULL_FETCH_KM * u**2
    grown = d >= _hours_to_limit(u, x)
    height = np.where(full, FULL_HEIGHT * u**2, FETCH_HEIGHT * np.sqrt(x) * u)
    period = np.where(full, FULL_PERIOD * u, FETCH_PERIOD * x**0.3 * u**0.4)
    height = np.where(grown, height, BLOWN_HEIGHT * d ** (5 / 7) * u ** (9 / 7))
    period = np.where(grown, period, BLOWN_PERIOD * d ** (3 / 7) * u ** (4 / 7))
    limit = np.where(grown, np.where(full, Limit.FULLY_DEVELOPED, Limit.FETCH), Limit.DURATION)
    return Carter(
        height_m=np.where(known, height, np.nan),
        period_s=np.where(known, period, np.nan),
        limit=np.where(known, limit, Limit.UNKNOWN).astype(np.int8),
    )


def _hours_to_limit(wind_ms: Floats, fetch_km: Floats) -> Floats:
    """Hours after which fetch, or full development, stops the growth."""
    effective = np.minimum(fetch_km, FULL_FETCH_KM * wind_ms**2)
    return np.asarray(FETCH_HOURS * effective**0.7 / np.where(wind_ms > 0.0, wind_ms, 1.0) ** 0.4)


def _equivalent_hours(height_m: Floats, wind_ms: Floats) -> Floats:
    """For how long this wind must have blown to have raised this sea, fetch apart."""
    wind = np.maximum(wind_ms, CALM_MS)
    return np.asarray((height_m / (BLOWN_HEIGHT * wind ** (9 / 7))) ** 1.4)


@dataclass
class _State:
    """Energies are heights squared; directions are unit vectors of where the sea comes from."""

    wind_sea: Floats
    swell: Floats
    toward: NDArray[np.complexfloating]
    swell_toward: NDArray[np.complexfloating]
    swell_period: Floats


def sea_from_wind(
    time: Times,
    wind_ms: ArrayLike,
    from_deg: ArrayLike,
    fetch_km: float = OPEN_OCEAN_FETCH_KM,
    start_height_m: float | None = None,
) -> SeaSeries:
    """Wind at 10 m along a series -> the sea it raises and leaves behind.

    time (n,) increasing datetime64; wind_ms, from_deg (..., n) [m/s, degrees true]; start_height_m: the sea seen at the first
    instant, if known. A missing wind gives a missing sea; after the gap the sea is at least what a day of that wind would have
    raised.

    says: growing, standing and falling sea, hour by hour, from one wind.
    why: without wave fields the sea is not zero; after a front the old sea runs on across the new one.
    example: 10 m/s for a day, then 20 m/s for six hours: 2.5 m growing to 4.1 m, sooner than from a flat sea.
    source: carter-1, stepped through the series by equivalent duration (the time in which the new wind would have raised the sea
    that is running), common practice in hand forecasts. Judgement: a sea turns with the wind, or leaves it, in about three hours;
    what leaves becomes swell, whose height halves in a day; energies add.

    >>> time = np.datetime64("2026-05-14T00:00", "s") + np.arange(3) * np.timedelta64(5 * 3600, "s")
    >>> sea_from_wind(time, [15.0, 15.0, 15.0], [270.0] * 3, 200.0, start_height_m=0.0).height_m.round(3).tolist()
    [0.0, 1.499, 2.459]
    """
    wind = np.asarray(wind_ms, dtype=float)
    bearing = np.exp(1j * np.radians(np.broadcast_to(np.asarray(from_deg, dtype=float), wind.shape)))
    hours = np.asarray(time, dtype="datetime64[s]").astype(np.int64) / 3600.0
    if hours.ndim != 1 or wind.shape[-1:] != hours.shape or (np.diff(hours) <= 0).any():
        raise ValueError("time must be one increasing series, as long as the last dimension of wind_ms")
    fetch = np.full(wind.shape[:-1], float(fetch_km))
    empty = np.zeros(wind.shape[:-1])
    state = _State(empty, empty, np.zeros(empty.shape, complex), np.zeros(empty.shape, complex), empty)
    unknown = np.ones(empty.shape, dtype=bool)
    shots = []
    for i in range(hours.size):
        here = wind[..., i]
        if i:
            _step(state, np.fmax(wind[..., i - 1], here), bearing[..., i], fetch, hours[i] - hours[i - 1], ~np.isnan(here) &
            ~unknown)
        _begin(state, here, bearing[..., i], fetch, unknown & ~np.isnan(here), start_height_m if i == 0 else None)
        unknown = np.isnan(here)
        shots.append(_read(state, here, fetch, unknown))
    parts = [np.stack(part, axis=-1) for part in zip(*shots, strict=True)]
    return SeaSeries(
        height_m=parts[0], period_s=parts[1], from_deg=parts[2], wind_sea_m=parts[3], wind_sea_period_s=parts[4], swell_m=parts[5]
    )


def _begin(
    state: _State, wind: Floats, bearing: NDArray[np.complexfloating], fetch: Floats, at: NDArray[np.bool_], height_m: float |
    None
) -> None:
    """Where `at`: a known wind after nothing known. At least the sea of a day of it, or the height that was seen."""
    raised = carter(wind, fetch, UNKNOWN_PAST_H).height_m ** 2 if height_m is None else np.full(wind.shape, height_m**2)
    state.wind_sea = np.where(at, np.fmax(state.wind_sea, raised), state.wind_sea)
    state.toward = np.where(at & ~np.isnan(bearing), bearing, state.toward)


def _step(
    state: _State, wind: Floats, bearing: NDArray[np.complexfloating], fetch: Floats, dt_h: float, at: NDArray[np.bool_]
) -> None:
    """One step of dt_h hours with one wind, where `at`."""
    bearing = np.where(np.isnan(bearing), state.toward, bearing)
    along = np.real(bearing * np.conj(state.toward))
    turned = 1.0 - np.exp(-dt_h / TURNS_IN_H)
    share = np.where(at, turned * np.where(along > 0.0, 1.0 - along**2, 1.0), 0.0)
    swell = state.swell * 0.25 ** (dt_h / SWELL_HALVES_IN_H)
    state.swell = np.where(at, swell, state.swell)
    _leave(state, share * state.wind_sea, carter(wind, fetch, _equivalent_hours(np.sqrt(state.wind_sea), wind)).period_s)
    # growth: from the part of the running sea that the wind is behind
    behind = state.wind_sea * np.clip(along, 0.0, 1.0) ** 2
    later = carter(wind, fetch, _equivalent_hours(np.sqrt(behind), wind) + dt_h)
    state.wind_sea = np.where(at, state.wind_sea + np.fmax(later.height_m**2 - behind, 0.0), state.wind_sea)
    most = carter(wind, fetch, FOREVER)
    _leave(state, np.where(at, np.fmax(state.wind_sea - most.height_m**2, 0.0), 0.0), most.period_s)
    mixed = state.toward * (1.0 - turned) + bearing * turned
    length = np.abs(mixed)
    follows = np.where(length > 1e-9, mixed / np.where(length > 1e-9, length, 1.0), bearing)
    state.toward = np.where(at, follows, state.toward)


def _leave(state: _State, energy: Floats, period_s: Floats) -> None:
    """Energy goes over from the wind sea to the swell, with its period and direction."""
    energy = np.where(energy > LEAST_ENERGY_M2, energy, 0.0)
    total = state.swell + energy
    divisor = np.where(total > 0.0, total, 1.0)
    period = np.fmax(np.nan_to_num(period_s), state.swell_period)
    mixed_period = (state.swell * state.swell_period + energy * period) / divisor
    mixed = (state.swell * state.swell_toward + energy * state.toward) / divisor
    state.swell_period = np.where(energy > 0.0, mixed_period, state.swell_period)
    state.swell_toward = np.where(energy > 0.0, mixed, state.swell_toward)
    state.swell, state.wind_sea = total, state.wind_sea - energy


def _read(state: _State, wind: Floats, fetch: Floats, unknown: NDArray[np.bool_]) -> tuple[Floats, ...]:
    period = carter(wind, fetch, _equivalent_hours(np.sqrt(state.wind_sea), wind)).period_s
    swell_leads = state.swell > state.wind_sea
    from_deg = np.degrees(np.angle(np.where(swell_leads, state.swell_toward, state.toward))) % 360.0
    values = (
        np.sqrt(state.wind_sea + state.swell), np.where(swell_leads, state.swell_period, period), from_deg,
        np.sqrt(state.wind_sea), period, np.sqrt(state.swell),
    )
    return tuple(np.where(unknown, np.nan, value) for value in values)


def wavelength_m(period_s: ArrayLike) -> Floats:
    """Period [s] -> length of a wave in deep water [m], same shape. Source: deep-1.

    >>> round(float(wavelength_m(8.0)), 2)
    99.89
    """
    return np.asarray(G_MS2 * np.asarray(period_s, dtype=float) ** 2 / (2.0 * np.pi))


def wave_speed_ms(period_s: ArrayLike) -> Floats:
    """Period [s] -> speed of a crest in deep water [m/s], same shape. Source: deep-1.

    >>> round(float(wave_speed_ms(8.0)), 2)
    12.49
    """
    return np.asarray(G_MS2 * np.asarray(period_s, dtype=float) / (2.0 * np.pi))


def steepness(height_m: ArrayLike, period_s: ArrayLike) -> Floats:
    """Significant height [m] over the deep-water length of its period [s] -> [1], same shape; NaN for a missing or zero period.

    >>> round(float(steepness(4.0, 8.0)), 3)
    0.04
    """
    length = wavelength_m(period_s)
    return np.where(length > 0.0, np.asarray(height_m, dtype=float) / np.where(length > 0.0, length, 1.0), np.nan)


def steepest(period_s: ArrayLike) -> Floats:
    """Peak period [s] -> mean steepness of the steepest seas, 1/15 up to 8 s, 1/25 from 15 s, linear between. Source: steep-1.

    >>> round(1.0 / float(steepest(8.0)), 6), round(1.0 / float(steepest(20.0)), 6)
    (15.0, 25.0)
    """
    period = np.asarray(period_s, dtype=float)
    return np.where(np.isnan(period), np.nan, np.interp(period, STEEPEST_PERIOD_S, STEEPEST))


def sea_words(height_m: float, period_s: float) -> str:
    """Height [m] and period [s] -> the WMO's word for the sea, with "steep" or "very steep" when it nears the steepest seas there
    are.

    >>> sea_words(4.0, 8.0), sea_words(2.0, 10.0), sea_words(float("nan"), 8.0)
    ('rough, steep', 'moderate', 'sea unknown')
    """
    code = sea_state(height_m)
    if code is None:
        return "sea unknown"
    if code < 4:
        return SEA_WORDS[code]
    share = float(steepness(height_m, period_s) / steepest(period_s))
    if np.isnan(share):
        return f"{SEA_WORDS[code]}, steepness unknown"
    steep = ", very steep" if share >= VERY_STEEP_SHARE else ", steep" if share >= STEEP_SHARE else ""
    return SEA_WORDS[code] + steep


def crossing_deg(sea_from_deg: ArrayLike, wind_from_deg: ArrayLike) -> Floats:
    """Angle between the direction of a sea and of the wind [deg, 0..180], same shape: a cross sea when it is large.

    >>> float(crossing_deg(350.0, 20.0))
    30.0
    """
    return np.abs(wrap_180(np.asarray(sea_from_deg, dtype=float) - np.asarray(wind_from_deg, dtype=float)))
