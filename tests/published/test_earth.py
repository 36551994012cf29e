"""Distances and bearings on the ellipsoid as printed by the author of the algorithm."""

import math

import numpy as np
import pytest

from watch.passage.earth import bearing_deg, distance_nm, quick_distance_m

# lat1, lon1, azimuth at 1, lat2, lon2, length in metres
GEODTEST = [
    (35.60777, -139.44815, 111.098748429560326, -11.17491, -69.95921, 8935244.5604818305),
    (55.52454, 106.05087, 22.020059880982801, 77.03196, 197.18234, 4105086.1713924406),
    (-21.97856, 142.59065, -32.44456876433189, 41.84138, 98.56635, 8394328.894657671),
    (-66.99028, 112.2363, 173.73491240878403, -12.70631, 285.90344, 11150344.2312080241),
    (-17.42761, 173.34268, -159.033557661192928, -15.84784, 5.93557, 16076603.1631180673),
    (-50.56724, -16.30485, -105.439679907590164, -33.56571, -94.97412, 6455670.5118668696),
    (-68.82867, -74.28391, 93.774347763114881, -50.63005, -8.36685, 3956936.926063544),
    (-10.62672, -32.0898, -86.426713286747751, 5.883, -134.31681, 11470869.3864563009),
    (-21.76221, 166.90563, 29.319421206936428, 48.72884, 213.97627, 9098627.3986554915),
]


@pytest.mark.source("geodtest-1")
@pytest.mark.parametrize(("lat1", "lon1", "azimuth", "lat2", "lon2", "length_m"), GEODTEST)
def test_distance_and_bearing_are_those_of_the_test_set(
    lat1: float, lon1: float, azimuth: float, lat2: float, lon2: float, length_m: float
) -> None:
    assert distance_nm(lat1, lon1, lat2, lon2) == pytest.approx(length_m / 1852.0, abs=1e-6)
    assert bearing_deg(lat1, lon1, lat2, lon2) == pytest.approx(azimuth % 360.0, abs=1e-6)


@pytest.mark.source("geodtest-1")
@pytest.mark.parametrize(("lat1", "lon1", "azimuth", "lat2", "lon2", "length_m"), GEODTEST)
def test_the_quick_distance_is_right_to_a_hundredth_of_a_percent(
    lat1: float, lon1: float, azimuth: float, lat2: float, lon2: float, length_m: float
) -> None:
    places = (np.array([math.radians(x)]) for x in (lat1, lon1, lat2, lon2))
    assert quick_distance_m(*places)[0] == pytest.approx(length_m, rel=1e-4)
