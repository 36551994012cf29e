"""The dynamic program against a slow twin that tries every schedule there is, on hundreds of small random nights."""

import numpy as np
import pytest

from watch.orders.solve import SETTLED, UP, Problem, backward, forward, start_costs, states_of, trace


def random_problem(rng: np.random.Generator, variants: int = 1) -> Problem:
    states, steps = int(rng.integers(2, 5)), int(rng.integers(3, 7))
    edges = int(rng.integers(1, 6))
    origin = rng.integers(0, states, edges)
    target = (origin + rng.integers(1, states, edges)) % states
    job = rng.uniform(0, 5, (variants, steps, edges))
    job[rng.random(job.shape) < 0.3] = np.inf
    busy = rng.integers(1, 4, edges)
    return Problem(
        carry=rng.uniform(0, 10, (variants, steps, states)), job=job, steps=busy, work=busy, origin=origin, target=target,
        wake=rng.uniform(0, 4, steps) * (rng.random(steps) < 0.6), up=rng.uniform(0, 1, steps),
    )  # fmt: skip


def twin(p: Problem, b: int, t: int, n: int, level: int) -> float:
    """The least cost from here by trying everything, with no memory and no arrays."""
    last = p.carry.shape[1]
    if t == last:
        return 0.0
    ways = [p.carry[b, t, n] + twin(p, b, t + 1, n, SETTLED)]
    if level == UP:
        ways.append(p.carry[b, t, n] + p.up[t] + twin(p, b, t + 1, n, UP))
    for e in range(len(p.steps)):
        if p.origin[e] == n and t + p.steps[e] <= last and np.isfinite(p.job[b, t, e]):
            called = p.wake[t] if level == SETTLED else 0.0
            ways.append(called + p.job[b, t, e] + twin(p, b, t + int(p.steps[e]), int(p.target[e]), UP))
    return min(ways)


@pytest.mark.parametrize("seed", range(300))
def test_no_schedule_is_cheaper_than_the_one_found(seed: int) -> None:
    p = random_problem(np.random.default_rng(seed), variants=2)
    value = backward(p)
    for b in range(2):
        assert value[b, 0, 0, UP] == pytest.approx(twin(p, b, 0, 0, UP))
        assert value[b, 0, 0, SETTLED] == pytest.approx(twin(p, b, 0, 0, SETTLED))


@pytest.mark.parametrize("seed", range(100))
def test_the_traced_schedule_costs_what_its_value_says(seed: int) -> None:
    p = random_problem(np.random.default_rng(1000 + seed))
    value = backward(p)
    moves = trace(p, value, 0, 0)
    carried = states_of(p, moves, 0)
    busy = np.zeros(len(carried), dtype=bool)
    for move in moves:
        assert not busy[move.begins : move.over].any(), "one job at a time"
        busy[move.begins : move.over] = True
    own = sum(p.job[0, m.begins, m.edge] for m in moves) + sum(p.carry[0, t, carried[t]] for t in np.flatnonzero(~busy))
    assert own <= value[0, 0, 0, UP] + 1e-9, "wakes and hours awake come on top, never less"
    assert value[0, 0, 0, UP] <= own + p.wake.sum() + p.up.sum() + 1e-9


@pytest.mark.parametrize("seed", range(100))
def test_forward_and_backward_agree(seed: int) -> None:
    p = random_problem(np.random.default_rng(2000 + seed))
    cost = forward(p, np.array([0]), np.array([0]))
    value = backward(p)
    assert cost[0, -1].min() == pytest.approx(value[0, 0, 0, UP])


@pytest.mark.parametrize("seed", range(100))
def test_the_cost_of_a_first_start_at_each_step_is_the_twins(seed: int) -> None:
    """First start of job 0 at step s exactly: the twin is the whole problem with job 0 forbidden before s and forced at s."""
    p = random_problem(np.random.default_rng(3000 + seed))
    marked = np.zeros((1, p.shape[3]), dtype=bool)
    marked[0, 0] = True
    without = Problem(carry=p.carry, job=np.where(marked[:, None, :], np.inf, p.job), steps=p.steps, work=p.work, origin=p.origin,
                      target=p.target, wake=p.wake, up=p.up)  # fmt: skip
    starts = start_costs(p, forward(without, np.array([0]), np.array([0])), backward(p), marked)[0]
    whole = backward(p)[0, 0, 0, UP]
    never = backward(without)[0, 0, 0, UP]
    assert min(starts.min(initial=np.inf), never) == pytest.approx(whole)
    for s in range(p.shape[1]):
        assert starts[s] == pytest.approx(_forced(p, 0, 0, UP, s), nan_ok=False) or (
            np.isinf(starts[s]) and np.isinf(_forced(p, 0, 0, UP, s))
        )


def _forced(p: Problem, t: int, n: int, level: int, s: int) -> float:
    last = p.carry.shape[1]
    if t > s or t == last:
        return np.inf
    if t == s:
        fits = p.origin[0] == n and t + p.steps[0] <= last and np.isfinite(p.job[0, t, 0])
        called = p.wake[t] if level == SETTLED else 0.0
        return called + p.job[0, t, 0] + twin(p, 0, t + int(p.steps[0]), int(p.target[0]), UP) if fits else np.inf
    ways = [p.carry[0, t, n] + _forced(p, t + 1, n, SETTLED, s)]
    if level == UP:
        ways.append(p.carry[0, t, n] + p.up[t] + _forced(p, t + 1, n, UP, s))
    for e in range(1, len(p.steps)):
        if p.origin[e] == n and t + p.steps[e] <= s and np.isfinite(p.job[0, t, e]):
            called = p.wake[t] if level == SETTLED else 0.0
            ways.append(called + p.job[0, t, e] + _forced(p, t + int(p.steps[e]), int(p.target[e]), UP, s))
    return min(ways)


@pytest.mark.source("schedule-toy")
@pytest.mark.parametrize(("change_cost", "expected_states", "expected_cost"), [(1.0, "FRS", 8.0), (3.0, "FSS", 11.0)])
def test_the_toy_of_three_periods(change_cost: float, expected_states: str, expected_cost: float) -> None:
    """Winds 15, 25, 35; full sail to 20, reefed to 30, storm sail to 45; loss a period 0, 2, 4; over a limit 100; start in full."""
    limits, loss, winds = (20, 30, 45), (0.0, 2.0, 4.0), (15, 25, 35)
    carry = np.array([[loss[n] + (100.0 if wind > limits[n] else 0.0) for n in range(3)] for wind in winds])

    def toy_cost(path: tuple[int, ...]) -> float:
        changes = sum(a != b for a, b in zip((0, *path), path, strict=False))
        return sum(carry[t, n] for t, n in enumerate(path)) + change_cost * changes

    best = min((toy_cost(path), path) for path in np.ndindex(3, 3, 3))
    assert (best[0], "".join("FRS"[n] for n in best[1])) == (expected_cost, expected_states)
    # The same through the program: a change fills one step of its own, between the periods, in which nothing is lost.
    pairs = [(a, b) for a in range(3) for b in range(3) if a != b]
    times = np.zeros((6, 3))
    times[1::2] = carry
    job = np.full((6, len(pairs)), np.inf)
    job[0::2] = change_cost
    p = Problem(carry=times[None], job=job[None], steps=np.ones(len(pairs), dtype=np.int64),
                work=np.ones(len(pairs), dtype=np.int64), origin=np.array([a for a, _ in pairs]),
                target=np.array([b for _, b in pairs]), wake=np.zeros(6), up=np.zeros(6))  # fmt: skip
    value = backward(p)
    assert value[0, 0, 0, UP] == pytest.approx(expected_cost)
    carried = states_of(p, trace(p, value, 0, 0), 0)
    assert "".join("FRS"[n] for n in carried[1::2]) == expected_states
