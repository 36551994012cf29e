"""What must hold of deck windows and schedules under any weather: random nights, missing values, exact limits."""

import numpy as np
import pytest

from tests.stories.nights import boat
from watch.boat.model import Job
from watch.boat.rig import rig_from, state_of
from watch.orders.carry import speed_table
from watch.orders.met import Met
from watch.orders.schedule import Night, make_schedule
from watch.orders.solve import UP, Problem, backward
from watch.orders.windows import chances, job_steps
from watch.when import grid, parse_utc

START = parse_utc("2026-05-16T12:00Z")
JOB = Job.model_validate({
    "name": "invented", "element": "main", "from": "full", "to": "down", "place": "mast", "minutes": 20, "reserve_minutes": 10,
    "heading": "any", "mean_kn": 25.0, "gust_kn": 32.0, "sea_m": 3.0, "light": "none", "rests_on": "estimated",
})  # fmt: skip


def random_met(rng: np.random.Generator, scenarios: int = 5, steps: int = 60, missing: float = 0.0) -> Met:
    walk = np.cumsum(rng.normal(0, 0.8, (scenarios, steps)), axis=1)
    mean = np.clip(rng.uniform(12, 30) + walk, 0, 60)
    gust = mean * rng.uniform(1.1, 1.6, (scenarios, 1))
    if missing:
        hole = rng.random((scenarios, steps)) < missing
        mean, gust = np.where(hole, np.nan, mean), np.where(hole, np.nan, gust)
    weight = rng.uniform(0.2, 1.0, scenarios)
    return Met(
        time=grid(START, steps), weight=weight / weight.sum(), mean_kn=mean, gust_kn=gust, low_kn=mean,
        angle_deg=rng.uniform(30, 180, (scenarios, 1)) * np.ones((1, steps)), sea_m=np.full((scenarios, steps), 2.0),
        steepness=np.full((scenarios, steps), 0.03), boat_kn=np.full(steps, 6.0), day=rng.random(steps) < 0.9, moon=np.zeros(steps, bool),
    )  # fmt: skip


def slow_chance(job: Job, met: Met) -> np.ndarray:
    """The twin: start by start, scenario by scenario, step by step."""
    out = np.zeros(met.steps)
    steps = job_steps(job)
    for t in range(met.steps - steps + 1):
        for s in range(len(met.weight)):
            inside = all(
                met.mean_kn[s, i] <= job.mean_kn and met.gust_kn[s, i] <= job.gust_kn and met.sea_m[s, i] <= (job.sea_m or 99)
                for i in range(t, t + steps)
            )
            out[t] += met.weight[s] * inside
    return out


@pytest.mark.parametrize("seed", range(60))
def test_a_windows_chance_is_counted_jointly_as_the_slow_twin_counts_it(seed: int) -> None:
    met = random_met(np.random.default_rng(seed), missing=0.02 * (seed % 3))
    np.testing.assert_allclose(chances(JOB, met, apparent=False).chance, slow_chance(JOB, met), atol=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_more_wind_never_opens_a_window(seed: int) -> None:
    met = random_met(np.random.default_rng(100 + seed))
    chance = chances(JOB, met, apparent=False).chance
    for factor in (1.02, 1.1, 1.4):
        assert (chances(JOB, met.changed(wind_factor=factor), apparent=False).chance <= chance + 1e-9).all()


@pytest.mark.parametrize("seed", range(40))
def test_a_missing_step_never_raises_a_chance(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    met = random_met(rng)
    holed = met.changed()
    holed.gust_kn[rng.integers(0, 5), rng.integers(0, 60)] = np.nan
    assert (chances(JOB, holed, apparent=False).chance <= chances(JOB, met, apparent=False).chance + 1e-9).all()


def test_exactly_at_the_limit_is_inside_and_a_hair_above_is_not() -> None:
    met = random_met(np.random.default_rng(0), scenarios=1)
    at = met.changed()
    at.mean_kn[:], at.gust_kn[:] = 25.0, 32.0
    assert chances(JOB, at, apparent=False).chance[0] == 1.0
    at.gust_kn[0, 2] = np.nextafter(32.0, 33.0)
    assert chances(JOB, at, apparent=False).chance[0] == 0.0
    assert chances(JOB, at, apparent=False).chance[3] == 1.0


@pytest.mark.parametrize("seed", range(25))
def test_no_job_is_scheduled_outside_an_open_window_whatever_the_weather(seed: int) -> None:
    rng = np.random.default_rng(300 + seed)
    met = random_met(rng, missing=0.01 * (seed % 2))
    own = boat()
    rig = rig_from(own, state_of(own, {}))
    night = Night(rig=rig, met=met, table=speed_table(own.speed), asleep=rng.random(met.steps) < 0.3)
    schedule = make_schedule(night)
    over = 0
    for task in schedule.tasks:
        assert schedule.judged.chance_of(task.job).chance[task.begins] >= night.aims.window_chance - 1e-9
        assert task.begins >= over
        assert task.begins <= task.closes
        over = task.move.over
    assert schedule.least_risk <= schedule.risk.hard_chance + 1e-9


def _random_problem(rng: np.random.Generator, scenarios: int = 4) -> Problem:
    states, steps, edges = 4, 12, 7
    origin = rng.integers(0, states, edges)
    busy = rng.integers(1, 4, edges)
    return Problem(
        carry=rng.uniform(0, 10, (scenarios, steps, states)), job=np.repeat(rng.uniform(0, 4, (1, steps, edges)), scenarios, axis=0),
        steps=busy, work=busy, origin=origin, target=(origin + rng.integers(1, states, edges)) % states,
        wake=rng.uniform(0, 2, steps), up=rng.uniform(0, 0.5, steps),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(60))
def test_perfect_foresight_never_costs_more_than_one_schedule_for_all(seed: int) -> None:
    p = _random_problem(np.random.default_rng(seed))
    together = Problem(carry=p.carry.mean(axis=0, keepdims=True), job=p.job[:1], steps=p.steps, work=p.work, origin=p.origin,
                       target=p.target, wake=p.wake, up=p.up)  # fmt: skip
    assert backward(p)[:, 0, 0, UP].mean() <= backward(together)[0, 0, 0, UP] + 1e-9


@pytest.mark.parametrize("seed", range(60))
def test_one_more_job_or_sail_never_makes_the_night_dearer(seed: int) -> None:
    p = _random_problem(np.random.default_rng(500 + seed))
    fewer = Problem(carry=p.carry, job=np.where(np.arange(7) == seed % 7, np.inf, p.job), steps=p.steps, work=p.work, origin=p.origin,
                    target=p.target, wake=p.wake, up=p.up)  # fmt: skip
    assert (backward(p) <= backward(fewer) + 1e-9).all()


@pytest.mark.parametrize("seed", range(40))
def test_dearer_jobs_never_mean_more_of_them_in_a_two_state_night(seed: int) -> None:
    """Raising the price of every change never raises the number of changes (source schedule-toy, for the best schedules)."""
    from watch.orders.solve import trace

    rng = np.random.default_rng(700 + seed)
    carry = rng.uniform(0, 10, (1, 20, 2))
    counts = []
    for price in (0.5, 2.0, 6.0, 20.0):
        p = Problem(carry=carry, job=np.full((1, 20, 2), price), steps=np.ones(2, dtype=int), work=np.ones(2, dtype=int),
                    origin=np.array([0, 1]), target=np.array([1, 0]), wake=np.zeros(20), up=np.zeros(20))  # fmt: skip
        counts.append(len(trace(p, backward(p), 0, 0)))
    assert counts == sorted(counts, reverse=True)
