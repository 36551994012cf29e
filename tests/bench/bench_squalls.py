"""Counts in observed series what cold fronts bring in squalls: the numbers of `watch.weather.near_fronts`, and the halves kept apart.

    python -m tests.bench.bench_squalls [FOLDER OF STATION FILES] [held-out]

The wind is smeared over three hours, as a forecast has it; fronts are found in it by the same ramps. A squall is a gust of 8 m/s more than
that wind an hour either side. Counted on January to June 2013 (airports) and 2020 (two stations); `held-out` counts the other halves.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.events import AIRPORTS, airports, buoy
from watch.units import kn_to_ms, ms_to_kn, wind_components_ms, wrap_180
from watch.weather.fronts import CHANGE_KN, TURN_DEG
from watch.weather.near_fronts import REACH_H
from watch.weather.series import WeatherSeries, ramp
from watch.weather.squalls import REACH_MS, RISE_MS

LEAST_FRONT, APART_H, WINDOW_H = 0.5, 12, (-6.0, 12.0)
BANDS_MS = ((7.0, 12.0), (12.0, 99.0))


@dataclass(frozen=True)
class Hours:
    """Whole hours (n): mean smeared over three hours [m/s], direction [deg], strongest gust [m/s], strongest smeared wind within an hour."""

    hours: np.ndarray
    mean: np.ndarray
    from_deg: np.ndarray
    gust: np.ndarray
    round_it: np.ndarray


def hourly(series: WeatherSeries) -> Hours:
    first = np.floor(series.hours[0])
    count = int(series.hours[-1] - first) + 1
    slot = np.floor(series.hours - first + 1e-6).astype(int)
    wind = kn_to_ms(np.asarray(series.wind_kn, dtype=float))
    u, v = wind_components_ms(wind, np.asarray(series.from_deg, dtype=float))
    gust = wind if series.gust_kn is None else np.fmax(kn_to_ms(np.asarray(series.gust_kn, dtype=float)), wind)
    highest = np.full(count, -np.inf)
    np.maximum.at(highest, slot[np.isfinite(gust)], gust[np.isfinite(gust)])
    mean, east, north = (smeared(slot, values, count) for values in (wind, u, v))
    return Hours(first + np.arange(count), mean, np.degrees(np.arctan2(-east, -north)) % 360.0, np.where(np.isfinite(highest), highest, np.nan),
                 np.fmax(mean, np.fmax(np.roll(mean, 1), np.roll(mean, -1))))  # fmt: skip


def smeared(slot: np.ndarray, values: np.ndarray, count: int) -> np.ndarray:
    known = np.isfinite(values)
    total, number = (np.bincount(slot[known], weights=w, minlength=count) for w in (values[known], np.ones(known.sum())))
    total, number = (np.convolve(part, np.ones(3), "same") for part in (total, number))
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def fronts(one: Hours, north: float = 1.0) -> list[int]:
    """Indexes of hours in which the smeared wind turns as at a front, the surest of any within twelve hours."""
    index = np.arange(len(one.hours))
    ago, ahead = np.maximum(index - REACH_H, 0), np.minimum(index + REACH_H, len(index) - 1)
    u, v = wind_components_ms(ms_to_kn(one.mean), one.from_deg)
    sure = ramp(wrap_180(one.from_deg[ahead] - one.from_deg[ago]) * north, *TURN_DEG)
    sure = np.nan_to_num(sure * ramp(np.hypot(u[ahead] - u[ago], v[ahead] - v[ago]), *CHANGE_KN))
    taken = []
    while sure.max() >= LEAST_FRONT:
        top = int(sure.argmax())
        last = top
        while last + 1 < len(sure) and sure[last + 1] >= sure[top] - 1e-9:
            last += 1
        taken.append((top + last) // 2)
        sure[max(top - APART_H, 0) : last + APART_H + 1] = 0.0
    return sorted(taken)


def count(stations: dict[str, WeatherSeries]) -> None:
    total = {band: [0, 0] for band in BANDS_MS}
    offsets, ratios = [], []
    for name, series in stations.items():
        one = hourly(series)
        for front in fronts(one):
            since = one.hours - one.hours[front]
            near = (since >= WINDOW_H[0]) & (since <= WINDOW_H[1]) & np.isfinite(one.gust + one.round_it)
            strongest = one.mean[near].max() if near.sum() > 10 else np.nan
            squall = near & (one.gust - one.round_it >= RISE_MS) & (one.gust >= REACH_MS)
            for low, high in BANDS_MS:
                if low <= strongest < high:
                    total[low, high][0] += bool(squall.any())
                    total[low, high][1] += 1
                    offsets += [(name, float(x)) for x in since[squall]]
                    ratios += (one.gust / (one.round_it + RISE_MS))[squall].tolist()
    for (low, high), (hit, of) in total.items():
        print(f"  fronts of {low:.0f} to {high:.0f} m/s: squalls with {hit} of {of}")
    near = sum(abs(h) <= REACH_H for _, h in offsets)
    print(f"  hours of squalls: {len(offsets)}, {near} within three hours of the front; hours from it: {sorted(h for _, h in offsets)}")
    print(f"  gust over mean and rise: {np.quantile(ratios, [0.25, 0.5, 0.75, 0.9]).round(2)}")


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    held_out = "held-out" in sys.argv
    stations = {name: airports(held_out)[name] for name in AIRPORTS}
    if folder:
        stations |= {name: buoy(folder / f"station-{name}-2020-2021.csv.gz", held_out) for name in ("hourly", "wind-10min")}
    print("the halves kept apart" if held_out else "the halves counted for the numbers")
    count(stations)


if __name__ == "__main__":
    main()
