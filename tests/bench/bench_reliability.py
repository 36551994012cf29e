"""Does the stated chance of a hard limit come true? Orders for the next day, each held against the weather that then came (prints a table).

    python -m tests.bench.bench_reliability [FIRST SEED] [SEEDS]

Invented storms (`fixtures.storms`). Every twelve hours of each passage the orders are made, from the rig state that following them has led
to; their stated chance is the weight of the weathers in which a hard limit is met within a day if they are followed to the letter. In the
truth they are followed to the letter too: nothing is renewed, no one acts upon what is outside. Seeds below 1000 are not looked into.
"""

import sys
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from tests.bench.bench_replay import ROOT
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.orders.schedule import judge, over_limits, quick_moves
from watch.service.aboard import met_of
from watch.service.replay.invented import storms
from watch.service.replay.outside import Outside
from watch.service.replay.passages import Asking, outside_of, storm_passage
from watch.service.replay.planning import LOOK_AHEAD_STEPS, weathers_of
from watch.service.replay.play import play
from watch.service.replay.policies import RUNS, policy
from watch.weather.squalls_seen import squalls_seen, with_squalls_seen

EVERY_STEPS, DAY_STEPS = 72, 144
BINS = (0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 1.01)


def stated_and_met(outside: Outside) -> Iterator[tuple[float, bool]]:
    """Of the orders of every twelve hours: the chance of a hard limit within a day, and whether one was met."""
    played = play(outside, policy("ours", outside))
    begun = {step for move in played.moves for step in range(move.begins, move.over)}
    for step in range(36, outside.met.steps - DAY_STEPS, EVERY_STEPS):
        if step in begun:
            continue
        known = outside.known(step, int(played.carried[step]), frozenset())
        newest = sorted(known.forecasts, key=lambda f: f.run, reverse=True)[:RUNS]
        scenarios = weathers_of(known, newest).between(step, step + LOOK_AHEAD_STEPS)
        scenarios = with_squalls_seen(scenarios, squalls_seen(known.seen.gust_ms))
        way = outside.ship.way.part(step, step + scenarios.sizes["time"])
        met = met_of(outside.ship.rig.boat, way, scenarios)
        night = outside.ship.night(met.cut(met.known_steps()))
        moves = quick_moves(night, known.state, up=not known.asleep)
        carried = np.full(met.known_steps(), known.state)
        for move in moves:
            carried[move.done :] = outside.ship.rig.edges[move.edge].target
        day = slice(step, step + DAY_STEPS)
        own = outside.truth
        happens = met_of(outside.ship.rig.boat, outside.ship.way.part(step, step + met.known_steps()), own.scenarios().isel(
            time=slice(step, step + met.known_steps())))
        assert day.stop <= own.steps
        over, _ = over_limits(judge(night, reasons=False), carried, moves)
        true, _ = over_limits(judge(outside.ship.night(happens), reasons=False), carried, moves)
        yield float(met.weight @ (~(over[:, :DAY_STEPS] <= 0.0)).any(axis=1)), bool((~(true[:, :DAY_STEPS] <= 0.0)).any())


def main() -> None:
    first, count = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 1000), (2, 60)))
    own = read_boat(ROOT / "config" / "boat-sloop.toml")
    asking = Asking(boat=own, state=parse_state(own, ""), policies=("ours",))
    found = np.array([pair for seed in range(first, first + count) for pair in stated_and_met(outside_of(storm_passage(storms(), seed), asking))])
    print(f"seeds {first} to {first + count - 1}: {len(found)} orders; stated {100 * found[:, 0].mean():.1f} %, met {100 * found[:, 1].mean():.1f} %")
    for low, high in pairwise(BINS):
        on = (found[:, 0] >= low) & (found[:, 0] < high)
        if on.any():
            print(f"stated {100 * low:5.1f} to {100 * min(high, 1.0):5.1f} %: {on.sum():5d} orders, stated {100 * found[on, 0].mean():5.1f} %, "
                  f"met {100 * found[on, 1].mean():5.1f} %")  # fmt: skip


if __name__ == "__main__":
    main()
