"""Six-day passages through a real series of wind (2020 only: the rest is kept for a blind test), with forecasts made from it, honestly wrong.

The series: ten-minute mean wind of an anchored station, with the hour's highest gust and its minute. In the ten minutes of that gust it
counts; in others the gust is the mean times a published factor, never above the hour's highest. Gaps of up to an hour are drawn
straight; where more is missing no passage begins. There is no glass, no sea (raised from the wind) and no CAPE.

The forecasts, three-hourly: the series smoothed over five hours, so that no squall and no sharp shift is in them; late or early by a time
that grows with the lead and wanders from run to run with heavy tails; too weak or too strong by a share with its long tail below. None of it
is the bell-shaped widening, with one offset to a run, that scenarios are made with. Sizes are those of `fixtures.storms`.
"""

import csv
import gzip
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from tests.bench.events import number
from watch.service.replay.passages import DELAY_H, Asking, Passage, play_all
from watch.service.replay.results import Result
from watch.service.replay.truth import Series, series_forecast, truth_of
from watch.units import Floats, kn_to_ms, wind_components_ms, wind_from_deg
from watch.weather.wind import gust_factor
from watch.when import Times, from_np

YEAR = "2020"
HOURS = 144
STEP = np.timedelta64(600, "s")
LAT, LON, COURSE_DEG, BOAT_KN = 40.0, -70.0, 90.0, 5.5
SMOOTH_STEPS = 30
GAP_STEPS = 6
WORTH_KN = 30.0  # passages with no gust above it are left out: nothing hangs on any decision in them
KEPT = 0.88  # as in fixtures.storms
Wind = tuple[Times, Floats, Floats, Floats]


@lru_cache(maxsize=2)
def station(path: Path) -> Wind:
    """The year on the ten-minute grid: time, mean [m/s], gust [m/s], direction [deg]; NaN where nothing was reported."""
    rows, at, time = _rows(path)
    index = ((at - time[0]) // STEP).astype(np.int64)
    mean, bearing = (np.full(len(time), np.nan) for _ in range(2))
    mean[index], bearing[index] = ([number(row[name]) for row in rows] for name in ("WSPD", "WDIR"))
    u, v = (_drawn_over(part) for part in wind_components_ms(mean, bearing))
    mean = np.hypot(u, v)
    return time, mean, _gust(mean, hourly_peaks(path)), np.asarray(wind_from_deg(u, v))


def hourly_peaks(path: Path) -> Floats:
    """The highest gust of each hour [m/s] in the ten minutes of it on the grid of `station`; NaN in all others."""
    rows, _, time = _rows(path)
    peak = np.full(len(time), np.nan)
    for row in rows:
        if row["GST"] and row["GTIME"]:
            _put_peak(peak, time, row)
    return peak


@lru_cache(maxsize=2)
def _rows(path: Path) -> tuple[list[dict[str, str]], Times, Times]:
    """The year's reports, their times, and the ten-minute grid they lie on."""
    with gzip.open(path, "rt") as lines:
        rows = [row for row in csv.DictReader(lines) if row["timestamp"].startswith(YEAR)]
    at = np.array([row["timestamp"] for row in rows], dtype="datetime64[s]")
    return rows, at, np.arange(at[0], at[-1] + STEP, STEP)


def _put_peak(peak: Floats, time: Times, row: dict[str, str]) -> None:
    """The hour's highest gust into the ten minutes of it: hhmm is at or before the time of the report."""
    at = np.datetime64(row["timestamp"], "s")
    clock = int(float(row["GTIME"]))
    when = at.astype("datetime64[D]").astype("datetime64[s]") + np.timedelta64((clock // 100) * 3600 + (clock % 100) * 60, "s")
    when = when - np.timedelta64(86400, "s") if when > at else when
    step = -int((time[0] - when) // STEP)
    if 0 <= step < len(peak):
        peak[step] = np.fmax(peak[step], float(row["GST"]))


def _gust(mean: Floats, peak: Floats) -> Floats:
    """Mean wind and the hours' peaks where they were -> a gust for every ten minutes."""
    hour = np.lib.stride_tricks.sliding_window_view(np.pad(peak, 6, constant_values=np.nan), 13)
    most = np.nan_to_num(hour, nan=-np.inf).max(axis=1)
    plain = mean * gust_factor()
    between = np.where(np.isfinite(most), np.minimum(plain, most), plain)
    return np.maximum(np.where(np.isfinite(peak), peak, between), mean)


def _drawn_over(values: Floats) -> Floats:
    """Gaps of up to an hour drawn straight."""
    known = np.flatnonzero(np.isfinite(values))
    drawn = np.interp(np.arange(len(values)), known, values[known])
    after = known[np.minimum(np.searchsorted(known, np.arange(len(values))), len(known) - 1)]
    before = known[np.maximum(np.searchsorted(known, np.arange(len(values)), side="right") - 1, 0)]
    return np.where(after - before <= GAP_STEPS + 1, drawn, np.nan)


def starts(path: Path) -> list[str]:
    """Every six days of the year where nothing is missing and the wind is worth a decision."""
    time, mean, gust, _ = station(path)
    steps = HOURS * 6
    found = []
    for first in range(0, len(time) - steps - 1, steps):
        part = slice(first, first + steps + 1)
        if np.isfinite(mean[part]).all() and gust[part].max() >= kn_to_ms(WORTH_KN):
            found.append(str(time[first]))
    return found


def passage(path: Path, start: str) -> Passage:
    """The passage that begins then, as if she sailed six days in that weather, with runs every six hours."""
    time, mean, gust, bearing = station(path)
    first, steps = int((np.datetime64(start, "s") - time[0]) // STEP), HOURS * 6
    part = slice(first, first + steps + 1)
    made = truth_of(_series(time[part], mean[part], gust[part], bearing[part]), f"from {start}", course_deg=COURSE_DEG, boat_kn=BOAT_KN)
    dice = np.random.Generator(np.random.PCG64(np.random.SeedSequence((first, 7))))
    late, strong = 0.0, 0.0
    runs = []
    for base_h in range(-12, HOURS - 3, 6):
        late = KEPT * late + np.sqrt(1.0 - KEPT**2) * float(np.clip(dice.standard_t(3.0) / np.sqrt(3.0), -6.0, 6.0))
        strong = 0.8 * strong + 0.6 * (1.0 - float(dice.exponential(1.0)))
        runs.append(series_forecast(_run(path, first + 6 * base_h, steps - 6 * base_h, late, strong), from_np(time[first] + np.timedelta64(base_h, "h"))))
    return Passage(truth=made, forecasts=runs, delay_h=DELAY_H)


def _run(path: Path, first: int, steps: int, late: float, strong: float) -> Series:
    """One run from step `first` of the series, three-hourly to 120 h or to the end of the passage."""
    time, mean, _, bearing = station(path)
    ahead_h = np.arange(0.0, min(120.0, steps / 6.0) + 0.01, 3.0)
    moved = first + 6.0 * (ahead_h - late * (0.4 + 1.5 * (ahead_h / 24.0) ** 0.9))
    u, v = (_smoothed(part, moved) for part in wind_components_ms(mean, bearing))
    speed = _smoothed(mean, moved) * np.clip(1.0 + 0.09 * np.sqrt(ahead_h / 24.0) * strong, 0.35, 1.5)
    when = time[0] + (first + 6 * ahead_h).astype(np.int64) * STEP
    return _series(when, speed, speed * 1.26, np.asarray(wind_from_deg(u, v)))


def _smoothed(values: Floats, at: Floats) -> Floats:
    """Means over five hours round steps of the series (not whole numbers), of what is known."""
    rows = np.clip(np.round(at)[:, None] + np.arange(-SMOOTH_STEPS // 2, SMOOTH_STEPS // 2 + 1), 0, len(values) - 1).astype(np.int64)
    return np.nanmean(values[rows], axis=1)


def _series(time: Times, mean: Floats, gust: Floats, bearing: Floats) -> Series:
    nothing, ones = np.full(len(time), np.nan), np.ones(len(time))
    return Series(time=time, mean_ms=mean, gust_ms=gust, from_deg=bearing, pressure_pa=nothing, sea_m=nothing, cape_jkg=nothing,
                  lat_deg=LAT * ones, lon_deg=LON * ones)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ObservedPassages:
    """Plays a passage through the series; can be sent to another process."""

    asking: Asking
    path: Path

    def key(self) -> dict[str, object]:
        return {"weather": f"{self.path.name} {YEAR}", **self.asking.key()}

    def __call__(self, start: str) -> Result:
        return Result(name=start, tallies=play_all(passage(self.path, start), self.asking))
