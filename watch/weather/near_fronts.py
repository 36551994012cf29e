"""How near a cold front is, step by step in many weathers at once: for the squalls that come with it. The wind alone tells."""

from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from watch.forecast.contract import Forecast
from watch.units import ms_to_kn, wind_components_ms, wrap_180
from watch.weather import sample
from watch.weather.fronts import CHANGE_KN, TURN_DEG
from watch.weather.series import ramp
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, Times

Floats = NDArray[np.float64]

# Squalls seen in hourly reports at three stations and a buoy came at 1 to 3 in 100 hours from six hours before a front to four after,
# at 0.5 until twelve hours after, and at 0.16 far from any: source squall-5.
BEFORE_H, AFTER_H = 6, 12
REACH_H = 3  # a forecast smears a shift over hours: the wind is compared so far before and after


def near_cold_front(mean_ms: Floats, from_deg: Floats, latitude: ArrayLike, past: tuple[Floats, Floats]) -> Floats:
    """Weathers (S, T) by ten-minute steps, latitude (S, T), and the hours before them -> (S, T): 0 no front near, up to 1.

    says: within six hours before and twelve after a turn of the wind in the cyclonic sense, there is a front near; how surely, by the
    size of the turn and of the change of wind, as `watch.weather.fronts` weighs them.
    why: squalls come in the line of a cold front, ahead of it, and in the showers behind it, and few forecasts have them.
    example: from SW 25 to NW 25 knots within three hours is a front; from SW 8 to W 8 is hardly one.
    source: the window squall-5, measured; the ramps are those of the fronts, judgement.

    past: mean_ms, from_deg (P) just before the first step, NaN where not known: the showers of a front that has already gone by.
    """
    mean, bearing = (_joined(now, before) for now, before in zip((mean_ms, from_deg), past, strict=True))
    steps = mean.shape[1]
    index, reach = np.arange(steps), REACH_H * STEPS_PER_HOUR
    before, after = np.maximum(index - reach, 0), np.minimum(index + reach, steps - 1)
    u, v = wind_components_ms(ms_to_kn(mean), bearing)
    change = np.hypot(u[:, after] - u[:, before], v[:, after] - v[:, before])
    north = np.where(_first_column(latitude) >= 0.0, 1.0, -1.0)
    turn = wrap_180(bearing[:, after] - bearing[:, before]) * north
    front = np.nan_to_num(ramp(turn, *TURN_DEG) * ramp(change, *CHANGE_KN), nan=0.0)
    ahead, behind = BEFORE_H * STEPS_PER_HOUR, AFTER_H * STEPS_PER_HOUR
    padded = np.pad(front, ((0, 0), (behind, ahead)))
    near: Floats = sliding_window_view(padded, ahead + behind + 1, axis=1).max(axis=2)
    return near[:, steps - mean_ms.shape[1] :]


def _joined(now: Floats, before: Floats) -> Floats:
    return np.concatenate([np.broadcast_to(before, (now.shape[0], len(before))), now], axis=1)


def _first_column(latitude: ArrayLike) -> Floats:
    return np.asarray(latitude, dtype=float)[:, :1]


def past_wind(forecasts: Sequence[Forecast], time: Times, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
    """Forecasts, and where she is (T) -> mean_ms, from_deg (P) in the hours before, there where she is now, each from the newest run
    that has it (of an ensemble, the control); NaN where none has."""
    steps = (AFTER_H + REACH_H) * STEPS_PER_HOUR
    when = time[0] - np.arange(steps, 0, -1) * np.timedelta64(STEP_MINUTES * 60, "s")
    u, v = np.full(steps, np.nan), np.full(steps, np.nan)
    for forecast in sorted(forecasts, key=lambda f: f.run):
        east, north = (wind[0] for wind in sample.plain_wind(forecast, when, latitude[0], longitude[0]))
        u, v = np.where(np.isfinite(east), east, u), np.where(np.isfinite(north), north, v)
    return np.hypot(u, v), np.degrees(np.arctan2(-u, -v)) % 360.0
