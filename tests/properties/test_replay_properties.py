"""What must hold of every replay, whatever the weather: foresight is the bound, the future is not seen, rules are kept."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.stories.replays import NOON, forecast, hours_on, kittiwake, outside, truth
from watch.boat.model import BoatFile
from watch.orders.solve import UP, backward, trace
from watch.service.replay.outside import Known, Outside
from watch.service.replay.play import Choice, Policy, play
from watch.service.replay.policies import NAMES, policy, true_problem
from watch.service.replay.tally import points
from watch.service.replay.truth import Truth
from watch.units import kn_to_ms

HOURS = 20.0


def weather(seed: int, hours: float = HOURS) -> tuple[Truth, list[tuple[float, float, float]]]:
    """A random wind that rises and falls, with a few squalls: what happens, and the smooth table it came from."""
    rng = np.random.default_rng(seed)
    at = np.arange(0.0, hours + 3.1, 3.0)
    mean = np.clip(rng.uniform(10.0, 22.0) + np.cumsum(rng.normal(0.0, 4.0, len(at))), 4.0, 50.0)
    table = [(float(h), float(m), float(1.3 * m)) for h, m in zip(at, mean, strict=True)]
    squalls = {(h, h + 1 / 3): float(rng.uniform(28.0, 50.0)) for h in rng.uniform(1.0, hours - 1.0, 2).tolist()}
    return truth(table, hours, squalls=squalls, sea_m=float(rng.uniform(1.0, 4.0))), table


def played_outside(seed: int, own: BoatFile | None = None) -> Outside:
    happens, table = weather(seed)
    wrong = [(h + 1.5 * (seed % 3 - 1), m, g) for h, m, g in table]
    runs = [(0, forecast(wrong, 24.0)), (48, forecast([(h - 6.0, m, g) for h, m, g in table], 18.0, run=hours_on(NOON, 6.0)))]
    return outside(happens, forecasts=runs, own=own)


def at_random(seed: int) -> Policy:
    """Now and then any job that can be begun."""
    rng = np.random.default_rng(seed)

    def wants(known: Known, memory: Any) -> Choice:
        fits = [e for e, edge in enumerate(known.ship.rig.edges) if edge.origin == known.state and known.can[e]]
        return Choice(edges=(int(rng.choice(fits)),) if fits and rng.random() < 0.1 else ())

    return wants


def policies(o: Outside, seed: int) -> dict[str, Policy]:
    return {name: policy(name, o) for name in NAMES} | {f"at random {k}": at_random(1000 * seed + k) for k in range(4)}


@pytest.mark.parametrize("seed", range(12))
def test_perfect_foresight_is_never_worse_than_anything_else_that_can_be_done(seed: int) -> None:
    o = played_outside(seed)
    came_to = {name: points(o, play(o, wants)) for name, wants in policies(o, seed).items()}
    least = came_to.pop("foresight")
    assert all(least <= value + 1e-6 for value in came_to.values()), (least, came_to)
    assert len(set(came_to.values())) > 1  # they did differ: the bound was tried


@pytest.mark.parametrize("seed", range(12))
def test_no_job_is_begun_when_it_cannot_be_and_none_runs_into_another(seed: int) -> None:
    o = played_outside(seed)
    for wants in policies(o, seed).values():
        played, state, free = play(o, wants), 0, 1
        for move in played.moves:
            edge = o.ship.rig.edges[move.edge]
            assert o.can[move.begins, move.edge]
            assert edge.origin == state
            assert free <= move.begins < move.done <= move.over <= o.met.steps
            assert (played.carried[move.begins : move.done] == edge.origin).all()
            state, free = edge.target, move.over
        assert played.carried[-1] == state or played.moves[-1].done == o.met.steps


@pytest.mark.parametrize("seed", range(12))
def test_nothing_is_begun_in_weather_above_the_jobs_own_limits_as_last_seen(seed: int) -> None:
    """The twin of `can`: each begun job looked up in the weather of the twenty minutes before, by the boat file's own numbers."""
    o = played_outside(seed)
    for name in ("ours", "reactive", "foresight"):
        for move in play(o, policy(name, o)).moves:
            job = o.ship.rig.edges[move.edge].job
            for step in range(max(0, move.begins - 2), move.begins):
                assert o.met.mean_kn[0, step] <= job.mean_kn
                assert o.met.gust_kn[0, step] <= job.gust_kn
                assert job.sea_m is None or o.met.sea_m[0, step] <= job.sea_m


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("name", ["ours", "reactive"])
def test_the_future_is_not_seen_what_comes_later_changes_nothing_before(name: str, seed: int) -> None:
    o = played_outside(seed)
    change = 60 + 3 * seed
    happens = o.truth
    mean, gust, sea = happens.mean_ms.copy(), happens.gust_ms.copy(), happens.sea_m.copy()
    mean[change:], gust[change:], sea[change:] = kn_to_ms(30.0), kn_to_ms(45.0), 4.0
    other = Outside(ship=o.ship, truth=replace(happens, mean_ms=mean, gust_ms=gust, sea_m=sea), arrivals=o.arrivals)
    one, two = play(o, policy(name, o)), play(other, policy(name, other))
    assert [m for m in one.moves if m.begins <= change] == [m for m in two.moves if m.begins <= change]
    assert [w for w in one.in_vain if w.step <= change] == [w for w in two.in_vain if w.step <= change]


@pytest.mark.parametrize("seed", range(8))
def test_a_run_that_is_not_aboard_yet_changes_nothing_before_it_is(seed: int) -> None:
    o = played_outside(seed)
    aboard = o.arrivals[1][0]
    without = Outside(ship=o.ship, truth=o.truth, arrivals=o.arrivals[:1])
    one, two = play(o, policy("ours", o)), play(without, policy("ours", without))
    assert [m for m in one.moves if m.begins < aboard] == [m for m in two.moves if m.begins < aboard]


@pytest.mark.parametrize("seed", range(8))
def test_deciding_again_later_never_makes_foresight_worse(seed: int) -> None:
    """From every step on, the plan made at the start costs what the best plan made then would cost: nothing is to be gained or lost."""
    o = played_outside(seed)
    problem = true_problem(o)
    value = backward(problem)
    first = trace(problem, value, 0, 0)
    for k, move in enumerate(first):
        again = trace(problem, value, 0, int(problem.target[move.edge]), at=move.over)
        cost = [sum(float(problem.job[0, m.begins, m.edge]) for m in moves) for moves in (first[k + 1 :], again)]
        assert again == first[k + 1 :]
        assert cost[0] == pytest.approx(cost[1])
    whole = points(o, play(o, policy("foresight", o)))
    assert whole == pytest.approx(float(value[0, 0, 0, UP]), rel=1e-6, abs=1e-6)


def without_job(name: str) -> Callable[[BoatFile], BoatFile]:
    return lambda own: own.model_copy(update={"job": tuple(job for job in own.job if job.name != name)})


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("name", ["bend on and set the storm jib", "put in the third reef"])
def test_one_more_sail_never_makes_foresight_worse(name: str, seed: int) -> None:
    own = kittiwake()
    full, fewer = played_outside(seed, own), played_outside(seed, without_job(name)(own))
    fastest = [np.max([c.made_good_kn for c in o.judged.carriage.of_state], axis=0) for o in (full, fewer)]
    np.testing.assert_array_equal(*fastest)  # lost miles are counted against the same
    assert len(fewer.ship.rig.edges) < len(full.ship.rig.edges)
    assert points(full, play(full, policy("foresight", full))) <= points(fewer, play(fewer, policy("foresight", fewer))) + 1e-6


@pytest.mark.parametrize("seed", range(10))
def test_more_wind_never_makes_foresight_cheaper_in_hours_over_the_hard_limit(seed: int) -> None:
    """By the hard limit alone: with everything else free, the fewest points over hard limits cannot fall as the wind rises."""
    from watch.orders.weights import Weights

    bare = Weights(**dict.fromkeys([n for n, _ in Weights().table() if n not in ("hard_hour", "hard_kn_hour")], 0.0))
    least = []
    for factor in (1.0, 1.1, 1.3):
        o = played_outside(seed)
        stronger = replace(o.truth, mean_ms=factor * o.truth.mean_ms, gust_ms=factor * o.truth.gust_ms)
        o = Outside(ship=replace(o.ship, weights=bare), truth=stronger, arrivals=())
        least.append(points(o, play(o, policy("foresight", o))))
    assert least == sorted(least)
