"""The widths taught by the passage itself: on invented truth that is known, at the bounds, with little to go by, with gaps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watch.weather.errors import Widening
from watch.weather.own_errors import LEAST_SPELLS, LEAST_TIMES, MOST_TIMES, expected_ms, own_widths, scaled

TABLE = Widening()


def record(spells: int, times: float, seed: int = 1, each: int = 3) -> dict[str, np.ndarray]:
    """Pairs of a passage whose forecasts are so many times as far off as the table says, one error a spell, a reading every two hours."""
    dice = np.random.default_rng(seed)
    when = np.repeat(6.0 * np.arange(spells), each) + np.tile(2.0 * np.arange(each), spells)
    lead, wind = dice.uniform(0.0, 72.0, when.size), dice.uniform(5.0, 16.0, when.size)
    change = dice.uniform(-1.0, 1.0, when.size)
    error = np.repeat(dice.standard_normal(spells), each) * times * expected_ms(lead, wind, change, TABLE)
    return {"when_h": when, "lead_h": lead, "forecast_ms": wind, "observed_ms": wind + error, "change_ms_h": change}


@pytest.mark.source("own-widths-1")
@pytest.mark.parametrize("times", [0.8, 1.0, 1.3, 1.6])
def test_with_a_long_record_the_truth_is_found(times: float) -> None:
    found = own_widths(**record(600, times))
    assert found.seen_times == pytest.approx(times, rel=0.08)
    assert found.times == pytest.approx(max(times, LEAST_TIMES), rel=0.08), "never narrower than the table"
    assert found.widening.strength_ms[2] == pytest.approx(found.times * TABLE.strength_ms[2])


@pytest.mark.source("own-widths-1")
def test_few_spells_leave_the_table_its_say() -> None:
    found = [np.mean([own_widths(**record(n, 2.0, seed)).times for seed in range(40)]) for n in (5, 20, 80)]
    assert 1.0 < found[0] < 1.35 < found[1] < found[2] <= MOST_TIMES
    assert own_widths(**record(LEAST_SPELLS - 1, 2.0)).widening == TABLE
    assert "Too little" in own_widths(**record(2, 2.0)).words


@pytest.mark.source("own-widths-1")
@given(st.integers(0, 300), st.floats(0.0, 50.0), st.integers(0, 1000))
def test_never_outside_the_bounds(spells: int, times: float, seed: int) -> None:
    found = own_widths(**record(spells, times, seed))
    assert LEAST_TIMES <= found.times <= MOST_TIMES
    assert found.widening == scaled(TABLE, found.times)
    assert found.words


@pytest.mark.source("own-widths-1")
def test_the_bounds_are_met() -> None:
    assert own_widths(**record(400, 9.0)).times == MOST_TIMES
    assert own_widths(**record(400, 0.05)).times == LEAST_TIMES


def test_readings_at_every_minute_prove_no_more_than_every_hour() -> None:
    few = record(12, 1.8, each=1)
    many = {name: np.repeat(values, 50) for name, values in few.items()}
    assert own_widths(**many).times == pytest.approx(own_widths(**few).times)


def test_what_is_not_known_is_left_out() -> None:
    whole = record(30, 1.5)
    gaps = {name: np.concatenate([values, values[:9]]) for name, values in whole.items()}
    gaps["observed_ms"][-9:] = np.nan
    assert own_widths(**gaps) == own_widths(**whole)
    assert own_widths([], [], [], []).widening == TABLE


def test_one_squall_in_the_record_is_not_the_end_of_the_forecast() -> None:
    one = record(30, 1.0, seed=4)
    struck = {**one, "observed_ms": one["observed_ms"].copy()}
    struck["observed_ms"][10] += 25.0
    assert own_widths(**struck).times < own_widths(**one).times + 0.1
