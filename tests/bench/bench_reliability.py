"""Does the stated chance of a hard limit come true? Orders for the next day, each held against the weather that then came (prints a table).

    python -m tests.bench.bench_reliability [FIRST SEED] [SEEDS]

Invented storms (`fixtures.storms`). Every twelve hours of each passage the orders are made, from the rig state that following them has led
to; their stated chance is that of a hard limit within a day if they are followed to the letter: by the forecast's own weathers, and with squalls
that are in none of them. In the truth they are followed to the letter too: nothing is renewed, no one acts upon what is outside. Seeds below
1000 are not looked into. Then the same for the passages through the real series, when it lies beside the project.
"""

import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from tests.bench.bench_replay import ROOT, STATION
from tests.bench.observed_passages import passage as observed_passage
from tests.bench.observed_passages import starts
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.orders.schedule import Night, Risk, judge, quick_moves, risk_of
from watch.orders.solve import Move, states_of
from watch.service.aboard import met_of
from watch.service.replay.invented import storms
from watch.service.replay.outside import Outside
from watch.service.replay.passages import Asking, Passage, outside_of, storm_passage
from watch.service.replay.planning import LOOK_AHEAD_STEPS, weathers_of
from watch.service.replay.play import play
from watch.service.replay.policies import RUNS, policy
from watch.weather.squalls_seen import squalls_seen, with_squalls_seen

EVERY_STEPS, DAY_STEPS = 72, 144
BINS = (0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 1.01)


def stated_and_met(outside: Outside) -> Iterator[tuple[float, float, bool]]:
    """Of the orders of every twelve hours: the chance of a hard limit within a day by the forecast's weathers and in all, and whether
    one was met."""
    played = play(outside, policy("ours", outside))
    begun = {step for move in played.moves for step in range(move.begins, move.over)}
    ship = outside.ship
    for step in range(36, outside.met.steps - DAY_STEPS, EVERY_STEPS):
        if step in begun:
            continue
        known = outside.known(step, int(played.carried[step]), frozenset())
        newest = sorted(known.forecasts, key=lambda f: f.run, reverse=True)[:RUNS]
        scenarios = weathers_of(known, newest).between(step, step + LOOK_AHEAD_STEPS)
        scenarios = with_squalls_seen(scenarios, squalls_seen(known.seen.gust_ms))
        met = met_of(ship.rig.boat, ship.way.part(step, step + scenarios.sizes["time"]), scenarios)
        night = ship.night(met.cut(met.known_steps()), unforecast=ship.unforecast)
        steps = slice(step, step + night.met.steps)
        happens = met_of(ship.rig.boat, ship.way.part(steps.start, steps.stop), outside.truth.scenarios().isel(time=steps))
        moves = quick_moves(night, known.state, up=not known.asleep)
        stated, true = (_of_the_day(one, known.state, moves) for one in (night, ship.night(happens)))
        yield stated.forecast_chance, stated.hard_chance, true.hard_chance > 0.5


def _of_the_day(night: Night, state: int, moves: Sequence[Move]) -> Risk:
    """What is risked within a day when these moves are made from this state."""
    judged = judge(night, reasons=False)
    carried = states_of(judged.problem, list(moves), state)
    carried[DAY_STEPS:] = -1
    return risk_of(judged, carried, [replace(m, done=min(m.done, DAY_STEPS)) for m in moves if m.begins < DAY_STEPS])


def report(about: str, passages: Iterable[Passage], asking: Asking) -> None:
    """Prints what was stated and what was met."""
    found = np.array([triple for one in passages for triple in stated_and_met(outside_of(one, asking))])
    print(f"{about}: {len(found)} orders; stated by the forecast {100 * found[:, 0].mean():.1f} %, in all {100 * found[:, 1].mean():.1f} %, "
          f"met {100 * found[:, 2].mean():.1f} %")  # fmt: skip
    for low, high in pairwise(BINS):
        on = (found[:, 1] >= low) & (found[:, 1] < high)
        if on.any():
            print(f"stated {100 * low:5.1f} to {100 * min(high, 1.0):5.1f} %: {on.sum():5d} orders, stated {100 * found[on, 1].mean():5.1f} %, "
                  f"met {100 * found[on, 2].mean():5.1f} %", flush=True)  # fmt: skip


def main() -> None:
    first, count = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 1000), (2, 60)))
    own = read_boat(ROOT / "config" / "boat-sloop.toml")
    asking = Asking(boat=own, state=parse_state(own, ""), policies=("ours",))
    report(f"seeds {first} to {first + count - 1}", (storm_passage(storms(), seed) for seed in range(first, first + count)), asking)
    if STATION.exists():
        report("real ten-minute wind of 2020", (observed_passage(STATION, start) for start in starts(STATION)), asking)


if __name__ == "__main__":
    main()
