"""What must hold of turn-by times, each under the conditions in which it is true.

In general the time back R(t) need not grow with t, an entrance opens again with the daylight, and a later arrival may meet a better hour:
later turns, nearer shelters and later weather are then not always worse, and every window is reported instead. So the first three are
tested where they must hold: one wind alike everywhere until a gale that is alike everywhere and comes once; the track leading straight
away from the shelter along its line; no need of daylight; no limits but her own; and no change of sail, since one list of changes for all
weathers can be slower from an earlier turn.
"""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.stories.seas import forecast, question, route, shelter
from watch.orders.met import quantile_of_known
from watch.orders.shelter import Turns, judge_shelters
from watch.orders.turning import equal_time_nm, good_turns, last_turn_h, no_return_h
from watch.orders.weights import Aims
from watch.passage.shelters import in_sectors

OUT = route((36.0, -52.0), (36.0, -42.0))
FEW = settings(max_examples=12, deadline=None)


def gale_at(hours: list[float]):
    """A south wind of 15 kn; member k has a gale that no sail plan of hers may meet from hours[k] on, everywhere at once."""
    def weather(hour, lat, lon, member):
        after = hour >= hours[member]
        return 180.0, np.where(after, 40.0, 15.0), np.where(after, 80.0, 19.0), 1.0

    return weather


def judged(gales: list[float], longitudes: list[float]) -> tuple[Turns, ...]:
    found = forecast(gale_at(gales), hours=42, members=len(gales), box=(34.0, 38.0, -58.0, -42.0))
    never = Aims(stay_hours=6, window_chance=2.0)  # no deck window is ever open
    return judge_shelters(question(found, [shelter(f"isle {x}", 36.0, x) for x in longitudes], OUT, aims=never))


def turn_by(turns: Turns, asked: float) -> int:
    windows = good_turns(turns.chance, asked)
    return windows[-1].last if windows else -1


GALES = st.lists(st.integers(8, 30).map(float), min_size=3, max_size=6)


@FEW
@given(GALES)
def test_turning_later_never_raises_the_chance(gales: list[float]) -> None:
    turns = judged(gales, [-52.5])[0]
    assert (np.diff(turns.chance) <= 1e-9).all()


@FEW
@given(GALES, st.sampled_from([0.5, 0.9]))
def test_a_shelter_farther_away_on_the_same_bearing_never_has_a_later_turn_by(gales: list[float], asked: float) -> None:
    near, farther, farthest = judged(gales, [-52.3, -53.0, -54.0])
    assert turn_by(near, asked) >= turn_by(farther, asked) >= turn_by(farthest, asked)
    assert (near.chance >= farther.chance - 1e-9).all()


@FEW
@given(GALES, st.integers(1, 6), st.sampled_from([0.5, 0.9]))
def test_weather_that_comes_earlier_never_makes_the_turn_by_later(gales: list[float], earlier: int, asked: float) -> None:
    then = judged(gales, [-52.5])[0]
    now = judged([max(g - earlier, 1.0) for g in gales], [-52.5])[0]
    assert turn_by(now, asked) <= turn_by(then, asked)


CHANCES = st.lists(st.floats(0.0, 1.0) | st.just(float("nan")), min_size=1, max_size=40).map(np.array)


@given(CHANCES, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_lower_asked_for_chance_never_makes_the_turn_by_earlier(chance: np.ndarray, a: float, b: float) -> None:
    """True of any chances whatever: what is good at the higher is good at the lower."""
    low, high = sorted((a, b))
    at_low, at_high = good_turns(chance, low), good_turns(chance, high)
    if at_high:
        assert at_low[-1].last >= at_high[-1].last
    inside = {h for g in at_low for h in range(g.first, g.last + 1)}
    assert {h for g in at_high for h in range(g.first, g.last + 1)} <= inside
    assert all(not np.isnan(chance[h]) for h in inside), "an unknown chance is none"


@given(CHANCES, st.floats(0.01, 1.0))
def test_windows_are_all_the_good_turns_in_order_and_apart(chance: np.ndarray, asked: float) -> None:
    found = good_turns(chance, asked)
    inside = [h for g in found for h in range(g.first, g.last + 1)]
    assert inside == [h for h in range(len(chance)) if chance[h] >= asked - 1e-9]
    assert all(b.first > a.last + 1 for a, b in pairwise(found))
    assert all(g.least == chance[g.first : g.last + 1].min() for g in found)


SPEED = st.floats(0.5, 20.0)


@given(st.floats(1.0, 2000.0), SPEED, SPEED)
def test_at_equal_time_both_ways_take_as_long(between: float, on: float, back: float) -> None:
    at = equal_time_nm(between, on, back)
    assert 0.0 < at < between
    assert at / back == pytest.approx((between - at) / on)


@given(st.floats(1.0, 300.0), SPEED, SPEED)
def test_no_return_is_the_last_turn_with_nothing_in_hand(hours: float, out: float, back: float) -> None:
    assert no_return_h(hours, out, back) == pytest.approx(last_turn_h(hours, 0.0, out, back))


@given(st.floats(0.0, 360.0), st.floats(0.0, 360.0), st.floats(0.0, 360.0))
def test_a_direction_is_in_a_sector_or_in_the_rest_of_the_round(first: float, last: float, angle: float) -> None:
    both = [(first, last), (last, first)]
    assert in_sectors(np.array([angle]), both)[0]
    assert in_sectors(np.array([first, last]), [(first, last)]).all(), "both ends belong to it"
    assert in_sectors(np.array([np.nan]), [(first, last)])[0], "what is not known may be in it"
    assert not in_sectors(np.array([angle]), [])[0]


@given(st.lists(st.floats(-50, 50) | st.just(float("nan")), min_size=1, max_size=12), st.floats(0.01, 1.0))
def test_a_quantile_of_the_known_is_one_of_them(values: list[float], share: float) -> None:
    row = np.array([values])
    found = float(quantile_of_known(row, np.full(len(values), 1.0 / len(values)), share)[0])
    known = row[np.isfinite(row)]
    assert np.isnan(found) if not len(known) else found in known
    if len(known):
        assert (known <= found).mean() >= share - 1e-9
