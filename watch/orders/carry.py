"""What it costs to carry each rig state through each step, and how surely its limits are kept."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting, short_limits, with_short_limits
from watch.boat.model import SailPlan, Speed
from watch.boat.rig import Rig
from watch.orders.met import Met, height_factor, share
from watch.orders.weights import Weights
from watch.passage.speed import SpeedTable, apparent
from watch.units import kn_to_ms
from watch.weather.unforecast import NONE, Unforecast
from watch.when import STEPS_PER_HOUR

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

UNKNOWN_KN = 5.0  # judgement: an unknown step counts as so many knots over every limit; alike for all states, so it decides nothing


def speed_table(speed: Speed) -> SpeedTable:
    """A speed table as the boat file has it -> as the passage uses it."""
    return SpeedTable(tws_kn=np.array(speed.wind_kn), twa_deg=np.array(speed.angle_deg), speed_kn=np.array(speed.boat_kn))


@dataclass(frozen=True, kw_only=True)
class Carried:
    """For one rig state: mean and gust as its limits mean them (true, or apparent as felt with it up), knots over the working and the
    hard limit (S, T), NaN where the weather is not known; share under-canvassed and way made good (T); the limits themselves (S, T);
    and the chance in each step (S, T) that a squall which no forecast shows passes the hard limit."""

    mean_kn: Floats
    gust_kn: Floats
    over_working_kn: Floats
    over_hard_kn: Floats
    under: Floats
    made_good_kn: Floats
    working_kn: Floats
    hard_kn: Floats
    unforecast_chance: Floats

    def meets_hard(self) -> Bools:
        """(S, T): gust above the hard limit, or not known."""
        return ~(self.over_hard_kn <= 0.0)


@dataclass(frozen=True, kw_only=True)
class Carriage:
    """All rig states: one Carried for each, shared by states with the same sail plan and course."""

    of_state: tuple[Carried, ...]

    def __getitem__(self, state: int) -> Carried:
        return self.of_state[state]


def carriage(rig: Rig, met: Met, table: SpeedTable, unforecast: Unforecast = NONE) -> Carriage:
    """rig, weather, the boat's speed table, how often squalls come that no forecast shows -> what each rig state meets. Every state
    needs a sail plan (the boat file sees to it)."""
    known: dict[tuple[str, str], Carried] = {}
    carried = []
    for i, plan in enumerate(rig.plans):
        assert plan is not None, f"no sail plan covers {rig.states[i]}"
        key = (plan.name, rig.course_of(i))
        if key not in known:
            known[key] = _one(rig, i, plan, met, table, unforecast)
        carried.append(known[key])
    return Carriage(of_state=tuple(carried))


def _one(rig: Rig, state: int, plan: SailPlan, met: Met, table: SpeedTable, unforecast: Unforecast) -> Carried:
    mode = rig.mode_of(state)
    closest = plan.closest_deg or rig.boat.boat.closest_deg
    angle, mean_kn, gust_kn = felt(rig, state, plan, met)
    working, hard = lasting(plan, angle)
    shorts = short_limits(plan, angle)
    return Carried(
        mean_kn=mean_kn,
        gust_kn=gust_kn,
        over_working_kn=with_short_limits(mean_kn, working, [(s.steps, s.working_kn) for s in shorts]),
        over_hard_kn=with_short_limits(gust_kn, hard, [(s.steps, s.hard_kn) for s in shorts]),
        under=share(met, met.low_kn < plan.under_kn),
        made_good_kn=_made_good(plan, closest, met, table) if mode is None else _drifted(mode.drift_kn, mode.drift_from_wind_deg, met),
        working_kn=np.broadcast_to(working, met.mean_kn.shape),
        hard_kn=np.broadcast_to(hard, met.mean_kn.shape),
        unforecast_chance=unforecast_chance(rig, hard - gust_kn, unforecast),
    )


def unforecast_chance(rig: Rig, in_hand_kn: Floats, unforecast: Unforecast) -> Floats:
    """Knots between the gust of the weather and the hard limit, at the height of the limits -> the chance in a ten-minute step that a
    squall which is in no weather fills them; same shape. Felt as apparent wind a gust grows by less than itself: the safe side."""
    if unforecast.per_hour == 0.0:
        return np.zeros(np.shape(in_hand_kn))
    return unforecast.step_chance(kn_to_ms(in_hand_kn) / height_factor(rig.boat))


def felt(rig: Rig, state: int, plan: SailPlan, met: Met) -> tuple[Floats, Floats, Floats]:
    """The angle (S, T) she lies at to the wind in a rig state, and mean and gust as her limits mean them: true, or apparent."""
    mode = rig.mode_of(state)
    closest = plan.closest_deg or rig.boat.boat.closest_deg
    angle = np.maximum(met.angle_deg, closest) if mode is None else np.full_like(met.angle_deg, mode.wind_angle_deg)
    if rig.boat.boat.limits_are != "apparent wind":
        return angle, met.mean_kn, met.gust_kn
    return angle, apparent(met.mean_kn, angle, met.boat_kn)[0], apparent(met.gust_kn, angle, met.boat_kn)[0]


def _made_good(plan: SailPlan, closest_deg: float, met: Met, table: SpeedTable) -> Floats:
    """(T): knots made good along the course in the median wind; tacking where the course lies closer than she can point."""
    wind_kn, angle = met.median_low_kn, met.median_angle_deg
    sailed = np.maximum(angle, closest_deg)
    own = table if plan.speed is None else speed_table(plan.speed)
    speed = own.at(wind_kn, sailed) * (plan.speed_factor if plan.speed_factor is not None else 1.0)
    return np.nan_to_num(speed * np.cos(np.radians(sailed - angle)), nan=0.0)


def _drifted(drift_kn: float, from_wind_deg: float | None, met: Met) -> Floats:
    """(T): knots made good along the course while lying to or running off."""
    angle = met.median_angle_deg
    away = 180.0 if from_wind_deg is None else from_wind_deg
    return np.nan_to_num(drift_kn * np.cos(np.radians(away - angle)), nan=0.0)


def running_cost(rig: Rig, met: Met, found: Carriage, weights: Weights, hard_times: float = 1.0) -> Floats:
    """(T, N): expected points of each step in each state, but for squalls that no forecast shows. hard_times raises the weight of the
    hard limit."""
    hour = 1.0 / STEPS_PER_HOUR
    fastest = np.max([c.made_good_kn for c in found.of_state], axis=0)
    cost = np.empty((met.steps, len(rig.states)))
    done: dict[int, int] = {}
    for i, c in enumerate(found.of_state):
        if id(c) in done:
            cost[:, i] = cost[:, done[id(c)]]
            continue
        done[id(c)] = i
        hard_kn, working_kn = np.nan_to_num(c.over_hard_kn, nan=UNKNOWN_KN), np.nan_to_num(c.over_working_kn, nan=UNKNOWN_KN)
        hard = weights.hard_hour * share(met, hard_kn > 0) + weights.hard_kn_hour * met.weight @ hard_kn
        working = weights.working_hour * share(met, working_kn > 0) + weights.working_kn_hour * met.weight @ working_kn
        way = weights.lost_mile * (fastest - c.made_good_kn) + weights.under_hour * c.under
        cost[:, i] = hour * (hard_times * hard + working + way)
    return cost
