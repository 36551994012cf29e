"""How much the orders hang on the weights: the night solved again with each weight halved and doubled.

says: which weight, halved or doubled, changes the jobs or moves one by more than an hour, and to what; the others change nothing.
why: the weights are judgement; a sailor may trust orders that do not hang on them, and should know of those that do. example: "with
'dark foredeck' doubled: the storm jib two hours earlier, before dark". source: judgement (half and double); the method is plain re-solving.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from watch.orders.margin import SAME_STEPS
from watch.orders.schedule import Schedule, problem_of
from watch.orders.solve import Move, backward, trace

TRIED = (0.5, 2.0)
Jobs = tuple[tuple[str, int], ...]


@dataclass(frozen=True, kw_only=True)
class Swing:
    """A weight, times factor, makes the jobs these: (name, step it begins at) in time order; none of them is an empty tuple."""

    weight: str
    factor: float
    jobs: Jobs


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """tried: how many changes of one weight were tried; swings: those that change the orders, in the order of the weights."""

    tried: int
    swings: tuple[Swing, ...]


def sensitivity_of(schedule: Schedule) -> Sensitivity:
    """A schedule -> what halving and doubling each weight does to it.

    The weight of the hard limit starts from what the ceiling made of it. Chances and what is met do not depend on the weights.
    """
    ways = [(name, factor) for name, points in schedule.judged.night.weights.table() if points > 0.0 for factor in TRIED]
    now = _jobs(schedule, schedule.moves)
    swings = [Swing(weight=name, factor=factor, jobs=jobs) for name, factor in ways if not _same(now, jobs := _with(schedule, name, factor))]
    return Sensitivity(tried=len(ways), swings=tuple(swings))


def _with(schedule: Schedule, name: str, factor: float) -> Jobs:
    """The jobs when one weight is so many times as large."""
    judged, weights = schedule.judged, schedule.judged.night.weights
    night = replace(judged.night, weights=replace(weights, **{name: factor * getattr(weights, name)}))
    problem = problem_of(night, judged.chances, judged.carriage, schedule.hard_times)
    return _jobs(schedule, trace(problem, backward(problem), 0, schedule.start))


def _jobs(schedule: Schedule, moves: Sequence[Move]) -> Jobs:
    edges = schedule.judged.night.rig.edges
    return tuple((edges[move.edge].job.name, move.begins) for move in moves)


def _same(a: Jobs, b: Jobs) -> bool:
    """The same jobs in the same order, each within an hour."""
    return len(a) == len(b) and all(x[0] == y[0] and abs(x[1] - y[1]) <= SAME_STEPS for x, y in zip(a, b, strict=True))
