"""From a schedule to the orders: everything the sailor is told, gathered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.boat.rig import Rig
from watch.orders.coming_night import coming_night, margin_kn
from watch.orders.document import (
    CAUTIONS,
    Direction,
    Feature,
    ForecastUsed,
    JobOrder,
    NoReturn,
    Orders,
    PlanShut,
    PlanSpan,
    ShelterOrder,
    StepRow,
    WindBlock,
    WindowOrder,
)
from watch.orders.margin import Margin, Turn
from watch.orders.met import quantile, share
from watch.orders.options import Shut, Ways, shut_by_doing, shut_by_waiting, ways_of
from watch.orders.schedule import Schedule, Task, risk_between
from watch.orders.tell import Teller, call_time
from watch.orders.verdict import verdict
from watch.orders.windows import deck_windows
from watch.units import limit_down_kn, wind_up_kn
from watch.when import STEPS_PER_HOUR, ShipTime, from_np, runs

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What the orders need beside the schedule: names, times, the track and the plain forecast along it.

    plain: dict of arrays (T): mean_kn, gust_kn, from_deg, pressure_hpa, sea_m at 10 m; track: latitude, longitude, course_deg,
    boat_kn, true_angle_deg, apparent_kn, apparent_angle_deg (T).
    """

    boat: str
    passage: str
    now: datetime
    ship: ShipTime
    to_go_nm: float
    arrival: datetime | None
    forecasts: tuple[ForecastUsed, ...]
    track: dict[str, Floats]
    plain: dict[str, Floats]
    light: tuple[str, ...]
    light_events: tuple[tuple[datetime, str], ...]
    outlook: tuple[Feature, ...]
    shelters: tuple[ShelterOrder, ...]
    ends_reason: str
    missing: tuple[str, ...]
    cautions: tuple[str, ...]
    height_words: str
    no_return: NoReturn | None = None


def compose(schedule: Schedule, scenarios: xr.Dataset, margin: Margin, setting: Setting) -> Orders:
    """Schedule, scenarios, margin and setting -> the orders. They are checked (watch.orders.invariants) before they are given out."""
    tell = Teller(schedule, setting.ship)
    rig, met, aims = schedule.judged.night.rig, schedule.judged.night.met, schedule.judged.night.aims
    ways = ways_of(schedule.judged)
    jobs = tuple(_job(tell, task, k + 1, setting.now, ways) for k, task in enumerate(schedule.tasks))
    plans = _plans(tell, schedule)
    said, (hard_chance, unforecast_chance) = verdict(tell), schedule.risk.rounded()
    return Orders(
        boat=setting.boat, passage=setting.passage, made_at=setting.now, ship_time=setting.ship,
        latitude_deg=round(float(setting.track["latitude"][0]), 4), longitude_deg=round(float(setting.track["longitude"][0]), 4),
        to_go_nm=round(setting.to_go_nm, 1), arrival=setting.arrival, forecasts=setting.forecasts, weathers=len(met.weight),
        rig_state=str(rig.states[schedule.start]), sail_plan=rig.plan_name(schedule.start), jobs=jobs, plans=plans,
        windows=_windows(tell, schedule), night=coming_night(schedule, jobs, plans, tell), wind=_wind(tell, scenarios),
        outlook=setting.outlook, shelters=setting.shelters, margin=_directions(margin, tell),
        hard_chance=hard_chance, unforecast_chance=unforecast_chance, hard_ceiling=aims.hard_ceiling,
        least_hard_chance=round(schedule.least_risk, 4), feasible=schedule.keeps_ceiling, verdict=said[0], verdict_more=said[1:],
        planning_share=aims.planning_share, window_chance=aims.window_chance, ends_at=from_np(met.time[-1]),
        ends_reason=setting.ends_reason, missing=setting.missing, cautions=(*setting.cautions, *CAUTIONS),
        steps=_steps(schedule, scenarios, setting), light_events=setting.light_events, height_words=setting.height_words,
        no_return=setting.no_return,
    )  # fmt: skip


def _job(tell: Teller, task: Task, number: int, now: datetime, ways: Ways) -> JobOrder:
    rig, job, start = tell.night.rig, task.job, tell.at(task.begins)
    sea = "" if job.sea_m is None else f", sea {job.sea_m:g} m"
    light = {"day": ", by day", "moon": ", by day or a bright moon", "none": ""}[str(job.light)]
    return JobOrder(
        number=number, job=job.name, place=str(job.place), minutes=job.minutes, reserve_minutes=job.reserve_minutes,
        heading=str(job.heading), from_state=str(rig.states[task.origin]), to_state=str(rig.states[task.target]),
        plan_before=rig.plan_name(task.origin), plan_after=rig.plan_name(task.target), call=max(call_time(task, start), now),
        start=start, end=start + timedelta(minutes=job.minutes),
        window=None if task.window is None else tell.window_order(job, task.window), closes=tell.at(task.closes),
        closes_reason=task.closes_reason.name.lower(), closes_words=tell.closes_words(task), chance=round(task.chance, 3),
        in_dark=bool(tell.met.dark[task.begins : task.ends].any()),
        limits_words=f"mean {job.mean_kn:g} kn, gusts {job.gust_kn:g} kn{sea}{light}", because=tell.because(task),
        if_missed=tell.if_missed(task), shuts=tell.shuts(task), rests_on=job.words(),
        plans_shut=_given_up(tell, shut_by_doing(ways, task)), plans_shut_by_waiting=_given_up(tell, shut_by_waiting(ways, task)),
    )  # fmt: skip


def _given_up(tell: Teller, shut: Sequence[Shut]) -> tuple[PlanShut, ...]:
    return tuple(PlanShut(sail_plan=s.sail_plan, last=tell.at(s.last), again=None if s.again is None else tell.at(s.again)) for s in shut)


def _windows(tell: Teller, schedule: Schedule) -> tuple[WindowOrder, ...]:
    """Every deck window of every job, in the order of their start."""
    aims = tell.night.aims
    found = [tell.window_order(c.job, w) for c in schedule.judged.chances.values() for w in deck_windows(c, aims.window_chance)]
    return tuple(sorted(found, key=lambda w: (w.first_start, w.job)))


def _plans(tell: Teller, schedule: Schedule) -> tuple[PlanSpan, ...]:
    judged, met, rig, aims = schedule.judged, tell.met, tell.night.rig, tell.night.aims
    spans = []
    for run in runs(schedule.carried):
        state, on = int(run.value), slice(run.first, run.last)
        carried = judged.carriage[state]
        gust = quantile(carried.gust_kn[:, on], met.weight, aims.planning_share)
        mean = quantile(carried.mean_kn[:, on], met.weight, aims.planning_share)
        hard_by_step = np.nanmin(carried.hard_kn[:, on], axis=0)
        hard_chance, unforecast_chance = risk_between(judged, schedule.carried, (), run.first, run.last).rounded()
        plan = rig.plans[state]
        assert plan is not None
        beyond = None
        if plan.practised_to_kn is not None and np.nanmax(mean, initial=0.0) > plan.practised_to_kn:
            beyond = f"mean wind to {wind_up_kn(float(np.nanmax(mean)))} kn; practised only to {plan.practised_to_kn:g}"
        span = PlanSpan(
            sail_plan=rig.plan_name(state),
            rig_state=str(rig.states[state]),
            start=tell.at(run.first),
            end=tell.at(run.last),
            working_kn=limit_down_kn(float(np.nanmin(carried.working_kn[:, on]))),
            hard_kn=limit_down_kn(float(hard_by_step.min())),
            planning_mean_kn=_up(mean),
            planning_gust_kn=_up(gust),
            worst_gust_kn=_up(np.max(carried.gust_kn[:, on], axis=0)),
            margin_kn=margin_kn(hard_by_step - gust),
            hard_chance=hard_chance,
            unforecast_chance=unforecast_chance,
            rests_on=plan.words(),
            beyond_practice=beyond,
        )
        spans.append(span)
    return tuple(spans)


def _up(values: Floats) -> int | None:
    """The highest of a series for people; None when any of it is not known."""
    return None if values.size == 0 or np.isnan(values).any() else wind_up_kn(float(values.max()))


BLOCK_STEPS = 6 * STEPS_PER_HOUR


def _wind(tell: Teller, scenarios: xr.Dataset) -> tuple[WindBlock, ...]:
    """Six-hour blocks of what comes."""
    met, aims = tell.met, tell.night.aims
    blocks = []
    for first in range(0, met.steps, BLOCK_STEPS):
        on = slice(first, min(first + BLOCK_STEPS, met.steps))
        sea = quantile(met.sea_m[:, on], met.weight, aims.planning_share)
        block = WindBlock(
            start=tell.at(on.start),
            end=tell.at(on.stop),
            from_deg=_mean_direction(scenarios, on.start),
            from_deg_at_end=_mean_direction(scenarios, on.stop - 1),
            median_mean_kn=_up(quantile(met.mean_kn[:, on], met.weight, 0.5)),
            planning_mean_kn=_up(quantile(met.mean_kn[:, on], met.weight, aims.planning_share)),
            planning_gust_kn=_up(quantile(met.gust_kn[:, on], met.weight, aims.planning_share)),
            worst_gust_kn=_up(np.max(met.gust_kn[:, on], axis=0)),
            sea_m=None if np.isnan(sea).any() else float(np.ceil(sea.max() * 10) / 10),
            dark_share=round(float(met.dark[on].mean()), 2),
        )
        blocks.append(block)
    return tuple(blocks)


def _mean_direction(scenarios: xr.Dataset, step: int) -> int | None:
    """The weighted mean direction over the scenarios at a step, to ten degrees; None when it is not known."""
    angle, weight = np.radians(scenarios["from_deg"].values[:, step]), scenarios["weight"].values
    known = np.isfinite(angle)
    if not known.any():
        return None
    east, north = weight[known] @ np.sin(angle[known]), weight[known] @ np.cos(angle[known])
    return int(round(float(np.degrees(np.arctan2(east, north))) / 10.0) * 10 % 360)


def _directions(margin: Margin, tell: Teller) -> tuple[Direction, ...]:
    now_job = tell.schedule.tasks[0].job.name if tell.schedule.tasks else None
    return (
        _direction("stronger", margin.stronger, tell, now_job, lambda f: f"{abs(f - 1) * 100:.0f} % more wind"),
        _direction("weaker", margin.weaker, tell, now_job, lambda f: f"{abs(f - 1) * 100:.0f} % less wind"),
        _direction("earlier", margin.earlier, tell, now_job, lambda h: f"all of it {abs(h):.0f} h earlier"),
        _direction("later", margin.later, tell, now_job, lambda h: f"all of it {abs(h):.0f} h later"),
    )


def _direction(name: str, turn: Turn, tell: Teller, now_job: str | None, say: "object") -> Direction:
    assert callable(say)
    nothing = turn.holds in (0.0, 1.0)
    same = "the next job stands" if now_job else "there is still nothing to do"
    held = f"{same} with {say(turn.holds)}" if not nothing else ""
    if turn.turns is None:
        words = f"{held}, the most tried"
    else:
        if turn.job is None or turn.begins is None:
            then = "nothing has to be done"
        else:
            then = f"{'it moves to' if turn.job == now_job else f'it is “{turn.job}” at'} {tell.clock(turn.begins)}"
        words = f"{held}; with {say(turn.turns)} {then}" if held else f"with {say(turn.turns)} {then}"
    return Direction(name=name, holds=turn.holds, turns=turn.turns, words=words)


def _steps(schedule: Schedule, scenarios: xr.Dataset, setting: Setting) -> tuple[StepRow, ...]:
    judged = schedule.judged
    met, aims, rig = judged.night.met, judged.night.aims, judged.night.rig
    planning = {
        "planning_mean_kn": quantile(met.mean_kn, met.weight, aims.planning_share),
        "planning_gust_kn": quantile(met.gust_kn, met.weight, aims.planning_share),
        "planning_sea_m": quantile(met.sea_m, met.weight, aims.planning_share),
        "median_mean_kn": quantile(met.mean_kn, met.weight, 0.5),
        "worst_gust_kn": np.max(met.gust_kn, axis=0),
        "squall_chance": met.weight @ scenarios["squall"].values[:, : met.steps],
        "hard_chance": _hard_by_step(schedule),
    }
    track, plain = setting.track, setting.plain
    columns = {
        "latitude_deg": track["latitude"], "longitude_deg": track["longitude"], "course_deg": track["course_deg"],
        "boat_kn": track["boat_kn"], "true_angle_deg": track["true_angle_deg"], "apparent_kn": track["apparent_kn"],
        "apparent_angle_deg": track["apparent_angle_deg"], **{f"forecast_{k}": v for k, v in plain.items()}, **planning,
    }  # fmt: skip
    rounded = {name: _rounded(values[: met.steps], 4 if "itude" in name else 2) for name, values in columns.items()}
    names = _names(rig)
    return tuple(
        StepRow(
            time=from_np(met.time[t]), light=setting.light[t], rig_state=names[int(schedule.carried[t])][0],
            sail_plan=names[int(schedule.carried[t])][1], **{name: values[t] for name, values in rounded.items()},  # type: ignore[arg-type]
        )
        for t in range(met.steps)
    )  # fmt: skip


def _names(rig: Rig) -> list[tuple[str, str]]:
    return [(str(state), rig.plan_name(i)) for i, state in enumerate(rig.states)]


def _rounded(values: Floats, digits: int) -> list[float | None]:
    return [None if v != v else round(v, digits) for v in np.asarray(values, dtype=float).tolist()]


def _hard_by_step(schedule: Schedule) -> Floats:
    judged = schedule.judged
    chance = np.zeros(judged.night.met.steps)
    for state in np.unique(schedule.carried):
        on = schedule.carried == state
        chance[on] = share(judged.night.met, judged.carriage[int(state)].meets_hard()[:, on])
    return chance
