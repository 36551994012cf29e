"""A night as the schedule weighs it: boat, weather and what the sailor asks for, worked out into chances, what is carried, and points."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Job
from watch.boat.rig import Rig
from watch.orders.carry import Carriage, carriage, running_cost
from watch.orders.caught import squall_cost
from watch.orders.met import Met
from watch.orders.solve import Problem
from watch.orders.weights import Aims, Weights
from watch.orders.windows import Chances, chances
from watch.passage.speed import SpeedTable
from watch.weather.unforecast import NONE, Unforecast
from watch.when import STEPS_PER_HOUR, steps_for

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PLACE_WEIGHTS = {
    "cockpit": ("job_cockpit", "dark_cockpit"), "mast": ("job_mast", "dark_mast"), "foredeck": ("job_foredeck", "dark_foredeck"),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Night:
    """Everything the schedule is made from: boat, weather and what the sailor asks for. asleep (T): her sleeping hours.

    barred: jobs found impossible on deck just now, by name, and the step before which they are not begun again.
    unforecast: how often squalls come that are in none of the weathers."""

    rig: Rig
    met: Met
    table: SpeedTable
    asleep: Bools
    aims: Aims = field(default_factory=Aims)
    weights: Weights = field(default_factory=Weights)
    barred: Mapping[str, int] = field(default_factory=dict)
    unforecast: Unforecast = NONE

    @property
    def apparent(self) -> bool:
        return self.rig.boat.boat.limits_are == "apparent wind"


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A night with its chances, carriage and costs worked out."""

    night: Night
    chances: dict[str, Chances]
    carriage: Carriage
    problem: Problem

    def chance_of(self, job: Job) -> Chances:
        return self.chances[job.name]


def judge(night: Night, hard_times: float = 1.0, *, reasons: bool = True) -> Judged:
    """night -> its chances (with reasons, unless they are not wanted), carriage and the costs of the dynamic program."""
    found = {edge.job.name: edge.job for edge in night.rig.edges}
    by_job = {name: chances(job, night.met, apparent=night.apparent, reasons=reasons) for name, job in found.items()}
    for name, first in night.barred.items():
        if name in by_job:
            open_ = np.where(np.arange(night.met.steps) < first, 0.0, by_job[name].chance)
            by_job[name] = replace(by_job[name], chance=open_)
    carried = carriage(night.rig, night.met, night.table, night.unforecast)
    return Judged(night=night, chances=by_job, carriage=carried, problem=problem_of(night, by_job, carried, hard_times))


def problem_of(night: Night, by_job: dict[str, Chances], carried: Carriage, hard_times: float) -> Problem:
    """The costs of a night as the dynamic program wants them (one variant)."""
    rig, weights = night.rig, night.weights
    carry = running_cost(rig, night.met, carried, weights, hard_times)
    carry += squall_cost(rig, night.met, carried, weights, night.met.day & ~night.asleep, by_job, night.aims.window_chance)
    t_end = night.met.steps
    steps = np.array([busy_steps(edge.job, night.aims) for edge in rig.edges], dtype=np.int64)
    work = np.array([work_steps(edge.job) for edge in rig.edges], dtype=np.int64)
    job = np.full((t_end, len(rig.edges)), np.inf)
    total = np.concatenate([np.zeros((1, carry.shape[1])), np.cumsum(carry, axis=0)])
    own: dict[str, Floats] = {}
    for e, edge in enumerate(rig.edges):
        if edge.job.name not in own:
            own[edge.job.name] = _work_cost(night, by_job[edge.job.name])
        both = np.maximum(carry[:, edge.origin], carry[:, edge.target])
        cum = np.concatenate([[0.0], np.cumsum(both)])
        begins = np.arange(t_end)
        worked, over = np.minimum(begins + work[e], t_end), np.minimum(begins + steps[e], t_end)
        rest = total[over, edge.target] - total[worked, edge.target]
        job[:, e] = own[edge.job.name] + cum[worked] - cum[begins] + rest
    hour = 1.0 / STEPS_PER_HOUR
    return Problem(
        carry=carry[None], job=job[None], steps=steps,
        work=work,
        origin=np.array([edge.origin for edge in rig.edges], dtype=np.int64),
        target=np.array([edge.target for edge in rig.edges], dtype=np.int64),
        wake=np.where(night.asleep, weights.wake, 0.0), up=np.where(night.asleep, weights.up_hour * hour, 0.0),
    )  # fmt: skip


def work_steps(job: Job) -> int:
    """The steps of the work itself, at least one."""
    return max(1, steps_for(job.minutes))


def busy_steps(job: Job, aims: Aims) -> int:
    """The steps a job fills in the schedule: its work and the rest after it."""
    return work_steps(job) + steps_for(aims.rest_minutes)


def _work_cost(night: Night, found: Chances) -> Floats:
    """(T): points of a job by itself at each start; inf where no deck window is open."""
    fixed, dark = PLACE_WEIGHTS[found.job.place]
    weights = night.weights
    in_dark = np.where(night.met.dark, getattr(weights, dark), 0.0)
    cost = getattr(weights, fixed) + in_dark + weights.job_risk * (1.0 - found.chance)
    return np.where(found.enough(night.aims.window_chance), cost, np.inf)
