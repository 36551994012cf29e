"""The sail schedule: which jobs, when, until when each can still be done, and what becomes of her if one is missed.

The cheapest path over time x rig state for *all* scenarios at once: one list of times, renewed at each forecast; it never sees the
future. The joint chance of meeting a hard limit along it is counted over the scenarios, and the weight of the hard limit is raised
until the asked-for ceiling is met or no dearer weight helps.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Job
from watch.orders.judged import Judged as Judged
from watch.orders.judged import Night as Night
from watch.orders.judged import busy_steps as busy_steps
from watch.orders.judged import judge as judge
from watch.orders.judged import problem_of as problem_of
from watch.orders.judged import work_steps as work_steps
from watch.orders.reasons import Reason
from watch.orders.risk import Risk as Risk
from watch.orders.risk import least_hard_chance
from watch.orders.risk import over_limits as over_limits
from watch.orders.risk import risk_between as risk_between
from watch.orders.risk import risk_of as risk_of
from watch.orders.solve import UP, Move, Problem, backward, forward, start_costs, states_of, trace
from watch.orders.windows import DeckWindow, deck_windows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STILL_WORTH = 0.5  # judgement: a start that keeps less than half of what the job is worth is too late: the early, safe side
HARDER = 10.0  # how much dearer the hard limit is made at each try
TRIES = 3


@dataclass(frozen=True, kw_only=True)
class Task:
    """A job of the schedule. begins, ends: steps (the work, without reserve). closes: the last step at which to begin it, and why.
    if_missed: the moves without it and their risk; None when nothing is lost by leaving it."""

    move: Move
    job: Job
    origin: int
    target: int
    begins: int
    ends: int
    window: DeckWindow | None
    closes: int
    closes_reason: Reason
    chance: float
    if_missed: "Missed | None" = None


@dataclass(frozen=True, kw_only=True)
class Missed:
    """The next-best schedule when a job is never done."""

    moves: tuple[Move, ...]
    carried: Ints
    risk: Risk
    dearer: float


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """The orders' skeleton: tasks in time order, the rig state carried at each step (T), and what is risked."""

    judged: Judged
    start: int
    tasks: tuple[Task, ...]
    carried: Ints
    risk: Risk
    least_risk: float
    hard_times: float
    cost: float

    @property
    def moves(self) -> list[Move]:
        return [task.move for task in self.tasks]

    @property
    def keeps_ceiling(self) -> bool:
        return self.risk.forecast_chance <= self.judged.night.aims.hard_ceiling + 1e-12


def make_schedule(night: Night, start: int = 0) -> Schedule:
    """night, starting rig state -> the schedule with closing times and what becomes of her if a job is missed."""
    judged, value, moves, times = _within_ceiling(night, start)
    carried = states_of(judged.problem, moves, start)
    tasks = _tasks(judged, value, moves, start)
    return Schedule(
        judged=judged, start=start, tasks=tasks, carried=carried, risk=risk_of(judged, carried, moves),
        least_risk=least_hard_chance(judged), hard_times=times, cost=float(value[0, 0, start, 1]),
    )  # fmt: skip


def quick_moves(night: Night, start: int = 0, *, up: bool = True) -> list[Move]:
    """The jobs of the schedule alone, without reasons and closing times. up: whether she is called and dressed already."""
    return _within_ceiling(night, start, up=up, reasons=False)[2]


def quick_carried(night: Night, start: int = 0) -> Ints:
    """The rig state carried at each step (T), without closing times: for the track to be sailed by."""
    judged, _, moves, _ = _within_ceiling(night, start)
    return states_of(judged.problem, moves, start)


def _within_ceiling(night: Night, start: int, *, up: bool = True, reasons: bool = True) -> tuple[Judged, Floats, list[Move], float]:
    """Solves; while the joint chance is above the ceiling and a dearer hard limit lowers it, solves again."""
    best: tuple[Judged, Floats, list[Move], float] | None = None
    best_chance = np.inf
    times = 1.0
    for _ in range(TRIES):
        judged = judge(night, times, reasons=reasons) if best is None else Judged(
            night=night, chances=best[0].chances, carriage=best[0].carriage,
            problem=problem_of(night, best[0].chances, best[0].carriage, times),
        )  # fmt: skip
        value = backward(judged.problem)
        moves = trace(judged.problem, value, 0, start, up=up)
        chance = risk_of(judged, states_of(judged.problem, moves, start), moves).forecast_chance
        if best is not None and chance >= best_chance - 1e-9:
            break
        best, best_chance = (judged, value, moves, times), chance
        if chance <= night.aims.hard_ceiling:
            break
        times *= HARDER
    assert best is not None
    return best


def _tasks(judged: Judged, value: Floats, moves: list[Move], start: int) -> tuple[Task, ...]:
    """Each move with its window, its closing time and the price of missing it. Closing: she waits as she is, then begins it. Missing:
    she never does it, but may do anything else."""
    if not moves:
        return ()
    rig, one = judged.night.rig, judged.problem
    names = np.array([edge.job.name for edge in rig.edges])
    same = np.array([names == names[m.edge] for m in moves])
    origins = [int(one.origin[m.edge]) for m in moves]
    begins = [m.begins for m in moves]
    many = len(moves)
    full = replace(one, carry=np.repeat(one.carry, many, axis=0), job=np.repeat(one.job, many, axis=0))
    without = replace(full, job=np.where(same[:, None, :], np.inf, one.job))
    waiting = forward(replace(full, job=np.full_like(full.job, np.inf)), np.array(origins), np.array(begins))
    starts = start_costs(full, waiting, np.repeat(value, many, axis=0), same)
    missed_values = backward(without)
    never = missed_values[np.arange(many), begins, origins, UP]
    return tuple(_task(judged, moves, k, starts[k], float(never[k]), missed_values[k : k + 1], without) for k in range(len(moves)))


def _task(judged: Judged, moves: list[Move], k: int, starts: Floats, never: float, missed_value: Floats, without: Problem) -> Task:
    move, night = moves[k], judged.night
    edge = night.rig.edges[move.edge]
    found = judged.chance_of(edge.job)
    windows = deck_windows(found, night.aims.window_chance)
    window = next((w for w in windows if w.first <= move.begins <= w.last), None)
    closes, reason = _closes(move.begins, window, starts, never)
    origin = edge.origin
    missed_moves = trace(without, np.repeat(missed_value, len(moves), axis=0), k, origin, at=move.begins)
    missed_carried = states_of(without, missed_moves, origin, at=move.begins)
    missed_carried[: move.begins] = -1
    missed = Missed(
        moves=tuple(missed_moves), carried=missed_carried, risk=risk_of(judged, missed_carried, missed_moves),
        dearer=never - float(starts[move.begins]),
    )  # fmt: skip
    return Task(
        move=move, job=edge.job, origin=origin, target=edge.target, begins=move.begins,
        ends=move.done, window=window, closes=closes, closes_reason=reason,
        chance=float(found.chance[move.begins]), if_missed=missed,
    )  # fmt: skip


def _closes(begins: int, window: DeckWindow | None, starts: Floats, never: float) -> tuple[int, Reason]:
    """The last start in its deck window that still keeps half of what the job gains over never doing it, and what shuts it."""
    if window is None:
        return begins, Reason.UNKNOWN
    better = starts[begins : window.last + 1] < never - STILL_WORTH * (never - starts[begins]) - 1e-9
    last = begins + int(np.flatnonzero(better)[-1]) if better.any() else begins
    return last, window.reason if last == window.last else Reason.TOO_LATE
