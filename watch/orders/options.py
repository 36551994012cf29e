"""Options shut by a choice: which sail plans of hers can no longer be come to in time after it, from when, and when again.

says: from a rig state at a time, a sail plan is open when some chain of jobs leads to it within hours (SOON), each begun in its deck window,
one at a time, with rest between. Doing a job shuts what is open without it and not after it; so does letting its closing time pass.
why: the easy choice now can shut the better one later, and nothing tells of it until it is wanted. example: the big headsail left on the
only stay shuts the storm jib from the hour in which it can no longer be brought down until the gale is over. source: earliest arrival over
the graph of jobs; judgement: a plan that is hours away is not open, since it is wanted before; looked at every hour, rounded down.
"""

from dataclasses import dataclass
from functools import cached_property
from heapq import heappop, heappush

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting
from watch.boat.rig import Rig
from watch.orders.schedule import Judged, Task, busy_steps
from watch.orders.weights import Aims
from watch.when import STEPS_PER_HOUR

Ints = NDArray[np.int64]

SOON = 6 * STEPS_PER_HOUR  # judgement: a sail plan that she cannot be in within six hours is not open
ABEAM_DEG = 90.0


@dataclass(frozen=True, kw_only=True)
class Shut:
    """A sail plan that a choice shuts. last: the last step at which its chain could still be begun in time without the choice; again: the
    first step at which she can be in it after the choice, None for never. hard_kn: its hard limit with the wind abeam."""

    sail_plan: str
    last: int
    again: int | None
    hard_kn: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Ways:
    """The jobs of a night by the steps at which they may be begun. next_open (jobs by name): for each step the next at which the deck
    window is open, `steps` for none."""

    rig: Rig
    aims: Aims
    steps: int
    next_open: dict[str, Ints]

    @cached_property
    def edges_of(self) -> list[list[tuple[int, str, int]]]:
        """For each state its edges: (target, job, steps that it fills)."""
        out: list[list[tuple[int, str, int]]] = [[] for _ in self.rig.states]
        for edge in self.rig.edges:
            out[edge.origin].append((edge.target, edge.job.name, busy_steps(edge.job, self.aims)))
        return out

    def soonest(self, state: int, step: int) -> dict[str, int]:
        """The named sail plans that can be come to from a state at a step, and the first step at which she can be in each."""
        found = {state: step}
        queue = [(step, state)]
        while queue:
            at, here = heappop(queue)
            if at > found[here]:
                continue
            for target, job, busy in self.edges_of[here]:
                begins = int(self.next_open[job][at]) if at < self.steps else self.steps
                if begins < self.steps and begins + busy < found.get(target, self.steps + 1):
                    found[target] = begins + busy
                    heappush(queue, (begins + busy, target))
        plans: dict[str, int] = {}
        for s, at in found.items():
            plan = self.rig.plans[s]
            if plan is not None and self.rig.mode_of(s) is None:
                plans[plan.name] = min(at, plans.get(plan.name, at))
        return plans

    def open_in_time(self, state: int, step: int) -> set[str]:
        """The named sail plans that she can be in within SOON of a step."""
        return {name for name, at in self.soonest(state, step).items() if at <= step + SOON}


def ways_of(judged: Judged) -> Ways:
    """Everything judged of a night -> the ways through it."""
    steps, aims = judged.night.met.steps, judged.night.aims
    at = np.arange(steps)
    found = {}
    for name, chances in judged.chances.items():
        opens = np.where(chances.enough(aims.window_chance), at, steps)
        found[name] = np.minimum.accumulate(opens[::-1])[::-1].astype(np.int64)
    return Ways(rig=judged.night.rig, aims=aims, steps=steps, next_open=found)


def shut_by_doing(ways: Ways, task: Task) -> tuple[Shut, ...]:
    """Sail plans that are open before a job is begun and not after it, the stoutest first."""
    after = min(task.begins + busy_steps(task.job, ways.aims), ways.steps)
    return _shut(ways, task, task.target, after)


def shut_by_waiting(ways: Ways, task: Task) -> tuple[Shut, ...]:
    """Sail plans that are open from where she is when a job is to be begun, and no more when its closing time has passed without it, the
    stoutest first; none when it does not close."""
    return () if task.closes + 1 >= ways.steps else _shut(ways, task, task.origin, task.closes + 1)


def _shut(ways: Ways, task: Task, state: int, step: int) -> tuple[Shut, ...]:
    """What is open at the beginning of a job, and not in a state at a later step."""
    then = ways.soonest(state, step)
    lost = ways.open_in_time(task.origin, task.begins) - {name for name, at in then.items() if at <= step + SOON}
    if not lost:
        return ()
    last, at = dict.fromkeys(lost, task.begins), task.begins
    left = set(lost)
    while left and at + STEPS_PER_HOUR < ways.steps:
        at += STEPS_PER_HOUR
        left &= ways.open_in_time(task.origin, at)
        last.update(dict.fromkeys(left, at))
    hard = {p.name: float(lasting(p, np.array([ABEAM_DEG]))[1][0]) for p in ways.rig.plans if p is not None and p.name in lost}
    found = [Shut(sail_plan=n, last=last[n], again=then.get(n), hard_kn=hard[n]) for n in lost]
    return tuple(sorted(found, key=lambda s: (-s.hard_kn, s.sail_plan)))
