"""Is it going as forecast? What was observed held against what was forecast along the track she sailed, and what that does to the orders."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.forecast.contract import Forecast
from watch.instruments.ahead import apply
from watch.instruments.compare import Update, compare
from watch.instruments.expected import Expected
from watch.instruments.own_glass import OwnGlass, own_glass
from watch.instruments.readings import Doubt
from watch.instruments.steps import ObservedSteps
from watch.instruments.widths import Widths
from watch.orders.differences import Topic, differences
from watch.orders.document import Compared, Orders
from watch.orders.met import quantile
from watch.orders.weights import Aims
from watch.passage.track import Track
from watch.units import kn_to_ms, wrap_180
from watch.weather.look import Where
from watch.weather.plain import plain_along
from watch.weather.scenarios import make_scenarios, usable
from watch.weather.squalls_seen import BACK_STEPS, SquallsSeen, squalls_seen, with_squalls_seen
from watch.weather.wind import to_10m
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, Times, floor_step, from_np, to_np

if TYPE_CHECKING:
    from watch.service.one_pass import Asked

Floats = NDArray[np.float64]

NEAR_H = 3.0  # judgement: readings farther in time from any fix are left out: where they were made is not known
MATERIAL_MS = 0.5  # judgement: about a knot of planned wind; less changes no order worth telling
DOUBTS_H = 1.0  # doubts of the last hour are told
MOST_DOUBTS = 3
TOLD = frozenset(Topic) - {Topic.UNKNOWN, Topic.ARRIVAL, Topic.SHELTER, Topic.DONE}
SHELTERS_APART = "Shelter, holding on and running off are judged without the squalls met."


@dataclass(frozen=True, kw_only=True)
class GlassForecast:
    """Pressure as forecast along the track she sailed, and on for some hours: time (N) of each step's start, hpa (N), NaN not known."""

    time: Times
    hpa: Floats


@dataclass(frozen=True, kw_only=True)
class Against:
    """The instruments against the forecast, at one pass. doubts: sentences on readings that are doubtful or were left out."""

    update: Update
    glass: OwnGlass
    glass_forecast: GlassForecast
    doubts: tuple[str, ...]
    squalls: SquallsSeen


def against(asked: "Asked", track: Track) -> Against | None:
    """What was asked (with what was observed), and her track ahead -> the comparison; None when there are no instruments.

    says: early or late, stronger or weaker than forecast, and how surely.
    why: the forecast was never held against the wind outside in time to act.
    example: the glass begins to fall at 16:00 where 18:00 was forecast: about 2 h early.
    source: watch.instruments.compare; readings more than three hours from a fix are left out: judgement.
    """
    if asked.observed is None:
        return None
    widths = Widths()
    seen = asked.observed.steps(asked.now)
    where, near = sailed(seen, track, asked.now, widths)
    seen, lost_h = _placed(seen, where, near)
    at_10m = seen.to_ten_metres(float(to_10m(1.0, asked.boat.boat.anemometer_height_m)))
    scenarios = make_scenarios(asked.forecasts, where, asked.widening)
    plain = forecast_as_it_stood(asked.forecasts, where)
    newest = usable(asked.forecasts)[0]
    lead_h = np.array((to_np(asked.now) - to_np(newest.run)) / np.timedelta64(3600, "s"))
    begun = before_it_began(scenarios, plain)
    expected = Expected.of(
        begun, timing_width_h=float(asked.widening.at(asked.widening.timing_h, lead_h)),
        plain_mean_ms=kn_to_ms(plain["mean_kn"]), plain_pressure_pa=100.0 * plain["pressure_hpa"],
    )  # fmt: skip
    glass_forecast = GlassForecast(time=where.time, hpa=plain["pressure_hpa"])
    here = here_then_hpa(asked.forecasts, where, asked.now)
    return Against(
        update=compare(at_10m, expected, asked.now, widths), glass=glass_of(seen, glass_forecast, asked.now, here),
        glass_forecast=glass_forecast, doubts=doubts_of(seen, asked.now, lost_h), squalls=squalls_outside(asked.observed.steps(asked.now), asked),
    )  # fmt: skip


def squalls_outside(seen: ObservedSteps, asked: "Asked") -> SquallsSeen:
    """Her own gusts of the last hours -> the squalls among them. Her place then does not matter: the next ones are near too.

    Where no three-second gust can be told, the largest reading stands for it.
    """
    at_10m = seen.to_ten_metres(float(to_10m(1.0, asked.boat.boat.anemometer_height_m)))
    time = to_np(floor_step(asked.now)) - np.arange(BACK_STEPS, 0, -1) * np.timedelta64(STEP_MINUTES * 60, "s")
    return squalls_seen(_at(time, at_10m.start, np.where(np.isfinite(at_10m.gust_ms), at_10m.gust_ms, at_10m.largest_ms)))


def as_observed(held: Against, alone: xr.Dataset, aims: Aims) -> xr.Dataset:
    """The scenarios ahead as her instruments would have them: weighed and shifted by wind and glass, and with the squalls that were met."""
    return with_squalls_seen(apply(held.update, alone, planning_share=aims.planning_share), held.squalls)


def sailed(seen: ObservedSteps, track: Track, now: datetime, widths: Widths) -> tuple[Where, NDArray[np.bool_]]:
    """Observed steps, her track ahead -> where she was at ten-minute steps of the hours looked at, and is to be in those that follow (N);
    and whether a fix is near in time (N). Between fixes she goes straight; before the first one she is where that was."""
    back, on = (round(h * STEPS_PER_HOUR) for h in (widths.window_h + widths.lag_most_h, widths.lag_most_h))
    time = to_np(floor_step(now)) + np.arange(-back, on) * np.timedelta64(STEP_MINUTES * 60, "s")
    known = np.isfinite(seen.latitude_deg) & np.isfinite(seen.longitude_deg)
    fixed = seen.start[known] + np.timedelta64(STEP_MINUTES * 60, "s")  # the last fix of a step is near its end
    before = fixed < track.time[0]
    at = np.concatenate([fixed[before], track.time]).astype(np.int64)
    latitude = np.concatenate([seen.latitude_deg[known][before], track.latitude])
    longitude = np.concatenate([seen.longitude_deg[known][before], track.longitude])
    middle = time.astype(np.int64)
    east = np.interp(middle, at, np.unwrap(longitude, period=360.0))
    gap_s = np.abs(middle[:, None] - fixed.astype(np.int64)[None, :]).min(axis=1, initial=2**40)
    return Where(time=time, latitude=np.interp(middle, at, latitude), longitude=wrap_180(east)), gap_s <= NEAR_H * 3600.0


def _placed(seen: ObservedSteps, where: Where, near: NDArray[np.bool_]) -> tuple[ObservedSteps, float]:
    """The steps of the hours looked at, without the wind and glass of those whose place is not known; and hours lost by that."""
    good = _at(seen.start, where.time, near.astype(float)) == 1.0
    inside = np.isin(seen.start, where.time)
    lost = inside & ~good & (np.isfinite(seen.mean_ms) | np.isfinite(seen.pressure_pa))
    mean, gust, glass = (np.where(good, values, np.nan) for values in (seen.mean_ms, seen.gust_ms, seen.pressure_pa))
    return replace(seen, mean_ms=mean, gust_ms=gust, pressure_pa=glass), float(lost.sum()) / STEPS_PER_HOUR


def forecast_as_it_stood(forecasts: Sequence[Forecast], where: Where) -> dict[str, Floats]:
    """The plain forecast (mean_kn, pressure_hpa, (N)) along the track sailed: the newest run, and before its beginning the next older
    one that reaches there."""
    found: dict[str, Floats] = {}
    for run in usable(forecasts):
        plain = plain_along([run], where)
        for name in ("mean_kn", "pressure_hpa"):
            found[name] = np.where(np.isfinite(found[name]), found[name], plain[name]) if name in found else plain[name]
    return found


def before_it_began(scenarios: xr.Dataset, plain: dict[str, Floats]) -> xr.Dataset:
    """Scenarios along the track sailed, with the forecast as it stood in the hours before each one's run began: else a new run could not
    be held against what was observed for many hours. Such hours are the same in all its scenarios, and weigh for none of them."""
    out = scenarios.copy()
    for name, values in (("low_ms", kn_to_ms(plain["mean_kn"])), ("pressure_pa", 100.0 * plain["pressure_hpa"])):
        known = np.isfinite(scenarios[name].values)
        before = np.cumsum(known, axis=1) == 0
        out[name] = (("scenario", "time"), np.where(before, values[None, :], scenarios[name].values))
    return out


def here_then_hpa(forecasts: Sequence[Forecast], where: Where, now: datetime) -> float:
    """Pressure as forecast for three hours ago at the place where she is now [hPa]; NaN when not known."""
    present = int(np.searchsorted(where.time, to_np(floor_step(now)))) - 1
    then = where.time[present : present + 1] - np.timedelta64(3, "h")
    spot = Where(time=then, latitude=where.latitude[present : present + 1], longitude=where.longitude[present : present + 1])
    return float(forecast_as_it_stood(forecasts, spot)["pressure_hpa"][0])


def glass_of(seen: ObservedSteps, forecast: GlassForecast, now: datetime, here_hpa: float) -> OwnGlass:
    """Her own glass over the last hours against the forecast's along the track she sailed. here_hpa: see own_glass."""
    end = to_np(floor_step(now))
    time = end + np.arange(-6 * STEPS_PER_HOUR, 0) * np.timedelta64(STEP_MINUTES * 60, "s")
    return own_glass(time, _at(time, seen.start, seen.pressure_pa) / 100.0, _at(time, forecast.time, forecast.hpa), here_hpa)


def _at(wanted: Times, time: Times, values: Floats) -> Floats:
    """Values at the very times wanted, NaN where there is none."""
    if len(time) == 0:
        return np.full(len(wanted), np.nan)
    own = time.astype("datetime64[s]")
    index = np.clip(np.searchsorted(own, wanted), 0, len(own) - 1)
    return np.where(own[index] == wanted, values[index], np.nan)


def doubts_of(seen: ObservedSteps, now: datetime, lost_h: float) -> tuple[str, ...]:
    """What is doubtful of the last hour, gravest first, and what was left out."""
    recent = seen.start >= to_np(now) - np.timedelta64(round(DOUBTS_H * 3600) + STEP_MINUTES * 60, "s")
    found = {str(doubt): doubt for doubts, on in zip(seen.doubts, recent, strict=True) if on for doubt in doubts}
    alike: dict[str, list[Doubt]] = {}
    for said, doubt in found.items():  # which differ only in their numbers, such as the time, are told once: the newest
        alike.setdefault(re.sub(r"\d+", "0", said), []).append(doubt)
    gravest = sorted(alike.values(), key=lambda doubts: -doubts[-1].kind.severity)
    words = [f"{doubts[-1]} ({len(doubts)} like it in the last hour)" if len(doubts) > 1 else str(doubts[-1]) for doubts in gravest[:MOST_DOUBTS]]
    if len(gravest) > MOST_DOUBTS:
        words.append(f"and {len(gravest) - MOST_DOUBTS} more doubts about the instruments")
    if lost_h > 0:
        words.append(f"{lost_h:.1f} h of readings were left out: her position then is not known")
    return tuple(words)


def material(before: xr.Dataset, after: xr.Dataset, planning_share: float) -> bool:
    """Whether an update moved the wind planned for by a knot anywhere: only then are the orders without it worth working out."""
    for name in ("mean_ms", "gust_ms"):
        was, now = (quantile(s[name].values, s["weight"].values, planning_share) for s in (before, after))
        if not np.array_equal(np.isfinite(was), np.isfinite(now)) or bool((np.abs(now - was) >= MATERIAL_MS).any()):
            return True
    return False


def compared(found: Against, without: Orders | None, orders: Orders) -> Compared:
    """The comparison for the orders; without: the orders as they would be by the forecast alone, None when it makes no difference."""
    update = found.update
    changed = () if without is None else tuple(c.words for c in differences(without, orders) if c.topic in TOLD)
    return Compared(
        as_of=from_np(to_np(update.as_of)), trusted=update.trusted, hours_early=_known(update.hours_early),
        hours_early_sd=_known(update.hours_early_sd), strength=_known(update.strength), strength_sd=_known(update.strength_sd),
        words=update.words, changed=changed, glass=found.glass.words, doubts=found.doubts, squalls=found.squalls.words,
        glance=update.glance,
    )  # fmt: skip


def _known(value: float) -> float | None:
    return round(value, 2) if np.isfinite(value) else None
