"""By when to turn for shelter: from every hour of the track to every shelter, counted jointly over the possible weathers.

says: a turn has the chance of the weathers in which *every* hour of the leg keeps inside the hard limit of the sail plan then carried, she
arrives in daylight if the entrance wants it, its limits are met from arrival until she lies safe, and for the asked-for hours afterwards
no wind or sea out of its open sectors, and no gust, is over its limits. The turn-by time is the last turn with at least the asked chance.
why: an island to leeward of a front is no shelter once the front is there, nor an entrance in the dark. example: a harbour open to the
north-west is good until the veer; what closes it is then "the wind blows into it". source: counting over scenarios, as everywhere in the
orders; judgement: the sail plans of a leg (watch.orders.leg_sails; where that keeps too little chance also those that mind no hard limit
and so get her there sooner, and the better of the two counts), and that the weather of a leg is looked up where she would be in the
middle of the weathers, while each weather has her make her own speed there: in a slower weather it is met a few miles ahead of her.
Standing off until daylight is not counted. Turns are at full hours from the start, rounded down. What is not known is not allowed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from watch.boat.rig import Rig
from watch.orders.carriages import as_limits_allow
from watch.orders.leg_sails import UNKNOWN_ANGLE, Carried, LegWeather, Sails, choose_sails, sails_of
from watch.orders.legs import ENDS_FIRST, NO_WAY, TOO_FAR, Legs, legs_to
from watch.orders.met import quantile_of_known
from watch.orders.shelter_reasons import TurnReason
from watch.orders.there import There, all_there
from watch.orders.weights import Aims, Weights
from watch.passage.land import Land
from watch.passage.shelters import Shelter
from watch.passage.speed import apparent
from watch.passage.track import Track, Wind
from watch.units import KN_PER_MS, wrap_180
from watch.weather.anywhere import Anywhere
from watch.when import STEPS_PER_HOUR

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

CELLS = 12_000  # places and hours looked up at once
PACE = 1.15  # judgement: so much longer, and an hour, is near enough to the first reckoning
AHEAD_DEG = 60  # judgement: a leg that is closer to the wind than this for most of its hours has the wind ahead
BEFORE_SAILING = {NO_WAY: TurnReason.NO_WAY, TOO_FAR: TurnReason.TOO_FAR, ENDS_FIRST: TurnReason.FORECAST_ENDS}
SOONER_HELPS = (TurnReason.TOO_FAR, TurnReason.WIND_AHEAD, TurnReason.OVERTAKEN, TurnReason.DARK, TurnReason.ENTRANCE_WIND,
                TurnReason.ENTRANCE_SEA)  # fmt: skip
EARLY, MIDDLE, LATE = 0.1, 0.5, 0.9


@dataclass(frozen=True, kw_only=True, eq=False)
class Ask:
    """What the shelters are judged from. carried (T): the rig state that the orders have at each ten-minute step; weathers: over the whole
    hours of the track's known weather; wind: the central wind at the track's marks; height_factor: from 10 m to where her limits mean."""

    rig: Rig
    aims: Aims
    weights: Weights
    track: Track
    carried: Ints
    weathers: Anywhere
    wind: Wind
    height_factor: float
    shelters: Sequence[Shelter]
    land: Land | None = field(repr=False)

    @property
    def hours(self) -> int:
        return len(self.weathers.hours) - 1


@dataclass(frozen=True, kw_only=True, eq=False)
class Turns:
    """One shelter, for a turn at each hour (H): chance; reason: a TurnReason, what most of the other weathers have against it; early,
    middle, late: when 10, 50 and 90 in 100 of those that arrive do, hours from the start, NaN when none; daylight: the share of the weather
    that arrives by day; gust_kn: the gust on the way that the planning share of the weather stays below; length_nm; round_land."""

    shelter: Shelter
    chance: Floats
    reason: Ints
    early_h: Floats
    middle_h: Floats
    late_h: Floats
    daylight: Floats
    gust_kn: Floats
    length_nm: Floats
    round_land: Flags
    resolution_nm: float


NUMBERS = ("chance", "early_h", "middle_h", "late_h", "daylight", "gust_kn", "length_nm")


def judge_shelters(ask: Ask) -> tuple[Turns, ...]:
    """Every shelter, for a turn at every hour."""
    legs = legs_to(
        ask.shelters, ask.track, ask.hours, as_limits_allow(ask.rig, ask.height_factor), ask.wind, ask.land, _fastest_kn(ask.rig),
        ask.aims.stay_hours,
    )
    sails = sails_of(ask.rig)
    harbours = all_there(ask.shelters, ask.weathers, ask.height_factor)
    shape = (len(ask.shelters), ask.hours)
    out = {name: np.full(shape, np.nan) for name in NUMBERS}
    out["chance"][:] = 0.0
    reason = np.array([int(BEFORE_SAILING.get(w, TurnReason.OPEN)) for w in range(4)])[legs.ways]
    round_land = np.zeros(shape, dtype=bool)
    round_land[legs.shelter, legs.turn] = legs.round_land
    for chosen in _chunks(legs.hours):
        some = legs.some(chosen)
        found = _counted(ask, sails, harbours, some)
        _put(out, reason, some, found)
        slow = np.flatnonzero(_slower(some, found))
        if len(slow):
            slower = some.some(slow).at_the_pace(found.made_nm[slow][:, : int(some.hours[slow].max())], ask.hours)
            for more in _chunks(slower.hours):
                part = slower.some(more)
                _put(out, reason, part, _counted(ask, sails, harbours, part))
    return tuple(
        Turns(shelter=s, reason=reason[i], round_land=round_land[i], resolution_nm=float(legs.resolution_nm[i]),
              **{name: values[i] for name, values in out.items()})
        for i, s in enumerate(ask.shelters)
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Counted:
    """Some legs (L): the numbers of `Turns`, what most of the lost weathers have against each, the miles made in each hour (L, J), and the
    share of the weather that is lost but that being there sooner might save."""

    numbers: dict[str, Floats]
    reason: Ints
    made_nm: Floats
    late: Floats

    def with_better(self, rows: Ints, other: "Counted") -> "Counted":
        """These, with `other` (of these rows) in place of those whose chance it betters."""
        better = np.flatnonzero(other.numbers["chance"] > self.numbers["chance"][rows] + 1e-9)
        at = rows[better]
        numbers = {n: v.copy() for n, v in self.numbers.items()}
        reason, made_nm = self.reason.copy(), self.made_nm.copy()
        for name, values in other.numbers.items():
            numbers[name][at] = values[better]
        reason[at] = other.reason[better]
        made_nm[at, : other.made_nm.shape[1]] = other.made_nm[better]
        return Counted(numbers=numbers, reason=reason, made_nm=made_nm, late=self.late)


def _put(out: dict[str, Floats], reason: Ints, legs: Legs, found: Counted) -> None:
    for name, values in found.numbers.items():
        out[name][legs.shelter, legs.turn] = values
    reason[legs.shelter, legs.turn] = found.reason


def _slower(legs: Legs, found: Counted) -> Flags:
    """(L): legs that their sail plans make much slower than the first reckoning: their weather has to be looked up again."""
    middle_h = found.numbers["middle_h"] - legs.turn
    return ~(middle_h <= legs.arrival_h * PACE + 1.0) & ~np.isnan(legs.arrival_h)


def _fastest_kn(rig: Rig) -> float:
    """The greatest speed any of her tables has: nothing can be reached sooner."""
    own = [max(max(row) for row in (plan.speed or rig.boat.speed).boat_kn) * (plan.speed_factor or 1.0) for plan in rig.plans if plan]
    return max(own)


def _chunks(hours: Ints) -> list[Ints]:
    """Legs in order of their length, as many at once as have some thousands of hours together."""
    order = np.argsort(hours, kind="stable")
    chunks, begins = [], 0
    while begins < len(order):
        ends = begins + 1
        while ends < len(order) and (ends + 1 - begins) * int(hours[order[ends]]) <= CELLS:
            ends += 1
        chunks.append(order[begins:ends])
        begins = ends
    return chunks


def _met(ask: Ask, legs: Legs) -> LegWeather:
    """What the legs meet, as her limits mean it."""
    count, most = legs.latitude.shape
    own = np.arange(most)[None, :] < legs.hours[:, None]
    hour = np.minimum(legs.turn[:, None] + np.arange(most)[None, :], ask.hours - 1)
    found = ask.weathers.at(hour[own], legs.latitude[own], legs.longitude[own])

    def spread(values: NDArray[np.float32], nothing: float = np.nan) -> NDArray[np.float32]:
        out = np.full((count, most, values.shape[1]), nothing, dtype=np.float32)
        out[own] = values
        return out

    factor = np.float32(KN_PER_MS * ask.height_factor)
    mean_kn, gust_kn = found.mean_ms * factor, found.gust_ms * factor
    from_deg = np.degrees(np.arctan2(-found.u_ms, -found.v_ms))
    off = np.abs(wrap_180(from_deg - legs.course_deg[own][:, None]))
    known = np.isfinite(off)
    if ask.rig.boat.boat.limits_are == "apparent wind":
        lies = np.maximum(off, ask.rig.boat.boat.closest_deg)
        speed = np.nan_to_num(legs.length_nm / np.maximum(legs.arrival_h, 0.5), nan=0.0)
        boat_kn = np.broadcast_to(speed[:, None], own.shape)[own][:, None]
        mean_kn, gust_kn = (apparent(x, lies, boat_kn)[0].astype(np.float32) for x in (mean_kn, gust_kn))
    angle = np.full((count, most, off.shape[1]), UNKNOWN_ANGLE)
    angle[own] = np.where(known, np.rint(np.where(known, off, 0.0)), UNKNOWN_ANGLE).astype(np.int64)
    rows = np.arange(count)[:, None]
    return LegWeather(
        mean_kn=spread(mean_kn), gust_kn=spread(gust_kn), sea_m=spread(found.sea_m), angle=angle,
        tws_kn=spread(np.hypot(found.u_ms, found.v_ms) * np.float32(KN_PER_MS)),
        hours=legs.hours, day=legs.day[rows, hour] & own, moon=legs.moon[rows, hour] & own, weight=ask.weathers.weight,
    )  # fmt: skip


def _counted(ask: Ask, sails: Sails, harbours: list[There], legs: Legs) -> Counted:
    """Some legs under their own sail plans, by the orders' weights or pressing on, whichever keeps the better chance."""
    met = _met(ask, legs)
    start = sails.of_state[ask.carried[np.minimum(legs.turn * STEPS_PER_HOUR, len(ask.carried) - 1)]]
    found = _under(ask, sails, harbours, legs, met, choose_sails(sails, met, start, ask.aims, ask.weights))
    chance, asked = found.numbers["chance"], ask.aims.shelter_chance
    late = np.flatnonzero((chance < asked - 1e-9) & (chance + found.late >= asked - 1e-9))
    if len(late):
        few, weather = legs.some(late), met.some(late)
        pressed = choose_sails(sails, weather, start[late], ask.aims, replace(ask.weights, hard_hour=0.0, hard_kn_hour=0.0))
        found = found.with_better(late, _under(ask, sails, harbours, few, weather, pressed))
    return found


def _under(ask: Ask, sails: Sails, harbours: list[There], legs: Legs, met: LegWeather, carried: Carried) -> Counted:
    arrival, there_at, made_nm = _arrivals(sails, met, carried, legs)
    code, day = _codes(ask, harbours, legs, met, arrival, over_hard(sails, met, carried), there_at)
    weight = met.weight
    lost = np.stack([(code == int(r)) @ weight for r in TurnReason], axis=1)
    late = lost[:, [int(r) for r in SOONER_HELPS]].sum(axis=1)
    lost[:, int(TurnReason.OPEN)] = -1.0
    reached = np.where(np.isfinite(arrival), arrival + legs.turn[:, None], np.nan)
    numbers = {"chance": np.clip((code == int(TurnReason.OPEN)) @ weight, 0.0, 1.0), "length_nm": legs.length_nm, "daylight": day @ weight}
    for name, share in (("early_h", EARLY), ("middle_h", MIDDLE), ("late_h", LATE)):
        numbers[name] = quantile_of_known(reached, weight, share)
    worst = np.where(np.arange(met.gust_kn.shape[1])[None, :, None] <= there_at[:, None, :], met.gust_kn, -np.inf).max(axis=1)
    numbers["gust_kn"] = quantile_of_known(np.where(np.isfinite(worst), worst, np.nan), weight, ask.aims.planning_share)
    gone = numbers["chance"] >= 1.0 - 1e-9
    return Counted(numbers=numbers, reason=np.where(gone, int(TurnReason.OPEN), np.argmax(lost, axis=1)), made_nm=made_nm, late=late)


def _arrivals(sails: Sails, met: LegWeather, carried: Carried, legs: Legs) -> tuple[Floats, Ints, Floats]:
    """Hours from the turn until she is there in each weather (L, S), NaN when not in the leg's hours; the hour of the leg she is there in,
    its last when she is not; and the miles made in each hour, the mean over the weathers (L, J)."""
    way = np.nan_to_num(sails.way_kn(carried.plan[:, :, None], met.tws_kn, met.angle), nan=0.0)
    way[~met.own] = 0.0
    done = np.cumsum(way, axis=1)
    length = legs.length_nm[:, None, None].astype(np.float32)
    index = (done < length).sum(axis=1)
    arrives = index < met.hours[:, None]
    at = np.minimum(index, met.hours[:, None] - 1)
    this = np.take_along_axis(way, at[:, None, :], axis=1)[:, 0]
    left = legs.length_nm[:, None] - (np.take_along_axis(done, at[:, None, :], axis=1)[:, 0] - this)
    arrival = at + np.clip(left / np.maximum(this, 1e-6), 0.0, 1.0)
    return np.where(arrives, arrival, np.nan), at, np.asarray(way @ met.weight)


def over_hard(sails: Sails, met: LegWeather, carried: Carried) -> Flags:
    """(L, J, S): gusts over the hard limit of what is carried, of the stricter of the two while a job is in hand; unknown is over."""
    limit = np.minimum(sails.hard_kn[carried.plan[:, :, None], met.angle], sails.hard_kn[carried.into[:, :, None], met.angle])
    return ~(met.gust_kn <= limit)


def _codes(
    ask: Ask, harbours: list[There], legs: Legs, met: LegWeather, arrival: Floats, over: Flags, there_at: Ints
) -> tuple[Ints, Flags]:  # fmt: skip
    """(L, S): the first TurnReason that each weather has against each leg, OPEN when none; and whether she arrives by day."""
    before = np.arange(over.shape[1])[None, :, None] <= there_at[:, None, :]
    unknown = (before & ~np.isfinite(met.gust_kn) & met.own[:, :, None]).any(axis=1)
    hit = (before & over & met.own[:, :, None]).any(axis=1)
    ahead = ((met.angle < AHEAD_DEG) & before).sum(axis=1) > 0.5 * before.sum(axis=1)
    arrives = np.isfinite(arrival)
    code = np.zeros(arrival.shape, dtype=np.int64)
    day = np.zeros(arrival.shape, dtype=bool)
    against: list[tuple[TurnReason, Any]] = [
        (TurnReason.UNKNOWN, unknown), (TurnReason.OVERTAKEN, hit),
        (TurnReason.WIND_AHEAD, ~arrives & ahead), (TurnReason.TOO_FAR, ~arrives),
    ]  # fmt: skip
    for reason, flag in against:
        code = np.where((code == 0) & flag, int(reason), code)
    for i in np.unique(legs.shelter):
        rows = np.flatnonzero(legs.shelter == i)
        at_h = np.where(arrives[rows], arrival[rows], 0.0) + legs.turn[rows, None]
        harbour = harbours[i]
        day[rows] = harbour.in_daylight(at_h) & arrives[rows]
        own = code[rows]
        for found in (harbour.entering(at_h), harbour.staying(at_h, ask.aims.stay_hours)):
            for reason in sorted(found):
                own = np.where((own == 0) & found[reason], int(reason), own)
        code[rows] = own
    return code, day
