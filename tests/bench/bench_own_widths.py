"""Are widths learnt on passage better than the table's? Invented passages: the first days teach, the next days are forecast (prints tables).

    python -m tests.bench.bench_own_widths [FIRST SEED] [SEEDS] [TIMES]

Of the first 84 hours the run of every six hours is held against what came, as the watch keeps it: the plain forecast beside her own
ten minutes. Then the run of hour 84 is widened by the table, and by what was learnt: how many in 100 hours stay below the 90 % planned for,
how wide that is, and the CRPS; for all passages, and for the third of them that learnt the narrowest and the widest. Seeds from 1000 on are
for looking into and tuning, 0 to 199 are for the report.

[TIMES]: as if the model were so many times as wrong, its wind drawn away from what came: for this the table is not made.
"""

import sys
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from fixtures import storms
from tests.bench.bench_coverage import Case, RunOf, case, measure
from watch.weather.errors import Widening
from watch.weather.own_errors import OwnWidths, own_widths

BASE_H, EVERY_H, FARTHEST_H = 84, 6, 72.0


def so_wrong(times: float) -> RunOf:
    """The runs of a model that is so many times as wrong."""

    def run_of(seed: int, base: np.datetime64) -> storms.Series:
        run, came = storms.forecast(seed, base), storms.truth(seed)
        smooth = np.convolve(np.pad(came.mean_ms, 9, mode="edge"), np.full(19, 1 / 19), mode="valid")
        true = np.interp(run.time.astype(float), came.time.astype(float), smooth)
        mean = np.maximum(true + times * (run.mean_ms - true), 0.5)
        return replace(run, mean_ms=mean, gust_ms=run.gust_ms * mean / run.mean_ms)

    return run_of


def learnt(seed: int, run_of: RunOf) -> OwnWidths:
    """What the first hours of a passage teach."""
    truth = storms.truth(seed)
    came_h = (truth.time - storms.START) / np.timedelta64(3600, "s")
    rows = []
    for base_h in range(0, BASE_H, EVERY_H):
        run = run_of(seed, storms.START + np.timedelta64(base_h, "h"))
        run_h = (run.time - storms.START) / np.timedelta64(3600, "s")
        at = np.arange(base_h + 1.0, min(BASE_H, base_h + FARTHEST_H) + 0.01)
        plain = np.interp(at, run_h, run.mean_ms)
        change = np.interp(at + 1.5, run_h, run.mean_ms) - np.interp(at - 1.5, run_h, run.mean_ms)
        hour = np.array([truth.mean_ms[(came_h > h - 1.0) & (came_h <= h)].mean() for h in at])
        rows.append(np.stack([at, at - base_h, plain, hour, change / 3.0]))
    when, lead, plain, came, change = np.concatenate(rows, axis=1)
    return own_widths(when, lead, plain, came, change_ms_h=change)


def told(name: str, cases: Iterable[Case]) -> None:
    rows = measure(iter(cases))
    for quantity in ("mean", "gust of 3 h"):
        lead, held, _, width, score, _, _ = rows[quantity]
        on = lead < 48
        print(f"  {name:12} {quantity:12} below 90 %: {100 * np.mean(held[on] <= 0.9):5.1f}  below 95 %: {100 * np.mean(held[on] <= 0.95):5.1f}  "
              f"width {width[on].mean():5.2f} m/s  CRPS {score[on].mean():.3f}")


def main() -> None:
    first, count = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 1000), (2, 100)))
    wrong = float(sys.argv[3]) if len(sys.argv) > 3 else 1.0
    run_of = storms.forecast if wrong == 1.0 else so_wrong(wrong)
    found = {seed: learnt(seed, run_of) for seed in range(first, first + count)}
    times = np.array([one.times for one in found.values()])
    by_table = [case(seed, BASE_H, 0, Widening(), run_of) for seed in found]
    by_own = [case(seed, BASE_H, 0, one.widening, run_of) for seed, one in found.items()]
    print(f"seeds {first} to {first + count - 1}, {wrong:g} times as wrong, up to 48 h ahead")
    print(f"times learnt {np.quantile(times, [0.0, 0.1, 0.5, 0.9, 1.0]).round(2)} (0, 10, 50, 90, 100 %)")
    order = np.argsort(times)
    third = len(order) // 3
    for name, rows in (("all", order), ("narrowest", order[:third]), ("middle", order[third : 2 * third]), ("widest", order[2 * third :])):
        print(f"{name}: times {times[rows].mean():.2f}")
        told("table", [by_table[k] for k in rows])
        told("learnt", [by_own[k] for k in rows])


if __name__ == "__main__":
    main()
