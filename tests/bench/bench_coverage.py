"""How often the weather stays below what was planned for, by hours ahead, on invented passages (prints tables).

    python -m tests.bench.bench_coverage [FIRST SEED] [SEEDS] [older runs beside the newest]

A passage's truth is held against the scenarios of the run of a base time (and of runs before it): how many in 100 hours lie below the
median and the 90 % of the scenarios, how wide they are, and their CRPS; for the mean, the gust, and the strongest gust of any three hours.
How forecasts are wrong here is told in `fixtures.storms`, on purpose not as `watch.weather.errors` has it. Seeds from 1000 on are for
looking into and tuning, 0 to 199 are for the report.
"""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import xarray as xr

from fixtures import storms
from watch.forecast.contract import Forecast, Name
from watch.orders.met import quantile
from watch.units import wind_components_ms
from watch.weather.errors import Widening
from watch.weather.look import Where
from watch.weather.scenarios import make_scenarios
from watch.weather.scores import crps_ensemble
from watch.when import from_np, grid

BINS_H = (0, 12, 24, 48, 72)
BASES_H = (12, 48, 84)  # into the passage, with 60 h or more of it left
OFF_DEG = 3.0  # the grid reaches so far round the track
MOVES_KN = 25.0  # judgement: how fast the weather moves east
Rows = list[np.ndarray]
RunOf = Callable[[int, np.datetime64], storms.Series]
CAME, PLANNED = 5, 6  # rows of what is measured
WINDY_MS = 12.0


def as_forecast(series: storms.Series, base: np.datetime64) -> Forecast:
    """A run along a track as a forecast on a grid round it: what comes at an hour has passed a place west of her earlier, so that weather
    looked for in the wrong place is weather at the wrong time; alike from north to south."""
    hours = (series.time - series.time[0]) / np.timedelta64(3600, "s")
    lat = np.array([series.lat_deg.min() - OFF_DEG, series.lat_deg.max() + OFF_DEG])
    lon = np.arange(series.lon_deg.min() - OFF_DEG, series.lon_deg.max() + OFF_DEG, 0.5)
    nm_east = (lon[None, :] - series.lon_deg[:, None]) * 60.0 * np.cos(np.radians(series.lat_deg))[:, None]
    when = hours[:, None] - nm_east / MOVES_KN
    u, v = wind_components_ms(series.mean_ms, series.from_deg)
    values = {
        Name.U10_MS: u, Name.V10_MS: v, Name.GUST_MS: series.gust_ms, Name.PRESSURE_PA: series.pressure_pa, Name.SEA_M: series.sea_m,
        Name.CAPE_JKG: series.cape_jkg,
    }  # fmt: skip
    coords = {"member": [0], "time": series.time, "time_from": ("time", series.time), "latitude": lat, "longitude": lon}
    fields = {
        name: xr.DataArray(
            np.repeat(np.interp(when, hours, one)[None, :, None, :], 2, axis=2).astype(np.float32), name=str(name), coords=coords,
            dims=("member", "time", "latitude", "longitude"), attrs={"units": "", "statistic": "instant"},
        )
        for name, one in values.items()
    }  # fmt: skip
    return Forecast(run=from_np(base), centre="invented", kind="single", fields=fields, files=("invented",))


@dataclass(frozen=True, kw_only=True)
class Case:
    """One passage from one base time: hours ahead (T), what came (T) and the scenarios (S, T) of the mean and the gust, weight (S)."""

    seed: int
    lead_h: np.ndarray
    truth: dict[str, np.ndarray]
    scenarios: dict[str, np.ndarray]
    weight: np.ndarray
    squall: np.ndarray


def case(seed: int, base_h: int, older: int, widening: Widening | None = None, run_of: RunOf = storms.forecast) -> Case:
    base = storms.START + np.timedelta64(base_h, "h")
    runs = [base - np.timedelta64(6 * k, "h") for k in range(older + 1)]
    steps = 6 * min(BINS_H[-1], int(storms.PASSAGE_H) - base_h)
    time = grid(from_np(base), steps)[:-1]
    truth, first = storms.truth(seed), 6 * base_h
    lat, lon = (values[first : first + steps] for values in (truth.lat_deg, truth.lon_deg))
    made = make_scenarios([as_forecast(run_of(seed, run), run) for run in runs], Where(time=time, latitude=lat, longitude=lon), widening)
    met = slice(first + 1, first + 1 + steps)  # the mean and gust of the ten minutes to each instant
    return Case(
        seed=seed, lead_h=np.arange(steps) / 6.0, truth={"mean": truth.mean_ms[met], "gust": truth.gust_ms[met]},
        scenarios={"mean": made["mean_ms"].values, "gust": made["gust_ms"].values}, weight=made["weight"].values,
        squall=made["squall"].values,
    )  # fmt: skip


def strongest_of(values: np.ndarray, steps: int) -> np.ndarray:
    whole = values.shape[-1] // steps * steps
    return values[..., :whole].reshape(*values.shape[:-1], -1, steps).max(axis=-1)


def cases(seeds: range, older: int, widening: Widening | None = None) -> Iterator[Case]:
    for seed in seeds:
        for base_h in BASES_H:
            yield case(seed, base_h, older, widening)


def below(values: np.ndarray, weight: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Weight of the scenarios (S, T) under the truth (T), half of those equal to it."""
    return weight @ ((values < truth) + 0.5 * (values == truth))


def measure(found: Iterator[Case]) -> dict[str, np.ndarray]:
    """Rows lead_h, below, median off, 10 to 90 % width, CRPS, truth, planned for, each of mean, gust and gust over three hours: (7, N)."""
    rows: dict[str, Rows] = {"mean": [], "gust": [], "gust of 3 h": []}
    for one in found:
        for name in rows:
            quantity, steps = name.split()[0], 18 if name.endswith("3 h") else 1
            values, truth = strongest_of(one.scenarios[quantity], steps), strongest_of(one.truth[quantity], steps)
            lead = strongest_of(one.lead_h, steps)
            pick = slice(None) if steps > 1 else slice(3, None, 6)  # once an hour
            values, truth, lead = values[:, pick], truth[pick], lead[pick]
            low, middle, high = (quantile(values, one.weight, q) for q in (0.1, 0.5, 0.9))
            held = below(values, one.weight, truth)
            rows[name].append(np.stack([lead, held, middle - truth, high - low, crps_ensemble(values, truth, one.weight), truth, high]))
    return {name: np.concatenate(part, axis=1) for name, part in rows.items()}


def table(measured: dict[str, np.ndarray], least_ms: float = 0.0, by: int = PLANNED) -> None:
    """by: whether it is what was planned for or what came that is at least least_ms."""
    print(f"{'':13}{'hours ahead':>12}{'n':>7}{'<50 %':>8}{'<90 %':>8}{'<95 %':>8}{'median off':>12}{'width':>8}{'CRPS':>8}   tenths of rank")
    for name, rows in measured.items():
        for low, high in [*pairwise(BINS_H), (0, 72)]:
            on = (rows[0] >= low) & (rows[0] < high) & (rows[by] >= least_ms)
            lead, held, off, width, score, _, _ = rows[:, on]
            tenths = np.histogram(held, bins=np.linspace(0, 1 + 1e-9, 11))[0] * 100.0 / len(held)
            print(f"{name:13}{low:>5} to {high:<3}{len(lead):>8}{100 * np.mean(held <= 0.5):8.1f}{100 * np.mean(held <= 0.9):8.1f}"
                  f"{100 * np.mean(held <= 0.95):8.1f}{off.mean():12.2f}{width.mean():8.2f}{score.mean():8.3f}   "
                  + " ".join(f"{t:.0f}" for t in tenths))  # fmt: skip


def main() -> None:
    first, count, older = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 1000), (2, 100), (3, 0)))
    measured = measure(cases(range(first, first + count), older))
    print(f"seeds {first} to {first + count - 1}, {older} older runs; m/s; all hours")
    table(measured)
    print(f"where {WINDY_MS:.0f} m/s or more was planned for: known beforehand, so a fair question")
    table(measured, WINDY_MS)
    print(f"where {WINDY_MS:.0f} m/s or more came: known afterwards; even a perfect forecast falls short there, the more the rarer they are")
    table(measured, WINDY_MS, CAME)


if __name__ == "__main__":
    main()
