"""Boats at a steady speed against geodesics by another program, and against slow twins by tiny steps."""

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from scipy.integrate import quad

from watch.passage.carriage import Carriage, Mode
from watch.passage.earth import A_M, E2, meridian_m, rhumb_bearing_deg, rhumb_nm
from watch.passage.route import Kind, Route, Waypoint, route_length_nm
from watch.passage.speed import SpeedTable
from watch.passage.track import Track, Wind, sail
from watch.when import parse_utc, to_np

START = parse_utc("2026-05-14T12:00Z")
EARTH = Geodesic.WGS84
LEGS = [
    (32.375, -64.633, 38.53, -28.62),
    (-41.3, 174.8, -33.0, -71.6),  # over the antimeridian
    (60.0, -5.0, 62.0, -45.0),
    (0.0, 10.0, 0.0, -30.0),
    (5.0, -140.0, -20.0, 165.0),
    (50.0, -5.0, 20.0, -5.0),
]


def blowing(from_deg: float, speed_kn: float) -> Wind:
    toward, speed_ms = math.radians(from_deg + 180.0), speed_kn * 1852 / 3600

    def wind(i: int, latitude: np.ndarray, longitude: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.full(latitude.shape, speed_ms * math.sin(toward)), np.full(latitude.shape, speed_ms * math.cos(toward))

    return wind


def route_of(*places: tuple[float, float], kind: Kind = "great circle") -> Route:
    points = tuple(Waypoint(name=f"w{i}", latitude=a, longitude=b) for i, (a, b) in enumerate(places))
    return Route(name="test", waypoints=points, kind=kind)


def steady(route: Route, speed_kn: float, steps: int) -> Track:
    return sail(route, START, np.zeros(steps, int), [Carriage(steady_kn=speed_kn)], blowing(200.0, 15.0)).boat(0)


def apart_m(track: Track, i: int, latitude: float, longitude: float) -> float:
    return float(EARTH.Inverse(float(track.latitude[i]), float(track.longitude[i]), latitude, longitude)["s12"])


@pytest.mark.source("geographiclib-1")
@pytest.mark.parametrize("leg", LEGS)
def test_a_great_circle_at_a_steady_speed_is_the_geodesic(leg: tuple[float, float, float, float]) -> None:
    track = steady(route_of(leg[:2], leg[2:]), 7.5, 900)
    azimuth = EARTH.Inverse(*leg)["azi1"]
    assert ((track.longitude >= -180.0) & (track.longitude < 180.0)).all()
    for i in (6, 144, 500, 900):
        way_m = 7.5 * 1852 * i / 6
        there = EARTH.Direct(leg[0], leg[1], azimuth, way_m)
        assert apart_m(track, i, there["lat2"], there["lon2"]) < 0.001 * way_m


@pytest.mark.source("geographiclib-1")
def test_arrival_is_the_length_of_all_legs_over_the_speed_even_when_legs_are_shorter_than_a_step() -> None:
    route = route_of((38.40, -29.05), (38.45, -28.80), (38.46, -28.79), (38.461, -28.789), (38.463, -28.789), (38.53, -28.62))
    track = steady(route, 6.0, 40)
    minutes = (track.arrival - to_np(START)) / np.timedelta64(1, "s") / 60.0
    assert minutes == pytest.approx(route_length_nm(route) / 6.0 * 60.0, rel=0.001, abs=0.05)
    last = int(np.argmax(track.arrived))
    assert minutes <= last * 10.0 < minutes + 10.0
    assert apart_m(track, last, 38.53, -28.62) < 0.01
    assert apart_m(track, 40, 38.53, -28.62) < 0.01


def slow_rhumb(lat1: float, lon1: float, lat2: float, lon2: float) -> tuple[float, float]:
    """Bearing [deg] and length [m] of a rhumb line by integrating the curvatures, for two different latitudes."""

    def along_m(phi: float) -> float:
        return A_M * (1.0 - E2) / (1.0 - E2 * math.sin(phi) ** 2) ** 1.5

    def across_m(phi: float) -> float:
        return A_M * math.cos(phi) / math.sqrt(1.0 - E2 * math.sin(phi) ** 2)

    a, b = math.radians(lat1), math.radians(lat2)
    east = math.radians((lon2 - lon1 + 180.0) % 360.0 - 180.0)
    iso = quad(lambda p: along_m(p) / across_m(p), a, b)[0]
    bearing = math.atan2(east, iso)
    return math.degrees(bearing) % 360.0, quad(along_m, a, b)[0] / math.cos(bearing)


@pytest.mark.source("meridian-1")
@pytest.mark.parametrize("leg", [leg for leg in LEGS if leg[0] != leg[2]])
def test_rhumb_bearing_and_length_are_those_integrated_slowly(leg: tuple[float, float, float, float]) -> None:
    bearing, length_m = slow_rhumb(*leg)
    assert rhumb_bearing_deg(*leg) == pytest.approx(bearing, abs=1e-7)
    assert rhumb_nm(*leg) == pytest.approx(length_m / 1852.0, rel=1e-8)


@pytest.mark.source("meridian-1")
def test_along_a_parallel_the_rhumb_line_is_the_parallel() -> None:
    for lat in (0.0, 40.0, 75.0):
        across_m = A_M * math.cos(math.radians(lat)) / math.sqrt(1.0 - E2 * math.sin(math.radians(lat)) ** 2)
        assert rhumb_nm(lat, 170.0, lat, -160.0) == pytest.approx(across_m * math.radians(30.0) / 1852.0, rel=1e-12)
        nearly = rhumb_nm(lat, 170.0, lat + 3e-5, -160.0)
        assert nearly == pytest.approx(across_m * math.radians(30.0) / 1852.0, rel=1e-6)


@pytest.mark.source("geographiclib-1")
@pytest.mark.parametrize("lat", [-80.0, -33.0, 12.5, 45.0, 89.0])
def test_the_meridian_arc_is_the_geodesic_along_the_meridian(lat: float) -> None:
    length_m = EARTH.Inverse(0.0, 20.0, lat, 20.0)["s12"]
    assert abs(float(meridian_m(np.radians(lat)))) == pytest.approx(length_m, abs=0.01)


@pytest.mark.source("meridian-1")
@pytest.mark.parametrize("leg", LEGS)
def test_a_rhumb_leg_at_a_steady_speed_is_the_slow_twin(leg: tuple[float, float, float, float]) -> None:
    track = steady(route_of(leg[:2], leg[2:], kind="rhumb line"), 7.5, 700)
    bearing = slow_rhumb(*leg)[0] if leg[0] != leg[2] else 270.0
    assert np.allclose((track.course_deg[:700] - bearing + 180.0) % 360.0 - 180.0, 0.0, atol=0.02)
    lat, lon = tiny_steps(leg[0], leg[1], bearing, 7.5 * 1852 * 700 / 6)
    assert apart_m(track, 700, lat, lon) < 0.001 * 7.5 * 1852 * 700 / 6


def tiny_steps(lat: float, lon: float, bearing_deg: float, way_m: float) -> tuple[float, float]:
    """Holding one bearing by steps of about 50 m."""
    phi, lam, b = math.radians(lat), math.radians(lon), math.radians(bearing_deg)
    steps = max(1, int(way_m / 50.0))
    for _ in range(steps):
        w = 1.0 - E2 * math.sin(phi) ** 2
        d_phi = way_m / steps * math.cos(b) / (A_M * (1.0 - E2) / w**1.5)
        lam += way_m / steps * math.sin(b) * math.sqrt(w) / (A_M * math.cos(phi + 0.5 * d_phi))
        phi += d_phi
    return math.degrees(phi), math.degrees(lam)


@pytest.mark.source("meridian-1")
@pytest.mark.parametrize(
    ("carriage", "goes_deg", "speed_kn"),
    [
        (Carriage(mode=Mode.RUN_OFF, steady_kn=5.0, wind_angle_deg=160.0, tack=1), 230.0 - 160.0, 5.0),
        (Carriage(mode=Mode.RUN_OFF, steady_kn=5.0, wind_angle_deg=160.0, tack=-1), 230.0 + 160.0, 5.0),
        (Carriage(mode=Mode.HEAVE_TO, steady_kn=1.5, wind_angle_deg=50.0, drift_from_wind_deg=130.0, tack=1), 100.0, 1.5),
        (Carriage(mode=Mode.DROGUE, steady_kn=2.0, wind_angle_deg=170.0), 50.0, 2.0),
    ],
)
def test_off_her_course_she_goes_where_the_wind_sends_her(carriage: Carriage, goes_deg: float, speed_kn: float) -> None:
    route = route_of((38.0, -50.0), (38.5, -28.0))
    track = sail(route, START, np.zeros(144, int), [carriage], blowing(230.0, 40.0)).boat(0)
    way_m = speed_kn * 1852 * 24
    lat, lon = tiny_steps(38.0, -50.0, goes_deg, way_m)
    assert apart_m(track, 144, lat, lon) < 0.00003 * way_m


@pytest.mark.source("made-good-1")
@pytest.mark.parametrize("off_wind_deg", [0.0, 10.0, 30.0, 44.0])
def test_tacking_averaged_along_the_course_is_many_short_tacks(off_wind_deg: float) -> None:
    """The slow twin sails every tack, by geodesics of a cable or so, and ends where the averaged boat is."""
    table = SpeedTable(tws_kn=[20.0], twa_deg=[45.0, 46.0, 180.0], speed_kn=[[6.0, 6.0, 6.0]])
    lat1, lon1, course = 40.0, -20.0, 90.0
    route = route_of((lat1, lon1), (40.0, -10.0), kind="rhumb line")
    wind_from = course + off_wind_deg
    track = sail(route, START, np.zeros(72, int), [Carriage(table=table)], blowing(wind_from, 20.0)).boat(0)
    assert (track.mode == Mode.TACKING).all()
    making, other = wind_from - 45.0, wind_from + 45.0
    share = math.sin(math.radians(other - course)) / (
        math.sin(math.radians(other - course)) + math.sin(math.radians(course - making))
    )
    lat, lon = lat1, lon1
    for _ in range(120):
        for heading, part in ((making, share), (other, 1.0 - share)):
            lat, lon = tiny_steps(lat, lon, heading, 6.0 * 1852 * 12 / 120 * part)
    assert apart_m(track, 72, lat, lon) < 0.002 * 6.0 * 1852 * 12
    assert off_wind_deg == 0.0 or track.heading_deg[0] == pytest.approx(making, abs=0.01)
    assert abs(track.twa_deg[0]) == pytest.approx(45.0, abs=0.01)
