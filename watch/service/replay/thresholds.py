"""How a sailor by thresholds acts: when a number is passed she makes the least change that would carry the wind there is now."""

import heapq
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from watch.boat.rig import Rig
from watch.orders.schedule import work_steps
from watch.service.replay.outside import Known
from watch.when import STEPS_PER_HOUR

Bools = NDArray[np.bool_]

# Judgement, all of it: a sailor of some prudence. She is what the orders are compared with, so she is not made foolish.
SPARE = 1.10  # she takes in enough that the wind may rise by a tenth before the next change
EASED = 1.20  # and makes sail when the strongest of the last hour could rise by a fifth inside the larger sail plan's limits
EASED_STEPS = 1 * STEPS_PER_HOUR
WORTH_KN = 0.3  # made good: for less she does not bother
PLACE_EFFORT = {"cockpit": 1.0, "mast": 1.5, "foredeck": 3.0}  # minutes weigh by place when she looks for the least work


def shorten(known: Known, near: float = 1.0) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """When a limit was passed in the last step: the edge to begin now (or none), and the edge wanted in vain (or none).

    She wants the least work that leads to a state which carries the present wind with something to spare, or at least carries it, by
    jobs that can be done now. When there is none she wants in vain what shuts the least work that would have done, and does the one
    possible job that leaves her least over her limits.
    """
    if known.felt.carries(1, near)[known.state]:
        return (), ()
    rig, can = known.ship.rig, known.can
    enough = [known.felt.carries(1, factor) for factor in (SPARE * near, near)]
    for carries in enough:
        way = least_work(rig, known.state, carries, lambda edge: bool(can[edge]))
        if way:
            return (way[0],), ()
    ideal = next((way for carries in enough if (way := least_work(rig, known.state, carries, lambda _: True))), [])
    return _least_over(known), tuple(edge for edge in ideal if not can[edge])[:1]


def make_sail(known: Known) -> tuple[int, ...]:
    """When the wind has eased: the first job towards the fastest state that jobs possible now lead to and that would have carried the
    whole last hour with plenty to spare; nothing when nothing is gained, or in her sleeping hours."""
    if known.asleep or known.step < EASED_STEPS or not known.felt.carries(EASED_STEPS, EASED)[known.state]:
        return ()
    fits = known.felt.carries(EASED_STEPS, EASED) & (known.made_good > known.made_good[known.state] + WORTH_KN)
    for target in sorted(np.flatnonzero(fits).tolist(), key=lambda n: -float(known.made_good[n])):
        way = least_work(known.ship.rig, known.state, _only(target, len(fits)), lambda edge: bool(known.can[edge]))
        if way:
            return (way[0],)
    return ()


def _only(state: int, count: int) -> Bools:
    only = np.zeros(count, dtype=bool)
    only[state] = True
    return only


def least_work(rig: Rig, state: int, wanted: Bools, usable: Callable[[int], bool]) -> list[int]:
    """The edges of the least work from a state to any wanted one (N) by usable edges; empty when there is none, or none is needed."""
    queue: list[tuple[float, int, tuple[int, ...]]] = [(0.0, state, ())]
    seen: set[int] = set()
    while queue:
        effort, here, way = heapq.heappop(queue)
        if here in seen:
            continue
        seen.add(here)
        if wanted[here]:
            return list(way)
        for e, edge in enumerate(rig.edges):
            if edge.origin == here and edge.target not in seen and usable(e):
                more = work_steps(edge.job) * PLACE_EFFORT[edge.job.place]
                heapq.heappush(queue, (effort + more, edge.target, (*way, e)))
    return []


def _least_over(known: Known) -> tuple[int, ...]:
    """The one possible job that leaves her least over hard, then over working limits, and less than now; empty when none does."""
    over = list(zip(known.felt.over_hard_kn().tolist(), known.felt.over_working_kn().tolist(), strict=True))
    ways = [(over[edge.target], e) for e, edge in enumerate(known.ship.rig.edges) if edge.origin == known.state and known.can[e]]
    better = [way for way in ways if way[0] < over[known.state]]
    return (min(better)[1],) if better else ()
