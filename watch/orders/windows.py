"""Deck windows: when a job can be begun and finished, with its reserve, inside its limits; and what shuts it.

says: a start at time t is open when the weight of the scenarios in which *every* ten-minute step from t to t + minutes + reserve is
inside the job's limits is at least the asked-for chance. why: a chance counted hour by hour and multiplied says nothing of a
whole job. example: 35 + 25 minutes in a wind that passes the limit at 18:00 can be begun at 17:00 at the latest.
source: weather-restricted operations in offshore practice (source restricted-1): planned time plus contingency time.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Heading, Job
from watch.orders.met import Met, share
from watch.orders.reasons import Reason
from watch.passage.speed import apparent
from watch.when import runs, steps_for

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

HEAD_TO_WIND_DEG = 30.0  # judgement: how close she lies while a sail is hoisted or lowered head to wind
OFF_THE_WIND_DEG = 150.0  # judgement: how far off she lies when a job wants the wind behind
LIMIT_REASONS = (Reason.MEAN, Reason.GUST, Reason.SEA, Reason.STEEPNESS)


def job_steps(job: Job) -> int:
    """The steps that a start must find inside the limits: the work and its reserve."""
    return max(1, steps_for(job.minutes + job.reserve_minutes))


@dataclass(frozen=True, kw_only=True)
class Chances:
    """For one job: chance (T) that a start at each step keeps the whole job inside its limits, and the first reason (T) why not."""

    job: Job
    steps: int
    chance: Floats
    reason: Ints

    def enough(self, asked: float) -> Bools:
        return self.chance >= asked - 1e-12


@dataclass(frozen=True, kw_only=True)
class DeckWindow:
    """Starts from step first to step last, both included; reason: what shuts it after `last`; least: the lowest chance in it."""

    first: int
    last: int
    reason: Reason
    least: float


def outside(job: Job, met: Met, *, apparent: bool) -> dict[Reason, Bools]:
    """job, weather -> for each limit the steps (S, T) that are *not* inside it. What is not known is not inside."""
    mean_kn, gust_kn = _felt(job, met) if apparent else (met.mean_kn, met.gust_kn)
    found = {Reason.MEAN: ~(mean_kn <= job.mean_kn), Reason.GUST: ~(gust_kn <= job.gust_kn)}
    if job.sea_m is not None:
        found[Reason.SEA] = ~(met.sea_m <= job.sea_m)
    if job.steepness is not None:
        found[Reason.STEEPNESS] = ~(met.steepness <= job.steepness)
    return found


def _felt(job: Job, met: Met) -> tuple[Floats, Floats]:
    """Mean and gust as apparent wind on the heading that the job needs."""
    angle = {Heading.HEAD_TO_WIND: np.minimum(met.angle_deg, HEAD_TO_WIND_DEG),
             Heading.OFF_THE_WIND: np.maximum(met.angle_deg, OFF_THE_WIND_DEG),
             Heading.ANY: met.angle_deg}[job.heading]  # fmt: skip
    return apparent(met.mean_kn, angle, met.boat_kn)[0], apparent(met.gust_kn, angle, met.boat_kn)[0]


def chances(job: Job, met: Met, *, apparent: bool, reasons: bool = True) -> Chances:
    """job, weather -> its chance and, unless that is not wanted, the first obstacle at every start."""
    steps = job_steps(job)
    bad = outside(job, met, apparent=apparent)
    dark = ~met.light_enough(job.light)
    any_bad = np.logical_or.reduce(list(bad.values()))
    free = np.arange(met.steps) + steps <= met.steps
    free &= ~_any_ahead(dark, steps)
    chance = np.where(free, 1.0 - share(met, _any_ahead(any_bad, steps)), 0.0)
    reason = _reasons(met, bad, dark, steps) if reasons else np.full(met.steps, int(Reason.OPEN))
    return Chances(job=job, steps=steps, chance=np.clip(chance, 0.0, 1.0), reason=reason)


def _reasons(met: Met, bad: dict[Reason, Bools], dark: Bools, steps: int) -> Ints:
    """(T): what first stands against a start: dark, else the limit that fails in most of the weather, else the forecast's end."""
    reason, worst = np.full(met.steps, int(Reason.OPEN)), np.zeros(met.steps)
    for r in LIMIT_REASONS:
        if r in bad:
            ahead = share(met, _any_ahead(bad[r], steps))
            reason, worst = np.where(ahead > worst + 1e-9, int(r), reason), np.maximum(worst, ahead)
    unknown = share(met, _any_ahead(~met.known(), steps))
    reason = np.where((unknown > 0) & (unknown >= worst - 1e-9), int(Reason.UNKNOWN), reason)
    reason = np.where(_any_ahead(dark, steps), int(Reason.DARK), reason)
    past_end = np.arange(met.steps) + steps > met.steps
    return np.where(past_end & (reason == Reason.OPEN), int(Reason.FORECAST_ENDS), reason)


def _any_ahead(true: Bools, steps: int) -> Bools:
    """(S, T) -> whether any of the `steps` steps from each on is True; steps past the end do not count."""
    total = np.zeros((*true.shape[:-1], true.shape[-1] + 1), dtype=np.int32)
    np.cumsum(true, axis=-1, out=total[..., 1:])
    end = np.minimum(np.arange(true.shape[-1]) + steps, true.shape[-1])
    found: Bools = total[..., end] - total[..., :-1] > 0
    return found


def deck_windows(found: Chances, asked: float) -> list[DeckWindow]:
    """Chances -> the windows in which a start has at least the asked-for chance, each with what shuts it."""
    windows = []
    for run in runs(found.enough(asked)):
        if not run.value:
            continue
        reason = Reason(int(found.reason[run.last])) if run.last < len(found.chance) else Reason.FORECAST_ENDS
        least = float(found.chance[run.first : run.last].min())
        windows.append(DeckWindow(first=run.first, last=run.last - 1, reason=reason, least=least))
    return windows
