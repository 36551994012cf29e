"""Shelter, holding on, running off and lying to as rivals in one table: ranked, each with the number that decides it.

says: first what keeps the asked-for chance, by the miles it costs; then the rest, by chance. why: they are one choice, and the worst of
them is to make it late. example: hold on, 97 in 100, no miles; turn for the lee by 03:00, 93 in 100, 60 miles. source: counting, as in
watch.orders.shelter and watch.orders.sea_room; the order of the table is judgement.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting
from watch.boat.rig import RUN_OFF
from watch.orders.carriages import as_limits_allow
from watch.orders.document import NoReturn, ShelterOrder, TurnWindow
from watch.orders.met import quantile, quantile_of_known
from watch.orders.schedule import Schedule
from watch.orders.sea_room import Drift, Room, lee_shores, sea_room
from watch.orders.shelter import Ask, Turns
from watch.orders.shelter_reasons import TurnReason
from watch.orders.shelter_words import ShelterTeller
from watch.orders.turning import good_turns
from watch.passage.land import ABOUT, NOT_KNOWN, arc_nm
from watch.units import wind_up_kn
from watch.when import STEPS_PER_HOUR, from_np

Floats = NDArray[np.float64]

SEA_ROOM_HOURS = 48  # judgement: so far ahead sea room is looked at
START_EVERY_H = 6  # from every so many hours of the track as well as from now
RUNS_AT_DEG = 170.0  # a boat without a mode of running off: the angle her limits are read at
BY_DAY = 0.9


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What is said of shelter: the ranked table, the point of no return, cautions and what is not known."""

    table: tuple[ShelterOrder, ...]
    no_return: NoReturn | None
    cautions: tuple[str, ...]
    missing: tuple[str, ...]


def choices(ask: Ask, turns: Sequence[Turns], schedule: Schedule, tell: ShelterTeller) -> Choices:
    """What was judged of the shelters, and the schedule they are rivals of -> what is said."""
    asked = ask.aims.shelter_chance
    rows = [_shelter(ask, t, tell) for t in turns] + _others(ask, schedule, tell)
    good = [r.chance is not None and r.chance >= asked - 1e-9 for r in rows]
    order = sorted(range(len(rows)), key=lambda i: _key(rows[i], good[i]))
    table = tuple(replace(rows[i], rank=k + 1) for k, i in enumerate(order))
    cautions = [*_lee_words(ask, tell), *((ABOUT.capitalize() + ".",) if ask.land is not None else ())]
    return Choices(
        table=table, no_return=_no_return(ask, table, tell), cautions=tuple(cautions),
        missing=() if ask.land is not None else (NOT_KNOWN,),
    )  # fmt: skip


def _key(row: ShelterOrder, good: bool) -> tuple[float, float, float]:
    lost = row.miles_lost_nm if row.miles_lost_nm is not None else np.inf
    return (0.0, lost, -(row.chance or 0.0)) if good else (1.0, -(row.chance or 0.0), lost)


def _at(ask: Ask, hour: float) -> datetime:
    return from_np(ask.weathers.hours[0]) + timedelta(hours=float(hour))


def _when(ask: Ask, hour: float) -> datetime | None:
    """An hour of the track, to the ten minutes after it; None for an unknown one."""
    return None if np.isnan(hour) else _at(ask, np.ceil(hour * STEPS_PER_HOUR - 1e-6) / STEPS_PER_HOUR)


def _shelter(ask: Ask, turns: Turns, tell: ShelterTeller) -> ShelterOrder:
    """One shelter as a row of the table."""
    asked = ask.aims.shelter_chance
    good = good_turns(turns.chance, asked)
    windows = tuple(
        TurnWindow(
            first=_at(ask, g.first), last=_at(ask, g.last), chance=round(g.least, 3), reason=reason.name.lower(), words=reason.words
        )
        for g in good
        for reason in [_closes(turns, g.last)]
    )
    at = good[-1].last if good else int(np.argmax(turns.chance))
    reason = _closes(turns, at) if good else TurnReason(int(turns.reason[at]))
    never = np.isnan(turns.length_nm[at])
    row = ShelterOrder(
        name=turns.shelter.name, kind=str(turns.shelter.kind), distance_nm=None if never else round(float(turns.length_nm[at]), 1),
        turn_by=windows[-1].last if windows else None, arrival_early=_when(ask, turns.early_h[at]),
        arrival=_when(ask, turns.middle_h[at]), arrival_late=_when(ask, turns.late_h[at]), chance=round(float(turns.chance[at]), 3),
        daylight=None if np.isnan(turns.middle_h[at]) else bool(turns.daylight[at] >= BY_DAY),
        gust_kn=None if np.isnan(turns.gust_kn[at]) else wind_up_kn(float(turns.gust_kn[at])),
        miles_lost_nm=_miles_lost(ask, turns, at), sea_room_h=None, reason=reason.name.lower(), words="", rank=0, windows=windows,
        stand_off_share=round(float(turns.waits[at]), 3) if turns.waits[at] > 0.0 else None,
        stand_off_h=float(np.ceil(turns.waits_h[at] * 10.0 - 1e-6) / 10.0) if turns.waits[at] > 0.0 else None,
        latitude_deg=round(turns.shelter.latitude, 4), longitude_deg=round(turns.shelter.longitude, 4),
    )  # fmt: skip
    return replace(row, words=tell.shelter(row, turns, at, reason))


def _closes(turns: Turns, last: int) -> TurnReason:
    """What shuts a window after its last turn."""
    return TurnReason.OPEN if last + 1 >= len(turns.chance) else TurnReason(int(turns.reason[last + 1]))


def _miles_lost(ask: Ask, turns: Turns, hour: int) -> float | None:
    if np.isnan(turns.length_nm[hour]):
        return None
    bound = ask.track.route.waypoints[-1]
    t = hour * STEPS_PER_HOUR
    lat, lon = (float(x) for x in (ask.track.latitude[t], ask.track.longitude[t]))
    on, to = (_arc(a, b, bound.latitude, bound.longitude) for a, b in ((turns.shelter.latitude, turns.shelter.longitude), (lat, lon)))
    return round(max(float(turns.length_nm[hour]) + on - to, 0.0), 1)


def _arc(latitude1: float, longitude1: float, latitude2: float, longitude2: float) -> float:
    return float(arc_nm(*(np.array(x) for x in (latitude1, longitude1, latitude2, longitude2))))


def _others(ask: Ask, schedule: Schedule, tell: ShelterTeller) -> list[ShelterOrder]:
    """Holding on, running off, and each way of lying to that the boat file has."""
    rows = [_hold_on(ask, schedule, tell)]
    for name, drift, hard_kn in _ways(ask):
        rows.append(_drifting(ask, tell, name, drift, hard_kn))
    return rows


def _plain(name: str, **given: object) -> ShelterOrder:
    nothing = {
        "kind": name, "distance_nm": None, "turn_by": None, "arrival_early": None, "arrival": None, "arrival_late": None,
        "chance": None, "daylight": None, "gust_kn": None, "miles_lost_nm": None, "sea_room_h": None, "reason": "open", "words": "",
        "rank": 0,
    }  # fmt: skip
    return ShelterOrder(name=name, **{**nothing, **given})  # type: ignore[arg-type]


def _hold_on(ask: Ask, schedule: Schedule, tell: ShelterTeller) -> ShelterOrder:
    met = schedule.judged.night.met
    worst = np.max(met.gust_kn, axis=1)  # NaN where any of it is unknown
    gust = float(quantile(worst[:, None], met.weight, ask.aims.planning_share)[0])
    row = _plain(
        "hold on", chance=round(1.0 - schedule.risk.forecast_chance, 3), gust_kn=wind_up_kn(gust) if np.isfinite(gust) else None,
        miles_lost_nm=0.0, reason="open" if schedule.keeps_ceiling else "overtaken",
    )  # fmt: skip
    return replace(row, words=tell.hold_on(row, schedule))


def _ways(ask: Ask) -> list[tuple[str, Drift, Floats]]:
    """(name, how she drifts, her hard limit [kn] in each hour) of running off and of each mode of lying to."""
    rig = ask.rig
    ways: list[tuple[str, Drift, Floats]] = []
    for mode in rig.boat.mode:
        states = [i for i in range(len(rig.states)) if rig.course_of(i) == mode.name]
        limits = [float(lasting(p, np.array([mode.wind_angle_deg]))[1][0]) for i in states if (p := rig.plans[i]) is not None]
        if mode.name == "motor" or not limits:
            continue
        goes = mode.drift_from_wind_deg if mode.drift_from_wind_deg is not None else 180.0
        steady = mode.drift_kn
        ways.append((mode.name, Drift(speed_kn=lambda tws, kn=steady: np.full(np.shape(tws), kn), goes_deg=goes),  # type: ignore[misc]
                     np.full(ask.hours, max(limits))))  # fmt: skip
    if RUN_OFF not in [name for name, _, _ in ways]:
        table = as_limits_allow(rig, ask.height_factor).table
        assert table is not None
        carried = ask.carried[np.minimum(np.arange(ask.hours) * STEPS_PER_HOUR, len(ask.carried) - 1)]
        limit = {i: float(lasting(p, np.array([RUNS_AT_DEG]))[1][0]) for i in set(carried.tolist()) if (p := rig.plans[i]) is not None}
        ways.insert(0, (RUN_OFF, Drift(speed_kn=lambda tws: table.at(tws, 180.0), goes_deg=180.0), np.array([limit[i] for i in carried])))
    return ways


def _drifting(ask: Ask, tell: ShelterTeller, name: str, drift: Drift, hard_kn: Floats) -> ShelterOrder:
    """Running off or lying to from now on, for as many hours as a shelter is asked for; sea room from now and from later as well."""
    if ask.land is None:
        return _plain(name, reason="unknown", words=tell.land_unknown())
    hours = min(SEA_ROOM_HOURS, ask.hours)
    starts = np.arange(0, ask.hours, START_EVERY_H)
    at = starts * STEPS_PER_HOUR
    room = sea_room(
        ask.weathers, ask.land, starts, ask.track.latitude[at], ask.track.longitude[at], drift, ask.aims.sea_room_nm, hours
    )
    within = min(ask.aims.stay_hours, ask.hours)
    weight = ask.weathers.weight
    gust_kn = room.gust_kn[:, :within] * ask.height_factor
    hit = ~(gust_kn <= hard_kn[None, :within])
    kept = ~hit.any(axis=1) & (room.room_h[0] >= within) & (room.known_h[0] >= within)
    planned = quantile(np.where(np.isfinite(gust_kn), gust_kn, np.nan), weight, ask.aims.planning_share)
    tightest = int(np.argmin(np.nan_to_num(hard_kn[:within] - planned, nan=-np.inf)))
    gust, closest = float(np.max(planned)), (float(planned[tightest]), float(hard_kn[tightest]))
    least = float(room.least_h()[0])
    row = _plain(
        name, chance=round(float(weight @ kept), 3), gust_kn=wind_up_kn(gust) if np.isfinite(gust) else None,
        miles_lost_nm=_blown_nm(ask, room, within), sea_room_h=least if np.isfinite(least) else None,
        reason=_against(least, bool(room.known_h[0].min() < within), float(weight @ hit.any(axis=1)) > ask.aims.hard_ceiling),
    )  # fmt: skip
    return replace(row, words=tell.drifting(row, room, float(weight @ hit.any(axis=1)), closest, within))


def _against(room_h: float, unknown: bool, over: bool) -> str:
    reason = TurnReason.NO_SEA_ROOM if np.isfinite(room_h) else TurnReason.UNKNOWN if unknown else TurnReason.OPEN
    return (TurnReason.OVERTAKEN if over and reason is TurnReason.OPEN else reason).name.lower()


def _blown_nm(ask: Ask, room: Room, hours: int) -> float | None:
    """Miles farther from her destination after so many hours than if she had held on, the middle of the weathers."""
    bound, t = ask.track.route.waypoints[-1], hours * STEPS_PER_HOUR
    there = arc_nm(room.latitude[hours], room.longitude[hours], np.full(len(room.latitude[hours]), bound.latitude),
                   np.full(len(room.latitude[hours]), bound.longitude))  # fmt: skip
    middle = float(quantile_of_known(there[None, :], ask.weathers.weight, 0.5)[0])
    if np.isnan(middle):
        return None
    return round(max(middle - _arc(float(ask.track.latitude[t]), float(ask.track.longitude[t]), bound.latitude, bound.longitude), 0.0), 1)


def _lee_words(ask: Ask, tell: ShelterTeller) -> list[str]:
    if ask.land is None:
        return []
    middle = np.arange(ask.hours) * STEPS_PER_HOUR + STEPS_PER_HOUR // 2
    found = lee_shores(
        ask.weathers, ask.land, ask.track.latitude[middle], ask.track.longitude[middle], ask.aims.sea_room_nm
    )  # fmt: skip
    return [tell.lee_shore(_at(ask, s.first), _at(ask, s.last + 1), s.nearest_nm, s.mean_kn * ask.height_factor) for s in found]


def _no_return(ask: Ask, table: Sequence[ShelterOrder], tell: ShelterTeller) -> NoReturn | None:
    """The last turn-by time of all shelters, and where she is then; None when no shelter can be reached at all."""
    left = [row for row in table if row.turn_by is not None]
    if not left:
        return None
    last = max(left, key=lambda row: row.turn_by)  # type: ignore[arg-type,return-value]
    assert last.turn_by is not None
    t = round((last.turn_by - _at(ask, 0)) / timedelta(minutes=10))
    lat, lon = float(ask.track.latitude[t]), float(ask.track.longitude[t])
    return NoReturn(
        time=last.turn_by, latitude_deg=round(lat, 4), longitude_deg=round(lon, 4), shelter=last.name, words=tell.no_return(last)
    )
