"""Ways to decide: the orders; by thresholds; never; with perfect foresight. Each sees only what is known at the step (foresight but for)."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from watch.forecast.contract import Forecast
from watch.orders.schedule import problem_of, quick_moves
from watch.orders.solve import Move, Problem, backward, trace
from watch.service.aboard import met_of
from watch.service.replay import thresholds
from watch.service.replay.outside import Known, Outside
from watch.service.replay.play import Choice, Policy
from watch.weather.look import Where
from watch.weather.scenarios import make_scenarios
from watch.when import STEPS_PER_HOUR

NAMES = ("ours", "reactive", "never", "foresight")
RUNS = 3  # the newest forecast and the two before
LOOK_AHEAD_STEPS = 96 * STEPS_PER_HOUR
SEEN_STEPS = 6 * STEPS_PER_HOUR
NO_RUN = datetime.min.replace(tzinfo=UTC)
BAR_STEPS = 3  # a job found impossible is not planned again for half an hour


def policy(name: str, outside: Outside) -> Policy:
    """One of NAMES -> the policy. Only foresight is given the weather outside."""
    if name == "foresight":
        return foresight(outside)
    return {"ours": ours, "reactive": reactive, "never": never}[name]


def never(known: Known, memory: Any) -> Choice:
    """Whatever is up stays up."""
    return Choice()


def reactive(known: Known, memory: Any) -> Choice:
    """When a limit is passed she acts, if she still can; when it has eased she makes sail again."""
    return Choice(edges=thresholds.shorten(known)[0] if known.is_over(known.state) else thresholds.make_sail(known))


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The orders that stand: from which run, made at which step, the moves still to come (steps of the whole replay)."""

    run: datetime
    made: int
    moves: tuple[Move, ...]
    barred: Mapping[str, int]


def ours(known: Known, memory: Plan | None) -> Choice:
    """The orders, renewed at each forecast and whenever a job could not be done or she is not in the state they count on; a job is
    begun when its time has come. When a hard limit is passed all the same, she does what anyone would."""
    plan = _standing(known, memory)
    due = [move.edge for move in plan.moves[:1] if move.begins <= known.step and _seen_fit(known, move.edge)]
    if due and known.ship.rig.edges[due[0]].job.name not in known.refused:
        return Choice(edges=tuple(due), memory=replace(plan, moves=plan.moves[1:]) if known.can[due[0]] else plan)
    if known.felt.over_hard_kn()[known.state] > 0.0:
        return Choice(edges=thresholds.shorten(known)[0], memory=plan)
    return Choice(memory=plan)


def _seen_fit(known: Known, edge: int) -> bool:
    """Sail is made only when the larger sail plan would have carried what was met in the last hours: where one squall was there are
    others."""
    ways = known.ship.rig.edges[edge]
    hard = known.felt.hard_kn[:, -1]
    makes_sail = bool(hard[ways.target] < hard[ways.origin])
    return not makes_sail or bool(known.felt.carries(SEEN_STEPS)[ways.target])


def _standing(known: Known, plan: Plan | None) -> Plan:
    """The plan as it stands, or a new one when there is reason for it."""
    forecasts = sorted(known.forecasts, key=lambda f: f.run, reverse=True)[:RUNS]
    if not forecasts:
        return Plan(run=NO_RUN, made=known.step, moves=(), barred={})
    barred = {} if plan is None else {name: step for name, step in plan.barred.items() if step > known.step}
    barred |= dict.fromkeys(known.refused, known.step + BAR_STEPS)
    same_run = plan is not None and plan.run == forecasts[0].run
    if plan is not None and same_run and not known.refused and _fits(known, plan):
        return plan
    return Plan(run=forecasts[0].run, made=known.step, moves=_planned(known, forecasts, barred), barred=barred)


def _fits(known: Known, plan: Plan) -> bool:
    """Whether the next move of a plan can be made from the state she is in."""
    return not plan.moves or known.ship.rig.edges[plan.moves[0].edge].origin == known.state


def _planned(known: Known, forecasts: list[Forecast], barred: Mapping[str, int]) -> tuple[Move, ...]:
    """The moves of the schedule from here and now, from these forecasts."""
    ship, first = known.ship, known.step
    way = ship.way.part(first, min(first + LOOK_AHEAD_STEPS, len(ship.way.course_deg)))
    where = Where(time=way.time[:-1], latitude=way.latitude[:-1], longitude=way.longitude[:-1])
    met = met_of(ship.rig.boat, way, make_scenarios(forecasts, where, ship.widening))
    known_steps = met.known_steps()
    if known_steps == 0:
        return ()
    night = ship.night(met.cut(known_steps), barred={name: step - first for name, step in barred.items()})
    moves = quick_moves(night, known.state, up=not known.asleep)
    return tuple(replace(m, begins=m.begins + first, done=m.done + first, over=m.over + first) for m in moves)


def foresight(outside: Outside) -> Policy:
    """The cheapest way through the weather as it will be, by the planner's own points, among all that the rules of the replay allow."""
    problem = true_problem(outside)
    moves = {move.begins: move.edge for move in trace(problem, backward(problem), 0, 0)}

    def wants(known: Known, memory: Any) -> Choice:
        return Choice(edges=(moves[known.step],) if known.step in moves else ())

    return wants


def true_problem(outside: Outside) -> Problem:
    """The truth's costs, with the replay's own rule of when a job can be begun: also when the weather will overtake it."""
    judged, ship = outside.judged, outside.ship
    night = replace(judged.night, aims=replace(ship.aims, window_chance=0.0))
    problem = problem_of(night, judged.chances, judged.carriage, 1.0)
    return replace(problem, job=np.where(outside.can[None], problem.job, np.inf))
