"""The quick wind that her track is sailed in, against the plain sampling of the same forecast."""

from pathlib import Path

import numpy as np
import pytest

from watch.forecast.grib import read
from watch.weather import sample
from watch.weather.plain import central_wind, middle
from watch.when import grid, parse_utc

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("name", ["kittiwake-2026051612.grib2", "kittiwake-2026051612-ensemble.grib2"])
def test_the_quick_wind_is_the_sampled_wind(name: str) -> None:
    forecast = read([ROOT / "fixtures" / name], None)[0]
    time = grid(parse_utc("2026-05-16T12:00Z"), 300)
    rng = np.random.default_rng(5)
    wind = central_wind(forecast, time)
    for i in (0, 1, 7, 150, 299):
        lat, lon = rng.uniform(29.0, 45.0, 20), rng.uniform(-63.0, -25.0, 20)
        expected = sample.plain_wind(forecast, np.full(20, time[i]), lat, lon)
        if name.endswith("ensemble.grib2"):
            # members are brought together on the grid, not at the place: the same to within the bend of the speeds in a cell
            np.testing.assert_allclose(np.hypot(*wind(i, lat, lon)), np.hypot(*middle(*expected)), atol=1.0)
        else:
            np.testing.assert_allclose(np.stack(wind(i, lat, lon)), np.stack(middle(*expected)), atol=1e-5)


def test_off_the_grid_and_past_the_end_it_is_unknown() -> None:
    forecast = read([ROOT / "fixtures" / "kittiwake-2026051612.grib2"], None)[0]
    wind = central_wind(forecast, grid(parse_utc("2026-05-16T12:00Z"), 6 * 100))
    assert np.isnan(wind(0, np.array([10.0]), np.array([-50.0]))[0]).all()
    assert np.isnan(wind(0, np.array([36.0]), np.array([10.0]))[0]).all()
    assert np.isnan(wind(6 * 100, np.array([36.0]), np.array([-50.0]))[0]).all()


def test_members_that_disagree_do_not_make_a_calm() -> None:
    u, v = middle(np.array([10.0, -9.0]), np.array([0.0, 0.0]))
    assert np.hypot(u, v) == pytest.approx(9.5)
