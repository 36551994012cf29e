"""The sail plans of a leg to shelter: the leg's own schedule, in whole hours, by the weights and deck windows of the orders themselves.

says: from the rig state that the orders have her in at the turn, the cheapest chain of jobs and sail plans along the leg.
why: which sail plan she can be in when the wind comes decides whether a leg can be sailed, and how fast. example: a front eight hours
ahead has the storm jib on in the first two, or not at all. source: the schedule of the orders (watch.orders.solve), of which this is the
hourly kin. Judgement, all of it to the slow or the early side: a job fills whole hours, one job at a time; her short-while limits do not
count; a job with a limit on steepness is not done on a leg; sleep is not weighed.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting
from watch.boat.model import COURSE, ON_COURSE, Job
from watch.boat.rig import Rig
from watch.orders.carriages import carriage_of
from watch.orders.carry import UNKNOWN_KN
from watch.orders.judged import PLACE_WEIGHTS
from watch.orders.weights import Aims, Weights
from watch.passage.carriage import Carriage, put_together
from watch.passage.going import LastKnown, next_step
from watch.units import KN_PER_MS

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

ANGLES = 182  # whole degrees 0 to 180 from the wind, and one more for an angle that is not known
UNKNOWN_ANGLE = 181
MOST_WIND_KN = 90
ANGLE_STEP_DEG = 3
PLANNING_SPREADS = 1.28  # mean and so many standard deviations: about what 90 in 100 stay below; for choosing only, never for counting


@dataclass(frozen=True, kw_only=True, eq=False)
class Sails:
    """What a leg can be sailed under: N states on her course with P sail plans, and E edges between them.

    of_state: index here of each rig state of the boat. plan (N). hard_kn, working_kn (P, ANGLES): the lowest limit within a degree.
    made_kn (P, winds, angles): made good along the course, by whole knots and steps of angle. origin, target, job (E), in order of
    origin; hours (jobs): whole hours that each fills.
    """

    of_state: Ints
    plan: Ints
    plan_names: tuple[str, ...]
    hard_kn: Floats32
    working_kn: Floats32
    made_kn: Floats32
    origin: Ints
    target: Ints
    job: Ints
    jobs: tuple[Job, ...]
    hours: Ints

    @cached_property
    def by_hours(self) -> list[tuple[int, Ints | slice]]:
        """Edges by how many hours their jobs fill; all of them as a slice when that is the same for all."""
        hours = self.hours[self.job]
        if len(hours) and (hours == hours[0]).all():
            return [(int(hours[0]), slice(None))]
        return [(int(n), np.flatnonzero(hours == n)) for n in np.unique(hours)]

    @cached_property
    def out_of(self) -> Ints:
        """(N, most): the edges out of each state in their order; as many as there are edges stands for none."""
        count = np.bincount(self.origin, minlength=len(self.plan))
        out = np.full((len(self.plan), int(count.max(initial=1))), len(self.origin), dtype=np.int64)
        rank = np.arange(len(self.origin)) - (np.cumsum(count) - count)[self.origin]
        out[self.origin, rank] = np.arange(len(self.origin))
        return out

    def way_kn(self, plan: Ints, tws_kn: Floats32, angle: Ints) -> Floats32:
        """Made good [kn] under plans, in winds at 10 m [kn, NaN gives NaN], at whole degrees from the wind; of their common shape."""
        known = np.isfinite(tws_kn) & (angle != UNKNOWN_ANGLE)
        wind = np.clip(np.where(known, tws_kn, 0.0) + 0.5, 0, MOST_WIND_KN).astype(np.int64)
        at = self.made_kn[plan, wind, np.where(known, angle, 0) // ANGLE_STEP_DEG]
        return np.where(known, at, np.float32(np.nan))


def sails_of(rig: Rig) -> Sails:
    """The boat's graph -> what a leg can be sailed under."""
    own = [i for i in range(len(rig.states)) if rig.mode_of(i) is None and rig.plans[i] is not None]
    of_state = np.full(len(rig.states), -1, dtype=np.int64)
    of_state[own] = np.arange(len(own))
    for i, state in enumerate(rig.states):  # one that lies to the wind takes up her course with what she has up
        if of_state[i] < 0 and state.having(COURSE, ON_COURSE) in rig.states:
            of_state[i] = of_state[rig.index(state.having(COURSE, ON_COURSE))]
    firsts: dict[str, int] = {}
    for i in own:
        firsts.setdefault(rig.plan_name(i), i)
    names = tuple(firsts)
    limits = [lasting(plan, np.arange(ANGLES - 1.0)) for i in firsts.values() if (plan := rig.plans[i]) is not None]
    edges = sorted((e for e in rig.edges if e.origin in own and e.target in own), key=lambda e: int(of_state[e.origin]))
    jobs = {e.job.name: e.job for e in edges}
    order = list(jobs)
    return Sails(
        of_state=of_state, plan=np.array([names.index(rig.plan_name(i)) for i in own]), plan_names=names,
        hard_kn=np.stack([_low(hard) for _, hard in limits]), working_kn=np.stack([_low(working) for working, _ in limits]),
        made_kn=np.stack([_made_good(carriage_of(rig, i)) for i in firsts.values()]),
        origin=np.array([of_state[e.origin] for e in edges], dtype=np.int64),
        target=np.array([of_state[e.target] for e in edges], dtype=np.int64),
        job=np.array([order.index(e.job.name) for e in edges], dtype=np.int64), jobs=tuple(jobs.values()),
        hours=np.array([max(1, int(-(-(j.minutes + j.reserve_minutes) // 60))) for j in jobs.values()], dtype=np.int64),
    )  # fmt: skip


def _low(limit: Floats) -> Floats32:
    """By whole degrees the lowest within a degree, and the lowest of all for an angle that is not known."""
    padded = np.pad(limit, 1, mode="edge")
    return np.append(np.minimum(np.minimum(padded[:-2], padded[2:]), limit), limit.min()).astype(np.float32)


def _made_good(carriage: Carriage) -> Floats32:
    """(winds, angles): made good along the course, with tacking, by the rules of the track; 0 where she can make none that way."""
    rig = put_together((carriage,))
    angle = np.radians(np.arange(0, 181, ANGLE_STEP_DEG, dtype=float))
    wind = np.arange(MOST_WIND_KN + 1, dtype=float)
    tws, from_ahead = (x.ravel() for x in np.meshgrid(wind, angle, indexing="ij"))
    north, east = np.ones(len(tws)), np.zeros(len(tws))
    u, v = -tws / KN_PER_MS * np.sin(from_ahead), -tws / KN_PER_MS * np.cos(from_ahead)
    step = next_step(rig, np.zeros(len(tws), dtype=np.int64), east, north, u, v, LastKnown(len(tws), 0.0))
    on_course = np.ones(len(tws), dtype=bool) if step.following is None else step.following
    return np.where(on_course, step.made_kn, 0.0).reshape(len(wind), len(angle)).astype(np.float32)


@dataclass(frozen=True, kw_only=True, eq=False)
class LegWeather:
    """What L legs meet in J hours in S weathers: mean_kn, gust_kn as her limits mean them, tws_kn at 10 m, sea_m (L, J, S), angle whole
    degrees from the course (L, J, S), UNKNOWN_ANGLE unknown. hours (L): how many each leg has. day, moon (L, J). weight (S)."""

    mean_kn: Floats32
    gust_kn: Floats32
    tws_kn: Floats32
    sea_m: Floats32
    angle: Ints
    hours: Ints
    day: Flags
    moon: Flags
    weight: Floats

    def some(self, legs: Ints) -> "LegWeather":
        """Some of the legs, with as many hours as they need."""
        most = int(self.hours[legs].max(initial=1))
        cut = {n: getattr(self, n)[legs, :most] for n in ("mean_kn", "gust_kn", "tws_kn", "sea_m", "angle", "day", "moon")}
        return LegWeather(**cut, hours=self.hours[legs], weight=self.weight)

    @property
    def own(self) -> Flags:
        """(L, J): the hours that are a leg's own."""
        return np.arange(self.mean_kn.shape[1])[None, :] < self.hours[:, None]

    @cached_property
    def light_weight(self) -> Floats32:
        """The weights in the precision of the weather, for choosing; counting takes the full ones."""
        return self.weight.astype(np.float32)

    def planning(self, values: Floats32) -> Floats:
        """(L, J): mean over the weathers and a spread above it; NaN when any is unknown."""
        mean = values @ self.light_weight
        spread = np.sqrt(np.maximum((values * values) @ self.light_weight - mean * mean, 0.0))
        return np.asarray(mean + np.float32(PLANNING_SPREADS) * spread)


@dataclass(frozen=True, kw_only=True)
class Carried:
    """The sail plan in each hour of each leg (L, J), and the one she is changing to while a job is in hand, else the same."""

    plan: Ints
    into: Ints


def choose_sails(sails: Sails, met: LegWeather, start: Ints, aims: Aims, weights: Weights) -> Carried:
    """States at the turns (L) -> the sail plans of each leg."""
    carry = _hours_first(_carry_costs(sails, met, weights))
    begun = _begun_costs(sails, carry, _hours_first(_job_costs(sails, met, aims, weights)), met.hours)
    return _traced(sails, carry, begun, _values(sails, carry, begun), start)


def _hours_first(costs: Floats32) -> Floats32:
    """(L, J, X) -> (J, X, L): all legs of one hour side by side, as the passes through the hours want them."""
    return np.ascontiguousarray(costs.transpose(1, 2, 0))


def _begun_costs(sails: Sails, carry: Floats32, job: Floats32, hours: Ints) -> Floats32:
    """carry (J, P, L), job (J, jobs, L) -> (J, E, L): points of each job begun in each hour and of its hours, under the dearer of its two
    sail plans; inf where it may not be begun, or would not be done within the leg's hours."""
    out = job.take(sails.job, axis=1)
    for n, edges in sails.by_hours:
        origin, target = sails.plan[sails.origin[edges]], sails.plan[sails.target[edges]]
        for j in range(len(carry)):
            in_hand = [np.maximum(one.take(origin, axis=0), one.take(target, axis=0)) for one in carry[j : j + n]]
            out[j, edges] += sum(in_hand[1:], start=in_hand[0])
            late = j + n > hours
            if late.any():
                out[j, edges] = np.where(late, np.float32(np.inf), out[j, edges])
    return out


def _carry_costs(sails: Sails, met: LegWeather, weights: Weights) -> Floats32:
    """(L, J, P): points of an hour under each plan; nothing after a leg's own hours."""
    middle = met.tws_kn @ met.light_weight
    angle = np.median(met.angle, axis=2).astype(np.int64)
    plan_gust, plan_mean = met.planning(met.gust_kn), met.planning(met.mean_kn)
    out = np.empty((*middle.shape, len(sails.plan_names)), dtype=np.float32)
    made = np.stack([np.nan_to_num(sails.way_kn(np.array(p), middle, angle)) for p in range(out.shape[2])], axis=2)
    fastest = made.max(axis=2)
    for p in range(out.shape[2]):
        over_kn = np.nan_to_num(np.maximum(plan_mean - sails.working_kn[p][angle], 0.0), nan=UNKNOWN_KN)
        points = weights.working_hour * (over_kn > 0.0) + weights.working_kn_hour * over_kn + weights.lost_mile * (fastest - made[:, :, p])
        if weights.hard_hour or weights.hard_kn_hour:  # all of them are looked at, which takes its time
            hard = sails.hard_kn[p]
            over = ~(met.gust_kn <= (hard[0] if (hard == hard[0]).all() else hard[met.angle]))
            hard_kn = np.nan_to_num(np.maximum(plan_gust - hard[angle], 0.0), nan=UNKNOWN_KN)
            points = weights.hard_hour * (over @ met.light_weight) + weights.hard_kn_hour * hard_kn + points
        out[:, :, p] = points
    out[~met.own] = 0.0
    return out


def _job_costs(sails: Sails, met: LegWeather, aims: Aims, weights: Weights) -> Floats32:
    """(L, J, jobs): points of a job begun in each hour; inf where its deck window is not open, by light, wind, gust or sea."""
    out = np.full((*met.own.shape, len(sails.jobs)), np.inf, dtype=np.float32)
    for k, job in enumerate(sails.jobs):
        if job.steepness is not None:
            continue
        inside = (met.mean_kn <= job.mean_kn) & (met.gust_kn <= job.gust_kn)
        if job.sea_m is not None:
            inside &= met.sea_m <= job.sea_m
        hours = int(sails.hours[k])
        whole, light = inside, {"day": met.day, "moon": met.day | met.moon, "none": met.own}[str(job.light)] & met.own
        for ahead in range(1, hours):
            whole = whole & _later(inside, ahead)
            light = light & _later(light, ahead)
        chance = whole @ met.light_weight
        place, dark = PLACE_WEIGHTS[str(job.place)]
        points = getattr(weights, place) + np.where(met.day, 0.0, getattr(weights, dark)) + weights.job_risk * (1.0 - chance)
        out[:, :, k] = np.where(light & (chance >= aims.window_chance - 1e-5), points, np.inf)
    return out


def _later(values: Flags, hours: int) -> Flags:
    """Values (L, J, ...) so many hours ahead; False beyond the end."""
    out = np.zeros_like(values)
    out[:, :-hours] = values[:, hours:]
    return out


def _values(sails: Sails, carry: Floats32, begun: Floats32) -> Floats32:
    """carry (J, P, L), begun (J, E, L) -> (J + 1, N, L): the least points from each hour on, from each state."""
    count, _, legs = carry.shape
    value = np.zeros((count + 1, len(sails.plan), legs), dtype=np.float32)
    origins, firsts = np.unique(sails.origin, return_index=True)
    for j in range(count - 1, -1, -1):
        np.add(carry[j].take(sails.plan, axis=0), value[j + 1], out=value[j])
        if len(origins):
            go = begun[j].copy()
            for n, edges in sails.by_hours:
                go[edges] += value[min(j + n, count)].take(sails.target[edges], axis=0)
            value[j, origins] = np.minimum(value[j, origins], np.minimum.reduceat(go, firsts, axis=0))
    return value


def _traced(sails: Sails, carry: Floats32, begun: Floats32, value: Floats32, start: Ints) -> Carried:
    """The cheapest chain from each start, hour by hour; staying is preferred to changing at equal cost."""
    count, _, legs = carry.shape
    rows, state = np.arange(legs), start.copy()
    plan, into = np.empty((legs, count), dtype=np.int64), np.empty((legs, count), dtype=np.int64)
    busy_to, target = np.zeros(legs, dtype=np.int64), start.copy()
    edge_hours = sails.hours[sails.job]
    for j in range(count):
        state = np.where(busy_to == j, target, state)
        target = np.where(busy_to <= j, state, target)
        if len(sails.origin):
            stay = carry[j, sails.plan[state], rows] + value[j + 1, state, rows]
            edge = sails.out_of[state]  # (L, most)
            real = edge < len(sails.origin)
            some = np.where(real, edge, 0)
            then = np.minimum(j + edge_hours[some], count)
            go = begun[j, some, rows[:, None]] + value[then, sails.target[some], rows[:, None]]
            best = np.argmin(np.where(real, go, np.float32(np.inf)), axis=1)
            begins = (busy_to <= j) & (np.where(real, go, np.float32(np.inf))[rows, best] < stay - 1e-4)
            chosen = some[rows, best]
            target = np.where(begins, sails.target[chosen], target)
            busy_to = np.where(begins, j + edge_hours[chosen], busy_to)
        plan[:, j], into[:, j] = sails.plan[state], sails.plan[np.where(busy_to > j, target, state)]
    return Carried(plan=plan, into=into)
