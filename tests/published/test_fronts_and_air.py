"""Air masses, the thermal front parameter and the wind-shift method against printed and worked values."""

import numpy as np
import pytest
import xarray as xr

from watch.weather.front_fields import LineKind, kind_of, shift_line, wind_shifts
from watch.weather.front_lines import EARTH_M, front_parameter
from watch.weather.thermo import dew_point_k, saturation_hpa, theta_e_k, theta_w_k, vapour_hpa


@pytest.mark.source("bolton-1")
@pytest.mark.parametrize(
    ("pressure_hpa", "temperature_k", "dew_k", "theta_e"), [(1000.0, 293.0, 280.0, 311.186), (850.0, 288.15, 285.15, 332.89)]
)
def test_theta_e(pressure_hpa: float, temperature_k: float, dew_k: float, theta_e: float) -> None:
    assert float(theta_e_k(pressure_hpa, temperature_k, dew_k)) == pytest.approx(theta_e, abs=0.05)


@pytest.mark.source("theta-w-1")
def test_theta_w() -> None:
    assert float(theta_w_k(theta_e_k(850.0, 288.15, 285.15))) == pytest.approx(292.436, abs=0.02)
    assert np.isnan(theta_w_k([np.nan, 9999.0])).all()


@pytest.mark.source("bolton-1")
def test_saturated_air_has_its_dew_point_at_its_temperature() -> None:
    vapour = vapour_hpa(850.0, 0.01)
    ratio = 0.622 * vapour / (850.0 - vapour)
    assert float(ratio / (1.0 + ratio)) == pytest.approx(0.01, rel=1e-9)
    assert float(saturation_hpa(dew_point_k(vapour))) == pytest.approx(float(vapour), rel=1e-9)
    assert float(theta_e_k(850.0, 280.0, 281.0)) == float(theta_e_k(850.0, 280.0, 280.0))
    assert np.isfinite(theta_e_k(850.0, 280.0, dew_point_k(vapour_hpa(850.0, -1e-5)))), "packing makes dry air negative"


@pytest.mark.source("fronts-1")
def test_the_front_parameter_of_a_smooth_step_lies_where_algebra_says() -> None:
    half, width_m, step_deg = 5.0, 100e3, 0.05
    latitude = np.arange(35.0, 55.0, step_deg)
    longitude = np.arange(0.0, 1.0, 0.2)
    y_m = np.radians(latitude - 45.0) * EARTH_M
    field = np.repeat(half * np.tanh(y_m / width_m)[:, None], longitude.size, axis=1)
    tfp = front_parameter(field, latitude, longitude)[0][:, 2]
    best = int(np.argmax(tfp))
    assert y_m[best] / width_m == pytest.approx(0.65848, abs=step_deg * 111.2e3 / width_m)
    assert tfp[best] == pytest.approx(4 * half / (3 * np.sqrt(3) * width_m**2), rel=0.02)
    assert tfp[best] == pytest.approx(3.849e-10, rel=0.02)
    assert tfp[-best - 1] < 0 < tfp[best], "positive on the warm side"


@pytest.mark.source("fronts-3")
@pytest.mark.parametrize(
    ("speed_ms", "kind"),
    [
        (1.51, LineKind.COLD),
        (1.5, LineKind.QUASI_STATIONARY),
        (-1.5, LineKind.QUASI_STATIONARY),
        (-1.51, LineKind.WARM),
        (np.nan, LineKind.UNKNOWN),
    ],
)
def test_kind_of_a_front_by_its_speed(speed_ms: float, kind: LineKind) -> None:
    assert kind_of(speed_ms) is kind


def winds(v_before: float, v_after: float, latitude: float) -> xr.DataArray:
    time = np.datetime64("2026-05-14T00:00", "s") + np.arange(2) * np.timedelta64(6 * 3600, "s")
    coords = {"time": time, "latitude": [latitude, latitude + 1.0], "longitude": [0.0, 1.0]}
    dims = ("time", "latitude", "longitude")
    u = xr.DataArray(np.full((2, 2, 2), 8.0), coords=coords, dims=dims)
    v = xr.DataArray(np.stack([np.full((2, 2), v_before), np.full((2, 2), v_after)]), coords=coords, dims=dims)
    return wind_shifts(u, v)


@pytest.mark.source("fronts-4")
@pytest.mark.parametrize(
    ("v_before", "v_after", "latitude", "is_front"),
    [
        (-1.0, 1.01, -45.0, 1.0),
        (-1.0, 1.0, -45.0, 0.0),
        (1.0, -1.01, -45.0, 0.0),
        (1.0, -1.01, 45.0, 1.0),
        (1.0, -1.0, 45.0, 0.0),
        (-1.0, 1.01, 45.0, 0.0),
        (np.nan, -5.0, 45.0, np.nan),
    ],
)
def test_the_wind_shift_method_in_both_hemispheres(v_before: float, v_after: float, latitude: float, is_front: float) -> None:
    shifts = winds(v_before, v_after, latitude)
    assert np.isnan(shifts.values[0]).all(), "no map six hours before the first"
    np.testing.assert_array_equal(shifts.values[1], np.full((2, 2), is_front))


@pytest.mark.source("fronts-4")
def test_the_front_is_the_eastern_edge_of_the_shift() -> None:
    when, latitude, longitude = shift_line(winds(3.0, -3.0, 45.0))
    assert when.tolist() == [1, 1]
    assert latitude.tolist() == [45.0, 46.0]
    assert longitude.tolist() == [1.0, 1.0]
