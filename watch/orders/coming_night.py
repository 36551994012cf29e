"""The coming night in one line: what is carried in the dark, the least margin, the calls, and the longest sleep."""

import numpy as np
from numpy.typing import NDArray

from watch.orders.document import JobOrder, NightSummary, PlanSpan
from watch.orders.met import quantile
from watch.orders.schedule import Schedule, busy_steps, risk_between
from watch.orders.sleep import longest_sleep
from watch.orders.tell import Teller
from watch.units import limit_down_kn
from watch.when import runs, steps_for

Floats = NDArray[np.float64]


def coming_night(schedule: Schedule, jobs: tuple[JobOrder, ...], plans: tuple[PlanSpan, ...], tell: Teller) -> NightSummary | None:
    """The first dark hours from now on."""
    dark = next((r for r in runs(tell.met.dark) if r.value), None)
    if dark is None:
        return None
    begins, ends = tell.at(dark.first), tell.at(dark.last)
    inside = [p for p in plans if p.start < ends and p.end > begins]
    margins = _dark_margins(schedule, dark.first, dark.last)
    calls = [j for j in jobs if begins <= j.call < ends]
    sleep = longest_sleep(schedule.judged.night.asleep, [
        (t.begins - steps_for(t.job.ready_minutes), t.begins + busy_steps(t.job, schedule.judged.night.aims)) for t in schedule.tasks
    ])  # fmt: skip
    hard, squalls = risk_between(schedule.judged, schedule.carried, schedule.moves, dark.first, dark.last).rounded()
    return NightSummary(
        dark_from=begins, dark_to=ends, plans=tuple(p.sail_plan for p in inside), least_margin_kn=margin_kn(margins),
        calls=len(calls), foredeck_calls=sum(j.place == "foredeck" for j in calls),
        hard_chance=hard, unforecast_chance=squalls,
        sleep_from=None if sleep is None else tell.at(sleep[0]), sleep_to=None if sleep is None else tell.at(sleep[1]),
    )  # fmt: skip


def _dark_margins(schedule: Schedule, first: int, last: int) -> Floats:
    """Knots between hard limit and planning gust at each step of the dark hours, under what is then carried."""
    met, aims = schedule.judged.night.met, schedule.judged.night.aims
    margins = np.empty(last - first)
    for run in runs(schedule.carried[first:last]):
        carried, on = schedule.judged.carriage[int(run.value)], slice(first + run.first, first + run.last)
        gust = quantile(carried.gust_kn[:, on], met.weight, aims.planning_share)
        margins[run.first : run.last] = np.nanmin(carried.hard_kn[:, on], axis=0) - gust
    return margins


def margin_kn(margin: Floats) -> int | None:
    """The least knots between hard limit and planning gust, rounded down; None when a step is not known."""
    return None if np.isnan(margin).any() else limit_down_kn(float(margin.min()))
