"""Equal time, point of no return and last turn: the worked examples."""

import pytest

from watch.orders.turning import equal_time_nm, last_turn_h, no_return_h


@pytest.mark.source("equal-time-1")
@pytest.mark.parametrize(("between", "on", "back", "nm"), [(843.0, 118.0, 177.0, 505.8), (116.0, 65.0, 95.0, 68.9)])
def test_equal_time_point(between: float, on: float, back: float, nm: float) -> None:
    at = equal_time_nm(between, on, back)
    assert round(at, 1) == nm
    assert (between - at) / on == pytest.approx(at / back), "that is what it means"


@pytest.mark.source("no-return-1")
@pytest.mark.parametrize(("hours", "out", "back", "minutes", "nm"), [(6.5, 240.0, 210.0, 182, 728), (10.0, 50.0, 150.0, 450, 375),
                                                                     (10.0, 150.0, 50.0, 150, 375)])  # fmt: skip
def test_point_of_no_return(hours: float, out: float, back: float, minutes: int, nm: int) -> None:
    at = no_return_h(hours, out, back)
    assert round(at * 60) == minutes
    assert round(at * out) == nm
    assert at + at * out / back == pytest.approx(hours), "there and back in all the time there is"


@pytest.mark.source("last-turn-1")
def test_last_turn_before_the_weather_is_at_the_shelter() -> None:
    assert last_turn_h(20.0, 2.0, 5.0, 4.0) == pytest.approx(8.0)
    assert last_turn_h(20.0, 2.0, 5.0, 4.0) * 5.0 == pytest.approx(40.0)
    assert last_turn_h(1.0, 2.0, 5.0, 4.0) < 0.0, "too late already"


@pytest.mark.source("last-turn-1")
@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_a_speed_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        last_turn_h(20.0, 2.0, 5.0, bad)
