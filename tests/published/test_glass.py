"""The glass in the published words; explosive deepening; the daily tide; a boat that moves."""

import numpy as np
import pytest

from watch.weather.glass import changes_hpa, deepening, explosive_fall_hpa, pace_of, tendency, tendency_at_fixed_place, tide_hpa

START = np.datetime64("2026-05-14T00:00", "s")


def hourly(count: int) -> np.ndarray:
    return START + np.arange(count) * np.timedelta64(3600, "s")


@pytest.mark.source("glass-1")
@pytest.mark.parametrize(
    ("change_hpa", "pace"),
    [
        (0.0, "steady"),
        (0.1, "slowly"),
        (1.5, "slowly"),
        (1.6, ""),
        (3.5, ""),
        (3.6, "quickly"),
        (6.0, "quickly"),
        (6.1, "very rapidly"),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_bounds_of_the_words(change_hpa: float, pace: str, sign: float) -> None:
    assert pace_of(sign * change_hpa).value == pace


@pytest.mark.source("glass-1")
@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([1010.0, 1010.0, 1010.0, 1010.0], "steady"),
        ([1010.0, 1009.5, 1009.0, 1008.5], "falling slowly, 1.5 hPa in 3 h"),
        ([1010.0, 1009.2, 1008.3, 1007.4], "falling, 2.6 hPa in 3 h"),
        ([1000.0, 1001.0, 1002.5, 1004.5], "rising quickly, 4.5 hPa in 3 h"),
        ([1000.0, 997.5, 995.0, 992.0], "falling very rapidly, 8.0 hPa in 3 h"),
        ([1010.0, 1008.0, 1007.0, 1006.5], "falling more slowly, 3.5 hPa in 3 h"),
        ([1010.0, 1007.0, 1006.5, 1007.5], "now rising, down 2.5 hPa in 3 h"),
        ([1010.0, 1010.5, 1010.4, 1010.0], "now falling, steady"),
        ([1010.0, np.nan, np.nan, np.nan], "pressure tendency unknown"),
        ([np.nan, 1010.0, 1009.0, 1008.0], "pressure tendency unknown"),
    ],
)
def test_three_hours_in_words(readings: list[float], words: str) -> None:
    assert tendency(hourly(4), readings).words == words


@pytest.mark.source("glass-1")
def test_a_change_is_read_across_a_short_gap_and_not_across_a_long_one() -> None:
    series = 1000.0 - np.arange(10.0)
    short, long = series.copy(), series.copy()
    short[3:5], long[2:7] = np.nan, np.nan
    assert changes_hpa(hourly(10), short)[6] == pytest.approx(-3.0)
    assert np.isnan(changes_hpa(hourly(10), long)[7])
    assert np.isnan(changes_hpa(hourly(10), long)[9])  # three hours before lies in the gap, whose ends are six hours apart


@pytest.mark.source("bomb-1")
@pytest.mark.parametrize(("latitude", "fall_hpa"), [(60.0, 24.0), (45.0, 19.60), (-45.0, 19.60), (30.0, 13.86), (0.0, 0.0)])
def test_explosive_deepening(latitude: float, fall_hpa: float) -> None:
    assert float(explosive_fall_hpa(latitude)) == pytest.approx(fall_hpa, abs=5e-3)


@pytest.mark.source("bomb-1")
def test_a_low_that_deepens_by_just_the_explosive_fall_counts_one() -> None:
    time = START + np.arange(5) * np.timedelta64(6 * 3600, "s")
    centre = np.linspace(1000.0, 1000.0 - float(explosive_fall_hpa(45.0)), 5)
    assert deepening(time, centre, 45.0)[-1] == pytest.approx(1.0, rel=1e-12)
    assert np.isnan(deepening(time, centre, 45.0)[:-1]).all()
    assert np.isnan(deepening(time, centre, 0.0)[-1])


@pytest.mark.source("tide-1")
def test_the_daily_tide_is_high_before_ten_by_the_sun_and_a_whole_word_in_the_trades() -> None:
    minutes = START + np.arange(1440) * np.timedelta64(60, "s")
    wave = tide_hpa(minutes, 0.0, 0.0)
    assert int(np.argmax(wave[:720])) == pytest.approx(9 * 60 + 44, abs=1)
    assert wave.max() == pytest.approx(1.16, abs=1e-3)
    assert np.nanmax(np.abs(changes_hpa(minutes, wave))) == pytest.approx(1.64, abs=0.01)
    assert tide_hpa(minutes, 60.0, 0.0).max() == pytest.approx(1.16 / 8.0, abs=1e-3)
    np.testing.assert_allclose(tide_hpa(minutes, 20.0, -90.0)[360:], tide_hpa(minutes, 20.0, 0.0)[:-360], atol=1e-12)


@pytest.mark.source("glass-2")
@pytest.mark.parametrize(
    ("on_board", "left_behind", "here", "at_place"),
    [(-2.0, 1008.0, 1010.0, -4.0), (-4.0, 1010.0, 1008.0, -2.0), (0.0, 1010.0, 1010.0, 0.0), (np.nan, 1010.0, 1010.0, np.nan)],
)
def test_a_boat_that_sails_through_the_gradient(on_board: float, left_behind: float, here: float, at_place: float) -> None:
    assert float(tendency_at_fixed_place(on_board, left_behind, here)) == pytest.approx(at_place, nan_ok=True)
