"""What squalls that no forecast shows cost: little where she sees one coming and can shorten at once, much where it finds her.

says: a squall above the hard limit of what is carried counts in full in the dark, in her sleeping hours, and when no quick job from the
cockpit would take sail off her just then; by day, when she is up and there is such a job, it counts for little.
why: by day a squall is seen coming and the genoa is rolled in a few minutes; asleep, or in the dark, it is not seen.
example: under full main and genoa, hard limit 28, by day: main alone, limit 31, is ten minutes away; at night nobody looks out.
source: unforecast-1 for how often they come; what they weigh is judgement (`squall_caught`, `squall_seen` in `watch.orders.weights`).
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Place
from watch.boat.rig import Rig
from watch.orders.carry import Carriage
from watch.orders.met import Met
from watch.orders.weights import Weights
from watch.orders.windows import Chances
from watch.when import STEP_MINUTES

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def squall_cost(
    rig: Rig, met: Met, found: Carriage, weights: Weights, seen: Bools, by_job: Mapping[str, Chances], asked: float
) -> Floats:
    """(T, N): points of each step in each state for squalls that are in no weather. seen (T): whether one would be seen coming;
    asked: the chance with which a deck window is open.

    Independent of the weathers and of each other, they add up: no scenario holds any of them.
    """
    chance = np.empty((met.steps, len(rig.states)))
    done: dict[int, int] = {}
    for n, carried in enumerate(found.of_state):
        chance[:, n] = chance[:, done[id(carried)]] if id(carried) in done else met.weight @ carried.unforecast_chance
        done.setdefault(id(carried), n)
    ready = np.zeros(chance.shape, dtype=bool)
    for edge in rig.edges:
        if edge.job.place is Place.COCKPIT and edge.job.minutes <= STEP_MINUTES:
            can = seen & by_job[edge.job.name].enough(asked)
            ready[:, edge.origin] |= can & (chance[:, edge.target] < chance[:, edge.origin])
    return np.where(ready, weights.squall_seen, weights.squall_caught) * chance
