"""What looking ahead is worth: the share of the gap between acting by thresholds and perfect foresight that the orders close.

    python -m tests.bench.bench_replay [--storms 200] [--seed 0] [--workers 2] [--keep FOLDER] [--boat sloop]

Invented storms (`fixtures.storms`), whose forecasts are wrong in another way than the scenarios assume, and, where the folder of real
series lies beside the project, six-day passages through a year of real ten-minute wind (`observed_passages`). Nothing was tuned on seeds
below 1000. Prints for each the table by policy, the shares with their bootstrap intervals, and the seconds a passage takes.
"""

import argparse
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from fixtures.storm_events import Kind, passage
from tests.bench.observed_passages import ObservedPassages, starts
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.service.replay.invented import InventedStorms
from watch.service.replay.keep import open_kept
from watch.service.replay.many import over_cores
from watch.service.replay.passages import Asking
from watch.service.replay.policies import NAMES
from watch.service.replay.results import Result
from watch.service.replay.words import as_table, change_ratio, gaps, totals

ROOT = Path(__file__).resolve().parents[2]
STATION = ROOT.parent / "shared" / "data" / "observed" / "station-wind-10min-2020-2021.csv.gz"


def main() -> None:
    given = _given()
    own = read_boat(ROOT / "config" / f"boat-{given.boat}.toml")
    asking = Asking(boat=own, state=parse_state(own, ""), policies=NAMES, compares=given.instruments)
    seeds = [str(seed) for seed in range(given.seed, given.seed + given.storms)]
    found = measure(InventedStorms(asking=asking), seeds, f"Invented storms {seeds[0]} to {seeds[-1]}.", given, "storms")
    for kind in Kind:
        _by_kind(found, kind)
    if STATION.exists() and not given.no_series:
        measure(ObservedPassages(asking=asking, path=STATION), starts(STATION)[: given.most], "Real ten-minute wind of 2020.", given, "series")


def measure(work: Any, names: Sequence[str], about: str, given: argparse.Namespace, what: str) -> list[Result]:
    """Plays what is not kept yet and prints what it comes to."""
    kept, before = open_kept(given.keep / f"replay-{what}.jsonl", work.key()) if given.keep else (None, [])
    done = {result.name: result for result in before}
    rest = [name for name in names if name not in done]
    began = time.perf_counter()
    for result in _counted(over_cores(work, rest, given.workers), len(rest)):
        done[result.name] = result
        if kept is not None:
            kept.append(result)
    took = time.perf_counter() - began
    results = [done[name] for name in names]
    print(as_table(results, about))
    for field, gap in gaps(results).items():
        print(f"  share of the gap closed, {field}: {gap.share:.3f} (95 in 100: {gap.low:.3f} to {gap.high:.3f})")
    print(f"  changes: {change_ratio(totals(results)) or float('nan'):.2f} x those by thresholds")
    print(f"  {took / max(len(rest), 1):.1f} s a passage over {given.workers} processes\n", flush=True)
    return results


def _counted(results: Any, count: int) -> Any:
    for k, result in enumerate(results, 1):
        if k % 20 == 0:
            print(f"  {k} of {count}", flush=True)
        yield result


def _by_kind(results: Sequence[Result], kind: Kind) -> None:
    """Hours over hard limits and impossible changes by the kind of passage: where the rest of the gap is."""
    part = [result for result in results if passage(int(result.name)).kind is kind]
    if not part:
        return
    added = totals(part)
    hours, wishes = (" / ".join(f"{show(added[name])}" for name in ("reactive", "ours", "foresight")) for show in SHOWN)
    print(f"  {kind:<14} {len(part):3d} passages: hard hours {hours}, impossible {wishes} (thresholds / orders / foresight)")


SHOWN: tuple[Callable[[Any], str], ...] = (lambda t: f"{t.hard_hours:.1f}", lambda t: f"{t.impossible:d}")


def _given() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--storms", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, default=None, help="a folder for what is done, so that a stopped run goes on")
    parser.add_argument("--boat", default="sloop")
    parser.add_argument("--instruments", action="store_true", help="correct the orders by her own wind and glass")
    parser.add_argument("--no-series", action="store_true")
    parser.add_argument("--most", type=int, default=1000, help="passages through the real series at most")
    return parser.parse_args()


if __name__ == "__main__":
    main()
