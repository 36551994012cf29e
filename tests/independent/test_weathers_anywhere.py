"""The weathers anywhere against their slow twin, the scenarios along a track; the sail plans of a leg against trying everything."""

from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from watch.boat.model import Job
from watch.forecast.contract import Forecast
from watch.forecast.grib import read
from watch.orders.leg_sails import ANGLES, LegWeather, Sails, choose_sails
from watch.orders.weights import Aims, Weights
from watch.units import wrap_180
from watch.weather.anywhere import anywhere
from watch.weather.look import Where
from watch.weather.own_place import own_wind
from watch.weather.scenarios import make_scenarios
from watch.when import grid, parse_utc

ROOT = Path(__file__).resolve().parents[2]
START = parse_utc("2026-05-16T12:00Z")
HOURS = 48


@cache
def forecasts() -> tuple[Forecast, ...]:
    names = ("kittiwake-2026051612.grib2", "kittiwake-2026051600.grib2", "kittiwake-2026051612-ensemble.grib2")
    return tuple(read([ROOT / "fixtures" / n for n in names], None))


def along() -> Where:
    steps = 6 * HOURS
    return Where(time=grid(START, steps)[:-1], latitude=np.linspace(36.5, 38.5, steps), longitude=np.linspace(-52.0, -44.0, steps))


@pytest.mark.parametrize("kind", ["ensemble", "all"])
def test_the_same_weathers_as_along_the_track(kind: str) -> None:
    used = [f for f in forecasts() if kind == "all" or f.kind == kind]
    where, middle = along(), np.arange(3, 6 * HOURS, 6)
    slow = make_scenarios(used, where)
    fast = anywhere(used, grid(START, 6 * HOURS)[::6])
    found = fast.at(np.arange(HOURS), where.latitude[middle], where.longitude[middle])
    assert np.allclose(fast.weight, slow["weight"].values)
    single = np.array(["ensemble" not in kind] * len(fast.weight)) if kind == "all" else np.zeros(len(fast.weight), dtype=bool)
    for name, below in (("mean_ms", 0.2), ("gust_ms", 0.6)):
        hourly = slow[name].values.reshape(-1, HOURS, 6).max(axis=2).T
        off = getattr(found, name) - hourly
        assert np.isfinite(off).all()
        assert np.quantile(off, 0.02) > -below - 1.6 * single.any(), f"{name}: seldom weaker, and then by the whole hours of a shift"
        assert abs(np.median(off)) < 0.1
    low = slow["low_ms"].values.reshape(-1, HOURS, 6)[:, :, 3].T
    assert abs(np.median(np.hypot(found.u_ms, found.v_ms) - low)) < 0.05
    from_deg = np.degrees(np.arctan2(-found.u_ms, -found.v_ms))
    turned = np.abs(wrap_180(from_deg - slow["from_deg"].values.reshape(-1, HOURS, 6)[:, :, 3].T))
    assert np.quantile(turned, 0.95) < 8.0


def test_each_weather_at_its_own_place_is_the_weather_there() -> None:
    found = anywhere(list(forecasts()), grid(START, 6 * HOURS)[::6])
    lat, lon = np.array([36.5, 37.2, 38.0]), np.array([-52.0, -49.0, -45.0])
    hour = np.array([3, 17, 40])
    same = found.at(hour, lat, lon)
    count = len(found.weight)
    own = own_wind(found, hour, np.repeat(lat[:, None], count, axis=1), np.repeat(lon[:, None], count, axis=1))
    assert np.allclose(own.u_ms, same.u_ms, atol=1e-4)
    assert np.allclose(own.v_ms, same.v_ms, atol=1e-4)
    assert (own.gust_ms <= same.gust_ms + 1e-4).all(), "without squalls, so never more"


def test_off_the_grid_and_past_the_end_nothing_is_known() -> None:
    found = anywhere(list(forecasts()), grid(START, 6 * 100)[::6])
    there = found.at(np.array([5, 99, 5]), np.array([10.0, 37.0, 37.0]), np.array([-50.0, -50.0, -50.0]))
    assert np.isnan(there.mean_ms[:2]).all()
    assert np.isnan(there.gust_ms[:2]).all()
    assert np.isfinite(there.mean_ms[2]).all()


JOB = {"element": "main", "from": "full", "to": "reef 1", "place": "mast", "reserve_minutes": 0, "heading": "any", "rests_on": "estimated"}


def small_sails() -> Sails:
    """Three states, A, B and C; A to B in an hour, B to C in two, each way back in an hour, by limits of their own."""
    jobs = tuple(
        Job.model_validate({**JOB, "name": n, "minutes": m, "mean_kn": kn, "gust_kn": kn * 1.3, "light": "none"})
        for n, m, kn in (("reef", 60, 24.0), ("storm sail", 120, 30.0), ("shake out", 60, 22.0), ("take it down", 60, 28.0))
    )
    hard, working = np.array([25.0, 35.0, 60.0]), np.array([18.0, 26.0, 45.0])
    made = np.broadcast_to(np.array([6.0, 5.0, 3.0])[:, None, None], (3, 91, 61))
    return Sails(
        of_state=np.arange(3), plan=np.arange(3), plan_names=("A", "B", "C"),
        hard_kn=np.repeat(hard[:, None], ANGLES, axis=1).astype(np.float32),
        working_kn=np.repeat(working[:, None], ANGLES, axis=1).astype(np.float32), made_kn=made.astype(np.float32),
        origin=np.array([0, 1, 1, 2]), target=np.array([1, 2, 0, 1]), job=np.array([0, 1, 2, 3]), jobs=jobs, hours=np.array([1, 2, 1, 1]),
    )  # fmt: skip


def met_of(mean_kn: np.ndarray) -> LegWeather:
    """(J, S) mean winds -> one leg's weather, gusts a quarter more."""
    mean = mean_kn[None].astype(np.float32)
    flags = np.ones(mean.shape[:2], dtype=bool)
    return LegWeather(
        mean_kn=mean, gust_kn=mean * np.float32(1.25), tws_kn=mean, sea_m=np.ones_like(mean), angle=np.full(mean.shape, 90),
        hours=np.array([mean.shape[1]]), day=flags, moon=flags, weight=np.full(mean.shape[2], 1.0 / mean.shape[2]),
    )  # fmt: skip


def cost_of(sails: Sails, met: LegWeather, choice: tuple[int, ...], weights: Weights, aims: Aims) -> float:
    """What one list of edges begun (-1: none) at each hour costs; inf when it cannot be done. Written out plainly."""
    hours, total, state, busy, target = met.mean_kn.shape[1], 0.0, 0, 0, 0
    middle = met.mean_kn[0] @ met.weight
    plan = middle + 1.28 * np.sqrt(np.maximum((met.mean_kn[0] ** 2) @ met.weight - middle**2, 0))
    gust = 1.25 * plan

    def carry(p: int, j: int) -> float:
        over = float((met.gust_kn[0, j] > sails.hard_kn[p, 0]) @ met.weight)
        hard_kn, over_kn = max(gust[j] - sails.hard_kn[p, 0], 0.0), max(plan[j] - sails.working_kn[p, 0], 0.0)
        return float(weights.hard_hour * over + weights.hard_kn_hour * hard_kn + weights.working_hour * (over_kn > 0)
                     + weights.working_kn_hour * over_kn + weights.lost_mile * (6.0 - sails.made_kn[p, 0, 0]))  # fmt: skip

    for j in range(hours):
        if busy == 0:
            state = target
        edge = choice[j]
        if edge >= 0:
            if busy or sails.origin[edge] != state or j + sails.hours[edge] > hours:
                return np.inf
            job, span = sails.jobs[edge], slice(j, j + int(sails.hours[edge]))
            chance = float(((met.mean_kn[0, span] <= job.mean_kn) & (met.gust_kn[0, span] <= job.gust_kn)).all(axis=0) @ met.weight)
            if chance < aims.window_chance - 1e-5:
                return np.inf
            total += weights.job_mast + weights.job_risk * (1.0 - chance)
            busy, target = int(sails.hours[edge]), int(sails.target[edge])
        total += max(carry(state, j), carry(target, j)) if busy else carry(state, j)
        busy = max(busy - 1, 0)
    return total


@pytest.mark.parametrize("seed", range(12))
def test_the_sail_plans_of_a_leg_are_the_cheapest_of_all_there_are(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hours = 5
    mean = np.maximum(15.0 + np.cumsum(rng.normal(4.0, 6.0, hours))[:, None] + rng.normal(0.0, 1.5, (hours, 4)), 2.0)
    sails, met, weights, aims = small_sails(), met_of(mean), Weights(), Aims()
    found = choose_sails(sails, met, np.array([0]), aims, weights)
    best = min(product(range(-1, 4), repeat=hours), key=lambda c: cost_of(sails, met, c, weights, aims))
    own = cost_of(sails, met, chosen_edges(sails, found.plan[0], found.into[0]), weights, aims)
    assert own == pytest.approx(cost_of(sails, met, best, weights, aims), rel=1e-4, abs=1e-2)


def chosen_edges(sails: Sails, plan: np.ndarray, into: np.ndarray) -> tuple[int, ...]:
    """Sail plans by the hour -> the edge begun in each hour."""
    out, j = [-1] * len(plan), 0
    while j < len(plan):
        if plan[j] == into[j]:
            j += 1
            continue
        edge = int(np.flatnonzero((sails.origin == plan[j]) & (sails.target == into[j]))[0])
        out[j] = edge
        j += int(sails.hours[edge])
    return tuple(out)
