"""Plays a policy against the weather, ten minutes at a time. A job in hand takes its minutes and cannot be stopped; then she rests."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watch.orders.schedule import busy_steps, work_steps
from watch.orders.solve import Move
from watch.service.replay import thresholds
from watch.service.replay.outside import Known, Outside

Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What a policy wants now: edges in order of preference, the first that can be begun is; and what it remembers until it is asked
    again."""

    edges: tuple[int, ...] = ()
    memory: Any = None


Policy = Callable[[Known, Any], Choice]
"""What is known now, and what the policy remembered -> what it wants. It is given nothing else, and keeps nothing else."""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A job wanted at a step and not possible then: by the policy; or, while it did nothing, by anyone who saw a limit passed."""

    step: int
    edge: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """What was done: moves in order, the state carried at each step (T; while a job is in hand, the one it leaves), what was wanted
    in vain."""

    moves: tuple[Move, ...]
    carried: Ints
    in_vain: tuple[Wanted, ...]


def play(outside: Outside, policy: Policy) -> Played:
    """The weather outside and a policy -> what was done from the first step to the last."""
    ship, steps = outside.ship, outside.met.steps
    carried = np.zeros(steps, dtype=np.int64)
    moves: list[Move] = []
    in_vain: list[Wanted] = []
    state, free, memory = 0, 1, None
    refused: frozenset[str] = frozenset()
    for step in range(steps):
        carried[step] = state
        if moves and step == moves[-1].done:
            state = ship.rig.edges[moves[-1].edge].target
            carried[step] = state
        if step < free:
            continue
        known = outside.known(step, state, refused)
        choice = policy(known, memory)
        memory = choice.memory
        done, vain = _first_possible(outside, step, state, choice.edges)
        wanted = vain if done is not None else [*vain, *thresholds.shorten(known)[1]]
        in_vain += [Wanted(step=step, edge=edge) for edge in dict.fromkeys(wanted)]
        refused = frozenset(ship.rig.edges[edge].job.name for edge in vain)
        if done is not None:
            job = ship.rig.edges[done].job
            moves.append(Move(edge=done, begins=step, done=step + work_steps(job), over=step + busy_steps(job, ship.aims)))
            free = moves[-1].over
    return Played(moves=tuple(moves), carried=carried, in_vain=tuple(in_vain))


def _first_possible(outside: Outside, step: int, state: int, edges: tuple[int, ...]) -> tuple[int | None, list[int]]:
    """The first edge that can be begun, and the edges before it that could not."""
    vain: list[int] = []
    for edge in edges:
        if outside.ship.rig.edges[edge].origin != state:
            raise ValueError(f"a policy wants “{outside.ship.rig.edges[edge].job.name}” from a state she is not in")
        if outside.can[step, edge]:
            return edge, vain
        vain.append(edge)
    return None, vain
