"""What was forecast for where she was, beside what she measured there: pairs out of the orders and the ten minutes that the watch keeps."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.instruments.steps import ObservedSteps
from watch.orders.document import Orders
from watch.passage.earth import quick_distance_m
from watch.units import M_PER_NM, kn_to_ms
from watch.weather.own_errors import OwnWidths, own_widths
from watch.when import STEPS_PER_HOUR, Times, to_np

Floats = NDArray[np.float64]

FARTHEST_H = 72.0  # judgement: what is farther ahead is of another week
NEAR_NM = 30.0  # judgement: a forecast for a place farther from where she was says nothing of that forecast
CHANGE_H = 1.5  # so long before and after, for how fast the wind was to change


@dataclass(frozen=True, kw_only=True)
class Foretold:
    """One forecast along her track as it was planned, N ten-minute steps: time, how long after the run [h], mean wind at 10 m [m/s], how
    fast it was to change [m/s an hour], and where she was to be [deg]; NaN not known."""

    time: Times
    lead_h: Floats
    mean_ms: Floats
    change_ms_h: Floats
    latitude: Floats
    longitude: Floats


def foretold(orders: Orders) -> Foretold:
    """Orders -> the plain forecast in them, up to 72 h after its run."""
    time = np.array([to_np(row.time) for row in orders.steps], dtype="datetime64[s]")
    mean = kn_to_ms(np.array([np.nan if row.forecast_mean_kn is None else row.forecast_mean_kn for row in orders.steps], dtype=float))
    run = to_np(max(used.run for used in orders.forecasts))
    lead_h = (time - run) / np.timedelta64(3600, "s")
    at = np.arange(len(time))
    before, after = (np.clip(at + sign * round(CHANGE_H * STEPS_PER_HOUR), 0, len(time) - 1) for sign in (-1, 1))
    hours = np.maximum(after - before, 1) / STEPS_PER_HOUR
    kept = (lead_h >= 0.0) & (lead_h <= FARTHEST_H)
    columns = {
        "time": time, "lead_h": lead_h, "mean_ms": mean, "change_ms_h": (mean[after] - mean[before]) / hours,
        "latitude": np.array([row.latitude_deg for row in orders.steps]), "longitude": np.array([row.longitude_deg for row in orders.steps]),
    }  # fmt: skip
    return Foretold(**{name: values[kept] for name, values in columns.items()})


def widths_of_record(told: Sequence[Foretold], seen: ObservedSteps) -> OwnWidths:
    """Forecasts of the passage and what was observed since, at 10 m -> the widths to use.

    says: how far off the forecasts of this passage were, where she was near the place that they were for.
    why: a table made beforehand knows neither this model nor this ocean.
    example: 12 forecasts, one every six hours, and three days of wind: 13 spells of six hours.
    source: watch.weather.own_errors; farther than 30 miles from the place forecast for, or without a fix, a pair is left out: judgement.
    """
    rows = [_pairs(one, seen) for one in told]
    none: Floats = np.empty((5, 0))
    when, lead, mean, came, change = np.concatenate([none, *rows], axis=1)
    return own_widths(when, lead, mean, came, change_ms_h=change)


def _pairs(told: Foretold, seen: ObservedSteps) -> Floats:
    """(5, N): when [h], lead [h], forecast and observed [m/s], change [m/s an hour]."""
    _, here, there = np.intersect1d(told.time, seen.start, assume_unique=True, return_indices=True)
    places = (told.latitude[here], told.longitude[here], seen.latitude_deg[there], seen.longitude_deg[there])
    off_m = quick_distance_m(*(np.radians(degrees) for degrees in places))
    near = off_m <= NEAR_NM * M_PER_NM
    here, there = here[near], there[near]
    when_h = told.time[here].astype(np.int64) / 3600.0
    return np.stack([when_h, told.lead_h[here], told.mean_ms[here], seen.mean_ms[there], told.change_ms_h[here]])
