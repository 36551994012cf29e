"""Where one squall was there are others: squalls that she has just met, carried into the weathers of the next hours.

says: in some of the possible weathers of the next hours a squall comes like the strongest of those met in the last hours: in a quarter
of them after one, in half after two or more.
why: few forecasts have a squall, and none has its hour; but squalls come in families, in the showers behind a front or all day in the
trades. example: two squalls this morning, the stronger of 18 knots: until tonight half the weathers have such a one.
source: squall-1 for what counts as a squall, here for gusts; the shares and hours are judgement.
"""

import math
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike

from watch.units import Floats, ms_to_kn
from watch.weather.squalls import REACH_MS, RISE_MS
from watch.weather.wind import gust_factor
from watch.when import STEPS_PER_HOUR

BACK_STEPS = 12 * STEPS_PER_HOUR
AHEAD_STEPS = 12 * STEPS_PER_HOUR
WITHIN_STEPS = 4  # a gust of ten minutes against the least of the forty minutes before it
SHARE, MOST_SHARE = 0.25, 0.5
GOLDEN = 0.6180339887498949  # spreads the weathers with a squall evenly over their order


@dataclass(frozen=True, kw_only=True)
class SquallsSeen:
    """How many in the last hours, and how far the gusts of the strongest rose [m/s]; 0 of none."""

    count: int
    rise_ms: float

    @property
    def share(self) -> float:
        """Of the weathers ahead that are given such a squall."""
        return min(SHARE * self.count, MOST_SHARE)

    @property
    def words(self) -> str:
        """For the orders; nothing when there was none.

        >>> SquallsSeen(count=2, rise_ms=9.2).words
        'Squalls met in the last 12 h: 2, gusts up by 18 kn. One like it is reckoned with in half of the weathers of the next 12 h.'
        """
        if not self.count:
            return ""
        hours, ahead = BACK_STEPS // STEPS_PER_HOUR, AHEAD_STEPS // STEPS_PER_HOUR
        part = "a quarter" if self.share < MOST_SHARE else "half"
        rise_kn = math.ceil(round(ms_to_kn(self.rise_ms), 6))
        return (f"Squalls met in the last {hours} h: {self.count}, gusts up by {rise_kn} kn. One like it is reckoned with in {part} of the "
                f"weathers of the next {ahead} h.")  # fmt: skip


def squalls_seen(gust_ms: ArrayLike) -> SquallsSeen:
    """The gusts [m/s] of ten-minute steps up to now (n) -> the squalls of the last twelve hours. What is missing is no squall.

    >>> squalls_seen([8.0, 9.0, 14.0, 18.0, 10.0, 8.0, 8.0])
    SquallsSeen(count=1, rise_ms=10.0)
    >>> squalls_seen([8.0, 9.0, 12.0, 15.0])
    SquallsSeen(count=0, rise_ms=0.0)
    """
    gust = np.asarray(gust_ms, dtype=float)[-BACK_STEPS:]
    padded = np.concatenate([np.full(WITHIN_STEPS, np.inf), np.nan_to_num(gust, nan=np.inf)])
    least = np.lib.stride_tricks.sliding_window_view(padded, WITHIN_STEPS)[: len(gust)].min(axis=1)
    rise = np.where(np.isfinite(gust) & np.isfinite(least), gust - least, 0.0)
    hit = (rise >= RISE_MS) & (gust >= REACH_MS)
    begins = hit & ~np.concatenate([[False], hit[:-1]])
    return SquallsSeen(count=int(begins.sum()), rise_ms=float(rise[hit].max(initial=0.0)))


def with_squalls_seen(scenarios: xr.Dataset, seen: SquallsSeen) -> xr.Dataset:
    """Scenarios from now on (scenario, time), and what was seen -> the same with such a squall in a share of them, at every step of the
    next twelve hours (nobody knows its hour); the first is left as it is. A gust is only ever raised; unknown stays unknown."""
    if seen.count == 0:
        return scenarios
    count, steps = scenarios.sizes["scenario"], min(AHEAD_STEPS, scenarios.sizes["time"])
    has = (np.arange(count) * GOLDEN) % 1.0 < seen.share
    gust: Floats = np.array(scenarios["gust_ms"].values, dtype=float)
    squall = gust_factor() * scenarios["mean_ms"].values[:, :steps] + seen.rise_ms
    gust[:, :steps] = np.where(has[:, None], np.maximum(gust[:, :steps], squall), gust[:, :steps])
    return scenarios.assign(gust_ms=(("scenario", "time"), gust))
