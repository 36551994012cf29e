"""The cheapest path over time x rig state: the dynamic program, forward and backward, many variants at once.

Costs are points (see watch.orders.weights). Time is the ten-minute grid with T steps; N rig states; E edges (jobs); B variants.
She is either *up* (1: called, dressed, working) or *settled* (0). A job wants her up; being called costs a wake; being up
in her sleeping hours costs by the step. A job fills its own steps and the rest after it; then she is up in the new state.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SETTLED, UP = 0, 1
TINY = 1e-9


@dataclass(frozen=True, kw_only=True)
class Problem:
    """carry (B, T, N): cost of each step in each state. job (B, T, E): cost of a job begun at each step, inf where it may not be.
    steps (E): how many steps each job fills, rest included, at least 1; work (E): in how many of them she is not yet in the
    new state. origin, target (E): states. wake, up (T): costs of being called and of staying up."""

    carry: Floats
    job: Floats
    steps: Ints
    work: Ints
    origin: Ints
    target: Ints
    wake: Floats
    up: Floats

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """(B, T, N, E)."""
        b, t, n = self.carry.shape
        return b, t, n, len(self.steps)

    @cached_property
    def by_origin(self) -> "Grouping":
        return Grouping.of(self.origin)

    @cached_property
    def by_target(self) -> "Grouping":
        return Grouping.of(self.target)


@dataclass(frozen=True, kw_only=True)
class Grouping:
    """Edges sorted by a state, so that the least over the edges of each state is one reduction."""

    order: Ints
    starts: Ints
    states: Ints

    @classmethod
    def of(cls, key: Ints) -> "Grouping":
        order = np.argsort(key, kind="stable")
        states, starts = np.unique(key[order], return_index=True)
        return cls(order=order, starts=starts, states=states)

    def least(self, values: Floats, count: int) -> Floats:
        """(B, E) -> (B, N): the least value of each state's edges, inf where it has none."""
        out = np.full((values.shape[0], count), np.inf)
        if len(self.order):
            out[:, self.states] = np.minimum.reduceat(values[:, self.order], self.starts, axis=1)
        return out


def backward(p: Problem) -> Floats:
    """Problem -> value (B, T + 1, N, 2): the least cost from each step on, from each state, settled or up."""
    b, t_end, n, _ = p.shape
    value = np.zeros((b, t_end + 1, n, 2))
    for t in range(t_end - 1, -1, -1):
        nxt = value[:, t + 1]
        go = _best_job(p, value, t)
        stay_settled = p.carry[:, t] + nxt[:, :, SETTLED]
        stay_up = p.carry[:, t] + p.up[t] + np.minimum(nxt[:, :, SETTLED], nxt[:, :, UP])
        value[:, t, :, SETTLED] = np.minimum(stay_settled, go + p.wake[t])
        value[:, t, :, UP] = np.minimum(np.minimum(stay_up, stay_settled), go)
    return value


def _best_job(p: Problem, value: Floats, t: int) -> Floats:
    """(B, N): the least cost of beginning some job at step t, being up."""
    return p.by_origin.least(_job_values(p, value, t), p.shape[2])


def _job_values(p: Problem, value: Floats, t: int) -> Floats:
    """(B, E): cost of each job begun at t and all that follows."""
    end = t + p.steps
    fits = end <= p.shape[1]
    follows = value[:, np.minimum(end, p.shape[1]), p.target, UP]
    return np.where(fits, p.job[:, t] + follows, np.inf)


@dataclass(frozen=True, kw_only=True)
class Move:
    """A job of the schedule: edge index, the step it begins at, the first step in the new state, the step when its rest is over."""

    edge: int
    begins: int
    done: int
    over: int


def trace(p: Problem, value: Floats, b: int, state: int, *, at: int = 0, up: bool = True) -> list[Move]:
    """The schedule of variant b from a state at step `at`: its moves in order. Staying is preferred to moving at equal cost."""
    moves, t, n, level = [], at, state, UP if up else SETTLED
    carry, v, jobs = p.carry[b], value[b], _jobs_of_one(p, value, b)
    seen: dict[int, tuple[Ints, Floats]] = {}
    while t < p.shape[1]:
        stay = carry[t, n] + v[t + 1, n, SETTLED]
        stay_up = carry[t, n] + p.up[t] + v[t + 1, n, UP] if level == UP else np.inf
        if n not in seen:
            seen[n] = _best_from(jobs, np.flatnonzero(p.origin == n))
        best, cost = int(seen[n][0][t]), seen[n][1][t] + (p.wake[t] if level == SETTLED else 0.0)
        if cost < min(stay, stay_up) - TINY:
            moves.append(Move(edge=best, begins=t, done=t + int(p.work[best]), over=t + int(p.steps[best])))
            t, n, level = moves[-1].over, int(p.target[best]), UP
            continue
        level = UP if stay_up < stay - TINY else SETTLED
        t += 1
    return moves


def _jobs_of_one(p: Problem, value: Floats, b: int) -> Floats:
    """(T, E): for variant b, the cost of each job begun at each step and all that follows."""
    t_end = p.shape[1]
    end = np.arange(t_end)[:, None] + p.steps
    follows = value[b][np.minimum(end, t_end), p.target, UP]
    return np.where(end <= t_end, p.job[b] + follows, np.inf)


def _best_from(jobs: Floats, edges: Ints) -> tuple[Ints, Floats]:
    """Of these edges the best at each step (T), and its cost; inf where there is none."""
    if not len(edges):
        return np.zeros(len(jobs), dtype=np.int64), np.full(len(jobs), np.inf)
    theirs = jobs[:, edges]
    return edges[theirs.argmin(axis=1)], theirs.min(axis=1)


def states_of(p: Problem, moves: list[Move], state: int, *, at: int = 0) -> Ints:
    """Moves from a state -> the rig state carried at each step (T), -1 before `at`; while a job is in hand, the one it leaves."""
    carried = np.full(p.shape[1], -1, dtype=np.int64)
    carried[at:] = state
    for move in moves:
        carried[move.begins :] = p.origin[move.edge]
        carried[move.done :] = p.target[move.edge]
    return carried


def forward(p: Problem, start: Ints, at: Ints, *, up: bool = True) -> Floats:
    """The least cost (B, T + 1, N, 2) of being in each state at each step, from state start[b] at step at[b]; inf if never."""
    b, t_end, n, _ = p.shape
    cost = np.full((b, t_end + 1, n, 2), np.inf)
    rows = np.arange(b)
    cost[rows, at, start, UP if up else SETTLED] = 0.0
    for t in range(int(at.min(initial=0)), t_end + 1):
        if t > 0:
            _arrive(p, cost, t)
        cost[:, t, :, SETTLED] = np.minimum(cost[:, t, :, SETTLED], cost[:, t, :, UP])
    return cost


def _arrive(p: Problem, cost: Floats, t: int) -> None:
    before = cost[:, t - 1]
    carry = p.carry[:, t - 1]
    np.minimum(cost[:, t, :, SETTLED], before[:, :, SETTLED] + carry, out=cost[:, t, :, SETTLED])
    begun = t - p.steps
    possible = begun >= 0
    at = np.maximum(begun, 0)
    up = np.minimum(cost[:, at, p.origin, UP], cost[:, at, p.origin, SETTLED] + p.wake[at])
    edges = np.arange(p.shape[3])
    values = np.where(possible, up + p.job[:, at, edges], np.inf)
    arrived = p.by_target.least(values, p.shape[2])
    stayed = before[:, :, UP] + carry + p.up[t - 1]
    np.minimum(cost[:, t, :, UP], np.minimum(arrived, stayed), out=cost[:, t, :, UP])


def start_costs(p: Problem, cost: Floats, value: Floats, edge: NDArray[np.bool_]) -> Floats:
    """(B, T): the least whole cost when one of the marked edges (B, E) is first begun at each step; inf where it cannot be.

    cost: from forward() of a problem without those edges (she may do other jobs before) or without any (she waits as she is); value:
    from backward() of the whole problem.
    """
    b, t_end, _, _ = p.shape
    out = np.full((b, t_end), np.inf)
    for t in range(t_end):
        up = np.minimum(cost[:, t, :, UP], cost[:, t, :, SETTLED] + p.wake[t])
        whole = up[:, p.origin] + _job_values(p, value, t)
        out[:, t] = np.where(edge, whole, np.inf).min(axis=1)
    return out
