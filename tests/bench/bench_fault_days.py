"""A thousand simulated days of faults: what happened, and that nothing was lost and nothing silent. Run: python -m tests.bench.bench_fault_days [DAYS]."""

import resource
import sys
import tempfile
import time
from pathlib import Path

from tests.fault_days import Days
from watch.when import parse_utc


def main() -> None:
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "watch.db"
        lived = Days(path, parse_utc("2026-01-01T00:00Z"), seed=2026)
        for part in range(10):
            tally = lived.live(days // 10)
            lived.store.prune(lived.wall)
            used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"{(part + 1) * days // 10:>5} days: {used:.0f} MB at most, the store {path.stat().st_size / 1e6:.1f} MB, "
                  f"{time.perf_counter() - began:.0f} s", flush=True)
    print(f"faults: {dict(tally.faults)}, in all {sum(tally.faults.values())}")
    print(f"passes {tally.passes}, starts {tally.starts}, log lines {tally.log_lines}, alerts {tally.alerts} ({tally.alerts / days:.1f} a day), "
          f"sounded {tally.calls}, acknowledged {tally.acknowledged}")
    print(f"lost {len(tally.lost)}, silent {len(tally.silent)}")
    for line in [*tally.lost, *tally.silent][:40]:
        print("  ", line)


if __name__ == "__main__":
    main()
