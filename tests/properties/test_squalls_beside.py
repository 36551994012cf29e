"""Squalls that no forecast shows, beside the weathers: against slow twins, and what must hold of their chance and price in any night."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.properties.test_schedules import random_met
from tests.stories.nights import boat
from watch.boat.model import Place
from watch.boat.rig import Rig, rig_from, state_of
from watch.orders.carry import speed_table
from watch.orders.caught import squall_cost
from watch.orders.met import height_factor
from watch.orders.schedule import Judged, Night, Schedule, judge, make_schedule, risk_between, risk_of
from watch.orders.weights import Weights
from watch.weather.unforecast import COUNTED, NONE, Unforecast

OFTEN = Unforecast(per_hour=0.5, beyond_ms=1.0, scale_ms=2.0)


@cache
def rig() -> Rig:
    return rig_from(boat(), state_of(boat(), {}))


def random_night(seed: int, unforecast: Unforecast = OFTEN, missing: float = 0.0) -> Night:
    rng = np.random.default_rng(seed)
    met = random_met(rng, missing=missing)
    return Night(rig=rig(), met=met, table=speed_table(boat().speed), asleep=rng.random(met.steps) < 0.3, unforecast=unforecast)


@cache
def made(seed: int) -> Schedule:
    return make_schedule(random_night(seed, missing=0.004 * (seed % 2)))


def twin_chance(judged: Judged, state: int, s: int, t: int) -> float:
    """In one state, weather and step: one minus the chance that none comes in ten minutes at the rate of the table."""
    met, table, carried = judged.night.met, judged.night.unforecast, judged.carriage[state]
    in_hand_ms = (carried.hard_kn[s, t] - met.gust_kn[s, t]) * 1852.0 / 3600.0 / height_factor(boat())
    if np.isnan(in_hand_ms) or in_hand_ms < table.beyond_ms:
        in_hand_ms = table.beyond_ms
    return float(1.0 - np.exp(-table.per_hour * np.exp(-(in_hand_ms - table.beyond_ms) / table.scale_ms) / 6.0))


def twin_hard_chance(schedule: Schedule) -> float:
    """Weather by weather, step by step: the chance that she gets through all of them below every hard limit, from one."""
    judged, met = schedule.judged, schedule.judged.night.met
    through = 0.0
    for s in range(len(met.weight)):
        inside = 1.0
        for t in range(met.steps):
            states = {int(schedule.carried[t])} | {int(judged.problem.target[m.edge]) for m in schedule.moves if m.begins <= t < m.done}
            if not all(judged.carriage[n].over_hard_kn[s, t] <= 0.0 for n in states):
                inside = 0.0
            inside *= 1.0 - max(twin_chance(judged, n, s, t) for n in states)
        through += met.weight[s] * inside
    return 1.0 - through


@pytest.mark.parametrize("seed", range(8))
def test_the_chance_in_all_is_the_slow_twins(seed: int) -> None:
    assert made(seed).risk.hard_chance == pytest.approx(twin_hard_chance(made(seed)), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_the_two_parts_add_up_and_the_forecasts_own_is_as_without(seed: int) -> None:
    schedule = made(seed)
    alone = judge(replace(schedule.judged.night, unforecast=NONE))
    risk, by_itself = schedule.risk, risk_of(alone, schedule.carried, schedule.moves)
    assert by_itself.unforecast_chance == 0.0
    assert risk.forecast_chance == pytest.approx(by_itself.hard_chance, abs=1e-12)
    assert 0.0 <= risk.unforecast_chance <= 1.0 - by_itself.hard_chance + 1e-12
    assert (risk.hard_hours, risk.working_hours, risk.hard_first_step) == (by_itself.hard_hours, by_itself.working_hours, by_itself.hard_first_step)


@pytest.mark.parametrize("seed", range(8))
def test_a_rate_of_nothing_gives_the_same_schedule_as_no_such_squalls_at_all(seed: int) -> None:
    plain = make_schedule(random_night(seed, NONE))
    free = make_schedule(replace(random_night(seed, COUNTED), weights=Weights(squall_caught=0.0, squall_seen=0.0)))
    dear = make_schedule(replace(random_night(seed, NONE), weights=Weights(squall_caught=1e6, squall_seen=1e6)))
    assert plain.moves == free.moves == dear.moves
    assert plain.cost == free.cost == dear.cost
    assert plain.risk == dear.risk
    assert [(t.closes, t.closes_reason) for t in plain.tasks] == [(t.closes, t.closes_reason) for t in dear.tasks]


@pytest.mark.parametrize("seed", range(8))
def test_more_wind_or_more_squalls_never_make_it_safer(seed: int) -> None:
    schedule = made(seed)
    night, met = schedule.judged.night, schedule.judged.night.met
    more = [replace(night, met=met.changed(wind_factor=f)) for f in (1.0, 1.05, 1.3)]
    more += [replace(night, unforecast=replace(OFTEN, per_hour=rate)) for rate in (0.0, 0.1, 0.5, 2.0)]
    chances = [risk_of(judge(one, reasons=False), schedule.carried, schedule.moves).hard_chance for one in more]
    assert chances[:3] == sorted(chances[:3])
    assert chances[3:] == sorted(chances[3:])


@pytest.mark.parametrize("seed", range(8))
def test_a_part_of_the_night_never_risks_more_than_all_of_it(seed: int) -> None:
    schedule, rng = made(seed), np.random.default_rng(seed)
    whole = risk_between(schedule.judged, schedule.carried, schedule.moves, 0, schedule.judged.night.met.steps)
    assert whole == schedule.risk
    for _ in range(10):
        first, last = sorted(rng.integers(0, schedule.judged.night.met.steps + 1, 2).tolist())
        part = risk_between(schedule.judged, schedule.carried, schedule.moves, first, last)
        assert part.hard_chance <= whole.hard_chance + 1e-12
        if first == last:
            assert part.hard_chance == 0.0


@pytest.mark.parametrize("seed", range(8))
def test_a_night_is_no_cheaper_for_squalls_and_the_best_of_it_no_worse_for_one_more_sail(seed: int) -> None:
    with_them, without = (make_schedule(random_night(seed, table)) for table in (OFTEN, NONE))
    assert with_them.cost >= without.cost - 1e-9
    fewer = make_schedule(replace(random_night(seed), barred={"roll the genoa away": 10**6}))
    assert with_them.cost <= fewer.cost + 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_the_price_is_full_in_the_dark_asleep_or_without_a_quick_job_and_small_otherwise(seed: int) -> None:
    night = random_night(seed)
    judged, weights = judge(night, reasons=False), Weights()
    seen = night.met.day & ~night.asleep
    asked = night.aims.window_chance
    found = squall_cost(night.rig, night.met, judged.carriage, weights, seen, judged.chances, asked)
    chance = [[sum(w * twin_chance(judged, n, s, t) for s, w in enumerate(night.met.weight)) for t in range(0, night.met.steps, 7)]
              for n in range(len(night.rig.states))]  # fmt: skip
    for n in range(len(night.rig.states)):
        quick = [e for e in night.rig.edges if e.origin == n and e.job.place is Place.COCKPIT and e.job.minutes <= 10]
        for k, t in enumerate(range(0, night.met.steps, 7)):
            ready = seen[t] and any(
                judged.chances[e.job.name].chance[t] >= asked - 1e-12 and chance[e.target][k] < chance[n][k] - 1e-15 for e in quick
            )
            price = weights.squall_seen if ready else weights.squall_caught
            assert found[t, n] == pytest.approx(price * chance[n][k], rel=1e-9)
