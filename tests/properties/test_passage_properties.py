"""What holds for every passage: no position is ever missing, many boats are each boat, the antimeridian is nowhere special."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watch.passage.carriage import Carriage, Mode
from watch.passage.light import Need, Sky, light_along
from watch.passage.position import parse_latitude, parse_longitude, show_position
from watch.passage.route import Kind, Route, Waypoint
from watch.passage.speed import SpeedTable
from watch.passage.track import Track, Wind, sail
from watch.when import parse_utc

START = parse_utc("2026-05-14T12:00Z")
TABLE = SpeedTable(
    tws_kn=[5.0, 15.0, 30.0], twa_deg=[45.0, 70.0, 90.0, 130.0, 180.0],
    speed_kn=[[2.5, 3.0, 3.2, 3.0, 1.8], [5.5, 6.0, 6.5, 6.2, 4.8], [6.0, 6.5, 7.0, 7.5, 6.8]],
)  # fmt: skip
CARRIAGES = (
    Carriage(table=TABLE), Carriage(table=TABLE, factor=0.6, closest_deg=70.0, gybe=True, motoring_kn=3.0),
    Carriage(table=TABLE, closest_deg=120.0), Carriage(mode=Mode.RUN_OFF, table=TABLE, wind_angle_deg=160.0),
    Carriage(mode=Mode.HEAVE_TO, steady_kn=1.5, wind_angle_deg=50.0, drift_from_wind_deg=120.0),
    Carriage(mode=Mode.DROGUE, steady_kn=2.0, wind_angle_deg=175.0), Carriage(mode=Mode.STOPPED),
)  # fmt: skip
ON_COURSE_ONLY = (0, 1)
KINDS: tuple[Kind, ...] = ("great circle", "rhumb line")
quick = settings(max_examples=25, deadline=None)

routes = st.builds(
    lambda lat, lon, steps, kind: _route(lat, lon, steps, kind),
    st.floats(-60.0, 60.0), st.floats(-180.0, 179.9),
    st.lists(st.tuples(st.floats(-2.0, 2.0), st.floats(-4.0, 4.0)), min_size=1, max_size=5), st.sampled_from(KINDS),
)  # fmt: skip


def _route(lat: float, lon: float, steps: list[tuple[float, float]], kind: Kind, shift: float = 0.0) -> Route:
    places = [(lat, lon)]
    for d_lat, d_lon in steps:
        places.append((places[-1][0] + d_lat, places[-1][1] + d_lon))
    points = [
        Waypoint(name=f"w{i}", latitude=a, longitude=(b + shift + 180.0) % 360.0 - 180.0) for i, (a, b) in enumerate(places)
    ]
    return Route(name="any", waypoints=tuple(points), kind=kind)


def changing_wind(seed: int, boats: int, missing: float = 0.1) -> Wind:
    """A wind of its own for each boat, at times missing; the same whatever other boats there are."""
    rng = np.random.default_rng(seed)
    first, turn, speed = rng.uniform(0, 6.3, boats), rng.uniform(-0.05, 0.05, boats), rng.uniform(0.0, 22.0, boats)
    lost = rng.uniform(size=(400, boats)) < missing

    def wind(i: int, latitude: np.ndarray, longitude: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        angle = first + turn * i
        strength = np.where(lost[i], np.nan, speed * (1.0 + 0.5 * np.sin(0.1 * i)))
        return strength * np.cos(angle), strength * np.sin(angle)

    return wind


def only(wind: Wind, b: int, boats: int) -> Wind:
    def one(i: int, latitude: np.ndarray, longitude: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        u, v = wind(i, np.repeat(latitude, boats), np.repeat(longitude, boats))
        return u[b : b + 1], v[b : b + 1]

    return one


ARRAYS = ("latitude", "longitude", "course_deg", "heading_deg", "speed_kn", "made_good_kn", "twa_deg", "tws_kn", "leg", "mode",
          "arrived", "unknown", "beyond", "arrival")  # fmt: skip


@quick
@given(route=routes, seed=st.integers(0, 2**31), boats=st.integers(1, 6))
def test_many_boats_at_once_are_each_boat_alone(route: Route, seed: int, boats: int) -> None:
    carried = np.random.default_rng(seed).integers(0, len(CARRIAGES), (boats, 8)).repeat(6, axis=1)
    wind = changing_wind(seed, boats)
    together = sail(route, START, carried, CARRIAGES, wind)
    for b in range(boats):
        alone = sail(route, START, carried[b], CARRIAGES, only(wind, b, boats)).boat(0)
        for name in ARRAYS:
            mine, theirs = getattr(alone, name), getattr(together.boat(b), name)
            if np.asarray(mine).dtype.kind == "f":
                assert np.allclose(mine, theirs, rtol=1e-6, atol=1e-4, equal_nan=True), name
            else:
                assert np.array_equal(mine, theirs, equal_nan=np.asarray(mine).dtype.kind == "M"), name


@quick
@given(route=routes, seed=st.integers(0, 2**31))
def test_no_position_is_ever_missing_and_no_leg_is_sailed_twice(route: Route, seed: int) -> None:
    rng = np.random.default_rng(seed)
    track = sail(route, START, rng.integers(0, len(CARRIAGES), (4, 144)), CARRIAGES, changing_wind(seed, 4, missing=0.4))
    for name in ("latitude", "longitude", "course_deg", "heading_deg", "speed_kn", "made_good_kn"):
        assert np.isfinite(getattr(track, name)).all(), name
    assert ((track.longitude >= -180.0) & (track.longitude < 180.0)).all()
    for name in ("course_deg", "heading_deg"):
        assert ((getattr(track, name) >= 0.0) & (getattr(track, name) < 360.0)).all(), name
    assert (np.isnan(track.tws_kn) == np.isnan(track.twa_deg)).all()
    assert (np.isnan(track.tws_kn) >= track.unknown).all()
    assert (np.diff(track.leg, axis=1) >= 0).all()
    assert (np.diff(track.arrived.astype(int), axis=1) >= 0).all()
    assert (track.made_good_kn <= 8.0).all()


@quick
@given(route=routes, seed=st.integers(0, 2**31))
def test_heading_and_wind_angle_add_up_to_where_the_wind_comes_from(route: Route, seed: int) -> None:
    wind = changing_wind(seed, 3, missing=0.0)
    track = sail(route, START, np.random.default_rng(seed).integers(0, 7, (3, 60)), CARRIAGES, wind)
    for i in (0, 30, 60):
        u, v = wind(i, track.latitude[:, i], track.longitude[:, i])
        from_deg = np.degrees(np.arctan2(-u, -v))
        off = (track.heading_deg[:, i] + track.twa_deg[:, i] - from_deg + 180.0) % 360.0 - 180.0
        assert ((np.abs(off) < 0.01) | (track.tws_kn[:, i] == 0.0)).all()


@quick
@given(
    lat=st.floats(-60.0, 60.0), steps=st.lists(st.tuples(st.floats(-2.0, 2.0), st.floats(-4.0, 4.0)), min_size=1, max_size=4),
    kind=st.sampled_from(KINDS), shift=st.floats(-180.0, 180.0), seed=st.integers(0, 2**31),
)  # fmt: skip
def test_over_the_antimeridian_is_the_same_passage_elsewhere(
    lat: float, steps: list[tuple[float, float]], kind: Kind, shift: float, seed: int
) -> None:
    carried = np.random.default_rng(seed).integers(0, len(CARRIAGES), 144 // 12).repeat(12)
    here, there = (
        sail(_route(lat, 0.0, steps, kind, moved), START, carried, CARRIAGES, changing_wind(seed, 1)).boat(0)
        for moved in (0.0, 180.0 + shift)
    )
    assert np.allclose(here.latitude, there.latitude, atol=1e-7)
    assert np.allclose((there.longitude - here.longitude - shift - 180.0 + 180.0) % 360.0 - 180.0, 0.0, atol=1e-7)
    assert np.array_equal(here.leg, there.leg)
    assert np.allclose(here.distance_to_go_nm, there.distance_to_go_nm, atol=1e-4)


@quick
@given(route=routes, seed=st.integers(0, 2**31))
def test_on_course_the_way_to_go_never_grows(route: Route, seed: int) -> None:
    rng = np.random.default_rng(seed)
    track = sail(route, START, rng.integers(0, 2, (3, 200)), CARRIAGES[:2], changing_wind(seed, 3))
    assert (np.diff(track.distance_to_go_nm, axis=1) <= 1e-4).all()
    gained = -np.diff(track.distance_to_go_nm, axis=1)
    assert (gained <= 8.0 / 6.0 + 0.01).all()


@quick
@given(
    start=st.integers(0, 10**9), lat=st.floats(-89.0, 89.0), lon=st.floats(-179.0, 179.0),
    lost=st.sets(st.integers(0, 72), max_size=40),
)  # fmt: skip
def test_where_she_is_unknown_there_is_no_light_to_work_by(start: int, lat: float, lon: float, lost: set[int]) -> None:
    time = np.datetime64("2020-01-01", "s") + (start + np.arange(73) * 600) * np.timedelta64(1, "s")
    lats, lons = np.full(73, lat), np.full(73, lon)
    whole = light_along(time, lats, lons)
    gone = np.isin(np.arange(73), list(lost))
    light = light_along(time, np.where(gone, np.nan, lats), np.where(gone, np.nan, lons))
    assert (light.sky[gone] == Sky.UNKNOWN).all()
    assert not light.enough(Need.DAY)[gone].any()
    assert not light.enough(Need.MOON)[gone].any()
    assert np.array_equal(light.sky[~gone], whole.sky[~gone])
    assert set(light.events) <= set(whole.events)
    assert (whole.enough(Need.MOON) >= whole.enough(Need.DAY)).all()
    changes = np.flatnonzero(whole.sky[1:] != whole.sky[:-1])
    assert len(whole.events) >= len(changes)


@quick
@given(lat=st.floats(-90.0, 90.0), lon=st.floats(-180.0, 180.0))
def test_a_position_written_and_read_is_the_same_to_a_twentieth_of_a_minute(lat: float, lon: float) -> None:
    text = show_position(lat, lon)
    assert parse_latitude(text[:9]) == pytest.approx(lat, abs=0.0501 / 60)
    assert parse_longitude(text[10:]) == pytest.approx(lon, abs=0.0501 / 60)


def test_the_track_of_one_boat_is_a_view() -> None:
    east = _route(0.0, 0.0, [(0.0, 4.0)], "rhumb line")
    track: Track = sail(east, START, np.zeros(6, int), CARRIAGES, changing_wind(1, 3), boats=3)
    assert track.boat(1).latitude.base is track.latitude.base
    assert track.boats == 3
    assert track.boat(1).boats == 1
