"""What is risked along the states carried: counted over the weathers, and beside them the squalls that are in none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from watch.orders.judged import Judged
from watch.orders.met import share
from watch.orders.solve import Move
from watch.when import STEPS_PER_HOUR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Risk:
    """The chance of any gust above the hard limit: over the scenarios it is counted, never multiplied; squalls that are in none of them
    come independently beside them. hard_chance: both; unforecast_chance: the part that only such squalls bring. All the rest is of the
    scenarios: when the limit is first likely met, hours above limits, knots."""

    hard_chance: float
    unforecast_chance: float
    hard_first_step: int | None
    hard_hours: float
    working_hours: float
    worst_over_hard_kn: float

    @property
    def forecast_chance(self) -> float:
        """The part that the forecast's own weathers have: the weight of those in which the hard limit is met. It is what is held against
        the ceiling and compared from orders to orders."""
        return self.hard_chance - self.unforecast_chance

    def rounded(self, digits: int = 4) -> tuple[float, float]:
        """hard_chance and unforecast_chance, rounded so that the rest is round too."""
        squalls = round(self.unforecast_chance, digits)
        return round(round(self.forecast_chance, digits) + squalls, digits), squalls


def risk_of(judged: Judged, carried: Ints, moves: Sequence[Move]) -> Risk:
    """The states carried at each step (T; -1 is not counted) -> what is risked; a job in hand is held to the stricter of two."""
    met = judged.night.met
    over_hard, over_working = over_limits(judged, carried, moves)
    hits = ~(over_hard <= 0.0)
    by_step = share(met, hits)
    likely = np.flatnonzero(by_step >= 0.5 * by_step.max(initial=0.0)) if by_step.any() else np.array([], dtype=int)
    own = hits.any(axis=1)
    squalls = float(met.weight @ np.where(own, 0.0, squall_met(judged, carried, moves)))
    return Risk(
        hard_chance=float(met.weight @ own) + squalls,
        unforecast_chance=squalls,
        hard_first_step=int(likely[0]) if len(likely) else None,
        hard_hours=float(by_step.sum()) / STEPS_PER_HOUR,
        working_hours=float(share(met, ~(over_working <= 0.0)).sum()) / STEPS_PER_HOUR,
        worst_over_hard_kn=float(np.nan_to_num(over_hard, nan=0.0).max(initial=0.0)),
    )


def risk_between(judged: Judged, carried: Ints, moves: Sequence[Move], first: int, last: int) -> Risk:
    """The same for the steps first <= i < last alone."""
    inside = carried.copy()
    inside[:first], inside[last:] = -1, -1
    cut = [replace(m, begins=max(m.begins, first), done=min(m.done, last)) for m in moves if m.begins < last and m.done > first]
    return risk_of(judged, inside, cut)


def squall_met(judged: Judged, carried: Ints, moves: Sequence[Move]) -> Floats:
    """(S): in each scenario the chance that, along the states carried, any squall which is in no scenario passes a hard limit; a job
    in hand is held to the stricter of two."""
    chance = np.zeros(judged.night.met.mean_kn.shape)
    if judged.night.unforecast.per_hour == 0.0:
        return chance[:, 0]
    for state in np.unique(carried[carried >= 0]):
        on = carried == state
        chance[:, on] = judged.carriage[int(state)].unforecast_chance[:, on]
    for move in moves:
        busy = slice(move.begins, move.done)
        chance[:, busy] = np.maximum(chance[:, busy], judged.carriage[int(judged.problem.target[move.edge])].unforecast_chance[:, busy])
    met: Floats = -np.expm1(np.log1p(-chance).sum(axis=1))
    return met


def over_limits(judged: Judged, carried: Ints, moves: Sequence[Move]) -> tuple[Floats, Floats]:
    """(S, T) knots over the hard and the working limit along the states carried."""
    shape = judged.night.met.mean_kn.shape
    hard, working = np.zeros(shape), np.zeros(shape)
    for state in np.unique(carried[carried >= 0]):
        on = carried == state
        hard[:, on] = judged.carriage[int(state)].over_hard_kn[:, on]
        working[:, on] = judged.carriage[int(state)].over_working_kn[:, on]
    problem = judged.problem
    for move in moves:
        busy = slice(move.begins, move.done)
        target = judged.carriage[int(problem.target[move.edge])]
        hard[:, busy] = np.fmax(hard[:, busy], target.over_hard_kn[:, busy]) + 0.0 * target.over_hard_kn[:, busy]
        working[:, busy] = np.fmax(working[:, busy], target.over_working_kn[:, busy]) + 0.0 * target.over_working_kn[:, busy]
    return hard, working


def least_hard_chance(judged: Judged) -> float:
    """The bound: the weight of the scenarios in which even the stoutest rig state of all meets its hard limit at some step."""
    met = judged.night.met
    best = np.min([np.nan_to_num(c.over_hard_kn, nan=np.inf) for c in judged.carriage.of_state], axis=0)
    return float(met.weight @ (best > 0).any(axis=1))
