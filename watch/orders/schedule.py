"""The sail schedule: which jobs, when, until when each can still be done, and what becomes of her if one is missed.

The cheapest path over time x rig state for *all* scenarios at once: one list of times, renewed at each forecast; it never sees the
future. The joint chance of meeting a hard limit along it is counted over the scenarios, and the weight of the hard limit is raised
until the asked-for ceiling is met or no dearer weight helps.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Job
from watch.boat.rig import Rig
from watch.orders.carry import Carriage, carriage, running_cost
from watch.orders.met import Met, share
from watch.orders.reasons import Reason
from watch.orders.solve import UP, Move, Problem, backward, forward, start_costs, states_of, trace
from watch.orders.weights import Aims, Weights
from watch.orders.windows import Chances, DeckWindow, chances, deck_windows
from watch.passage.speed import SpeedTable
from watch.when import STEPS_PER_HOUR, steps_for

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STILL_WORTH = 0.5  # judgement: a start that keeps less than half of what the job is worth is too late: the early, safe side
HARDER = 10.0  # how much dearer the hard limit is made at each try
TRIES = 3
PLACE_WEIGHTS = {
    "cockpit": ("job_cockpit", "dark_cockpit"), "mast": ("job_mast", "dark_mast"), "foredeck": ("job_foredeck", "dark_foredeck"),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Night:
    """Everything the schedule is made from: boat, weather and what the sailor asks for. asleep (T): her sleeping hours.

    barred: jobs found impossible on deck just now, by name, and the step before which they are not begun again."""

    rig: Rig
    met: Met
    table: SpeedTable
    asleep: Bools
    aims: Aims = field(default_factory=Aims)
    weights: Weights = field(default_factory=Weights)
    barred: Mapping[str, int] = field(default_factory=dict)

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


@dataclass(frozen=True, kw_only=True)
class Risk:
    """Counted over scenarios, never multiplied: the chance of any gust above the hard limit, when first likely, hours above limits."""

    hard_chance: float
    hard_first_step: int | None
    hard_hours: float
    working_hours: float
    worst_over_hard_kn: float


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
        return self.risk.hard_chance <= self.judged.night.aims.hard_ceiling + 1e-12


def judge(night: Night, hard_times: float = 1.0, *, reasons: bool = True) -> Judged:
    """night -> its chances (with reasons, unless they are not wanted), carriage and the costs of the dynamic program."""
    found = {edge.job.name: edge.job for edge in night.rig.edges}
    by_job = {name: chances(job, night.met, apparent=night.apparent, reasons=reasons) for name, job in found.items()}
    for name, first in night.barred.items():
        if name in by_job:
            open_ = np.where(np.arange(night.met.steps) < first, 0.0, by_job[name].chance)
            by_job[name] = replace(by_job[name], chance=open_)
    carried = carriage(night.rig, night.met, night.table)
    return Judged(night=night, chances=by_job, carriage=carried, problem=problem_of(night, by_job, carried, hard_times))


def problem_of(night: Night, by_job: dict[str, Chances], carried: Carriage, hard_times: float) -> Problem:
    """The costs of a night as the dynamic program wants them (one variant)."""
    rig, weights = night.rig, night.weights
    carry = running_cost(rig, night.met, carried, weights, hard_times)
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


def risk_of(judged: Judged, carried: Ints, moves: list[Move] | tuple[Move, ...]) -> Risk:
    """The states carried at each step (T; -1 is not counted) -> what is risked; a job in hand is held to the stricter of two."""
    met = judged.night.met
    over_hard, over_working = over_limits(judged, carried, moves)
    hits = ~(over_hard <= 0.0)
    by_step = share(met, hits)
    likely = np.flatnonzero(by_step >= 0.5 * by_step.max(initial=0.0)) if by_step.any() else np.array([], dtype=int)
    return Risk(
        hard_chance=float(met.weight @ hits.any(axis=1)),
        hard_first_step=int(likely[0]) if len(likely) else None,
        hard_hours=float(by_step.sum()) / STEPS_PER_HOUR,
        working_hours=float(share(met, ~(over_working <= 0.0)).sum()) / STEPS_PER_HOUR,
        worst_over_hard_kn=float(np.nan_to_num(over_hard, nan=0.0).max(initial=0.0)),
    )


def over_limits(judged: Judged, carried: Ints, moves: list[Move] | tuple[Move, ...]) -> tuple[Floats, Floats]:
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
        chance = risk_of(judged, states_of(judged.problem, moves, start), moves).hard_chance
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
