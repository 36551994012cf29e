"""How long sampling an ensemble along a track takes, beside reading the same number of values from memory in random order.

Run it from the top folder: python tests/bench/bench_sample.py. 51 members, 40 times, 41 by 41 points; 720 and 28800 places.
"""

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import xarray as xr

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from watch.forecast.contract import Forecast, Name
from watch.weather import sample

MEMBERS, TIMES, POINTS = 51, 40, 41
START = np.datetime64("2026-05-14T00:00:00", "s")
THREE_HOURS = np.timedelta64(3 * 3600, "s")


def made_field(rng: np.random.Generator, interval: np.timedelta64) -> xr.DataArray:
    times = START + np.arange(TIMES) * THREE_HOURS
    return xr.DataArray(rng.normal(0, 8, (MEMBERS, TIMES, POINTS, POINTS)).astype(np.float32), name="made",
                        dims=("member", "time", "latitude", "longitude"),
                        coords={"member": np.arange(MEMBERS), "time": times, "time_from": ("time", times - interval),
                                "latitude": np.linspace(30, 40, POINTS), "longitude": np.linspace(-70, -60, POINTS)})


def shortest(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(5):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken) * 1e3


def main() -> None:
    rng = np.random.default_rng(1)
    instant = np.timedelta64(0, "s")
    made = Forecast(run=datetime(2026, 5, 14, tzinfo=UTC), centre="made", kind="ensemble", files=(), fields={
        Name.U10_MS: made_field(rng, instant), Name.V10_MS: made_field(rng, instant), Name.GUST_MS: made_field(rng, THREE_HOURS)})
    flat = made.fields[Name.U10_MS].to_numpy().reshape(MEMBERS, -1)
    for count in (720, 720 * 40):
        where = (START + rng.integers(0, (TIMES - 1) * 18 - 1, count) * np.timedelta64(600, "s"), rng.uniform(30, 40, count),
                 rng.uniform(-70, -60, count))
        eight = rng.integers(0, flat.shape[1], (8, count))
        least = shortest(lambda e=eight: [flat.take(i, axis=1) for i in e])  # type: ignore[misc]
        print(f"{count} places: {8 * MEMBERS * count} values from memory {least:.1f} ms")
        for name, work in {
            "one field at points": lambda w=where: sample.at(made.fields[Name.U10_MS], *w),
            "gust of intervals": lambda w=where: sample.strongest(made.fields[Name.GUST_MS], *w),
            "mean wind for limits": lambda w=where: sample.strong_mean(made, *w),
            "gust for limits": lambda w=where: sample.strong_gust(made, *w),
            "direction": lambda w=where: sample.direction_deg(made, *w),
        }.items():
            print(f"    {name:22} {shortest(work):7.1f} ms")


if __name__ == "__main__":
    main()
