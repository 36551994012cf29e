"""Wind by height and by averaging time as printed by their authors."""

import numpy as np
import pytest

from watch.weather.wind import (
    CHARNOCK,
    G_MS2,
    Exposure,
    at_height,
    at_height_by_log_law_ms,
    fill_gust_ms,
    friction_speed_ms,
    gust_factor,
    to_10m,
)


@pytest.mark.source("profile-1")
@pytest.mark.parametrize(("height_m", "ten_metre_share"), [(5.0, 1.0792), (15.0, 0.9564)])
def test_wind_at_ten_metres_from_other_heights(height_m: float, ten_metre_share: float) -> None:
    assert float(to_10m(1.0, height_m)) == pytest.approx(ten_metre_share, abs=5e-5)


@pytest.mark.source("profile-1")
def test_twenty_knots_at_the_masthead() -> None:
    assert float(to_10m(20.0, 18.0)) == pytest.approx(18.75, abs=0.005)
    assert float(at_height(to_10m(20.0, 18.0), 18.0)) == pytest.approx(20.0, rel=1e-12)


@pytest.mark.source("charnock-1")
def test_the_log_law_over_waves() -> None:
    friction = float(friction_speed_ms(20.0))
    assert friction == pytest.approx(0.9099, abs=5e-5)
    assert CHARNOCK * friction**2 / G_MS2 == pytest.approx(1.520e-3, abs=5e-7)
    assert float(at_height_by_log_law_ms(20.0, 18.0)) == pytest.approx(21.337, abs=5e-4)


@pytest.mark.source("charnock-1")
@pytest.mark.source("profile-1")
@pytest.mark.parametrize("wind_ms", [5.0, 10.0, 15.0, 20.0, 25.0])
@pytest.mark.parametrize("height_m", [4.0, 18.0, 25.0])
def test_the_two_profiles_agree_within_three_hundredths(wind_ms: float, height_m: float) -> None:
    assert float(at_height(wind_ms, height_m)) == pytest.approx(float(at_height_by_log_law_ms(wind_ms, height_m)), rel=0.03)


@pytest.mark.source("gust-1")
@pytest.mark.parametrize(
    ("seconds", "at_sea", "off_land"), [(600, 1.23, 1.38), (180, 1.17, 1.31), (120, 1.15, 1.28), (60, 1.11, 1.23)]
)
def test_gust_factors(seconds: int, at_sea: float, off_land: float) -> None:
    assert gust_factor(seconds) == at_sea
    assert gust_factor(seconds, Exposure.OFF_LAND) == off_land


@pytest.mark.source("gust-1")
def test_no_factor_outside_the_printed_times() -> None:
    with pytest.raises(ValueError, match="60 to 600"):
        gust_factor(3600.0)


@pytest.mark.source("gust-2")
def test_a_gust_is_never_below_the_mean_and_a_missing_one_is_made_and_marked() -> None:
    gust = fill_gust_ms([12.0, 12.0, 12.0, np.nan, np.nan], [18.4, 11.0, np.nan, 9.0, np.nan])
    np.testing.assert_allclose(gust.gust_ms, [18.4, 12.0, 12.0 * 1.23, 9.0, np.nan])
    assert gust.estimated.tolist() == [False, False, True, False, True]
    assert fill_gust_ms([10.0, 20.0], None).gust_ms == pytest.approx([12.3, 24.6])


@pytest.mark.source("profile-1")
def test_calm_stays_calm_missing_stays_missing_and_odd_heights_are_refused() -> None:
    assert at_height([0.0, np.nan], 18.0).tolist()[0] == 0.0
    assert np.isnan(at_height([0.0, np.nan], 18.0)[1])
    assert float(at_height_by_log_law_ms(0.0, 18.0)) == 0.0
    assert np.isnan(at_height_by_log_law_ms(np.nan, 18.0))
    with pytest.raises(ValueError, match="1 m to 100 m"):
        at_height(10.0, 0.0)
