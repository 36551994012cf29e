"""The boat's limits as arrays: what counts at a true wind angle, and for how long a higher one holds."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Limit, SailPlan
from watch.when import STEP_MINUTES

Floats = NDArray[np.float64]


def lasting(plan: SailPlan, twa_deg: Floats) -> tuple[Floats, Floats]:
    """plan, |true wind angle| [deg] -> (working limit of the mean [kn], hard limit of the gust [kn]), same shape.

    Where sectors meet, the lower counts; an unknown angle gets the lowest of all.
    """
    return _over(tuple(x for x in plan.limits if x.up_to_minutes is None), twa_deg)


@dataclass(frozen=True, kw_only=True)
class ShortLimit:
    """A higher limit that holds for at most so many ten-minute steps at a time; infinite where its sector is not met."""

    steps: int
    working_kn: Floats
    hard_kn: Floats


def short_limits(plan: SailPlan, twa_deg: Floats) -> list[ShortLimit]:
    """plan, |true wind angle| [deg] -> its limits for a short while, longest first; -inf where a sector does not apply."""
    found = []
    for limit in sorted((x for x in plan.limits if x.up_to_minutes is not None), key=lambda x: -(x.up_to_minutes or 0)):
        inside = (twa_deg >= limit.angle_deg[0]) & (twa_deg <= limit.angle_deg[1])
        found.append(
            ShortLimit(
                steps=int((limit.up_to_minutes or 0) // STEP_MINUTES),
                working_kn=np.where(inside, limit.working_kn, -np.inf),
                hard_kn=np.where(inside, limit.hard_kn, -np.inf),
            )
        )
    return found


def _over(limits: tuple[Limit, ...], twa_deg: Floats) -> tuple[Floats, Floats]:
    working = np.full(np.shape(twa_deg), np.inf)
    hard = np.full(np.shape(twa_deg), np.inf)
    for limit in limits:
        outside = (twa_deg < limit.angle_deg[0]) | (twa_deg > limit.angle_deg[1])  # False for an unknown angle
        working = np.where(outside, working, np.minimum(working, limit.working_kn))
        hard = np.where(outside, hard, np.minimum(hard, limit.hard_kn))
    return working, hard


def excess(value_kn: Floats, limit_kn: Floats) -> Floats:
    """How far a wind is over a limit [kn], 0 inside it, NaN where the wind is unknown (never 0).

    >>> excess(np.array([20.0, 25.0, np.nan]), np.array([20.0, 20.0, 20.0]))
    array([ 0.,  5., nan])
    """
    over: Floats = np.maximum(value_kn - limit_kn, 0.0)
    return over


def with_short_limits(value_kn: Floats, lasting_kn: Floats, shorts: list[tuple[int, Floats]]) -> Floats:
    """Excess over the lasting limit [kn], but a stretch over it that is short enough counts only over the higher limit.

    value_kn, lasting_kn: (..., time). shorts: (steps at most, limit [kn] of the same shape or -inf), longest first.
    The length of a stretch is the weather's, however late she came to carry this plan: that errs to the safe side.
    """
    over = excess(value_kn, lasting_kn)
    for steps, limit_kn in shorts:
        length = stretch_length(~(value_kn <= lasting_kn))
        short = (length > 0) & (length <= steps) & np.isfinite(limit_kn) & np.isfinite(value_kn)
        over = np.where(short, np.minimum(over, excess(value_kn, np.maximum(limit_kn, lasting_kn))), over)
    return over


def stretch_length(true: NDArray[np.bool_]) -> NDArray[np.int64]:
    """(..., time) of True and False -> for each step the length of the stretch of True that it lies in; 0 where False.

    >>> stretch_length(np.array([True, True, False, True]))
    array([2, 2, 0, 1])
    """
    steps = true.shape[-1]
    index = np.arange(steps)
    before = np.maximum.accumulate(np.where(true, -1, index), axis=-1)
    flipped = np.where(true, steps, index)[..., ::-1]
    after = np.minimum.accumulate(flipped, axis=-1)[..., ::-1]
    length: NDArray[np.int64] = np.where(true, after - before - 1, 0)
    return length
