"""Carter's sea, deep-water waves, and the guidance on following seas."""

import numpy as np
import pytest

from watch.weather.following import Caution, encounter_deg, encounter_period_s, following_sea, surf_riding_from_kn
from watch.weather.sea import Limit, carter, sea_from_wind, sea_words, steepest, steepness, wave_speed_ms, wavelength_m

HOUR = np.timedelta64(3600, "s")
START = np.datetime64("2026-05-14T00:00", "s")


@pytest.mark.source("carter-1")
@pytest.mark.parametrize(
    ("fetch_km", "hours", "height_m", "period_s", "limit"),
    [
        (200.0, 1e6, 3.458, 8.20, Limit.FETCH),
        (1e6, 10.0, 2.459, 6.81, Limit.DURATION),
        (1e6, 1e6, 0.0248 * 225, 0.729 * 15, Limit.FULLY_DEVELOPED),
    ],
)
def test_fifteen_metres_a_second(fetch_km: float, hours: float, height_m: float, period_s: float, limit: Limit) -> None:
    sea = carter(15.0, fetch_km, hours)
    assert float(sea.height_m) == pytest.approx(height_m, abs=5e-4)
    assert float(sea.period_s) == pytest.approx(period_s, abs=5e-3)
    assert Limit(int(sea.limit)) is limit


@pytest.mark.source("carter-1")
def test_the_duration_after_which_the_fetch_limits() -> None:
    assert Limit(int(carter(15.0, 200.0, 16.11).limit)) is Limit.DURATION
    assert Limit(int(carter(15.0, 200.0, 16.13).limit)) is Limit.FETCH


@pytest.mark.source("carter-1")
@pytest.mark.parametrize("step_h", [1 / 6, 1.0, 3.0, 6.0])
def test_stepping_through_a_steady_wind_gives_the_same_sea_as_the_formula(step_h: float) -> None:
    steps = round(24.0 / step_h) + 1
    time = START + (np.arange(steps) * step_h * 3600).astype("timedelta64[s]")
    series = sea_from_wind(time, np.full(steps, 15.0), np.full(steps, 240.0), 200.0, start_height_m=0.0)
    by_formula = carter(15.0, 200.0, np.arange(steps) * step_h)
    np.testing.assert_allclose(series.height_m, by_formula.height_m, rtol=3e-3, atol=1e-12)
    np.testing.assert_allclose(series.from_deg[1:], 240.0)


@pytest.mark.source("deep-1")
def test_a_wave_of_eight_seconds() -> None:
    assert float(wavelength_m(8.0)) == pytest.approx(99.89, abs=5e-3)
    assert float(wave_speed_ms(8.0)) == pytest.approx(12.49, abs=5e-3)
    assert float(steepness(4.0, 8.0)) == pytest.approx(4.0 / 99.89, rel=1e-4)


@pytest.mark.source("steep-1")
@pytest.mark.parametrize(("period_s", "one_in"), [(4.0, 15.0), (8.0, 15.0), (15.0, 25.0), (20.0, 25.0)])
def test_the_steepest_seas(period_s: float, one_in: float) -> None:
    assert 1.0 / float(steepest(period_s)) == pytest.approx(one_in)


@pytest.mark.source("sea-1")
@pytest.mark.parametrize(
    ("height_m", "word"),
    [
        (0.0, "calm, glassy"),
        (0.1, "calm, rippled"),
        (0.5, "smooth"),
        (1.25, "slight"),
        (2.5, "moderate"),
        (4.0, "rough"),
        (6.0, "very rough"),
        (9.0, "high"),
        (14.0, "very high"),
        (14.1, "phenomenal"),
    ],
)
def test_words_for_the_sea(height_m: float, word: str) -> None:
    assert sea_words(height_m, 30.0) == word


@pytest.mark.source("following-1")
def test_surf_riding_begins_at_one_point_eight_root_length() -> None:
    assert float(surf_riding_from_kn(11.0, 180.0)) == pytest.approx(5.970, abs=5e-4)
    assert np.isinf(surf_riding_from_kn(11.0, 135.0))
    assert float(surf_riding_from_kn(11.0, 150.0)) == pytest.approx(5.970 / np.cos(np.radians(30.0)), abs=1e-3)


@pytest.mark.source("following-1")
@pytest.mark.parametrize(("encounter", "period_s"), [(0.0, 6.0), (180.0, 12.0), (90.0, 8.0)])
def test_encounter_period(encounter: float, period_s: float) -> None:
    assert float(encounter_period_s(8.0, 8.0, encounter)) == pytest.approx(period_s)


@pytest.mark.source("following-1")
def test_she_keeps_pace_with_the_waves_or_overtakes_them() -> None:
    assert np.isinf(encounter_period_s(2.0, 6.0, 180.0))
    assert float(encounter_period_s(2.0, 9.0, 180.0)) == pytest.approx(4.0)


@pytest.mark.source("following-1")
@pytest.mark.parametrize(
    ("boat_kn", "heading", "waves_from", "period_s", "height_m", "flags"),
    [
        (5.9, 90.0, 270.0, 8.0, 3.0, Caution.NONE),  # a little slower than 5.97 kn
        (6.0, 90.0, 270.0, 8.0, 3.0, Caution.SURF_RIDING),
        (6.0, 90.0, 90.0, 8.0, 3.0, Caution.NONE),  # the same waves from ahead
        (6.0, 90.0, 270.0, 8.0, 0.44, Caution.NONE),  # not high enough: 0.04 of 11 m
        (6.0, 90.0, 270.0, 2.0, 3.0, Caution.NONE),  # not long enough
        (12.0, 90.0, 270.0, 8.0, 3.0, Caution.SURF_RIDING | Caution.HIGH_WAVE_GROUPS),  # she meets them every 16 s, twice 8 s
        (np.nan, 90.0, 270.0, 8.0, 3.0, Caution.UNKNOWN),
        (6.0, 90.0, 270.0, 8.0, np.nan, Caution.UNKNOWN),
    ],
)
def test_following_sea(
    boat_kn: float, heading: float, waves_from: float, period_s: float, height_m: float, flags: Caution
) -> None:
    assert Caution(int(following_sea(boat_kn, heading, waves_from, period_s, height_m, 11.0))) == flags


@pytest.mark.source("following-1")
def test_the_angle_of_encounter_has_no_sides() -> None:
    np.testing.assert_allclose(encounter_deg([10.0, 10.0, 350.0], [40.0, 340.0, 170.0]), [30.0, 30.0, 180.0])
