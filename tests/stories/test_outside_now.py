"""What is outside now, for the alerts: the last ten minutes against what Kittiwake carries; all readings invented."""

import math
import sys
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from watch.boat.model import BoatFile
from watch.boat.rig import parse_state
from watch.instruments.nmea0183 import Nmea0183
from watch.instruments.series import Observed
from watch.instruments.simulate import Script, nmea0183_pieces
from watch.instruments.steps import Step
from watch.service.observing import GlassForecast
from watch.service.outside_now import felt_kn, limits_now_kn, outside_now
from watch.units import kn_to_ms, ms_to_kn
from watch.when import grid, parse_utc, to_np

sys.path.insert(0, str(Path(__file__).parent))
from nights import boat

NOON = parse_utc("2026-05-16T12:00Z")


def at_height_m(height_m: float, limits_at: str, limits_are: str = "true wind") -> BoatFile:
    own = boat()
    changed = own.boat.model_copy(update={"anemometer_height_m": height_m, "limits_at": limits_at, "limits_are": limits_are})
    return own.model_copy(update={"boat": changed})


def played(mean_kn: float, gust_kn: float, *, minutes: float = 30.0) -> Observed:
    """Half an hour of a steady wind from 200 on a heading of 090, second by second, as much of it as was asked for."""
    n = 3
    script = Script(start=NOON, mean_ms=np.full(n, kn_to_ms(mean_kn)), gust_ms=np.full(n, kn_to_ms(gust_kn)), from_deg=np.full(n, 200.0),
                    heading_deg=np.full(n, 90.0), pressure_pa=np.linspace(101000.0, 100900.0, n + 1), latitude_deg=np.full(n + 1, 36.0),
                    longitude_deg=np.linspace(-52.0, -51.94, n + 1))
    store, reader = Observed(), Nmea0183()
    for moment, piece in nmea0183_pieces(script, what=("RMC", "HDT", "MWV T", "XDR")):
        if moment < NOON + timedelta(minutes=minutes):
            store.add(reader.feed(piece, moment), moment)
    return store


def test_the_last_ten_minutes_off_the_grid() -> None:
    found = outside_now(played(24.0, 33.0, minutes=25.0), NOON + timedelta(minutes=25), boat=boat(), state=parse_state(boat(), "main: reef 1"))
    assert found.mean_kn == pytest.approx(24.0, abs=1.0)
    assert found.gust_kn is not None
    assert found.gust_kn <= 33.2
    assert found.wind_at == found.position_at == NOON + timedelta(minutes=24, seconds=59)
    assert found.glass_3h_hpa is None, "three hours of the glass are not there yet"


def test_a_wind_that_stopped_is_told_by_its_time() -> None:
    store = played(24.0, 33.0, minutes=10.5)
    late = outside_now(store, NOON + timedelta(minutes=55), boat=boat(), state=parse_state(boat(), "main: reef 1"))
    assert (late.mean_kn, late.gust_kn) == (None, None), "an old wind is no wind now"
    assert late.wind_at == late.position_at == NOON + timedelta(minutes=10, seconds=29)


def test_over_a_restart_the_beginning_of_the_step_counts() -> None:
    again, now = Observed(), NOON + timedelta(minutes=55)
    store = played(24.0, 33.0, minutes=10.5)
    store.steps(now)
    again.resume(store.closed(), now)
    late = outside_now(again, now, boat=boat(), state=parse_state(boat(), "main: reef 1"))
    assert (late.wind_at, late.position_at) == (NOON, NOON + timedelta(minutes=10))


def test_nothing_observed() -> None:
    found = outside_now(None, NOON, boat=boat(), state=parse_state(boat(), ""), expects_wind=True, links_down=("tcp: no answer",))
    assert (found.mean_kn, found.working_kn, found.wind_at, found.expects_wind, found.expects_position) == (None, None, None, True, False)
    assert found.links_down == ("tcp: no answer",)


def step(*, mean: float = 20.0, gust: float = 28.0, angle: float = 110.0, **more: float) -> Step:
    values = {"heading_deg": 90.0, "from_deg": (90.0 + angle) % 360.0, **more}
    return Step(start_s=0.0, mean_ms=kn_to_ms(mean), gust_ms=kn_to_ms(gust), **values)


@pytest.mark.source("profile-1")
@pytest.mark.parametrize(
    ("limits_at", "height_m", "expected"), [("anemometer", 18.0, 20.0), ("10 m", 18.0, 18.75), ("10 m", 10.0, 20.0)],
)
def test_the_height_that_the_limits_mean(limits_at: str, height_m: float, expected: float) -> None:
    assert felt_kn(step(), at_height_m(height_m, limits_at))[0] == pytest.approx(expected, abs=0.01)


def test_a_largest_reading_stands_for_a_gust_that_cannot_be_told() -> None:
    assert felt_kn(step(gust=math.nan, largest_ms=kn_to_ms(41.0)), boat())[1] == pytest.approx(41.0)
    assert math.isnan(felt_kn(step(gust=math.nan), boat())[1])


@pytest.mark.source("apparent-wind-checks-1")
def test_limits_of_apparent_wind_get_apparent_wind() -> None:
    """12 knots at 120 degrees with 6 knots of boat: 10.3923 apparent."""
    measured = step(apparent_mean_ms=kn_to_ms(15.0), apparent_gust_ms=kn_to_ms(21.0))
    assert felt_kn(measured, at_height_m(18.0, "anemometer", "apparent wind")) == pytest.approx((15.0, 21.0))
    worked_out = step(mean=12.0, gust=12.0, angle=120.0, water_speed_ms=kn_to_ms(6.0))
    assert felt_kn(worked_out, at_height_m(10.0, "10 m", "apparent wind"))[0] == pytest.approx(10.3923, abs=1e-3)


def test_the_limits_are_those_of_what_is_up_at_the_angle_she_has() -> None:
    """By hand, from the boat file: one reef and genoa."""
    own = boat()
    plan = next(p for p in own.sail_plan if p.name == "one reef and genoa")
    lasting = [x for x in plan.limits if x.up_to_minutes is None]
    state = parse_state(own, "main: reef 1")
    for limit in lasting:
        middle = sum(limit.angle_deg) / 2.0
        assert limits_now_kn(step(angle=middle), own, state) == (limit.working_kn, limit.hard_kn)
    unknown = limits_now_kn(step(from_deg=math.nan), own, state)
    assert unknown == (min(x.working_kn for x in lasting), min(x.hard_kn for x in lasting))


def test_what_is_in_no_sail_plan_has_no_limit() -> None:
    own = boat()
    only = own.model_copy(update={"sail_plan": tuple(p for p in own.sail_plan if p.name == "one reef and genoa")})
    assert limits_now_kn(step(), only, parse_state(own, "main: reef 3")) == (None, None)


@pytest.mark.source("glass-2")
def test_the_glass_against_the_forecast() -> None:
    """4.2 hPa down in three hours where 1.9 was forecast: 2.3 beyond."""
    time = grid(NOON, 36)
    store = Observed()
    hours = np.arange(24) / 6.0
    store.resume([Step(start_s=float(s), pressure_pa=100.0 * (1010.0 - 1.4 * h)) for s, h in
                     zip(grid(NOON, 24)[:-1].astype(np.int64), hours, strict=True)], NOON + timedelta(hours=4))  # fmt: skip
    forecast = GlassForecast(time=time, hpa=1012.0 - 1.9 / 3.0 * np.arange(37) / 6.0)
    found = outside_now(store, NOON + timedelta(hours=4), boat=boat(), state=parse_state(boat(), ""), glass_forecast=forecast)
    assert found.glass_3h_hpa == pytest.approx(-4.2)
    assert found.glass_beyond_hpa == pytest.approx(-2.3)
    alone = outside_now(store, NOON + timedelta(hours=4), boat=boat(), state=parse_state(boat(), ""))
    assert (alone.glass_3h_hpa, alone.glass_beyond_hpa) == (pytest.approx(-4.2), None)


# The store of steps over a restart


def test_steps_given_back_after_a_restart_are_the_same_and_go_on() -> None:
    store = played(24.0, 33.0)
    now = NOON + timedelta(minutes=31)
    before = store.steps(now)
    again = Observed()
    again.resume(store.closed(), now)
    after = again.steps(now)
    assert after.start.tolist() == before.start.tolist()
    np.testing.assert_array_equal(after.mean_ms, before.mean_ms)
    assert after.doubts == before.doubts
    assert again.closed(NOON + timedelta(minutes=20)) == store.closed(NOON + timedelta(minutes=20))
    assert len(again.closed(NOON + timedelta(minutes=20))) == 1


def test_hours_switched_off_are_steps_without_readings() -> None:
    store = played(24.0, 33.0)
    store.steps(NOON + timedelta(minutes=31))
    again, later = Observed(), NOON + timedelta(hours=2)
    again.resume(store.closed(), later)
    steps = again.steps(later)
    assert len(steps.start) == 12
    assert np.isfinite(steps.mean_ms).tolist() == [True] * 3 + [False] * 9
    assert np.all(np.diff(steps.start) == np.timedelta64(600, "s"))


def test_steps_from_the_future_off_the_grid_or_too_old_are_left_out() -> None:
    at = float(to_np(NOON).astype(np.int64))
    again = Observed(keep_hours=1.0)
    again.resume([Step(start_s=at + 7200.0), Step(start_s=at + 7.0), Step(start_s=at - 90_000.0)], NOON)
    assert [s.start_s for s in again.closed()] == [at - 600.0 * k for k in range(6, 0, -1)]
    assert all(math.isnan(s.mean_ms) for s in again.closed())


def test_a_copy_and_its_original_go_their_own_ways() -> None:
    store = played(24.0, 33.0, minutes=15.0)
    copy, now = store.copy(), NOON + timedelta(minutes=15)
    reader = Nmea0183()
    script = Script(start=NOON + timedelta(minutes=20), mean_ms=np.array([20.0]), gust_ms=np.array([29.0]), from_deg=np.array([200.0]),
                    heading_deg=np.array([90.0]), pressure_pa=np.array([1e5, 1e5]), latitude_deg=np.array([36.0, 36.0]),
                    longitude_deg=np.array([-51.9, -51.9]))
    mean = copy.step_now(now).mean_ms
    for moment, piece in nmea0183_pieces(script):
        store.add(reader.feed(piece, moment), moment)
    assert copy.step_now(now).mean_ms == mean
    assert ms_to_kn(mean) == pytest.approx(24.0, abs=1.0)
    assert len(copy.closed()) == 1
    assert len(store.closed()) == 2
