"""What a played night comes to: hours over limits, work, sleep, way lost, and points as the planner counts them."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Place
from watch.boat.rig import Rig
from watch.orders.schedule import over_limits
from watch.orders.solve import Problem
from watch.orders.windows import outside as outside_limits
from watch.service.replay.outside import Outside
from watch.service.replay.play import Played, Wanted
from watch.service.replay.policies import true_problem
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, runs

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

EPISODE_STEPS = 6 * STEPS_PER_HOUR  # the same job wanted again within so long is the same wish
AT_ONCE_STEPS = 3  # a job that could be begun half an hour later was not impossible, only put off
ASLEEP_AGAIN_STEPS = 1 * STEPS_PER_HOUR  # she is not asleep again sooner


@dataclass(frozen=True, kw_only=True)
class Tally:
    """Of one passage or, added, of many. Each adds up over parts of it.

    hard_hours, working_hours: over a limit, by the stricter of two states while a job is in hand; unknown weather counts as over.
    hard_kn_hours: knots over the hard limit times hours. changes: jobs done. impossible: changes to less sail wanted and not
    possible, each episode once. dark_foredeck_minutes. overtaken: jobs whose own limits the weather passed while they were in hand. wakes: times
    called in sleeping hours. lost_nm: against the fastest sail plan at each step. points: by the planner's own weights.
    """

    hours: float
    hard_hours: float
    working_hours: float
    hard_kn_hours: float
    changes: int
    impossible: int
    dark_foredeck_minutes: float
    overtaken: int
    wakes: int
    lost_nm: float
    points: float

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})


NOTHING = Tally(hours=0.0, hard_hours=0.0, working_hours=0.0, hard_kn_hours=0.0, changes=0, impossible=0, dark_foredeck_minutes=0.0,
                overtaken=0, wakes=0, lost_nm=0.0, points=0.0)  # fmt: skip


def tally(outside: Outside, played: Played) -> Tally:
    """What was done in this weather -> what it came to."""
    judged, met, rig = outside.judged, outside.met, outside.ship.rig
    hour = 1.0 / STEPS_PER_HOUR
    over_hard, over_working = over_limits(judged, played.carried, played.moves)
    made = np.array([c.made_good_kn for c in judged.carriage.of_state])
    lost = made.max(axis=0) - made[played.carried, np.arange(met.steps)]
    on_foredeck = [move for move in played.moves if rig.edges[move.edge].job.place is Place.FOREDECK]
    return Tally(
        hours=met.steps * hour,
        hard_hours=float((~(over_hard <= 0.0)).sum()) * hour,
        working_hours=float((~(over_working <= 0.0)).sum()) * hour,
        hard_kn_hours=float(np.nansum(over_hard)) * hour,
        changes=len(played.moves),
        impossible=len(impossible(outside, played)),
        dark_foredeck_minutes=float(sum(int(met.dark[m.begins : m.done].sum()) for m in on_foredeck)) * STEP_MINUTES,
        overtaken=sum(_overtaken(outside, m.edge, m.begins, m.done) for m in played.moves),
        wakes=wakes(outside, played),
        lost_nm=float(lost.sum()) * hour,
        points=points(outside, played),
    )


def _overtaken(outside: Outside, edge: int, begins: int, done: int) -> bool:
    """Whether the weather passed a job's own limits while it was in hand."""
    bad = outside_limits(outside.ship.rig.edges[edge].job, outside.met, apparent=outside.judged.night.apparent)
    return any(bool(b[0, begins:done].any()) for b in bad.values())


def impossible(outside: Outside, played: Played) -> list[Wanted]:
    """The first wish for less sail of each episode: the same job wanted in vain again within six hours is one. A job that was begun within
    half an hour of the first wish was only put off. A wish to make sail costs way and nothing else; thresholds are never asked for theirs, so
    none is counted.
    """
    rig = outside.ship.rig
    done = [(move.begins, rig.edges[move.edge].job.name) for move in played.moves]
    last: dict[str, int] = {}
    found = []
    for wish in played.in_vain:
        if makes_sail(rig, wish.edge):
            continue
        name = rig.edges[wish.edge].job.name
        fresh = wish.step - last.get(name, -EPISODE_STEPS - 1) > EPISODE_STEPS
        last[name] = wish.step
        if fresh and not any(name == other and wish.step <= begins <= wish.step + AT_ONCE_STEPS for begins, other in done):
            found.append(wish)
    return found


def makes_sail(rig: Rig, edge: int) -> bool:
    """Whether a job leads to a state with a lower hard limit."""
    before, after = (rig.plans[state] for state in (rig.edges[edge].origin, rig.edges[edge].target))
    assert before is not None
    assert after is not None
    return min(limit.hard_kn for limit in after.limits) < min(limit.hard_kn for limit in before.limits)


def wakes(outside: Outside, played: Played) -> int:
    """How often she was called in her sleeping hours: for a job, or for one wanted in vain."""
    busy = np.zeros(outside.met.steps, dtype=bool)
    for move in played.moves:
        busy[move.begins : move.over] = True
    for wish in played.in_vain:
        busy[wish.step] = True
    up = busy.copy()
    for run in runs(busy):
        if run.value:
            up[run.first : run.last + ASLEEP_AGAIN_STEPS] = True
    asleep = outside.judged.night.asleep
    return sum(bool(run.value) and bool(asleep[run.first]) for run in runs(up))


def points(outside: Outside, played: Played) -> float:
    """What was done, in the planner's own points against the truth: carrying, work, and the cheaper of staying up and being called."""
    problem: Problem = true_problem(outside)
    free = np.ones(outside.met.steps, dtype=bool)
    total, since = 0.0, 0
    for move in played.moves:
        total += float(problem.job[0, move.begins, move.edge])
        total += min(float(problem.wake[move.begins]), float(problem.up[since : move.begins].sum()))
        free[move.begins : move.over] = False
        since = move.over
    steps = np.flatnonzero(free)
    return total + float(problem.carry[0, steps, played.carried[steps]].sum())
