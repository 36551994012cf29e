"""When the front comes, over all scenarios: some have it early, some late, some not at all. All invented."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from watch.weather.arrival import Arrival, arrivals
from watch.weather.fronts import FrontPassage, Kind

MIDNIGHT = datetime(2026, 5, 15, tzinfo=UTC)


def passage(hours: float, step_h: float = 0.0, kind: Kind = Kind.COLD) -> FrontPassage:
    """A front so many hours after midnight, known to within step_h."""
    time = MIDNIGHT + timedelta(hours=hours)
    half = timedelta(hours=step_h / 2)
    winds = {"before_kn": 20.0, "before_deg": 200.0, "after_kn": 25.0, "after_deg": 290.0, "turn_deg": 90.0, "peak_mean_kn": 28.0}
    rest = {"peak_gust_kn": 40.0, "trough_hpa": 5.0, "air_c": -4.0, "temperature_c": -4.0, "confidence": 0.9}
    return FrontPassage(
        time=time, earliest=time - half, latest=time + half, peak_time=time, kind=kind, reasons=(), **winds, **rest
    )


def hours_after_midnight(instant: datetime) -> float:
    return (instant - MIDNIGHT).total_seconds() / 3600.0


def test_three_of_four_scenarios_have_the_front() -> None:
    (event,) = arrivals([[passage(-2)], [passage(0)], [passage(4)], []])
    assert event.share == 0.75
    assert event.scenarios == (0, 1, 2)
    assert hours_after_midnight(event.middle) == pytest.approx(0.0, abs=1e-3)
    assert hours_after_midnight(event.time_at(0.0)) == -2.0
    assert hours_after_midnight(event.time_at(1.0)) == 4.0
    assert event.by(MIDNIGHT) == pytest.approx(0.5), "two of four scenarios, one of which never has it"
    assert event.by(MIDNIGHT - timedelta(hours=3)) == 0.0
    assert event.by(MIDNIGHT + timedelta(hours=9)) == 0.75


def test_weights_count() -> None:
    (event,) = arrivals([[passage(-2)], [passage(4)], []], [6.0, 2.0, 2.0])
    assert event.share == pytest.approx(0.8)
    assert hours_after_midnight(event.time_at(0.5)) == -2.0
    assert hours_after_midnight(event.time_at(0.9)) == 4.0
    assert arrivals([[passage(1)], []], [0.0, 1.0]) == [], "a scenario of no weight has no say"


def test_a_forecast_step_of_six_hours_is_part_of_the_doubt() -> None:
    (event,) = arrivals([[passage(3, step_h=6.0)]])
    assert [hours_after_midnight(event.time_at(q)) for q in (0.0, 0.1, 0.5, 1.0)] == pytest.approx([0.0, 0.6, 3.0, 6.0], abs=1e-3)
    assert event.by(MIDNIGHT + timedelta(hours=1.5)) == pytest.approx(0.25)


def test_a_trough_behind_the_front_is_an_event_of_its_own() -> None:
    both = [[passage(k), passage(k + 5, kind=Kind.TROUGH)] for k in (0, 0.5, 1)]
    front, trough = arrivals(both)
    assert (front.kind, trough.kind) == (Kind.COLD, Kind.TROUGH)
    assert (front.share, trough.share) == (1.0, 1.0)
    assert (len(front.passages), len(trough.passages)) == (3, 3)


def test_fronts_days_apart_are_two_events_even_in_different_scenarios() -> None:
    early, late = arrivals([[passage(0)], [passage(30)]])
    assert (early.share, late.share) == (0.5, 0.5)


@pytest.mark.parametrize("weights", [[1.0], [1.0, -1.0], [0.0, 0.0], [np.nan, 1.0]])
def test_weights_that_make_no_sense_are_refused(weights: list[float]) -> None:
    with pytest.raises(ValueError, match="one non-negative weight a scenario"):
        arrivals([[passage(0)], []], weights)


def test_nothing_in_nothing_out() -> None:
    assert arrivals([]) == []
    assert arrivals([[], []]) == []


def by_counting(passages: list[list[FrontPassage]], weights: np.ndarray, moment: datetime) -> float:
    """Slow twin of Arrival.by for one event and passages without doubt."""
    return sum(float(w) for own, w in zip(passages, weights, strict=True) if own and own[0].time <= moment) / float(weights.sum())


def test_the_chance_that_it_has_come_is_counted() -> None:
    random = np.random.default_rng(7)
    hours = np.sort(random.uniform(0.0, 12.0, 30))
    scenarios = [[passage(float(h))] if random.uniform() < 0.8 else [] for h in hours]
    weights = random.uniform(0.0, 1.0, 30)
    (event,) = arrivals(scenarios, weights)
    assert isinstance(event, Arrival)
    for h in np.linspace(-1.0, 13.0, 29):
        moment = MIDNIGHT + timedelta(hours=float(h))
        assert event.by(moment) == pytest.approx(by_counting(scenarios, weights, moment), abs=1e-9)
    for q in (0.05, 0.5, 0.95):
        assert event.by(event.time_at(q) + timedelta(seconds=1)) >= q * event.share - 1e-9
