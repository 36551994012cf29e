"""The same numbers from other programs and from slow, obvious twins."""

import importlib.util
import json
import subprocess
import sys

import numpy as np
import pytest
from scipy import integrate, ndimage, stats

from watch.weather.front_lines import EARTH_M, gradient_k_m, smooth
from watch.weather.scores import binomial_at_most, brier, chance_upper_bound, crps_ensemble, crps_normal, crps_truncated_normal
from watch.weather.series import Windows
from watch.weather.thermo import theta_e_k, theta_w_k

RANDOM = np.random.default_rng(20260514)


# In a process of its own: that library loads a map-projection library which cannot live beside the one inside the GRIB reader's.
THETA_OF_THE_LIBRARY = """
import json, sys
import numpy as np
from metpy.calc import equivalent_potential_temperature, wet_bulb_potential_temperature
from metpy.units import units
pressure, warm, dew = json.load(sys.stdin)
pressure, warm, dew = (np.array(x) for x in (pressure, warm, dew))
args = (pressure * units.hPa, warm * units.kelvin, dew * units.kelvin)
thetas = (f(*args).to("kelvin").magnitude.tolist() for f in (equivalent_potential_temperature, wet_bulb_potential_temperature))
json.dump(list(thetas), sys.stdout)
"""


@pytest.mark.source("theta-e-lib")
def test_theta_e_and_theta_w_of_a_meteorological_library() -> None:
    if importlib.util.find_spec("metpy") is None:
        pytest.skip("no MetPy here to compare with")
    pressure = RANDOM.uniform(700.0, 1020.0, 200)
    warm = RANDOM.uniform(250.0, 298.0, 200)  # air at sea; their theta-w has no upper bound, ours calls 400 K broken
    dew = warm - RANDOM.uniform(0.0, 25.0, 200)
    asked = json.dumps([pressure.tolist(), warm.tolist(), dew.tolist()])
    told = subprocess.run([sys.executable, "-c", THETA_OF_THE_LIBRARY], input=asked, capture_output=True, text=True, check=True)
    theta_e, theta_w = (np.array(values) for values in json.loads(told.stdout))
    np.testing.assert_allclose(theta_e_k(pressure, warm, dew), theta_e, rtol=5e-4)
    np.testing.assert_allclose(theta_w_k(theta_e), theta_w, atol=0.1)


@pytest.mark.source("crps-lib")
def test_crps_and_brier_of_a_scoring_library() -> None:
    properscoring = pytest.importorskip("properscoring")
    members, seen = RANDOM.normal(12.0, 4.0, (21, 40)), RANDOM.normal(12.0, 4.0, 40)
    weights = RANDOM.uniform(0.1, 1.0, 21)
    np.testing.assert_allclose(crps_ensemble(members, seen), properscoring.crps_ensemble(seen, members.T), rtol=1e-9)
    spread = np.tile(weights, (40, 1))
    theirs = properscoring.crps_ensemble(seen, members.T, weights=spread)
    np.testing.assert_allclose(crps_ensemble(members, seen, weights), theirs, rtol=1e-9)
    mean, sigma = RANDOM.normal(12.0, 4.0, 40), RANDOM.uniform(0.5, 5.0, 40)
    np.testing.assert_allclose(crps_normal(mean, sigma, seen), properscoring.crps_gaussian(seen, mean, sigma), rtol=1e-9)
    chance, happened = RANDOM.uniform(0, 1, 40), RANDOM.integers(0, 2, 40)
    assert brier(chance, happened) == pytest.approx(float(np.mean(properscoring.brier_score(happened, chance))))


@pytest.mark.source("crps-2")
@pytest.mark.parametrize(("mean", "sigma", "seen"), [(2.0, 3.0, 4.0), (8.0, 2.0, 11.0), (-1.0, 2.0, 0.5), (15.0, 4.0, 3.0)])
def test_truncated_crps_by_integration(mean: float, sigma: float, seen: float) -> None:
    law = stats.truncnorm(-mean / sigma, np.inf, loc=mean, scale=sigma)
    below = integrate.quad(lambda x: law.cdf(x) ** 2, 0.0, seen, limit=200)[0]
    above = integrate.quad(lambda x: law.sf(x) ** 2, seen, max(mean, seen) + 12.0 * sigma, limit=200)[0]
    assert float(crps_truncated_normal(mean, sigma, seen)) == pytest.approx(below + above, abs=1e-6)


@pytest.mark.source("clopper-1")
@pytest.mark.parametrize(("k", "n"), [(0, 1), (0, 31), (3, 20), (49, 50), (10, 51)])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.99])
def test_upper_bound_by_the_beta_distribution(k: int, n: int, confidence: float) -> None:
    bound = chance_upper_bound(k, n, confidence)
    assert bound == pytest.approx(float(stats.beta.ppf(confidence, k + 1, n - k)), abs=1e-9)
    assert binomial_at_most(k, n, bound) == pytest.approx(float(stats.binom.cdf(k, n, bound)), abs=1e-12)


def test_windows_by_a_slow_twin() -> None:
    hours = np.sort(RANDOM.uniform(0.0, 100.0, 80))
    values = np.where(RANDOM.uniform(size=80) < 0.3, np.nan, RANDOM.normal(1000.0, 5.0, 80))
    start = RANDOM.uniform(-5.0, 95.0, 60)
    end = start + RANDOM.uniform(0.0, 12.0, 60)
    windows = Windows(hours)
    mean, slope, peak = windows.mean(values, start, end), windows.slope(values, start, end, 2.0), windows.peak(values, start, end)
    for i, (a, b) in enumerate(zip(start, end, strict=True)):
        at = (hours >= a) & (hours <= b) & ~np.isnan(values)
        assert mean[i] == pytest.approx(values[at].mean() if at.any() else np.nan, nan_ok=True)
        assert peak[i] == pytest.approx(values[at].max() if at.any() else np.nan, nan_ok=True)
        if at.sum() >= 2 and hours[at].std() >= 1.0:
            assert slope[i] == pytest.approx(np.polyfit(hours[at], values[at], 1)[0], abs=1e-6)
        else:
            assert np.isnan(slope[i])


def test_smoothing_by_convolution_away_from_the_edges() -> None:
    latitude, longitude = np.arange(30.0, 60.0, 0.5), np.arange(0.0, 30.0, 0.5)
    field = RANDOM.normal(280.0, 5.0, (latitude.size, longitude.size))
    cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]]) / 5.0
    passes = round(140e3**2 / (0.4 * (np.radians(0.5) * EARTH_M) ** 2))
    assert 5 < passes < latitude.size // 2 - 2
    slow = field
    for _ in range(passes):
        slow = ndimage.convolve(slow, cross, mode="nearest")
    inside = (slice(passes, -passes), slice(passes, -passes))
    np.testing.assert_allclose(smooth(field, latitude, longitude)[inside], slow[inside], rtol=1e-12)


def test_a_hole_in_the_map_stays_a_hole_and_spreads_no_nonsense() -> None:
    latitude, longitude = np.arange(40.0, 50.0, 1.0), np.arange(0.0, 10.0, 1.0)
    field = np.full((10, 10), 280.0)
    field[4, 4] = np.nan
    smoothed = smooth(field, latitude, longitude)
    assert np.isnan(smoothed[4, 4])
    np.testing.assert_allclose(smoothed[~np.isnan(field)], 280.0, rtol=1e-12)


def test_the_gradient_of_a_plane_on_the_sphere() -> None:
    latitude, longitude = np.arange(40.0, 60.0, 1.0), np.arange(0.0, 20.0, 1.0)
    north_m = np.radians(latitude)[:, None] * EARTH_M
    east_m = np.radians(longitude)[None, :] * EARTH_M * np.cos(np.radians(latitude))[:, None]
    east, north = gradient_k_m(1e-5 * np.broadcast_to(north_m, (20, 20)), latitude, longitude)
    np.testing.assert_allclose(north, 1e-5, rtol=1e-9)
    np.testing.assert_allclose(east, 0.0, atol=1e-12)
    np.testing.assert_allclose(gradient_k_m(2e-5 * east_m, latitude, longitude)[0], 2e-5, rtol=1e-9)
