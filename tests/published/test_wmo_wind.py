"""Mean, gust and direction as the WMO defines them, on series made so that the answer is known; and the guideline's limits."""

import math

import numpy as np
import pytest

from watch.instruments.averages import ENOUGH, GustKind, coverage, largest_gust, step_direction, step_mean
from watch.instruments.plausible import judge
from watch.instruments.readings import DoubtKind, Quantity, Reading
from watch.instruments.streams import instant_of
from watch.instruments.winds import true_from_apparent

SECONDS = np.arange(600.0)


@pytest.mark.source("wmo-8-wind-1")
def test_the_mean_speed_is_of_the_speeds_and_the_direction_of_the_vectors() -> None:
    half = SECONDS < 300
    speed, direction = np.where(half, 10.0, 20.0), np.where(half, 270.0, 0.0)
    assert step_mean(SECONDS, speed, 0.0, 10.0) == pytest.approx(15.0)  # the vector mean would have only 11.2
    assert step_direction(SECONDS, speed, direction, 0.0, 10.0) == pytest.approx(math.degrees(math.atan2(-5.0, 10.0)) % 360.0)


@pytest.mark.source("wmo-8-wind-1")
def test_directions_either_side_of_north_mean_north() -> None:
    direction = np.where(SECONDS % 2 == 0, 350.0, 10.0)
    mean = step_direction(SECONDS, np.full(600, 8.0), direction, 0.0, 10.0)
    assert min(mean, 360.0 - mean) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.source("wmo-8-wind-1")
@pytest.mark.parametrize(("lasts_s", "gust_ms"), [(1, 10.0 + 10.0 / 3.0), (2, 10.0 + 20.0 / 3.0), (3, 20.0), (30, 20.0)])
def test_a_gust_is_the_largest_mean_over_three_seconds(lasts_s: int, gust_ms: float) -> None:
    speed = np.full(600, 10.0)
    speed[200 : 200 + lasts_s] = 20.0
    assert largest_gust(SECONDS, speed, 0.0) == (pytest.approx(gust_ms), GustKind.THREE_SECOND)


@pytest.mark.source("wmo-8-wind-1")
def test_a_faster_instrument_gives_the_same_gust() -> None:
    fast = np.arange(0.0, 600.0, 0.25)
    speed = np.where((fast >= 200) & (fast < 202), 20.0, 10.0)
    assert largest_gust(fast, speed, 0.0) == (pytest.approx(10.0 + 20.0 / 3.0), GustKind.THREE_SECOND)


@pytest.mark.source("wmo-8-wind-1")
def test_an_instrument_that_speaks_every_five_seconds_gives_its_largest_reading_and_says_so() -> None:
    slow = np.arange(0.0, 600.0, 5.0)
    assert largest_gust(slow, np.where(slow == 200, 20.0, 10.0), 0.0) == (20.0, GustKind.LARGEST_READING)


@pytest.mark.source("wmo-8-wind-1")
def test_a_gust_across_two_steps_belongs_whole_to_the_step_it_ends_in() -> None:
    seconds = np.arange(1200.0)
    speed = np.where((seconds >= 598) & (seconds < 601), 20.0, 10.0)
    assert largest_gust(seconds, speed, 0.0) == (pytest.approx(10.0 + 20.0 / 3.0), GustKind.THREE_SECOND)
    assert largest_gust(seconds, speed, 600.0) == (pytest.approx(20.0), GustKind.THREE_SECOND)


@pytest.mark.source("aws-qc-2")
def test_two_thirds_of_the_time_are_enough_and_less_is_not() -> None:
    assert pytest.approx(0.66, abs=0.01) == ENOUGH
    assert coverage(SECONDS[:400], 0.0, 10.0) >= ENOUGH
    assert not coverage(SECONDS[:390], 0.0, 10.0) >= ENOUGH


def wind(values_ms: list[float]) -> list[Reading]:
    return [Reading(when=instant_of(i), received=instant_of(i), quantity=Quantity.TRUE_WIND_MS, value=v, source="WI/MWD")
            for i, v in enumerate(values_ms)]


@pytest.mark.source("aws-qc-1")
@pytest.mark.parametrize(("value_ms", "kind"), [(75.0, None), (75.1, DoubtKind.RANGE), (0.0, None)])
def test_wind_from_0_to_75_metres_a_second_is_plausible(value_ms: float, kind: DoubtKind | None) -> None:
    (judged,) = judge(wind([value_ms]))
    assert (judged.doubtful.kind if judged.doubtful else None) is kind


@pytest.mark.source("aws-qc-1")
@pytest.mark.parametrize(("spike_ms", "doubted"), [(32.0, False), (32.1, True)])
def test_more_than_20_metres_a_second_up_and_down_again_is_a_spike(spike_ms: float, doubted: bool) -> None:
    judged = judge(wind([12.0, 12.0, spike_ms, 12.0, 12.0]))
    assert [bool(r.doubtful) for r in judged] == [False, False, doubted, False, False]


@pytest.mark.source("sea-pressure-record-1")
@pytest.mark.parametrize("pressure_pa", [87000.0, 108380.0])
def test_the_record_glasses_are_believed(pressure_pa: float) -> None:
    at = instant_of(0.0)
    (judged,) = judge([Reading(when=at, received=at, quantity=Quantity.PRESSURE_PA, value=pressure_pa, source="WI/MDA")])
    assert judged.doubtful is None


@pytest.mark.source("apparent-wind-checks-1")
@pytest.mark.parametrize(("true_kn", "true_deg", "boat_kn", "apparent_kn", "apparent_deg"), [
    (12.0, 120.0, 6.0, 10.3923, 90.0), (15.0, 90.0, 6.0, 16.1555, 68.199), (20.0, 45.0, 6.0, 24.6111, 35.073)])
@pytest.mark.parametrize("heading_deg", [0.0, 77.0, 290.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_true_wind_from_apparent(
    true_kn: float, true_deg: float, boat_kn: float, apparent_kn: float, apparent_deg: float, heading_deg: float, side: float
) -> None:
    given = (apparent_kn, side * apparent_deg, heading_deg, boat_kn, heading_deg)
    speed, direction = true_from_apparent(*(np.array(value) for value in given))
    assert float(speed) == pytest.approx(true_kn, abs=1e-3)
    assert float(direction) == pytest.approx((heading_deg + side * true_deg) % 360.0, abs=2e-3)
