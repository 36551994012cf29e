"""What is a squall, at the exact limits; the convective term; shear with CAPE."""

import numpy as np
import pytest

from watch.weather.squalls import (
    Basis,
    SquallInputs,
    convective_term_ms,
    observed_squalls,
    squall_outlook,
    wmaxshear_m2s2,
)

TIME = np.datetime64("2026-05-14T00:00", "s") + np.arange(7) * np.timedelta64(600, "s")


@pytest.mark.source("squall-1")
@pytest.mark.parametrize(
    ("before_ms", "peak_ms", "is_squall"),
    [(3.0, 11.0, True), (3.0, 10.99, False), (7.0, 15.0, True), (7.01, 15.0, False), (2.0, 10.0, False)],
)
def test_a_squall_rises_by_eight_to_eleven(before_ms: float, peak_ms: float, is_squall: bool) -> None:
    wind = [before_ms, before_ms, before_ms, peak_ms, before_ms, before_ms, before_ms]
    seen = observed_squalls(TIME, wind)
    assert len(seen) == is_squall
    if is_squall:
        assert (seen[0].rise_ms, seen[0].peak_ms) == pytest.approx((peak_ms - before_ms, peak_ms))
        assert seen[0].peak_time.strftime("%H:%M") == "00:30"


@pytest.mark.source("squall-1")
def test_a_slow_rise_is_no_squall_and_a_gap_hides_one() -> None:
    assert observed_squalls(TIME, np.linspace(5.0, 20.0, 7)) == []
    assert observed_squalls(TIME, [5.0, np.nan, np.nan, np.nan, 20.0, 20.0, 20.0]) == [], "what lay between is not known"
    assert observed_squalls(TIME, np.full(7, np.nan)) == []


@pytest.mark.source("squall-1")
def test_if_a_squall_comes_it_brings_at_least_what_makes_it_one() -> None:
    out = squall_outlook(
        SquallInputs(wind_ms=[1.0, 10.0, 20.0, np.nan], gust_ms=[2.0, 12.0, 35.0, 30.0], gust_has_convection=True)
    )
    np.testing.assert_allclose(out.gust_ms, [11.0, 18.0, 35.0, np.nan])


@pytest.mark.source("squall-2")
@pytest.mark.parametrize(("u850", "u950", "term"), [(25.0, 15.0, 6.0), (15.0, 25.0, 0.0), (15.0, 15.0, 0.0)])
def test_the_convective_term(u850: float, u950: float, term: float) -> None:
    still = np.zeros(1)
    assert float(convective_term_ms((np.array([u850]), still), (np.array([u950]), still), False)[0]) == pytest.approx(term)


@pytest.mark.source("squall-2")
def test_the_convective_term_is_added_to_a_gust_once_only() -> None:
    has = {"wind_ms": 15.0, "gust_ms": 20.0, "u850_ms": 30.0, "v850_ms": 0.0, "u925_ms": 18.0, "v925_ms": 0.0}
    assert float(squall_outlook(SquallInputs(**has, gust_has_convection=True)).gust_ms) == pytest.approx(23.0)
    assert float(squall_outlook(SquallInputs(**has, gust_has_convection=False)).gust_ms) == pytest.approx(
        15.0 * 1.23 + 0.6 * 12.0 * 100.0 / 75.0, abs=0.01
    )


@pytest.mark.source("squall-3")
def test_shear_with_cape() -> None:
    assert float(wmaxshear_m2s2(1000.0, 20.0)) == pytest.approx(894.4, abs=0.05)
    assert np.isnan(wmaxshear_m2s2(np.nan, 20.0))


@pytest.mark.source("squall-4")
def test_severe_wind_with_hardly_any_cape_is_not_ruled_out() -> None:
    windy_rain = {"wind_ms": 15.0, "gust_ms": 22.0, "gust_has_convection": False, "cape_jkg": 20.0, "rain_mmh": 5.0}
    aloft = {"u10_ms": 15.0, "v10_ms": 0.0, "u500_ms": 40.0, "v500_ms": 0.0}
    by_cape = squall_outlook(SquallInputs(**windy_rain))
    by_shear = squall_outlook(SquallInputs(**windy_rain, **aloft))
    assert float(by_cape.likelihood) < 0.1
    assert float(by_shear.likelihood) >= 0.5
    assert Basis(int(by_shear.basis)) is Basis.WINDS_ALOFT
