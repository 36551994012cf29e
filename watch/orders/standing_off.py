"""Standing off a shelter until it is light, or until the bar or lock can be passed: waiting outside is a choice, and has its own risk.

says: who comes to an entrance in the dark that wants daylight waits for the first light, if her boat can and the wind and the land let her;
she is in when she goes in, and what she meets meanwhile counts. why: a night outside a lee is often better than an entrance taken blind,
and sometimes worse than not having come. example: there at 02:10, light at 05:20: three hours hove to in gusts of 30, limit 45: good; with
land to leeward in a force 7: not. source: counting, as in watch.orders.shelter. Judgement: she waits under the sail plan she comes with,
hove to where the boat file has that for it, else to and fro under sail at the lowest of its hard limits, and only with one that makes way
with the wind abeam; in a mean wind of force 6 or more no land may lie to leeward within her miles of sea room, off the entrance or a few
miles from it; where land is not known she does not wait. What is not known is not allowed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting
from watch.boat.rig import Rig
from watch.orders.leg_sails import ANGLE_STEP_DEG, Sails
from watch.orders.shelter_reasons import TurnReason
from watch.orders.there import There

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

HEAVE_TO = "heave to"
ABEAM_DEG, ABEAM_KN = 90, 25  # judgement: who makes way like this can go to and fro


def waiting_limits_kn(rig: Rig, sails: Sails) -> Floats:
    """(P): the gust [kn, as her limits mean it] up to which each sail plan of a leg can be waited under; -inf when not at all."""
    abeam = sails.made_kn[:, ABEAM_KN, ABEAM_DEG // ANGLE_STEP_DEG]
    speed = sails.made_kn[:, ABEAM_KN].max(axis=1) if rig.boat.boat.limits_are == "apparent wind" else np.zeros(len(abeam))
    limit = np.where(abeam > 0.0, sails.hard_kn.min(axis=1) - speed, -np.inf).astype(float)
    for mode in rig.boat.mode:
        for i in (i for i in range(len(rig.states)) if mode.name == HEAVE_TO and rig.course_of(i) == HEAVE_TO):
            plan = rig.plans[i]
            if plan is not None and sails.of_state[i] >= 0:
                own = int(sails.plan[sails.of_state[i]])
                limit[own] = max(limit[own], min(float(lasting(plan, np.array([mode.wind_angle_deg]))[1][0]), mode.gust_kn))
    return limit


@dataclass(frozen=True, kw_only=True)
class Waited:
    """Arrivals (R, S): at_h, when she goes in, hours from the start; hours she stood off, 0 for not; gust_kn, the strongest gust meanwhile,
    -inf for none; against: what stands against having waited."""

    at_h: Floats
    hours: Floats
    gust_kn: Floats
    against: dict[TurnReason, Flags]


def wait_outside(harbour: There, at_h: Floats, limit_kn: Floats, live: Flags) -> Waited:
    """Arrivals off an entrance, hours from the start (R, S), and the gust each can wait in; only those that are `live` wait."""
    goes_in = np.where(live & np.isfinite(limit_kn), harbour.let_in_h(at_h), np.inf)
    waits = np.isfinite(goes_in) & (goes_in > at_h)
    rows = np.nonzero(waits)
    gust, over, lee, unknown = _meanwhile(harbour, rows[1], at_h[waits], goes_in[waits], limit_kn[waits])
    spread = {r: np.zeros(at_h.shape, dtype=bool) for r in (TurnReason.UNKNOWN, TurnReason.WAIT_LAND, TurnReason.WAIT_GUST)}
    for flags, found in zip(spread.values(), (unknown, lee, over & ~unknown), strict=True):
        flags[rows] = found
    worst = np.full(at_h.shape, -np.inf)
    worst[rows] = gust
    return Waited(
        at_h=np.where(waits, goes_in, at_h), hours=np.where(waits, np.where(waits, goes_in, 0.0) - at_h, 0.0), gust_kn=worst, against=spread,
    )  # fmt: skip


def _meanwhile(harbour: There, weather: Ints, from_h: Floats, to_h: Floats, limit_kn: Floats) -> tuple[Floats, Flags, Flags, Flags]:
    """Waits (W): the strongest gust, whether it is over the limit, whether land lay to leeward, whether any of it is not known."""
    gust, lee = np.full(len(weather), -np.inf), np.zeros(len(weather), dtype=bool)
    land_near = np.ones(harbour.gust_kn.shape, dtype=bool) if harbour.lee is None else harbour.lee
    first, last = (np.minimum(np.floor(x).astype(np.int64), harbour.hours - 1) for x in (from_h, to_h))
    for ahead in range(int((last - first).max(initial=-1)) + 1):
        own = np.flatnonzero(first + ahead <= last)
        hour = first[own] + ahead
        gust[own] = np.maximum(gust[own], harbour.gust_kn[hour, weather[own]])  # NaN stays NaN
        lee[own] |= land_near[hour, weather[own]]
    return gust, ~(gust <= limit_kn), lee, ~np.isfinite(gust)
