"""How far the forecast may be wrong before the orders change: the night solved again, stronger, weaker, earlier and later.

says: with all wind times a factor, or all weather so many hours earlier or later, the next job and its time stay within an hour.
why: an order that a knot would overturn is no order to sleep on. example: "unchanged up to 10 % more wind; with 20 % more, the third
reef comes 2 h 40 earlier". source: judgement (the steps tried); the method is plain re-solving.
"""

from dataclasses import dataclass, replace

import numpy as np

from watch.orders.schedule import Night, Schedule, judge
from watch.orders.solve import Problem, backward, trace
from watch.when import STEPS_PER_HOUR

STRONGER = (1.1, 1.2, 1.3, 1.5)
WEAKER = (0.9, 0.8, 0.7)
EARLIER_H = (-1, -2, -3, -6)
LATER_H = (1, 2, 3, 6)
SAME_STEPS = STEPS_PER_HOUR  # within an hour the orders are the same


@dataclass(frozen=True, kw_only=True)
class Turn:
    """In one direction: holds: the farthest change tried at which the next job still stands; turns: the first at which it does not
    (None: none tried did); job and begins: what the next job then is (None: no job), and at which step."""

    holds: float
    turns: float | None
    job: str | None
    begins: int | None


@dataclass(frozen=True, kw_only=True)
class Margin:
    """stronger, weaker: factors on the wind. earlier, later: hours."""

    stronger: Turn
    weaker: Turn
    earlier: Turn
    later: Turn


_FACTOR, _HOURS = (Turn(holds=nothing, turns=None, job=None, begins=None) for nothing in (1.0, 0.0))
UNTRIED = Margin(stronger=_FACTOR, weaker=_FACTOR, earlier=_HOURS, later=_HOURS)  # for orders whose margin nobody reads


def margin_of(schedule: Schedule) -> Margin:
    """A schedule -> its margin in the four directions; all variants in one pass of the dynamic program."""
    night, met = schedule.judged.night, schedule.judged.night.met
    factors = [*STRONGER, *WEAKER]
    hours = [*EARLIER_H, *LATER_H]
    mets = [met.changed(wind_factor=f) for f in factors] + [met.changed(later_steps=h * STEPS_PER_HOUR) for h in hours]
    problem = _stacked([judge(replace(night, met=m), schedule.hard_times, reasons=False).problem for m in mets])
    value = backward(problem)
    nexts = [_next(night, problem, value, b, schedule.start) for b in range(len(mets))]
    now = (schedule.tasks[0].job.name, schedule.tasks[0].begins) if schedule.tasks else None
    by_factor: dict[float, Next] = dict(zip(factors, nexts[: len(factors)], strict=True))
    by_hour: dict[float, Next] = dict(zip(hours, nexts[len(factors) :], strict=True))
    return Margin(
        stronger=_turn(now, STRONGER, by_factor, 1.0), weaker=_turn(now, WEAKER, by_factor, 1.0),
        earlier=_turn(now, EARLIER_H, by_hour, 0.0), later=_turn(now, LATER_H, by_hour, 0.0),
    )  # fmt: skip


Next = tuple[str, int] | None


def _stacked(problems: list[Problem]) -> Problem:
    return replace(
        problems[0],
        carry=np.concatenate([p.carry for p in problems]),
        job=np.concatenate([p.job for p in problems]),
    )


def _next(night: Night, problem: Problem, value: np.ndarray, b: int, start: int) -> Next:
    moves = trace(problem, value, b, start)
    return (night.rig.edges[moves[0].edge].job.name, moves[0].begins) if moves else None


def _turn(now: Next, tried: tuple[float, ...], found: dict[float, Next], nothing: float) -> Turn:
    holds = nothing
    for change in tried:
        then = found[change]
        if not _same(now, then):
            return Turn(holds=holds, turns=change, job=then[0] if then else None, begins=then[1] if then else None)
        holds = change
    return Turn(holds=holds, turns=None, job=None, begins=None)


def _same(a: Next, b: Next) -> bool:
    if a is None or b is None:
        return a is b
    return a[0] == b[0] and abs(a[1] - b[1]) <= SAME_STEPS
