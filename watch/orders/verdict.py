"""The verdict on the night in one line; when no schedule is good enough, when it goes wrong and what would have had to be done."""

from collections import deque
from itertools import pairwise

import numpy as np

from watch.boat.rig import Edge
from watch.orders.met import share
from watch.orders.reasons import Reason
from watch.orders.schedule import Schedule, over_limits, risk_of
from watch.orders.tell import Teller, percent
from watch.orders.windows import deck_windows
from watch.when import STEPS_PER_HOUR

PASSING_STEPS = 2 * STEPS_PER_HOUR  # judgement: a state kept for no longer is one on the way


def verdict(tell: Teller) -> tuple[str, ...]:
    """The first line says whether the night can be met; the rest, if any, why not and what would have been needed, or what no forecast
    shows."""
    schedule = tell.schedule
    risk, aims = schedule.risk, tell.night.aims
    if schedule.keeps_ceiling:
        if not schedule.tasks:
            return ("Nothing has to be done: what is up now stays inside its limits as far as the forecast reaches.", *_beside(tell))
        seen = (
            "no weather seen breaks a hard limit" if risk.forecast_chance <= 0 else f"chance of a hard limit {percent(risk.forecast_chance)}"
        )
        return (f"With these jobs done in time the limits are kept ({seen}).", *_beside(tell))
    if not tell.met.known().any():
        return ("I do not know: there is no weather for these hours, so nothing can be promised.",)
    if risk.hard_first_step is None:
        return ("Part of the weather is not known, so the limits cannot be promised.",)
    unknown = _unknown(tell)
    if unknown:
        return (unknown, *_beside(tell))
    plan, gust, hard = tell.caught(schedule.carried, risk, schedule.moves)
    already = _already(tell)
    if already:
        return (f"{already} {plan}, gusts to {gust} kn against {hard}; chance {percent(risk.forecast_chance)}.",)
    first = (
        f"NOT GOOD ENOUGH: no schedule keeps the chance of a hard limit under {percent(aims.hard_ceiling)}. The least bad one meets "
        f"it with chance {percent(risk.forecast_chance)}, about {tell.clock(risk.hard_first_step)}: {plan}, gusts to {gust} kn "
        f"against {hard}."
    )
    return (first, *_needed(schedule, tell))


def _beside(tell: Teller) -> tuple[str, ...]:
    """What squalls that no forecast shows may do beside the weathers, until the orders end; nothing when they are not reckoned with."""
    chance = tell.schedule.risk.unforecast_chance
    if chance <= 0:
        return ()
    return (f"Squalls that no forecast shows come on top: {percent(chance)} that one breaks a limit by {tell.clock(tell.met.steps)}.",)


def _unknown(tell: Teller) -> str:
    """When it is only weather that is not known which stands against the night, that is what is to be said; empty otherwise."""
    schedule = tell.schedule
    over, _ = over_limits(schedule.judged, schedule.carried, schedule.moves)
    met_known = float(tell.met.weight @ (over > 0.0).any(axis=1))
    blank = share(tell.met, np.isnan(over))
    if met_known > tell.night.aims.hard_ceiling or not blank.any():
        return ""
    first = int(np.flatnonzero(blank >= 0.5 * blank.max())[0])
    chance = percent(float(tell.met.weight @ np.isnan(over).any(axis=1)))
    kept = "no weather seen breaks a hard limit" if met_known <= 0 else f"chance of a hard limit {percent(met_known)}"
    return (f"NOT GOOD ENOUGH: about {tell.clock(first)} the wind along the track is not known ({chance} of the weathers), and what is not "
            f"known is never taken for calm. Where it is known the limits are kept ({kept}). Fetch a forecast that has it.")  # fmt: skip


def _already(tell: Teller) -> str:
    """When the limit is met only until the first job is done, that is what is to be said; empty otherwise."""
    schedule = tell.schedule
    if not schedule.tasks:
        return ""
    task = schedule.tasks[0]
    after = schedule.carried.copy()
    after[: task.ends] = -1
    left = risk_of(schedule.judged, after, schedule.moves[1:])
    if left.forecast_chance > tell.night.aims.hard_ceiling:
        return ""
    kept = "no weather seen breaks a limit" if left.forecast_chance <= 0 else f"chance of a hard limit {percent(left.forecast_chance)}"
    return f"TOO MUCH UP until “{task.job.name}” is done at {tell.clock(task.ends)}; after that the limits are kept ({kept}). Now:"


def _needed(schedule: Schedule, tell: Teller) -> tuple[str, ...]:
    """What would have carried her, and which job on the way there is shut."""
    judged, step = schedule.judged, schedule.risk.hard_first_step
    assert step is not None
    on_the_way = _on_the_way(schedule, tell)
    if on_the_way:
        return (on_the_way,)
    around = slice(max(0, step - 18), step + 36)
    chances = np.array([
        float(tell.met.weight @ c.meets_hard()[:, around].any(axis=1)) for c in judged.carriage.of_state
    ])  # fmt: skip
    carried = int(schedule.carried[step])
    if chances.min() >= chances[carried] - 0.01:
        least = percent(schedule.least_risk)
        return (f"No sail plan of hers would do better: even the stoutest is over its limit with chance {least}. Look to shelter.",)
    good = chances <= max(chances.min(), tell.night.aims.hard_ceiling) + 1e-9
    path = _shortest(schedule, good)
    if not path:
        return ("No chain of jobs leads from here to a sail plan that would carry it.",)
    rig = tell.night.rig
    lines = [f"“{rig.plan_name(path[-1].target)}” would carry it, but:"]
    for edge in path:
        lines.append(_shut_line(edge, tell, step))
    return tuple(line for line in lines if line)


def _on_the_way(schedule: Schedule, tell: Teller) -> str:
    """When the limit is met only in a state between two jobs, that is what is to be said; empty otherwise."""
    state = tell.caught_in(schedule.carried, schedule.risk, schedule.moves)
    step = schedule.risk.hard_first_step
    for into, out in pairwise(schedule.tasks):
        passing = out.begins - into.ends <= PASSING_STEPS
        if into.target != state or not passing or not into.begins <= (step or 0) < out.move.done:
            continue
        without = schedule.carried.copy()
        without[into.begins : out.move.done] = -1
        others = [task.move for task in schedule.tasks if task not in (into, out)]
        if risk_of(schedule.judged, without, others).forecast_chance <= tell.night.aims.hard_ceiling:
            return (f"It is met on the way only, between “{into.job.name}” and “{out.job.name}”, while she carries "
                    f"{tell.night.rig.plan_name(state)}. Before and after it the limits are kept.")  # fmt: skip
    return ""


def _shut_line(edge: Edge, tell: Teller, before: int) -> str:
    found = tell.judged.chance_of(edge.job)
    windows = [w for w in deck_windows(found, tell.night.aims.window_chance) if w.first < before]
    if found.enough(tell.night.aims.window_chance)[0] and not windows:
        return f"“{edge.job.name}” can be begun now, but takes {edge.job.minutes:g} minutes."
    if not windows:
        reason = Reason(int(found.reason[0]))
        return f"“{edge.job.name}” is shut now and stays shut until then ({tell.shut_words(edge.job, 0, reason)})."
    last = windows[-1]
    return f"“{edge.job.name}” can be begun only until {tell.clock(last.last)} ({tell.window_words(edge.job, last)})."


def _shortest(schedule: Schedule, good: np.ndarray) -> list[Edge]:
    """The fewest jobs from the start to a state that would carry it, whatever the weather."""
    rig = schedule.judged.night.rig
    came: dict[int, Edge | None] = {schedule.start: None}
    queue = deque([schedule.start])
    while queue:
        state = queue.popleft()
        if good[state]:
            path: list[Edge] = []
            edge = came[state]
            while edge is not None:
                path.append(edge)
                edge = came[edge.origin]
            return path[::-1]
        for edge in rig.edges:
            if edge.origin == state and edge.target not in came:
                came[edge.target] = edge
                queue.append(edge.target)
    return []
