"""Three days of a watch in some minutes: the rehearsal's weather come early or late, stronger or weaker, played to `stand`; a summary.

    python -m tests.bench.bench_storm [--hours 72] [--early 2] [--strength 1.15] [--hold 1]

What is played waits every --hold hours until the watch has made orders of then.

Nobody does what the orders say. Printed: every pass with what it made of the instruments, the alerts by name with how often each called,
and how many hours of wind and how much of the track the store has.
"""

import argparse
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

from tests.storm_stood import Played, Stood, stand_a_storm


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for name, usual in (("hours", 72.0), ("early", 2.0), ("strength", 1.15), ("hold", 1.0)):
        parser.add_argument(f"--{name}", type=float, default=usual)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        told(stand_a_storm(Path(scratch), Played(hours=given.hours, early_h=given.early, strength=given.strength, hold_h=given.hold)))


def told(stood: Stood) -> None:
    print(f"{stood.seconds:.0f} s, exit code {stood.exit_code}, {len(stood.orders)} orders")
    for orders in stood.orders:
        found, limit = orders.compared, f"hard limit {orders.hard_chance:4.0%}"
        early = "" if found is None or found.hours_early is None else f" {found.hours_early:+.1f} +- {found.hours_early_sd:.1f} h, x {found.strength}"
        print(f"{orders.made_at:%a %H:%M}  {limit}  {len(orders.jobs)} jobs {early}  {'' if found is None else found.glance or '-'}")
    calls = Counter(event.alert for event in stood.events if event.kind == "Call")
    print(f"{sum(calls.values())} calls: " + ", ".join(f"{name} {count}" for name, count in calls.most_common()))
    known = np.isfinite([step.mean_ms for step in stood.steps])
    print(f"{known.sum() / 6:.1f} h of wind in {len(known)} steps, {len(stood.track)} positions; a traceback: {'Traceback' in stood.printed}")


if __name__ == "__main__":
    main()
