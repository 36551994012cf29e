"""The traps: the easy choice now that shuts a better one later, told beside the order that avoids it."""

import numpy as np
import pytest

from tests.stories.nights import Told, night
from watch.orders.schedule import Task
from watch.orders.tempting import Tempting, tempting_of
from watch.render.explain import explain

# Noon to next day: fresh, then a gale with gusts of 54 from six in the evening on, and through the night.
GALE = [(0.0, 17.0, 21.0), (4.0, 18.0, 23.0), (7.0, 36.0, 50.0), (20.0, 38.0, 54.0), (30.0, 36.0, 52.0)]


def task_of(told: Told, job: str) -> Task:
    return next(task for task in told.schedule.tasks if task.job.name == job)


def tempted(told: Told, job: str) -> Tempting:
    found = tempting_of(told.schedule, task_of(told, job))
    assert found is not None
    return found


def test_lowering_the_main_early_shuts_the_storm_reef() -> None:
    """The main is not hoisted again above 24 knots: lowered now, three reefs and the storm jib are never had in this gale."""
    told = night(GALE, state="main: reef 2, genoa: below", hours=30.0)
    assert "put in the third reef" in told.jobs
    found = tempted(told, "put in the third reef")
    assert found.edge.job.name == "lower the main"
    shut = {later.sail_plan: later.then for later in found.shut}
    assert shut["three reefs and storm jib"] is None
    assert found.dearer > 0.0
    number = told.jobs.index("put in the third reef") + 1
    words = " ".join(explain(told.schedule, None, number).split())
    assert "Easier now would be: lower the main (15 minutes, mast)." in words
    assert "“three reefs and storm jib” could no longer be had" in words


def test_rolling_the_headsail_on_the_only_stay_shuts_the_storm_jib() -> None:
    """The foredeck is good for an hour and a half more: time to change headsails if it is begun now, and not if she only rolls first."""
    table = [(0.0, 18.0, 23.0), (1.8, 23.5, 30.0), (2.6, 27.0, 35.0), (4.5, 36.0, 50.0), (12.0, 38.0, 54.0), (20.0, 36.0, 50.0)]
    told = night(table, state="main: reef 3, genoa: half", hours=20.0)
    assert told.jobs[:2] == ["lower the genoa and stow it below", "bend on and set the storm jib"]
    found = tempted(told, "lower the genoa and stow it below")
    assert found.edge.job.name == "roll the genoa away"
    assert {later.sail_plan: later.then for later in found.shut} == {"three reefs, forestay bare": None, "three reefs and storm jib": None}
    assert found.ordered_risk.hard_chance < found.risk.hard_chance == 1.0
    words = " ".join(explain(told.schedule, None, 1).split())
    assert "with a chance of a hard limit of over 99 in 100 instead of none seen" in words


def test_with_time_enough_rolling_first_shuts_nothing_and_nothing_is_said() -> None:
    """Two days of quiet before the gale: whatever is easier now can be followed by what is better."""
    late = [(h + 30.0 if h else 0.0, m, g) for h, m, g in GALE]
    told = night(late, state="main: reef 3, genoa: half", hours=50.0, moon=True)
    assert told.schedule.tasks
    assert all(tempting_of(told.schedule, task) is None for task in told.schedule.tasks if task.begins < 20 * 6)


def test_a_job_that_makes_sail_tempts_to_nothing() -> None:
    told = night([(0.0, 10.0, 13.0), (20.0, 10.0, 13.0)], state="main: reef 2, genoa: half", hours=20.0, dark=(30.0, 40.0))
    assert told.jobs
    assert all(tempting_of(told.schedule, task) is None for task in told.schedule.tasks)


@pytest.mark.parametrize("seed", range(12))
def test_what_is_said_to_be_shut_is_in_no_schedule_after_the_easier_job(seed: int) -> None:
    """The twin: every state is asked for, at no cost, by the dynamic program itself from the end of the easier job."""
    rng = np.random.default_rng(seed)
    hours = np.arange(0.0, 25.0, 3.0)
    mean = np.clip(12.0 + np.cumsum(rng.normal(5.0, 4.0, len(hours))), 6.0, 48.0)
    told = night([(float(h), float(m), float(1.35 * m)) for h, m in zip(hours, mean, strict=True)], state="main: reef 1, genoa: half", hours=24.0)
    problem, rig = told.schedule.judged.problem, told.schedule.judged.night.rig
    for task in told.schedule.tasks:
        found = tempting_of(told.schedule, task)
        if found is None:
            continue
        e = rig.edges.index(found.edge)
        over = task.move.begins + int(problem.steps[e])
        assert found.dearer > 0.0
        for later in found.shut:
            wanted = [n for n in range(len(rig.states)) if rig.plan_name(n) == later.sail_plan]
            assert _first_had(told, int(problem.target[e]), over, wanted) == later.then


def _first_had(told: Told, state: int, at: int, wanted: list[int]) -> int | None:
    """Breadth first, step by step: when any of the wanted states is first reached by jobs that can be done."""
    problem = told.schedule.judged.problem
    ready = {state: at}
    if state in wanted:
        return at
    best: int | None = None
    queue = [(at, state)]
    while queue:
        t, n = queue.pop(0)
        for e in np.flatnonzero(problem.origin == n).tolist():
            starts = [k for k in range(t, problem.shape[1] - int(problem.steps[e]) + 1) if np.isfinite(problem.job[0, k, e])]
            if not starts:
                continue
            end, target = starts[0] + int(problem.steps[e]), int(problem.target[e])
            if end < ready.get(target, 10**9):
                ready[target] = end
                queue.append((end, target))
    for n in wanted:
        if n in ready and (best is None or ready[n] < best):
            best = ready[n]
    return best
