"""The easier job that could be done in place of an ordered one, and what it shuts.

says: of the jobs that could be begun at the same time and also take sail off her, the one of the least work, when it is less than the
ordered one's; which of the sail plans that the orders lead to can then no longer be had, or how much later; and what that costs.
why: what is easy now may be what makes the right thing impossible later: a main lowered early is not hoisted again in a gale, and a
headsail rolled on the only stay keeps the storm jib below. example: "rolling the genoa away is easier now; after it the storm jib can
not be had before Sunday noon". source: judgement (the weighing of work by place); the method is plain re-solving and reaching.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from watch.boat.model import Place
from watch.boat.rig import Edge
from watch.orders.schedule import Risk, Schedule, Task, risk_of
from watch.orders.solve import UP, Move, Problem, backward, forward, states_of, trace
from watch.when import STEPS_PER_HOUR

LATER_STEPS = 3 * STEPS_PER_HOUR  # judgement: what comes later by less is not shut
WORSE_CHANCE = 0.005
EFFORT = {Place.COCKPIT: 1.0, Place.MAST: 1.5, Place.FOREDECK: 3.0}  # judgement: what a minute of work weighs by place


@dataclass(frozen=True, kw_only=True)
class Later:
    """A sail plan that the orders lead to: the first step at which they have it, and at which it can be had at all after the easier
    job (None: never)."""

    sail_plan: str
    ordered: int
    then: int | None


@dataclass(frozen=True, kw_only=True)
class Tempting:
    """edge: the easier job. dearer: points that the night then costs more at least. risk, ordered_risk: from that job on. shut: what
    comes later by it, or never."""

    edge: Edge
    dearer: float
    risk: Risk
    ordered_risk: Risk
    shut: tuple[Later, ...]


def tempting_of(schedule: Schedule, task: Task) -> Tempting | None:
    """A schedule and one of its tasks -> its tempting alternative; None when there is none, or it shuts nothing and risks no more."""
    problem, at = schedule.judged.problem, task.move.begins
    easier = _easiest(schedule, task)
    if easier is None:
        return None
    value = backward(problem)
    over, target = at + int(problem.steps[easier]), int(problem.target[easier])
    first = Move(edge=easier, begins=at, done=at + int(problem.work[easier]), over=over)
    costs = [float(problem.job[0, at, e] + value[0, at + int(problem.steps[e]), problem.target[e], UP]) for e in (easier, task.move.edge)]
    if costs[0] - costs[1] <= 0.0:
        return None
    moves = [first, *trace(problem, value, 0, target, at=over)]
    risk, ordered = (_risk_from(schedule, task.origin, ms) for ms in (moves, [m for m in schedule.moves if m.begins >= at]))
    shut = _later(schedule, at, target, over)
    if not shut and risk.hard_chance <= ordered.hard_chance + WORSE_CHANCE:
        return None
    return Tempting(edge=schedule.judged.night.rig.edges[easier], dearer=costs[0] - costs[1], risk=risk, ordered_risk=ordered, shut=shut)


def _easiest(schedule: Schedule, task: Task) -> int | None:
    """The edge of the least work, less than the task's, that can be begun with it and takes sail off her too."""
    rig, problem, at = schedule.judged.night.rig, schedule.judged.problem, task.move.begins
    if not _stouter(schedule, task.origin, task.target):
        return None
    ways = [
        (_effort(edge), e) for e, edge in enumerate(rig.edges)
        if edge.origin == task.origin and edge.job.name != task.job.name and np.isfinite(problem.job[0, at, e])
        and at + int(problem.steps[e]) <= problem.shape[1] and _stouter(schedule, edge.origin, edge.target)
    ]  # fmt: skip
    least = min(ways, default=None)
    return least[1] if least is not None and least[0] < _effort(rig.edges[task.move.edge]) else None


def _effort(edge: Edge) -> float:
    return edge.job.minutes * EFFORT[edge.job.place]


def _stouter(schedule: Schedule, before: int, after: int) -> bool:
    """Whether a state bears as much wind as another or more, at every step, and less sail: a job that leads there shortens."""
    hard = [schedule.judged.carriage[state].hard_kn for state in (before, after)]
    return bool((hard[1] >= hard[0]).all() and not (hard[1] == hard[0]).all())


def _risk_from(schedule: Schedule, state: int, moves: Sequence[Move]) -> Risk:
    at = moves[0].begins
    return risk_of(schedule.judged, states_of(schedule.judged.problem, list(moves), state, at=at), list(moves))


def _later(schedule: Schedule, at: int, state: int, over: int) -> tuple[Later, ...]:
    """The sail plans of the orders from this task on that are had much later, or never."""
    rig = schedule.judged.night.rig
    soonest = _soonest(schedule.judged.problem, state, over)
    found: dict[str, Later] = {}
    for move in schedule.moves:
        if move.begins < at:
            continue
        name = rig.plan_name(int(schedule.judged.problem.target[move.edge]))
        same = [n for n in range(len(rig.states)) if rig.plan_name(n) == name]
        then = min((t for n in same if (t := soonest[n]) is not None), default=None)
        if name not in found and (then is None or then > move.done + LATER_STEPS):
            found[name] = Later(sail_plan=name, ordered=move.done, then=then)
    return tuple(found.values())


def _soonest(problem: Problem, state: int, at: int) -> list[int | None]:
    """For each state the first step at which jobs that can be done lead to it, from a state at a step; None for never."""
    free = replace(problem, carry=np.zeros_like(problem.carry), job=np.where(np.isfinite(problem.job), 0.0, np.inf),
                   wake=np.zeros_like(problem.wake), up=np.zeros_like(problem.up))  # fmt: skip
    cost = forward(free, np.array([state]), np.array([at]))[0, :, :, UP]
    known = np.isfinite(cost)
    return [int(np.argmax(known[:, n])) if known[:, n].any() else None for n in range(known.shape[1])]
