"""Squalls that come with cold fronts: with what chance, in which of the weathers, and in which hour. The wind alone tells of the front."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from watch.forecast.contract import Forecast
from watch.units import KN_PER_MS, wind_components_ms, wrap_180
from watch.weather import sample
from watch.weather.blocks import Blocks, middle
from watch.weather.fronts import CHANGE_KN, TURN_DEG
from watch.weather.series import ramp
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, Times

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Source squall-5, measured in reports of the half-years kept for tuning, from three hours' means of the wind: gusts of 8 m/s above the
# wind came with 6 of 47 cold fronts of 12 m/s or more, and with 5 of 315 weaker ones; in the halves not used, with 1 of 28 and 5 of 249.
FRONT_SHARE = 0.15
FRONT_WIND_MS = (8.0, 12.0)  # (never, as often as that)
# Of the 14 hours with such gusts from 6 h before to 12 h after a front, 9 lay within three hours of it, none before, 5 behind it.
HOURS_FROM_FRONT, BY_THEN = (-3.0, 3.0, 12.0), (0.0, 0.65, 1.0)
LASTS_H = 1.0  # judgement: from the first cloud to the end of it; the gust itself is over sooner
REACH_H = 3  # a forecast smears a shift over hours: the wind is compared so far before and after
GOLDEN = 0.5 * (5.0**0.5 - 1.0)


@dataclass(frozen=True, kw_only=True)
class FrontSqualls:
    """(S, T) each. chance: that a squall comes with a front that is near, 0 where none is. comes: whether this weather has it now."""

    chance: Floats
    comes: Flags


def front_squalls(low_ms: Floats, from_deg: Floats, latitude: ArrayLike, luck: Floats, past: tuple[Floats, Floats]) -> FrontSqualls:
    """Weathers (S, T) by ten-minute steps: mean wind [m/s], where it comes from [deg]; latitude [deg] (T); luck (S), ranks between 0
    and 1; the hours before -> the squalls of their fronts.

    says: one in seven strong cold fronts brings a squall, most likely within three hours of it, else in the showers behind; here it
    comes in the weathers whose luck is below that, in each at an hour of its own.
    why: few forecasts have them. A squall lasts an hour of the eighteen: a short job seldom meets it, a night under one sail plan does.
    example: SW 25 to NW 25 knots: 15 % in all, yet at no ten minutes more than about 3 %.
    source: the share, the hours and the wind squall-5, measured; the ramps of turn and change are those of the fronts, judgement.

    past: low_ms, from_deg (P) just before the first step, NaN where not known: the showers of a front that has already gone by.
    """
    before = len(past[0])
    low, bearing = (np.concatenate([np.broadcast_to(old, (len(now), before)), now], axis=1)
                    for now, old in ((low_ms, past[0]), (from_deg, past[1])))  # fmt: skip
    u, v = wind_components_ms(low, bearing)
    north = float(np.asarray(latitude, dtype=float).ravel()[0]) >= 0.0
    share = passing_share(u.T, v.T, 1.0 if north else -1.0, STEPS_PER_HOUR).T
    chance, comes = np.zeros(low.shape), np.zeros(low.shape, dtype=bool)
    late_h = hours_late(luck)
    for k, step in zip(*np.nonzero(share), strict=True):
        _raise(chance[k], step, HOURS_FROM_FRONT[0], HOURS_FROM_FRONT[-1], share[k, step])
        if share[k, step] > luck[k]:
            _raise(comes[k], step, late_h[k] - 0.5 * LASTS_H, late_h[k] + 0.5 * LASTS_H, 1.0)
    return FrontSqualls(chance=chance[:, before:], comes=comes[:, before:])


def _raise(row: NDArray[np.generic], step: int, from_h: float, to_h: float, value: float) -> None:
    first = max(round(step + from_h * STEPS_PER_HOUR), 0)
    part = row[first : max(round(step + to_h * STEPS_PER_HOUR), 0)]
    np.maximum(part, value, out=part, casting="unsafe")


def hours_late(luck: Floats) -> Floats:
    """Ranks (S) between 0 and 1 -> how long after its front the squall of each comes [h], spread as measured, whatever the share that
    has one (every run of ranks from the lowest is spread alike: steps of the golden ratio)."""
    rank = np.round(luck * len(luck) + 0.5)
    return np.interp((rank * GOLDEN) % 1.0, BY_THEN, HOURS_FROM_FRONT)


def passing_share(u_ms: NDArray[np.floating], v_ms: NDArray[np.floating], north: Floats | float, per_hour: int) -> Floats:
    """Wind towards east and north [m/s] (T, ...), so many steps an hour -> (T, ...): at the step in which a cold front passes the chance
    that it brings a squall, 0 at all others, and where the wind is not known. north: 1 where fronts veer the wind, -1 where they back it.

    >>> u, v = (np.repeat([a, b], 8) for a, b in ((9.0, 9.0), (9.0, -9.0)))  # SW, then NW, of 25 knots
    >>> np.flatnonzero(passing_share(u, v, 1.0, 1)).tolist(), float(passing_share(u, v, -1.0, 1).max())
    ([7], 0.0)
    """
    reach = REACH_H * per_hour
    bearing, wind = np.degrees(np.arctan2(-u_ms, -v_ms)), np.hypot(u_ms, v_ms)
    ago, ahead = _either_side(len(wind), reach)
    turn = wrap_180(bearing[ahead] - bearing[ago]) * north
    strongest = np.fmax(np.fmax(wind[ago], wind[ahead]), wind)
    changes_kn = [_change_kn(u_ms, v_ms, step) for step in (reach, *(h * per_hour for h in range(1, REACH_H)), 1)]
    share = np.nan_to_num(ramp(turn, *TURN_DEG) * ramp(changes_kn[0], *CHANGE_KN) * ramp(strongest, *FRONT_WIND_MS), nan=0.0)
    sharp = np.where(share > 0.0, np.sum(changes_kn, axis=0), 0.0)  # over short and long stretches: largest in the middle of the turn
    passes = (share > 0.0) & (sharp >= _largest_near(sharp, reach) - 1e-9)
    first = passes.copy()
    for back in range(1, reach + 1):
        first[back:] &= ~passes[:-back]
    return np.where(first, FRONT_SHARE * share, 0.0)


def _either_side(steps: int, reach: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    index = np.arange(steps)
    return np.maximum(index - reach, 0), np.minimum(index + reach, steps - 1)


def _change_kn(u_ms: NDArray[np.floating], v_ms: NDArray[np.floating], reach: int) -> Floats:
    ago, ahead = _either_side(len(u_ms), reach)
    return np.asarray(np.hypot(u_ms[ahead] - u_ms[ago], v_ms[ahead] - v_ms[ago]) * KN_PER_MS)


def _largest_near(values: Floats, reach: int) -> Floats:
    """The largest of the so many steps on either side, (T, ...)."""
    out, done = values.copy(), 0
    while done < reach:
        step = min(done + 1, reach - done)
        out[step:] = np.maximum(out[step:], out[:-step].copy())
        out[:-step] = np.maximum(out[:-step], out[step:].copy())
        done += step
    return out


@dataclass(frozen=True, kw_only=True, eq=False)
class FrontsByHour:
    """Where and when fronts bring squalls, by whole hours on a run's own grid, for those of its scenarios that may have any.

    of (K): numbers of these scenarios; late_h (K): whole hours from the front to the squall of each, luck (K). before: hours looked
    at ahead of the first one asked for. shares: chances (hour, place, K or 1 of a single run); each held for an hour on either side.
    """

    of: NDArray[np.int64]
    late_h: NDArray[np.int64]
    luck: Floats
    before: int
    shares: Blocks

    def come(self, scenarios: NDArray[np.int64], hour: NDArray[np.int64], spots: sample.Points) -> Flags:
        """Numbers of scenarios (S), whole hours (C) and places (C) -> (C, S): whether a squall comes with a front then."""
        out = np.zeros((len(hour), len(scenarios)), dtype=bool)
        for column, k in zip(*np.nonzero(scenarios[:, None] == self.of), strict=True):
            member = np.full(len(hour), k if self.shares.members > 1 else 0)
            out[:, column] = self.shares.at_members(hour - self.late_h[k] + self.before, member, spots) > self.luck[k]
        return out


def fronts_by_hour(u: xr.DataArray, v: xr.DataArray, hours: Times, luck: Floats, first: int) -> FrontsByHour:
    """A run's wind, marks of whole hours (H + 1), luck (S) of its scenarios, of a member each or all of one run, numbered from `first`
    on -> FrontsByHour."""
    before = int(HOURS_FROM_FRONT[-1]) + REACH_H
    marks = np.arange(-before, len(hours) + REACH_H) * np.timedelta64(1, "h") + hours[0]
    of = np.flatnonzero(luck < FRONT_SHARE)
    chosen = of if len(of) else np.zeros(1, dtype=np.int64)  # of few members none may be out of luck: one stands for nobody
    east, north = (middle(part.isel(member=chosen) if part.sizes["member"] > 1 else part, marks) for part in (u, v))
    veers = np.where(np.repeat(east.latitude, len(east.longitude)) >= 0.0, 1.0, -1.0)[:, None]
    share = passing_share(east.values, north.values, veers, 1)
    held = _largest_near(share, 1)
    return FrontsByHour(of=first + of, late_h=np.round(hours_late(luck)[of]).astype(np.int64), luck=luck[of], before=before,
                        shares=replace(east, values=held.astype(np.float32)))  # fmt: skip


def past_wind(forecasts: Sequence[Forecast], time: Times, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
    """Forecasts, and where she is (T) -> mean wind [m/s], where it comes from [deg] (P) in the hours before, there where she is now, each
    from the newest run that has it (of an ensemble, the control); NaN where none has."""
    steps = (int(HOURS_FROM_FRONT[-1]) + REACH_H) * STEPS_PER_HOUR
    when = time[0] - np.arange(steps, 0, -1) * np.timedelta64(STEP_MINUTES * 60, "s")
    u, v = np.full(steps, np.nan), np.full(steps, np.nan)
    for forecast in sorted(forecasts, key=lambda f: f.run):
        east, north = (wind[0] for wind in sample.plain_wind(forecast, when, latitude[0], longitude[0]))
        u, v = np.where(np.isfinite(east), east, u), np.where(np.isfinite(north), north, v)
    return np.hypot(u, v), np.degrees(np.arctan2(-u, -v)) % 360.0
