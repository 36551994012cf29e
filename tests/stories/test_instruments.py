"""What is really happening: instruments that fail, lie, quarrel or fall silent, and what the sailor is told."""

import math
from collections.abc import Callable, Iterable
from datetime import timedelta

import numpy as np
import pytest

from watch.instruments.averages import GustKind, Preferences, WindWay
from watch.instruments.nmea0183 import Nmea0183, checksum, own_time, parse_line, sentence
from watch.instruments.plausible import judge
from watch.instruments.readings import Doubt, DoubtKind, Quantity, Reading
from watch.instruments.series import LeftOut, Observed
from watch.instruments.simulate import gusty
from watch.instruments.steps import ObservedSteps, WindHeight
from watch.instruments.streams import seconds_of
from watch.instruments.thresholds import THRESHOLDS
from watch.when import parse_utc

Q = Quantity
NOON = parse_utc("2026-05-14T12:00:00Z")
TEN = range(600)
HOUR = range(3600)


def says(quantity: Quantity, value: Callable[[int], float], seconds: Iterable[int] = TEN, source: str = "WI/MWD",
         doubtful: Doubt | None = None) -> list[Reading]:
    """One reading a second (or as told) of an instrument, from noon."""
    moments = [(s, NOON + timedelta(seconds=s)) for s in seconds]
    return [Reading(when=at, received=at, quantity=quantity, value=float(value(s)), source=source, doubtful=doubtful)
            for s, at in moments]


def observed(*parts: list[Reading], minutes: int = 10, preferences: Preferences | None = None) -> ObservedSteps:
    store = Observed(preferences=preferences)
    store.add([], NOON)
    for reading in sorted((r for part in parts for r in part), key=lambda r: r.received):
        store.add([reading], reading.received)
    return store.steps(NOON + timedelta(minutes=minutes))


def wobble(mean: float, size: float = 0.5) -> Callable[[int], float]:
    return lambda s: mean + size * math.sin(0.7 * s) + 0.3 * size * math.sin(3.1 * s)


def told(steps: ObservedSteps, at: int = 0) -> list[str]:
    return [str(doubt) for doubt in steps.doubts[at]]


# The wind, from whatever there is.

BOAT = (says(Q.GROUND_SPEED_MS, wobble(3.0), source="GP/RMC"), says(Q.GROUND_COURSE_DEG, wobble(90.0), source="GP/RMC"))
HEADING = says(Q.HEADING_DEG, wobble(90.0), source="HE/HDT")
APPARENT = (says(Q.APPARENT_WIND_MS, wobble(5.0), source="WI/MWV"), says(Q.APPARENT_ANGLE_DEG, wobble(90.0), source="WI/MWV"))
WAYS = {
    WindWay.NORTH: (says(Q.TRUE_WIND_MS, wobble(8.0)), says(Q.TRUE_FROM_DEG, wobble(200.0))),
    WindWay.GROUND: (says(Q.GROUND_WIND_MS, wobble(8.0)), says(Q.GROUND_ANGLE_DEG, wobble(110.0)), HEADING),
    WindWay.BOW: (says(Q.TRUE_WIND_MS, wobble(8.0)), says(Q.TRUE_ANGLE_DEG, wobble(110.0)), HEADING),
    WindWay.APPARENT_GROUND: (*APPARENT, HEADING, *BOAT),
    WindWay.APPARENT_WATER: (*APPARENT, HEADING, says(Q.WATER_SPEED_MS, wobble(3.0), source="VW/VHW")),
    WindWay.SPEED_ONLY: (says(Q.TRUE_WIND_MS, wobble(8.0)),),
    WindWay.NONE: (*APPARENT, *BOAT),
}


@pytest.mark.parametrize("way", WAYS)
def test_the_true_wind_is_had_by_the_best_way_there_is(way: WindWay) -> None:
    steps = observed(*WAYS[way])
    assert steps.wind_way == (way,)
    apparent = way in (WindWay.APPARENT_GROUND, WindWay.APPARENT_WATER)
    # 5 m/s from 90 on the bow at 3 m/s makes a true wind of sqrt(34) from 120.96 on the bow: the 3-4-5 of the wind triangle
    mean, direction = (math.sqrt(34.0), 90.0 + 180.0 - math.degrees(math.atan2(5.0, 3.0))) if apparent else (8.0, 200.0)
    if way is WindWay.NONE:
        assert math.isnan(steps.mean_ms[0])
        assert steps.apparent_mean_ms[0] == pytest.approx(5.0, abs=0.02)
        return
    assert steps.mean_ms[0] == pytest.approx(mean, abs=0.05)
    assert steps.from_deg[0] == pytest.approx(math.nan if way is WindWay.SPEED_ONLY else direction, abs=0.3, nan_ok=True)
    assert steps.gust_kind == (GustKind.THREE_SECOND,)


def test_a_magnetic_heading_serves_once_the_variation_is_known() -> None:
    magnetic = says(Q.HEADING_MAGNETIC_DEG, wobble(105.0), source="HC/HDM")
    assert math.isnan(observed(magnetic).heading_deg[0])
    by_hand = observed(magnetic, preferences=Preferences(variation_deg=-15.0))
    by_instrument = observed(magnetic, says(Q.VARIATION_DEG, lambda s: -15.0, [3], source="GP/RMC"))
    assert by_hand.heading_deg[0] == pytest.approx(90.0, abs=0.1)
    assert by_instrument.heading_deg[0] == pytest.approx(90.0, abs=0.1)


def test_a_boat_at_anchor_needs_no_course() -> None:
    steps = observed(*APPARENT, HEADING, says(Q.GROUND_SPEED_MS, lambda s: 0.05 * (s % 3), source="GP/RMC"))
    assert (steps.wind_way, round(float(steps.mean_ms[0]))) == ((WindWay.APPARENT_GROUND,), 5)


def test_too_little_is_nothing_and_never_calm() -> None:
    steps = observed(says(Q.TRUE_WIND_MS, wobble(22.0), range(0, 300)), says(Q.PRESSURE_PA, lambda s: 100800 + s, [10]))
    assert np.isnan([steps.mean_ms[0], steps.gust_ms[0], steps.from_deg[0], steps.pressure_pa[0], steps.latitude_deg[0]]).all()
    assert steps.wind_coverage[0] == pytest.approx(0.5)
    assert steps.largest_ms[0] > 22.0  # yet what was seen is not hidden


def test_a_silence_of_hours_is_a_row_of_empty_steps() -> None:
    store = Observed()
    store.add(says(Q.TRUE_WIND_MS, wobble(8.0)), NOON + timedelta(minutes=9, seconds=59))
    steps = store.steps(NOON + timedelta(hours=5))
    assert steps.start.size == 30
    assert np.flatnonzero(np.isfinite(steps.mean_ms)).tolist() == [0]


def test_the_wind_goes_to_ten_metres_and_back_and_never_twice() -> None:
    steps = observed(*WAYS[WindWay.NORTH])
    low = steps.to_ten_metres(0.9375)  # 20 kn at 18 m are 18.75 kn at 10 m
    assert (low.height, low.mean_ms[0]) == (WindHeight.TEN_METRES, pytest.approx(steps.mean_ms[0] * 0.9375))
    assert low.to_anemometer(0.9375).gust_ms == pytest.approx(steps.gust_ms)
    assert low.apparent_mean_ms is steps.apparent_mean_ms
    with pytest.raises(ValueError, match="holds at ten_metres already"):
        low.to_ten_metres(0.9375)
    with pytest.raises(ValueError, match=r"expected about 0\.7 to 1\.3"):
        steps.to_ten_metres(math.nan)


# Which instrument wins.

def test_the_preferred_instrument_wins_and_loses_only_when_it_fails() -> None:
    mast, stern = says(Q.TRUE_WIND_MS, wobble(12.0), source="WI/MWD"), says(Q.TRUE_WIND_MS, wobble(11.0), source="ZZ/MWD")
    wanted = Preferences(sources={Q.TRUE_WIND_MS: ("ZZ/MWD",)})
    assert observed(mast, stern).wind_source == ("WI/MWD",)
    assert observed(mast, stern, preferences=wanted).wind_source == ("ZZ/MWD",)
    assert observed(mast, stern[:100], preferences=wanted).wind_source == ("WI/MWD",)


def test_a_line_without_checksum_serves_only_where_there_is_no_better_and_is_told() -> None:
    bare = Doubt(DoubtKind.NO_CHECKSUM, "the line has no checksum: what it says may have been garbled on the way")
    doubtful, clean = says(Q.PRESSURE_PA, wobble(100500.0), doubtful=bare, source="AA/MDA"), says(Q.PRESSURE_PA, wobble(100700.0))
    assert observed(doubtful, clean).pressure_pa[0] == pytest.approx(100700.0, abs=1.0)
    alone = observed(doubtful)
    assert alone.pressure_pa[0] == pytest.approx(100500.0, abs=1.0)
    assert told(alone) == [str(bare)]


def test_two_anemometers_that_quarrel_are_told() -> None:
    steps = observed(says(Q.TRUE_WIND_MS, wobble(14.0), source="WI/MWD"), says(Q.TRUE_WIND_MS, wobble(9.0), source="II/MWD"))
    assert told(steps) == ["II/MWD and WI/MWD say 17 and 27 kn: one of the two is wrong"]


# What cannot be true.

@pytest.mark.parametrize(("readings", "sentence_for_the_sailor"), [
    (says(Q.PRESSURE_PA, lambda s: 2992.0, [0]), "29.92 hPa cannot be the glass: it looks like inches of mercury given as hPa"),
    (says(Q.PRESSURE_PA, lambda s: 76000.0, [0]),
     "760.00 hPa cannot be the glass: it looks like millimetres of mercury given as hPa"),
    (says(Q.PRESSURE_PA, lambda s: 1013.0, [0]), "10.13 hPa cannot be the glass: it looks like hPa given as Pa"),
    (says(Q.PRESSURE_PA, lambda s: 1.013, [0]), "0.01 hPa cannot be the glass: it looks like bar given as Pa"),
    (says(Q.PRESSURE_PA, lambda s: 101300000.0, [0]), "1013000.00 hPa cannot be the glass: it looks like hPa given as bar"),
    (says(Q.PRESSURE_PA, lambda s: 350000.0, [0]), "3500.00 hPa cannot be the glass"),
    (says(Q.TRUE_WIND_MS, lambda s: 90.0, [0]), "the true wind of WI/MWD says 174.9 kn: more than is believed"),
    (says(Q.PRESSURE_PA, lambda s: 100000.0 + 350.0 * (s > 5), range(9)),
     "the glass of WI/MWD jumped from 1000.00 hPa to 1003.50 hPa at once: knocked, moved or set?"),
    (says(Q.TRUE_WIND_MS, lambda s: 0.0, range(0, 721)),
     "the true wind of WI/MWD has stood at 0.0 kn for 12 minutes without the least change: flat calm, or it has seized"),
    (says(Q.HEADING_DEG, lambda s: 87.0, range(0, 1860)),
     "the heading of WI/MWD has stood at 87.0 degrees for 31 minutes without the least change"),
    (says(Q.TRUE_WIND_MS, lambda s: 12.0 + 25.0 * (s == 4), range(9)),
     "the true wind of WI/MWD says 71.9 kn for one reading, 23.3 kn before and 23.3 kn after"),
    (says(Q.TRUE_WIND_MS, lambda s: 12.0 * (s != 4), range(9)),
     "the true wind of WI/MWD says 0.0 kn for one reading, 23.3 kn before and 23.3 kn after"),
])
def test_what_cannot_be_true_is_marked_with_a_sentence(readings: list[Reading], sentence_for_the_sailor: str) -> None:
    assert {str(r.doubtful) for r in judge(readings) if r.doubtful} == {sentence_for_the_sailor}


@pytest.mark.parametrize(("readings", "why"), [
    (says(Q.TRUE_WIND_MS, lambda s: 5.0 + 30.0 * (s >= 4), range(20)), "a squall that stays"),
    (says(Q.TRUE_WIND_MS, lambda s: 5.0 + 30.0 * (4 <= s <= 5), range(20)), "a gust of two readings"),
    (says(Q.TRUE_WIND_MS, lambda s: 7.0, range(0, 599)), "steady for less than ten minutes"),
    (says(Q.PRESSURE_PA, lambda s: 101300.0, range(0, 10790, 5)), "a barometer of whole hectopascals in the trades"),
    (says(Q.PRESSURE_PA, lambda s: 98700.0 + 60.0 * math.sin(s / 1.3), range(600)), "a boat heaving 5 m"),
    (says(Q.PRESSURE_PA, lambda s: 100000.0 + 400.0 * min(s / 300.0, 1.0), range(600)), "4 hPa up in five minutes"),
])
def test_what_is_rare_but_true_is_believed(readings: list[Reading], why: str) -> None:
    assert {r.doubtful for r in judge(readings)} == {None}, why


@pytest.mark.parametrize("seed", range(5))
def test_the_gustiest_squall_is_no_fault(seed: int) -> None:
    speeds = gusty(5.0, 32.0, np.random.default_rng(seed))
    steps = observed(says(Q.TRUE_WIND_MS, lambda s: speeds[s]))
    assert steps.gust_ms[0] == pytest.approx(32.0)
    assert told(steps) == []


def track(at: Callable[[int], tuple[float, float]], seconds: Iterable[int], source: str = "GP/RMC") -> list[Reading]:
    return [*says(Q.LATITUDE_DEG, lambda s: at(s)[0], seconds, source),
            *says(Q.LONGITUDE_DEG, lambda s: at(s)[1], seconds, source)]


def doubted(readings: list[Reading]) -> list[tuple[int, str]]:
    return [(round(seconds_of(r.when) - seconds_of(NOON)), str(r.doubtful)) for r in judge(readings)
            if r.doubtful and r.quantity is Q.LATITUDE_DEG]


def test_a_fix_that_leaps_away_and_back_is_marked_and_the_last_good_one_kept() -> None:
    readings = track(lambda s: (35.0 + 2e-5 * s + (0.5 if 300 <= s < 302 else 0.0), -50.0), TEN)
    assert [s for s, _ in doubted(readings)] == [300, 301]
    assert doubted(readings)[0][1] == "the position of GP/RMC leaps to 35.506 -50.000, faster than 49 kn"
    assert observed(track(lambda s: (35.5 if s == 599 else 35.0, -50.0), TEN)).latitude_deg[0] == 35.0


def test_a_new_place_that_several_fixes_agree_on_is_believed() -> None:
    readings = track(lambda s: (35.0 if s < 300 else 35.5, -50.0), TEN)
    assert [s for s, _ in doubted(readings)] == [300, 301, 302]


def test_a_passage_of_the_date_line_is_no_leap() -> None:
    assert doubted(track(lambda s: (-20.0, 179.999 + 3e-5 * s if s < 34 else -180.0 + 3e-5 * (s - 34)), TEN)) == []


def test_a_receiver_without_a_fix_says_the_gulf_of_guinea() -> None:
    readings = track(lambda s: (0.0, 0.0) if s < 5 else (35.0, -50.0), range(20))
    assert doubted(readings) == [(s, "GP/RMC says 0 N 0 E: a receiver without a fix") for s in range(5)]


def test_knots_read_as_metres_a_second_are_found_by_the_other_instrument_and_the_larger_wind_is_used() -> None:
    right, wrong = wobble(12.0, 2.0), (lambda s: wobble(12.0, 2.0)(s) * 0.514444)
    steps = observed(says(Q.TRUE_WIND_MS, wrong, source="AA/MWD"), says(Q.TRUE_WIND_MS, right, source="WI/MWD"))
    assert (steps.wind_source, round(float(steps.mean_ms[0]))) == (("WI/MWD",), 12)
    assert told(steps)[0] == "the true wind of AA/MWD is 0.51 of WI/MWD's: knots and m/s look mixed up, the larger is used"


def test_a_heading_in_radians_is_found_by_the_course() -> None:
    heading = says(Q.HEADING_DEG, lambda s: math.radians(wobble(200.0, 4.0)(s)), source="HE/HDT")
    course = says(Q.GROUND_COURSE_DEG, wobble(205.0, 4.0), source="GP/RMC")
    steps = observed(heading, course)
    assert math.isnan(steps.heading_deg[0])
    assert "HE/HDT stays below 6.3 and fits GP/RMC only when read as radians" in told(steps)[0]


def test_a_stuck_glass_is_found_over_hours() -> None:
    steps = observed(says(Q.PRESSURE_PA, lambda s: 100400.0, range(0, 4 * 3600, 30), source="WI/MDA"), minutes=240)
    assert np.isfinite(steps.pressure_pa[:17]).all()
    assert np.isnan(steps.pressure_pa[18:]).all()
    assert "has stood at 1004.00 hPa for 190 minutes without the least change" in told(steps, 18)[0]


def test_a_stuck_glass_that_comes_free_is_still_known_to_have_been_stuck() -> None:
    store = Observed()
    store.add([], NOON)
    free = wobble(100100.0, 9.0)
    glass = says(Q.PRESSURE_PA, lambda s: 100400.0 if s < 13000 else free(s), range(0, 4 * 3600, 30))
    store.add(glass, NOON + timedelta(hours=4))
    steps = store.steps(NOON + timedelta(hours=4))
    assert np.isnan(steps.pressure_pa[18:21]).all()
    assert np.isfinite(steps.pressure_pa[22:]).all()


def test_every_threshold_has_a_source_or_owns_up_to_judgement(sources: dict[str, dict[str, str]]) -> None:
    for row in THRESHOLDS:
        words = row.source.replace(",", "").split()
        assert "judgement" in words or row.source in sources, row
        assert all(word in sources for word in words if word[-1].isdigit()), row


# Clocks.

def test_two_clocks_that_differ_are_told_and_the_fix_is_filed_under_our_own() -> None:
    body = "GPRMC,150000,A,3500.000,N,05000.000,W,5.0,080.0,140526,,,A"
    stream = Nmea0183()
    store = Observed()
    store.add([], NOON)
    readings = stream.feed(sentence(body).encode(), NOON + timedelta(seconds=5))
    store.add(readings, NOON + timedelta(seconds=5))
    assert {r.when for r in readings} == {NOON + timedelta(hours=3)}
    assert stream.clock_ahead_s == 3 * 3600 - 5
    fix = store.position(NOON + timedelta(seconds=10))
    assert fix is not None
    assert (fix.when, fix.latitude_deg) == (NOON + timedelta(seconds=5), 35.0)
    assert str(fix.doubtful) == ("its clock says 2026-05-14 15:00:00 UTC but it came at 2026-05-14 12:00:05 UTC by this "
                                 "computer: one of the two is wrong")


def test_the_date_of_a_receiver_without_a_fix_is_not_believed() -> None:
    body = "GPRMC,000012,V,,,,,,,060180,,,N"
    parsed = parse_line(f"${body}*{checksum(body)}", NOON)
    assert (parsed.readings, math.isnan(parsed.clock_ahead_s)) == ((), True)
    assert own_time(f"${body}*{checksum(body)}") is None


def test_a_doubtful_clock_is_not_hidden_by_a_milder_doubt() -> None:
    line = sentence("WIMWD,270.0,T,,M,25.0,N,25.0,M", tag=f"c:{seconds_of(NOON) - 7200:.0f}")
    wind = next(r for r in parse_line(line, NOON).readings if r.quantity is Q.TRUE_WIND_MS)
    assert wind.doubtful is not None
    assert (wind.doubtful.kind, wind.when, wind.placed) == (DoubtKind.CLOCK, NOON - timedelta(hours=2), NOON)


def test_a_computer_whose_clock_is_set_back_begins_anew_and_says_so() -> None:
    store = Observed()
    store.add(says(Q.TRUE_WIND_MS, wobble(8.0)), NOON + timedelta(minutes=9, seconds=59))
    assert store.steps(NOON + timedelta(minutes=11)).start.size == 1
    earlier = NOON - timedelta(days=1)
    store.add([Reading(when=earlier, received=earlier, quantity=Q.HEADING_DEG, value=1.0, source="HE/HDT")], earlier)
    assert store.left_out[LeftOut.CLOCK_SET_BACK] == 1
    assert store.latest(Q.HEADING_DEG, earlier) is not None


def test_a_whole_hour_in_one_batch_gives_the_same_steps_as_second_by_second() -> None:
    readings = [*says(Q.TRUE_WIND_MS, wobble(8.0, 2.0), HOUR), *says(Q.TRUE_FROM_DEG, wobble(200.0, 9.0), HOUR)]
    store = Observed()
    store.add([], NOON)
    store.add(readings, NOON + timedelta(hours=1))
    batch, one_by_one = store.steps(NOON + timedelta(minutes=61)), observed(readings, minutes=61)
    assert batch.mean_ms.tolist() == one_by_one.mean_ms.tolist()
    assert batch.gust_ms.tolist() == one_by_one.gust_ms.tolist()
    assert batch.start.size == 6


def test_readings_too_late_or_from_the_future_are_counted() -> None:
    store = Observed()
    store.add([], NOON)
    store.add(says(Q.HEADING_DEG, lambda s: 1.0, [-700, 600], "HE/HDT"), NOON + timedelta(minutes=1))
    assert store.left_out == {LeftOut.LATE: 1, LeftOut.AHEAD: 1}
