"""Ways to decide: the orders; by thresholds; never; with perfect foresight. Each sees only what is known at the step (foresight but for)."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from watch.instruments.gusts_rising import rising_on
from watch.orders.schedule import problem_of
from watch.orders.solve import Move, Problem, backward, trace
from watch.service.replay import thresholds
from watch.service.replay.outside import Known, Outside
from watch.service.replay.planning import Weathers, planned, weathers_of
from watch.service.replay.play import Choice, Policy
from watch.weather.squalls_seen import squalls_seen
from watch.when import STEPS_PER_HOUR

NAMES = ("ours", "reactive", "never", "foresight")
RUNS = 3  # the newest forecast and the two before
RENEW_STEPS = 3 * STEPS_PER_HOUR  # how often her own instruments are held against the forecast between two of them
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
    """The orders that stand: from which weathers, made at which step, the moves still to come (steps of the whole replay); squalls: how
    many had been met in the hours before."""

    weathers: Weathers | None
    made: int
    moves: tuple[Move, ...]
    barred: Mapping[str, int]
    squalls: int = 0


def ours(known: Known, memory: Plan | None) -> Choice:
    """The orders, renewed at each forecast, after each squall, and whenever a job could not be done or she is not in the state they
    count on; a job is begun when its time has come. When a hard limit is passed all the same, or will be if the gusts rise on as fast
    as they do, she does what anyone would."""
    plan = _standing(known, memory)
    due = [move.edge for move in plan.moves[:1] if move.begins <= known.step]
    if due and known.ship.rig.edges[due[0]].job.name not in known.refused:
        return Choice(edges=tuple(due), memory=replace(plan, moves=plan.moves[1:]) if known.can[due[0]] else plan)
    return Choice(edges=thresholds.shorten(known, _rising(known))[0] if _pressed(known) else (), memory=plan)


def _pressed(known: Known) -> bool:
    """Whether a hard limit was passed in the last step, or will be in the next if the gusts rise on as they did."""
    return bool(known.felt.over_hard_kn(_rising(known))[known.state] > 0.0)


def _rising(known: Known) -> float:
    """How many times as strong the next ten minutes would be if the gusts rose on as in the last: one unless they rose fast."""
    gusts = known.felt.gust_kn[known.state, -2:]
    before, last = float(gusts[0]), float(gusts[-1])
    return rising_on(before, last) / last if last > 0.0 else 1.0


def _standing(known: Known, plan: Plan | None) -> Plan:
    """The plan as it stands, or a new one when there is reason for it."""
    newest = sorted(known.forecasts, key=lambda f: f.run, reverse=True)[:RUNS]
    if not newest:
        return Plan(weathers=None, made=known.step, moves=(), barred={})
    barred = {} if plan is None else {name: step for name, step in plan.barred.items() if step > known.step}
    barred |= dict.fromkeys(known.refused, known.step + BAR_STEPS)
    same = plan.weathers if plan is not None and plan.weathers is not None and plan.weathers.forecasts[0] is newest[0] else None
    squalls = squalls_seen(known.seen.gust_ms).count
    fresh = plan is not None and squalls <= plan.squalls and not (known.ship.compares and known.step - plan.made >= RENEW_STEPS)
    if plan is not None and same is not None and fresh and not known.refused and _fits(known, plan):
        return plan if squalls == plan.squalls else replace(plan, squalls=squalls)
    weathers = same or weathers_of(known, newest)
    return Plan(weathers=weathers, made=known.step, moves=planned(known, weathers, barred), barred=barred, squalls=squalls)


def _fits(known: Known, plan: Plan) -> bool:
    """Whether the next move of a plan can be made from the state she is in."""
    return not plan.moves or known.ship.rig.edges[plan.moves[0].edge].origin == known.state


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
