"""Apparent wind from true wind and boat speed, by the triangle."""

import math

import numpy as np
import pytest

from watch.passage.speed import apparent

WORKED = [  # tws, twa, boat, aws, awa
    (12.0, 120.0, 6.0, 10.3923, 90.0),
    (15.0, 90.0, 6.0, 16.1555, 68.199),
    (20.0, 45.0, 6.0, 24.6111, 35.073),
    (10.0, 0.0, 5.0, 15.0, 0.0),
    (10.0, 180.0, 4.0, 6.0, 180.0),
]


@pytest.mark.source("apparent-1")
@pytest.mark.parametrize(("tws", "twa", "boat", "aws", "awa"), WORKED)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_apparent_wind_worked_by_hand(tws: float, twa: float, boat: float, aws: float, awa: float, side: float) -> None:
    speed_kn, angle_deg = apparent(tws, side * twa, boat)
    assert float(speed_kn) == pytest.approx(aws, abs=5e-5)
    assert abs(float(angle_deg)) == pytest.approx(awa, abs=5e-4)
    assert twa in (0.0, 180.0) or math.copysign(1.0, float(angle_deg)) == side


@pytest.mark.source("apparent-1")
def test_a_boat_at_rest_feels_the_true_wind_and_an_unknown_wind_stays_unknown() -> None:
    speed_kn, angle_deg = apparent([18.0, np.nan], [-70.0, 40.0], 0.0)
    assert speed_kn[0] == pytest.approx(18.0)
    assert angle_deg[0] == pytest.approx(-70.0)
    assert np.isnan(speed_kn[1])
    assert np.isnan(angle_deg[1])
