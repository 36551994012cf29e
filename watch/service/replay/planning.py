"""The orders as they would be given at a step of a replay: the one way through, from the forecasts aboard and her own instruments."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from watch.forecast.contract import Forecast
from watch.instruments.ahead import apply
from watch.instruments.compare import compare
from watch.instruments.expected import Expected
from watch.instruments.steps import ObservedSteps, Step, WindHeight
from watch.instruments.widths import Widths
from watch.orders.schedule import quick_moves
from watch.orders.solve import Move
from watch.service.aboard import met_of
from watch.service.replay.outside import Known
from watch.service.replay.truth import Truth
from watch.weather.look import Where
from watch.weather.scenarios import make_scenarios
from watch.weather.squalls_seen import squalls_seen, with_squalls_seen
from watch.when import STEPS_PER_HOUR, from_np, to_np

LOOK_AHEAD_STEPS = 96 * STEPS_PER_HOUR
WIDTHS = Widths()
ROUND_STEPS = round((WIDTHS.window_h + WIDTHS.lag_most_h) * STEPS_PER_HOUR)  # what the comparison looks at before now
AFTER_STEPS = round(WIDTHS.lag_most_h * STEPS_PER_HOUR)  # and after


@dataclass(frozen=True, kw_only=True, eq=False)
class Weathers:
    """The scenarios of the newest forecasts, from some hours before they came aboard on. first: the step of the first."""

    forecasts: tuple[Forecast, ...]
    first: int
    scenarios: xr.Dataset

    def between(self, first: int, last: int) -> xr.Dataset:
        """Those of the steps first <= i < last of the replay."""
        return self.scenarios.isel(time=slice(max(first - self.first, 0), last - self.first))


def weathers_of(known: Known, forecasts: Sequence[Forecast]) -> Weathers:
    """The scenarios along her way as far as orders look ahead from the next forecast; also of the hours seen, when she compares."""
    first = max(0, known.step - ROUND_STEPS) if known.ship.compares else known.step
    last = min(known.step + LOOK_AHEAD_STEPS + AFTER_STEPS, len(known.ship.way.course_deg))
    way = known.ship.way.part(first, last)
    where = Where(time=way.time[:-1], latitude=way.latitude[:-1], longitude=way.longitude[:-1])
    return Weathers(forecasts=tuple(forecasts), first=first, scenarios=make_scenarios(forecasts, where, known.ship.widening))


def planned(known: Known, weathers: Weathers, barred: Mapping[str, int]) -> tuple[Move, ...]:
    """The moves of the schedule from here and now, from these weathers as her instruments would have them. barred: see Night, by
    steps of the replay."""
    ship, first = known.ship, known.step
    scenarios = weathers.between(first, first + LOOK_AHEAD_STEPS)
    if ship.compares:
        scenarios = corrected(known, weathers, scenarios)
    scenarios = with_squalls_seen(scenarios, squalls_seen(known.seen.gust_ms))
    way = ship.way.part(first, first + scenarios.sizes["time"])
    met = met_of(ship.rig.boat, way, scenarios)
    known_steps = met.known_steps()
    if known_steps == 0:
        return ()
    night = ship.night(met.cut(known_steps), unforecast=ship.unforecast, barred={name: step - first for name, step in barred.items()})
    moves = quick_moves(night, known.state, up=not known.asleep)
    return tuple(replace(m, begins=m.begins + first, done=m.done + first, over=m.over + first) for m in moves)


def corrected(known: Known, weathers: Weathers, ahead: xr.Dataset) -> xr.Dataset:
    """The scenarios ahead, weighed and shifted by what wind and glass have done in the last hours against what was forecast."""
    behind = weathers.between(known.step - ROUND_STEPS, known.step + AFTER_STEPS)
    now = from_np(known.ship.way.time[known.step])
    lead_h = float((to_np(now) - to_np(weathers.forecasts[0].run)) / np.timedelta64(3600, "s"))
    width_h = float(known.ship.widening.at(known.ship.widening.timing_h, np.array([lead_h]))[0])
    return apply(compare(observed_of(known.seen), Expected.of(behind, timing_width_h=width_h), now, WIDTHS), ahead, WIDTHS)


def observed_of(seen: Truth) -> ObservedSteps:
    """What was met in the last hours -> as her instruments, taken to be right, would have written it, at 10 m."""
    last = slice(max(0, seen.steps - ROUND_STEPS), None)
    seconds = seen.way.time[:-1][last].astype("datetime64[s]").astype(np.int64)
    rows = zip(seconds.tolist(), seen.mean_ms[last].tolist(), seen.pressure_pa[last].tolist(), strict=True)
    steps = ObservedSteps.of(Step(start_s=float(s), mean_ms=mean, pressure_pa=glass) for s, mean, glass in rows)
    return replace(steps, height=WindHeight.TEN_METRES)
