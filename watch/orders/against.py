"""What each weather has against a leg to shelter: on the way, waiting outside, going in, and lying there, in the order she would meet it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watch.orders.leg_sails import Carried, LegWeather, Sails
from watch.orders.legs import Legs
from watch.orders.shelter_reasons import TurnReason
from watch.orders.standing_off import wait_outside
from watch.orders.there import There
from watch.orders.weights import Aims

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

AHEAD_DEG = 60  # judgement: a leg that is closer to the wind than this for most of its hours has the wind ahead


def over_hard(sails: Sails, met: LegWeather, carried: Carried) -> Flags:
    """(L, J, S): gusts over the hard limit of what is carried, of the stricter of the two while a job is in hand; unknown is over."""
    limit = np.minimum(sails.hard_kn[carried.plan[:, :, None], met.angle], sails.hard_kn[carried.into[:, :, None], met.angle])
    return ~(met.gust_kn <= limit)


@dataclass(frozen=True, kw_only=True)
class Codes:
    """(L, S): the first TurnReason that each weather has against each leg, OPEN when none; whether she goes in by day; how long she stands
    off before, 0 for not, and the strongest gust meanwhile."""

    code: Ints
    day: Flags
    waited_h: Floats
    waited_kn: Floats


def codes(
    aims: Aims, harbours: list[There], legs: Legs, met: LegWeather, arrival: Floats, over: Flags, there_at: Ints, can_wait_kn: Floats
) -> Codes:  # fmt: skip
    """Some legs (L), when she is off the entrance in each weather, hours from the turn, NaN for never, and in which hour of the leg; gusts
    over a hard limit (L, J, S); and the gust [kn] that she can wait in with what she then carries (L, S)."""
    code = _on_the_way(met, arrival, over, there_at)
    arrives = np.isfinite(arrival)
    day, waited_h, waited_kn = np.zeros(arrival.shape, dtype=bool), np.zeros(arrival.shape), np.full(arrival.shape, -np.inf)
    for i in np.unique(legs.shelter):
        rows = np.flatnonzero(legs.shelter == i)
        own, harbour = code[rows], harbours[i]
        waited = wait_outside(
            harbour, np.where(arrives[rows], arrival[rows], 0.0) + legs.turn[rows, None], can_wait_kn[rows], (own == 0) & arrives[rows]
        )  # fmt: skip
        day[rows] = harbour.in_daylight(waited.at_h) & arrives[rows]
        waited_h[rows], waited_kn[rows] = waited.hours, waited.gust_kn
        for found in (waited.against, harbour.entering(waited.at_h), harbour.staying(waited.at_h, aims.stay_hours)):
            for reason in sorted(found):
                own = np.where((own == 0) & found[reason], int(reason), own)
        code[rows] = own
    return Codes(code=code, day=day, waited_h=waited_h, waited_kn=waited_kn)


def _on_the_way(met: LegWeather, arrival: Floats, over: Flags, there_at: Ints) -> Ints:
    """(L, S): the first TurnReason that each weather has against each leg until she is off the entrance, OPEN when none."""
    before = np.arange(over.shape[1])[None, :, None] <= there_at[:, None, :]
    unknown = (before & ~np.isfinite(met.gust_kn) & met.own[:, :, None]).any(axis=1)
    hit = (before & over & met.own[:, :, None]).any(axis=1)
    ahead = ((met.angle < AHEAD_DEG) & before).sum(axis=1) > 0.5 * before.sum(axis=1)
    arrives = np.isfinite(arrival)
    code = np.zeros(arrival.shape, dtype=np.int64)
    against: list[tuple[TurnReason, Any]] = [
        (TurnReason.UNKNOWN, unknown), (TurnReason.OVERTAKEN, hit),
        (TurnReason.WIND_AHEAD, ~arrives & ahead), (TurnReason.TOO_FAR, ~arrives),
    ]  # fmt: skip
    for reason, flag in against:
        code = np.where((code == 0) & flag, int(reason), code)
    return code
