"""What she does in which wind, hour by hour: the cases a sailor would ask about."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from watch.faults import BadInputError
from watch.passage.carriage import Carriage, Mode
from watch.passage.route import Route, Waypoint
from watch.passage.speed import SpeedTable
from watch.passage.track import Track, Wind, sail
from watch.when import parse_utc

START = parse_utc("2026-05-14T12:00Z")
TABLE = SpeedTable(
    tws_kn=[5.0, 15.0, 30.0], twa_deg=[50.0, 70.0, 90.0, 130.0, 150.0, 180.0],
    speed_kn=[[2.5, 3.0, 3.2, 3.0, 2.5, 1.8], [5.5, 6.0, 6.5, 6.2, 6.0, 4.0], [6.0, 6.5, 7.0, 7.5, 7.2, 6.8]],
)  # fmt: skip
SAILS = Carriage(table=TABLE)


def route(*places: tuple[float, float]) -> Route:
    return Route(name="test", waypoints=tuple(Waypoint(name=f"w{i}", latitude=a, longitude=b) for i, (a, b) in enumerate(places)))


EAST = route((0.0, -40.0), (0.0, -20.0))  # along the equator: course 090 all the way


def hourly(hours: Callable[[int], tuple[float, float]]) -> Wind:
    """Hour -> wind from [deg] and speed [kn]."""

    def wind(i: int, latitude: np.ndarray, longitude: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        from_deg, speed_kn = hours(i // 6)
        toward, speed_ms = math.radians(from_deg + 180.0), speed_kn * 1852 / 3600
        return np.full(latitude.shape, speed_ms * math.sin(toward)), np.full(latitude.shape, speed_ms * math.cos(toward))

    return wind


def constant(from_deg: float, speed_kn: float) -> Wind:
    return hourly(lambda hour: (from_deg, speed_kn))


def one(carriage: Carriage, wind: Wind, steps: int = 6, on: Route = EAST) -> Track:
    return sail(on, START, np.zeros(steps, int), [carriage], wind).boat(0)


# wind from, kn -> mode, heading, twa, speed through the water, made good
BY_WIND = [
    (180.0, 15.0, Mode.ON_COURSE, 90.0, 90.0, 6.5, 6.5),
    (0.0, 15.0, Mode.ON_COURSE, 90.0, -90.0, 6.5, 6.5),
    (220.0, 15.0, Mode.ON_COURSE, 90.0, 130.0, 6.2, 6.2),
    (90.0 + 50.0, 15.0, Mode.ON_COURSE, 90.0, 50.0, 5.5, 5.5),
    (90.0 + 48.0, 15.0, Mode.TACKING, 88.0, 50.0, 5.5, 5.5 * math.cos(math.radians(50)) / math.cos(math.radians(48))),
    (90.0 - 30.0, 15.0, Mode.TACKING, 110.0, -50.0, 5.5, 5.5 * math.cos(math.radians(50)) / math.cos(math.radians(30))),
    (270.0, 15.0, Mode.ON_COURSE, 90.0, 180.0, 4.0, 4.0),
    (180.0, 0.0, Mode.ON_COURSE, 90.0, 0.0, 0.0, 0.0),
    (90.0 + 30.0, 0.1, Mode.TACKING, 70.0, 50.0, 0.05, 0.05 * math.cos(math.radians(50)) / math.cos(math.radians(30))),
]


@pytest.mark.source("made-good-1")
@pytest.mark.parametrize(("from_deg", "wind_kn", "mode", "heading", "twa", "through", "made"), BY_WIND)
def test_how_she_goes_on_her_course(
    from_deg: float, wind_kn: float, mode: Mode, heading: float, twa: float, through: float, made: float
) -> None:
    track = one(SAILS, constant(from_deg, wind_kn))
    assert track.mode[0] == mode
    assert track.course_deg[0] == pytest.approx(90.0, abs=1e-3)
    assert track.heading_deg[0] == pytest.approx(heading, abs=1e-3)
    assert abs(track.twa_deg[0]) == pytest.approx(abs(twa), abs=1e-3)
    assert abs(twa) in (0.0, 180.0) or np.sign(track.twa_deg[0]) == np.sign(twa)
    assert track.tws_kn[0] == pytest.approx(wind_kn, abs=1e-5)
    assert track.speed_kn[0] == pytest.approx(through, abs=1e-4)
    assert track.made_good_kn[0] == pytest.approx(made, abs=1e-4)
    assert (track.longitude[6] + 40.0) * 60.1077 == pytest.approx(made, abs=0.01)
    assert abs(track.latitude).max() < 1e-6


def test_she_gybes_downwind_only_when_allowed_and_only_when_it_pays() -> None:
    dead_astern = constant(270.0, 15.0)
    best = 6.0 * math.cos(math.radians(30.0))  # 150 deg at 6.0 kn gains more than 180 deg at 4.0 kn
    assert one(SAILS, dead_astern).made_good_kn[0] == pytest.approx(4.0)
    gybing = one(Carriage(table=TABLE, gybe=True), dead_astern)
    assert gybing.mode[0] == Mode.GYBING
    assert gybing.made_good_kn[0] == pytest.approx(best, abs=0.02)
    assert abs(gybing.twa_deg[0]) == pytest.approx(150.0, abs=1.0)
    flat = SpeedTable(tws_kn=[15.0], twa_deg=[50.0, 150.0, 180.0], speed_kn=[[5.0, 5.0, 5.0]])
    assert one(Carriage(table=flat, gybe=True), dead_astern).mode[0] == Mode.ON_COURSE


def test_a_boat_that_only_runs_bears_away_from_a_course_to_windward_and_leaves_the_line() -> None:
    track = one(Carriage(table=TABLE, closest_deg=120.0), constant(90.0 + 60.0, 30.0), steps=36)
    assert (track.mode == Mode.BORNE_AWAY).all()
    assert track.twa_deg[0] == pytest.approx(120.0, abs=1e-3)
    assert track.heading_deg[0] == pytest.approx(30.0, abs=1e-3)
    assert track.latitude[36] > 0.4


def test_motoring_in_light_airs_and_not_to_windward_in_more() -> None:
    motor = Carriage(table=TABLE, motoring_kn=4.5)
    assert one(motor, constant(90.0, 2.0)).made_good_kn[0] == 4.5
    assert one(motor, constant(90.0, 2.0)).mode[0] == Mode.ON_COURSE
    assert one(motor, constant(0.0, 0.0)).made_good_kn[0] == 4.5
    assert one(motor, constant(90.0, 6.0)).mode[0] == Mode.TACKING


def test_hove_to_she_lies_on_the_tack_that_drifts_nearer_to_her_course() -> None:
    hove_to = Carriage(mode=Mode.HEAVE_TO, steady_kn=1.5, wind_angle_deg=50.0, drift_from_wind_deg=120.0)
    track = one(hove_to, constant(170.0, 40.0), steps=144)  # wind over the starboard side of a course of 090
    assert track.mode[0] == Mode.HEAVE_TO
    assert track.twa_deg[0] == pytest.approx(50.0, abs=1e-3)
    assert track.heading_deg[0] == pytest.approx(120.0, abs=1e-3)
    # she drifts to 050, a mile and a half an hour
    assert track.latitude[144] * 60 == pytest.approx(36.0 * math.cos(math.radians(50.0)), rel=0.01)
    assert (track.longitude[144] + 40) * 60 == pytest.approx(36.0 * math.sin(math.radians(50.0)), rel=0.01)


def test_a_stopped_boat_stays_and_goes_on_when_told() -> None:
    carried = np.array([1] * 12 + [0] * 12)
    track = sail(EAST, START, carried, [SAILS, Carriage(mode=Mode.STOPPED)], constant(180.0, 15.0)).boat(0)
    assert (track.longitude[:13] == track.longitude[0]).all()
    assert track.speed_kn[5] == 0.0
    assert (track.longitude[24] + 40.0) * 60.1077 == pytest.approx(13.0, abs=0.01)


def test_a_wind_that_is_missing_is_marked_and_never_stops_her() -> None:
    gap = hourly(lambda hour: (180.0, math.nan if 2 <= hour < 4 else 15.0))
    track = one(SAILS, gap, steps=36)
    assert np.flatnonzero(track.unknown).tolist() == list(range(12, 24))
    assert np.isnan(track.tws_kn[12:24]).all()
    assert np.isnan(track.twa_deg[12:24]).all()
    assert track.beyond[12:24].all()
    assert (track.made_good_kn == np.float32(6.5)).all()
    assert (track.longitude[36] + 40.0) * 60.1077 == pytest.approx(6 * 6.5, abs=0.01)


def test_stopped_and_then_sent_on_in_an_unknown_wind_she_goes_as_when_she_last_sailed() -> None:
    wind = hourly(lambda hour: (180.0, 15.0 if hour < 2 else math.nan))
    carried = np.array([0] * 6 + [1] * 12 + [0] * 6)
    track = sail(EAST, START, carried, [SAILS, Carriage(mode=Mode.STOPPED)], wind).boat(0)
    assert (track.made_good_kn[6:18] == 0.0).all()
    assert (track.made_good_kn[18:] == np.float32(6.5)).all()


def test_hove_to_in_an_unknown_wind_she_drifts_on_as_before() -> None:
    hove_to = Carriage(mode=Mode.HEAVE_TO, steady_kn=1.5, wind_angle_deg=50.0, drift_from_wind_deg=180.0)
    track = one(hove_to, hourly(lambda hour: (180.0, 40.0 if hour < 2 else math.nan)), steps=24)
    assert track.latitude[24] * 60 == pytest.approx(6.0, rel=0.01)
    assert track.longitude[24] == pytest.approx(-40.0, abs=1e-6)


def test_before_any_wind_is_known_she_goes_at_the_speed_she_was_known_to_have() -> None:
    track = sail(EAST, START, np.zeros(6, int), [SAILS], constant(180.0, math.nan), last_known_kn=5.0).boat(0)
    assert track.unknown.all()
    assert (track.longitude[6] + 40.0) * 60.1077 == pytest.approx(5.0, abs=0.01)


def test_more_wind_than_the_table_knows_is_marked() -> None:
    track = one(SAILS, constant(180.0, 45.0))
    assert track.beyond.all()
    assert track.speed_kn[0] == pytest.approx(7.0)
    assert not one(SAILS, constant(180.0, 29.0)).beyond.any()


def test_running_off_past_a_waypoint_she_never_turns_back_for_it() -> None:
    turning = route((0.0, -40.0), (0.0, -39.0), (3.0, -36.0))
    carriages = [SAILS, Carriage(mode=Mode.RUN_OFF, steady_kn=6.0, wind_angle_deg=180.0)]
    carried = np.array([1] * 72 + [0] * 72)
    track = sail(turning, START, carried, carriages, constant(300.0, 30.0)).boat(0)  # she runs to 120
    passed = int(np.argmax(track.leg == 1))
    assert track.longitude[passed] == pytest.approx(-39.0, abs=0.02)
    assert track.latitude[passed] < -0.4
    assert (np.diff(track.leg) >= 0).all()
    assert track.course_deg[72] < 60.0


def test_she_stays_where_she_is_bound() -> None:
    short = route((0.0, -40.0), (0.0, -39.9), (0.05, -39.9))
    track = one(SAILS, constant(180.0, 15.0), steps=30, on=short)
    first = int(np.argmax(track.arrived))
    assert 0 < first < 30
    assert (track.latitude[first:] == track.latitude[first]).all()
    assert (track.speed_kn[first:] == 0.0).all()
    assert (track.mode[first:] == Mode.STOPPED).all()
    assert (track.distance_to_go_nm[first:] == 0.0).all()
    assert track.time[first - 1] < track.arrival <= track.time[first]


def test_starting_at_her_destination_she_has_arrived() -> None:
    there = EAST.from_position(0.0, -20.0)
    track = one(SAILS, constant(180.0, 15.0), on=there)
    assert track.arrived.all()
    assert track.arrival == track.time[0]
    begun = one(SAILS, constant(180.0, 15.0), on=route((0.0, -40.0), (0.0, -30.0), (0.0, -20.0)).from_position(0.0, -30.0))
    assert not begun.arrived.any()
    assert begun.course_deg[0] == pytest.approx(90.0, abs=1e-3)


@pytest.mark.parametrize(
    ("latitude", "longitude", "names"),
    [
        (0.1, -35.0, ["B", "C", "D"]),  # beside the first leg
        (-0.3, -42.0, ["B", "C", "D"]),  # short of the start: straight to the end of the first leg
        (0.0, -30.0, ["C", "D"]),  # at B
        (-1.0, -29.0, ["C", "D"]),  # outside the corner at B: both legs as near, so on
        (5.0, -29.5, ["C", "D"]),
        (10.2, -19.0, ["D"]),
        (11.0, -9.0, ["D"]),
    ],
)
@pytest.mark.parametrize("kind", ["great circle", "rhumb line"])
def test_from_where_she_is_what_lies_behind_is_dropped(latitude: float, longitude: float, names: list[str], kind: str) -> None:
    places = {"A": (0.0, -40.0), "B": (0.0, -30.0), "C": (10.0, -30.0), "D": (10.0, -10.0)}
    whole = Route(
        name="bent", kind=kind, waypoints=tuple(Waypoint(name=n, latitude=a, longitude=b) for n, (a, b) in places.items())
    )
    rest = whole.from_position(latitude, longitude)
    assert [w.name for w in rest.waypoints] == ["the present position", *names]
    assert (rest.waypoints[0].latitude, rest.waypoints[0].longitude) == (latitude, longitude)
    assert rest.kind == kind


@pytest.mark.parametrize("kind", ["great circle", "rhumb line"])
def test_over_the_antimeridian_the_nearest_leg_is_the_nearest(kind: str) -> None:
    places = ((-10.0, 170.0), (-10.0, 179.0), (-20.0, -179.0), (-20.0, -170.0))
    whole = Route(
        name="west", kind=kind, waypoints=tuple(Waypoint(name=f"w{i}", latitude=a, longitude=b) for i, (a, b) in enumerate(places))
    )
    for place, leg in (((-9.0, 175.0), 0), ((-15.0, 179.5), 1), ((-15.0, -179.8), 1), ((-20.5, -174.0), 2)):
        assert whole.nearest_leg(*place)[0] == leg
    assert whole.nearest_leg(-15.0, 180.0)[1] == pytest.approx(0.0, abs=5.0)
    assert whole.nearest_leg(-15.0, 180.0)[1] == pytest.approx(whole.nearest_leg(-15.0, -180.0)[1], abs=1e-6)


def test_out_and_back_the_leg_she_was_on_tells_which_way_she_goes() -> None:
    there_and_back = route((0.0, -40.0), (0.0, -30.0), (0.0, -40.0))
    assert there_and_back.nearest_leg(0.2, -35.0)[0] in (0, 1)
    assert there_and_back.nearest_leg(0.2, -35.0, from_leg=1)[0] == 1
    assert there_and_back.nearest_leg(0.2, -35.0)[1] == pytest.approx(12.0, abs=0.1)


def test_near_a_pole_she_is_refused_in_a_sentence() -> None:
    north = route((88.5, 0.0), (88.5, 5.0))
    run = Carriage(mode=Mode.RUN_OFF, steady_kn=10.0, wind_angle_deg=180.0)
    with pytest.raises(BadInputError, match="test: she comes within a degree of a pole, where no course can be worked out here"):
        sail(north, START, np.zeros(60, int), [run], constant(180.0, 40.0))
    with pytest.raises(ValueError, match="P lies within a degree of a pole"):
        Waypoint(name="P", latitude=89.5, longitude=0.0)
    with pytest.raises(ValueError, match="the great circle from w0 to w1 passes within a degree of a pole"):
        route((80.0, 0.0), (80.0, 180.0))


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"mode": Mode.TACKING, "steady_kn": 1.0}, "TACKING is found while sailing and cannot be asked for"),
        ({}, "a carriage needs a speed table or a steady speed in knots"),
        ({"mode": Mode.HEAVE_TO, "steady_kn": 1.0}, "HEAVE_TO needs the wind angle she lies at"),
        ({"steady_kn": math.nan}, "a carriage's speeds must be from 0 to 100 kn and its factor from 0 to 10"),
        ({"steady_kn": 1.0, "closest_deg": 200.0}, "a wind angle must be from 0 to 180 deg, and 200 is not"),
    ],
)
def test_a_carriage_that_says_too_little_is_refused(wrong: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Carriage(**wrong)  # type: ignore[arg-type]


def test_arguments_that_do_not_fit_are_refused() -> None:
    wind = constant(180.0, 15.0)
    for kwargs, sentence in (
        ({"carried": np.zeros((2, 3, 4), int)}, "carried must have"),
        ({"carried": [0, 1]}, "carried names carriages from 0 to 1"),
        ({"carried": np.zeros((3, 4), int), "boats": 2}, "carried is for 3 boats, not 2"),
        ({"carried": [0], "latitude": 1.0}, "a position needs a latitude and a longitude"),
        ({"carried": [0], "leg": 1}, "a leg must be from 0 to 0"),
        ({"carried": [0], "latitude": math.nan, "longitude": 0.0}, "a position is missing"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=sentence):
            sail(EAST, START, carriages=[SAILS], wind=wind, **kwargs)  # type: ignore[arg-type]
