"""Is the comparison with the instruments worth having? By hand: python tests/bench/bench_compare.py [--seeds 200].

Invented passages (fixtures/storms.py). Three kinds of forecast: with a known timing and strength wrong, so that what is found can be held
against what was put in; right but for being smooth; and wrong in a model's own way, which is neither a shift nor a factor. Printed: errors of
the timing and strength found; error of the median wind ahead, CRPS, and how often the wind stays below the planning wind, by hours ahead,
without and with the update. Ends with 1 when a bound is broken. Bounds are judgement.
"""

import argparse
import importlib.util
import sys
import time
from pathlib import Path
from types import ModuleType

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from watch.instruments.ahead import apply
from watch.instruments.compare import Caveat
from watch.orders.met import quantile
from watch.weather.scores import crps_ensemble

ROOT = Path(__file__).resolve().parents[2]
AHEAD_H = ((0, 3), (3, 6), (6, 12), (12, 24), (24, 36))
Row = dict[str, list[list[float]]]


def made() -> ModuleType:
    """The invented cases of the tests."""
    spec = importlib.util.spec_from_file_location("cases", ROOT / "tests" / "properties" / "test_observed_update.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["cases"] = module
    spec.loader.exec_module(module)
    return module


def rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def recovered(cases: ModuleType, seeds: int) -> bool:
    all_cases = [cases.case(seed) for seed in range(seeds)]
    told = [c for c in all_cases if Caveat.FLAT not in c.update.reasons]
    off = [c.update.hours_early - c.early_h for c in told]
    strong = [c.update.strength - c.strength for c in all_cases if Caveat.LIGHT not in c.update.reasons]
    flat = [c for c in all_cases if Caveat.FLAT in c.update.reasons]
    flat_off, flat_was = [c.update.hours_early - c.early_h for c in flat], [c.early_h for c in flat]
    covered = float(np.mean([abs(e) <= 2.0 * c.update.hours_early_sd for e, c in zip(off, told, strict=True)]))
    print(f"put in: timing {rms([c.early_h for c in all_cases]):.2f} h, strength {100 * rms([c.strength - 1 for c in all_cases]):.0f} % (rms)")
    print(f"timing told in {len(told)} of {seeds}: error {rms(off):.2f} h, bias {np.mean(off):+.2f} h, within two of its widths {100 * covered:.0f} %")
    print(f"timing not told in {len(flat)}: error {rms(flat_off):.2f} h, {rms(flat_was):.2f} h without")
    print(f"strength told in {len(strong)} of {seeds}: error {100 * rms(strong):.1f} %, bias {100 * np.mean(strong):+.1f} %")
    return rms(off) <= 0.75 and abs(float(np.mean(off))) <= 0.2 and covered >= 0.9 and rms(strong) <= 0.05 and rms(flat_off) <= rms(flat_was)


def ahead(cases: ModuleType, name: str, made_cases: list[object]) -> dict[tuple[int, int], Row]:
    """By hours ahead: errors of the median, CRPS, share below the planning wind, each without and with."""
    rows: dict[tuple[int, int], Row] = {span: {"median": [[], []], "crps": [[], []], "below": [[], []]} for span in AHEAD_H}
    for one in made_cases:
        plain = cases.ahead(one, 36)
        truth = one.true_ms[one.at : one.at + plain.sizes["time"]]  # type: ignore[attr-defined]
        for k, scenarios in enumerate((plain, apply(one.update, plain))):  # type: ignore[attr-defined]
            mean, weight = scenarios["mean_ms"].values, scenarios["weight"].values
            middle, planned = quantile(mean, weight, 0.5), quantile(mean, weight, 0.9)
            for (first, last), row in rows.items():
                at = [i for i in range(6 * first, min(6 * last, len(truth)), 9) if np.isfinite(mean[:, i]).all()]
                row["median"][k] += [float(middle[i] - truth[i]) for i in at]
                row["crps"][k] += [float(crps_ensemble(mean[:, i], truth[i], weight)) for i in at]
                row["below"][k] += [float(truth[i] <= planned[i]) for i in at]
    print(f"\n{name}: {len(made_cases)} passages")
    print("  hours ahead   rms of the median [m/s]     CRPS [m/s]      below the planning wind")
    for (first, last), row in rows.items():
        median, crps, below = ([rms(v) if name == "median" else float(np.mean(v)) for v in row[name]] for name in ("median", "crps", "below"))
        print(f"  {first:>3} to {last:<3}       {median[0]:.2f} -> {median[1]:.2f}            {crps[0]:.3f} -> {crps[1]:.3f}       "
              f"{100 * below[0]:.0f} % -> {100 * below[1]:.0f} %")
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seeds", type=int, default=200)
    seeds = parser.parse_args().seeds
    began_s, cases = time.monotonic(), made()
    good = {"timing and strength are recovered": recovered(cases, seeds)}
    shifted = ahead(cases, "early or late, strong or weak", [cases.case(seed) for seed in range(seeds)])
    right = ahead(cases, "right but for being smooth", [cases.case(seed, True) for seed in range(seeds)])
    model = ahead(cases, "wrong in a model's own way (none of these served to choose the widths)", [cases._model_case(300 + s) for s in range(seeds)])
    good["early and strong: nearer to the truth in the first six hours"] = all(rms(shifted[s]["median"][1]) <= 0.8 * rms(shifted[s]["median"][0])
                                                                              for s in AHEAD_H[:2])  # fmt: skip
    good["right: no worse than without, to 0.05 m/s, at any lead"] = all(rms(r["median"][1]) <= rms(r["median"][0]) + 0.05 for r in right.values())
    good["right: the wind stays below the planning wind as often, to 2 in 100"] = all(
        np.mean(r["below"][1]) >= np.mean(r["below"][0]) - 0.02 for r in right.values())  # fmt: skip
    good["a model's own way: better in the first three hours"] = rms(model[AHEAD_H[0]]["median"][1]) <= 0.9 * rms(model[AHEAD_H[0]]["median"][0])
    good["a model's own way: CRPS no worse at any lead, to 0.02 m/s"] = all(np.mean(r["crps"][1]) <= np.mean(r["crps"][0]) + 0.02
                                                                            for r in model.values())  # fmt: skip
    print()
    for what, kept in good.items():
        print(f"{'kept  ' if kept else 'BROKEN'}  {what}")
    print(f"{time.monotonic() - began_s:.0f} s")
    return 0 if all(good.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
