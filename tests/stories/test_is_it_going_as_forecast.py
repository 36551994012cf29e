"""Is it going as forecast? Invented evenings of the sloop Kittiwake, as her instruments and her glass tell them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from watch.instruments.compare import Caveat, Update, compare
from watch.instruments.expected import Expected
from watch.instruments.own_glass import Beyond, own_glass
from watch.instruments.readings import Doubt, DoubtKind
from watch.instruments.steps import ObservedSteps, Step, WindHeight
from watch.units import Floats, kn_to_ms
from watch.weather.errors import normal_points
from watch.when import grid, parse_utc, to_np

EVENING = parse_utc("2026-05-16T18:00Z")
HOURS = np.arange(-20 * 6, 12 * 6) / 6.0  # round 18:00


def front(late_h: float = 0.0, strength: float = 1.0, steep_h: float = 1.0) -> tuple[Floats, Floats]:
    """Mean wind [m/s] and glass [Pa] of an invented front that passes at 18:00 plus late_h: 14 kn before, 32 after it builds."""
    h = HOURS - late_h
    wind = kn_to_ms(14.0 + 8.0 / (1.0 + np.exp(-(h + 5.0) / 2.0)) + 10.0 / (1.0 + np.exp(-h / (0.5 * steep_h)))) * strength
    glass = 101200.0 - 900.0 / (1.0 + np.exp(-(h + 5.0) / 2.5)) + 110.0 * np.maximum(h, 0.0)
    return wind, glass


def evening(wind: Floats, glass: Floats, *, doubts: tuple[Doubt, ...] = (), hours: float = 18.0,
            due_h: float = 0.0) -> Update:
    """What the instruments showed for so many hours until 18:00, against a front forecast for 18:00 plus due_h."""
    on = (HOURS < 0.0) & (-hours <= HOURS)
    start = to_np(EVENING) + (HOURS[on] * 3600).round().astype(int) * np.timedelta64(1, "s")
    rows = [Step(start_s=float(s), mean_ms=float(m), pressure_pa=float(p), doubts=doubts)
            for s, m, p in zip(start.astype(np.int64), wind[on], glass[on], strict=True)]
    observed = replace(ObservedSteps.of(rows), height=WindHeight.TEN_METRES)
    plain_wind, plain_glass = front(due_h)
    z = normal_points(40, 2)
    winds = np.array([np.interp(HOURS - 1.3 * a, HOURS, plain_wind) * (1.0 + 0.08 * b) for a, b in z])
    glasses = np.array([np.interp(HOURS - 1.3 * a, HOURS, plain_glass) for a, b in z])
    time = to_np(EVENING) + (HOURS * 3600).round().astype(int) * np.timedelta64(1, "s")
    expected = Expected(time=time, mean_ms=winds, pressure_pa=glasses, weight=np.full(40, 1 / 40), plain_mean_ms=plain_wind,
                        plain_pressure_pa=plain_glass, labels=("invented",) * 40, timing_width_h=1.3)
    return compare(observed, expected, EVENING)


@pytest.mark.parametrize(
    ("what", "due_h", "late_h", "strength", "early", "strong", "says"),
    [
        ("the front is two hours early", 0.0, -2.0, 1.0, (1.3, 2.3), (0.93, 1.07), "early"),
        ("the front came two hours late", -3.0, -1.0, 1.0, (-2.3, -1.2), (0.93, 1.07), "late"),
        ("stronger than forecast", 0.0, 0.0, 1.2, (-0.6, 0.6), (1.12, 1.25), "% stronger than forecast"),
        ("weaker than forecast", 0.0, 0.0, 0.8, (-0.6, 0.6), (0.76, 0.88), "% weaker than forecast"),
        ("early and stronger", 0.0, -2.0, 1.15, (1.3, 2.4), (1.06, 1.2), "early"),
        ("as forecast", 0.0, 0.0, 1.0, (-0.15, 0.15), (0.98, 1.02), "on time as far as can be told"),
    ],
)
def test_an_evening(
    what: str, due_h: float, late_h: float, strength: float, early: tuple[float, float], strong: tuple[float, float], says: str
) -> None:
    update = evening(*front(late_h, strength), due_h=due_h)
    assert early[0] <= update.hours_early <= early[1], what
    assert strong[0] <= update.strength <= strong[1], what
    assert says in update.words
    assert update.trusted


def test_the_weathers_like_what_was_observed_become_likelier() -> None:
    z = normal_points(40, 2)[:, 0]
    early, plain, late = (float(evening(*front(h)).weights @ z) for h in (-2.0, 0.0, 2.0))
    assert early < -0.15 < plain < 0.15 < late


def test_a_front_that_is_due_and_does_not_come_is_not_soon_believed_to_be_late() -> None:
    """Two hours late, and due only now: hardly half of it is believed, and the wind planned for may not fall."""
    update = evening(*front(2.0))
    assert -1.2 <= update.hours_early <= 0.0
    assert not update.calmer_supported


def test_a_front_sharper_than_forecast_is_said() -> None:
    sharp = evening(*front(-1.5, 1.25, steep_h=0.1))
    assert sharp.sharper > 1.5
    assert "more sharply than forecast" in sharp.words
    assert math.isnan(evening(*front()).sharper)


def test_a_weather_that_is_in_no_forecast_is_said_to_be_so() -> None:
    wind, glass = front()
    update = evening(wind * 2.2, glass - 300.0 * np.maximum(HOURS + 8.0, 0.0))
    assert Caveat.FAR_OFF in update.reasons
    assert "trust the sky and the glass before these orders" in update.words
    assert update.strength > 1.3, "the stronger wind is believed all the same"
    assert not update.calmer_supported


def test_less_wind_is_believed_only_after_hours_of_it() -> None:
    assert evening(*front(strength=0.75)).calmer_supported
    assert not evening(*front(strength=0.75), hours=4.0).calmer_supported
    assert not evening(*front(strength=0.97)).calmer_supported


def test_dead_instruments() -> None:
    wind, glass = front()
    update = evening(np.full(wind.shape, np.nan), np.full(glass.shape, np.nan))
    assert (update.trusted, update.reasons) == (False, (Caveat.TOO_FEW,))
    assert update.words == ("Observed and forecast cannot be compared: there are fewer than three hours of readings of wind or glass. "
                            "The orders rest on the forecast alone.")


def test_instruments_that_died_two_hours_ago() -> None:
    wind, glass = front()
    dead = np.where(HOURS < -2.0, wind, np.nan), np.where(HOURS < -2.0, glass, np.nan)
    update = evening(*dead)
    assert (update.trusted, update.reasons) == (False, (Caveat.TOO_OLD,))


def test_only_just_switched_on() -> None:
    assert evening(*front(), hours=2.8).reasons == (Caveat.TOO_FEW,)
    assert evening(*front(), hours=3.0).trusted


def test_the_glass_alone_gives_the_timing_and_says_what_is_lacking() -> None:
    wind, glass = front(-2.0)
    update = evening(np.full(wind.shape, np.nan), glass)
    assert update.trusted
    assert update.hours_early > 0.7
    assert math.isnan(update.strength)
    assert Caveat.NO_WIND in update.reasons
    assert "no wind observed" in update.words.lower()
    assert update.rest_strength == 1.0


def test_the_wind_alone_too() -> None:
    wind, glass = front(-2.0)
    update = evening(wind, np.full(glass.shape, np.nan))
    assert update.hours_early > 0.7
    assert Caveat.NO_GLASS in update.reasons


def test_instruments_that_disagree_change_nothing() -> None:
    doubt = Doubt(DoubtKind.INSTRUMENTS_DISAGREE, "two anemometers say 20 and 38 kn: one of the two is wrong")
    update = evening(*front(-2.0, 1.4), doubts=(doubt,))
    assert (update.trusted, update.reasons) == (False, (Caveat.DOUBTFUL,))


def test_a_glass_four_hectopascals_out_is_no_early_front() -> None:
    wind, glass = front()
    assert abs(evening(wind, glass - 400.0).hours_early) < 0.5


def test_wind_at_the_masthead_is_refused() -> None:
    with pytest.raises(ValueError, match="to 10 m first"):
        compare(ObservedSteps.of([]), _nothing(), EVENING)


def _nothing() -> Expected:
    return Expected(time=grid(EVENING, 0), mean_ms=np.ones((1, 1)), pressure_pa=np.ones((1, 1)), weight=np.ones(1),
                    plain_mean_ms=np.ones(1), plain_pressure_pa=np.ones(1), labels=("",), timing_width_h=1.0)


# The glass


def glass(own: list[float], forecast: list[float], here_then: float) -> tuple[Beyond, str]:
    """Hourly readings over three hours, by ten minutes."""
    time = grid(EVENING, 18)
    hours = np.arange(19) / 6.0
    found = own_glass(time, np.interp(hours, np.arange(4.0), own), np.interp(hours, np.arange(4.0), forecast), here_then)
    return found.finding, found.words


@pytest.mark.source("glass-2")
@pytest.mark.parametrize(
    ("own", "forecast", "here_then", "finding", "says"),
    [
        ([1010, 1009, 1008, 1006.5], [1008, 1007.5, 1007, 1006], 1008, Beyond.FALLS_BEYOND, "1.5 hPa beyond forecast (forecast down 2.0"),
        ([1010, 1009, 1008, 1006.6], [1008, 1007.5, 1007, 1006], 1008, Beyond.AS_FORECAST, "About as forecast"),
        ([1010, 1008, 1006, 1003.9], [1008, 1007, 1006, 1005], 1008, Beyond.FALLS_FAR_BEYOND, "3.1 hPa far beyond forecast"),
        ([1010, 1010, 1010, 1010], [1008, 1007, 1006, 1005], 1008, Beyond.HIGHER, "3.0 hPa higher than forecast"),
        ([1010, 1009, 1008.5, 1008], [1008, 1007.3, 1006.6, 1006], 1010, Beyond.AS_FORECAST, "it would be falling quickly: down 4.0 hPa"),
        ([1010, 1009, 1008, 1006], [math.nan] * 4, math.nan, Beyond.UNKNOWN, "What was forecast here is not known"),
    ],
)
def test_the_glass(own: list[float], forecast: list[float], here_then: float, finding: Beyond, says: str) -> None:
    found, words = glass(own, forecast, here_then)
    assert found is finding
    assert says in words


def test_a_glass_that_stopped_is_not_a_steady_one() -> None:
    time = grid(EVENING, 30)
    own = np.where(np.arange(31) < 26, 1010.0, np.nan)
    found = own_glass(time, own, np.full(31, 1010.0), 1010.0)
    assert found.finding is Beyond.UNKNOWN
    assert "not known" in found.words


def test_three_hours_of_readings_are_needed() -> None:
    time = grid(EVENING, 12)
    found = own_glass(time, np.linspace(1010.0, 1006.0, 13), np.full(13, 1010.0), 1010.0)
    assert found.finding is Beyond.UNKNOWN
    assert "Three hours of readings are needed" in found.words
