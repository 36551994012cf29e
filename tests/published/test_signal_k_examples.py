"""The Signal K specification's own example messages."""

import json
import math

import pytest

from watch.instruments.readings import Quantity, Refused
from watch.instruments.signal_k import SignalK, own_context, own_time, parse_delta
from watch.when import parse_utc

Q = Quantity
RECEIVED = parse_utc("2026-05-14T12:00:00Z")
pytestmark = pytest.mark.source("signalk-1")

DATA_MODEL = {
    "context": "vessels.urn:mrn:imo:mmsi:234567890",
    "updates": [
        {"source": {"label": "N2000-01", "type": "NMEA2000", "name": 1398271, "src": "017", "pgn": 127488},
         "timestamp": "2010-01-07T07:18:44Z",
         "values": [{"path": "propulsion.0.revolutions", "value": 16.341667},
                    {"path": "propulsion.0.boostPressure", "value": 45500.0}]},
        {"source": {"label": "N2000-01", "type": "NMEA2000", "name": 378473, "src": "115", "pgn": 128267},
         "timestamp": "2014-08-15T16:00:00.081Z",
         "values": [{"path": "navigation.courseOverGroundTrue", "value": 2.971},
                    {"path": "navigation.speedOverGround", "value": 3.85}]},
        {"source": {"label": "N2000-01", "type": "NMEA2000", "name": 378473, "src": "115", "pgn": 128267},
         "timestamp": "2014-08-15T19:02:31.507Z", "values": [{"path": "", "value": {"name": "WRANGO"}}]},
    ],
}
TWO_SOURCES = {
    "context": "vessels.urn:mrn:signalk:uuid:c0d79334-4e25-4245-8892-54e8ccc8021d",
    "updates": [
        {"source": {"label": "GPS-1", "type": "NMEA0183", "talker": "GP", "sentence": "RMC"},
         "timestamp": "2017-04-03T06:14:04.451Z",
         "values": [{"path": "navigation.courseOverGroundTrue", "value": 3.615624078431440}]},
        {"source": {"label": "actisense", "type": "NMEA2000", "name": 378473, "src": "115", "pgn": 128267},
         "timestamp": "2017-04-03T06:14:04.451Z",
         "values": [{"path": "navigation.courseOverGroundTrue", "value": 3.615624078431453}]},
    ],
}
OLD_RMC = {
    "context": "vessels.366982330.navigation",
    "updates": [{"values": [
        {"path": "position.longitude", "value": 173.1693}, {"path": "position.latitude", "value": -41.156426},
        {"path": "courseOverGroundTrue", "value": 245.69}], "$source": "sources.gps_0183_RMC"}],
}
META = {"context": "vessels.urn:mrn:imo:mmsi:234567890", "updates": [{"timestamp": "2014-08-15T19:02:31.507Z", "meta": [
    {"path": "environment.wind.speedApparent", "value": {"units": "m/s", "displayName": "Apparent Wind Speed"}}]}]}
HELLO = {"name": "foobar marine server", "version": "1.0.4", "timestamp": "2018-06-21T15:09:16.704Z",
         "self": "vessels.urn:mrn:signalk:uuid:c0d79334-4e25-4245-8892-54e8ccc8021d", "roles": ["master", "main"]}


def test_the_data_model_example() -> None:
    text = json.dumps(DATA_MODEL)
    parsed = parse_delta(text, RECEIVED, own="vessels.urn:mrn:imo:mmsi:234567890", clock_may_differ_s=None)
    assert [(r.quantity, r.value, r.when, r.source) for r in parsed.readings] == [
        (Q.GROUND_COURSE_DEG, math.degrees(2.971), parse_utc("2014-08-15T16:00:00.081Z"), "N2000-01 115/128267"),
        (Q.GROUND_SPEED_MS, 3.85, parse_utc("2014-08-15T16:00:00.081Z"), "N2000-01 115/128267"),
    ]
    assert [r.reason for r in parsed.refused] == [Refused.NOT_USED] * 3
    assert own_time(text) == parse_utc("2014-08-15T19:02:31.507Z")


def test_another_boat_in_the_same_stream_is_not_ours() -> None:
    for own in (None, "vessels.urn:mrn:imo:mmsi:111111111", "vessels.urn:mrn:imo:mmsi:2345678"):
        parsed = parse_delta(json.dumps(DATA_MODEL), RECEIVED, own=own)
        assert (parsed.readings, [r.reason for r in parsed.refused]) == ((), [Refused.NOT_OWN_BOAT])


def test_two_sources_of_one_value_stay_apart() -> None:
    stream = SignalK(clock_may_differ_s=None)
    assert stream.feed(json.dumps(HELLO), RECEIVED) == []
    assert stream.own == own_context(json.dumps(HELLO)) == TWO_SOURCES["context"]
    readings = stream.feed(json.dumps(TWO_SOURCES), RECEIVED)
    assert [r.source for r in readings] == ["GPS-1 GP/RMC", "actisense 115/128267"]
    assert [r.value for r in readings] == pytest.approx([207.16] * 2, abs=0.005)


def test_degrees_sent_where_radians_belong_are_refused_and_named() -> None:
    parsed = parse_delta(json.dumps(OLD_RMC), RECEIVED, own="vessels.366982330")
    assert not parsed.readings
    assert [r.reason for r in parsed.refused] == [Refused.NOT_USED, Refused.NOT_USED, Refused.OUT_OF_RANGE]
    assert "perhaps degrees" in parsed.refused[-1].says


def test_meta_and_notifications_are_no_readings() -> None:
    assert parse_delta(json.dumps(META), RECEIVED, own="vessels.urn:mrn:imo:mmsi:234567890").readings == ()
    alarm = {"context": "vessels.self", "updates": [{"values": [
        {"path": "notifications.mob", "value": {"message": "MOB", "state": "emergency", "method": ["visual", "sound"]}}]}]}
    assert [r.reason for r in parse_delta(json.dumps(alarm), RECEIVED).refused] == [Refused.NOT_USED]


@pytest.mark.parametrize(("path", "value", "quantity", "expected"), [
    ("environment.wind.angleApparent", -0.5, Q.APPARENT_ANGLE_DEG, -28.648),  # negative to port
    ("environment.wind.angleTrueWater", 0.5, Q.TRUE_ANGLE_DEG, 28.648),
    ("environment.wind.angleTrueGround", -3.0, Q.GROUND_ANGLE_DEG, -171.887),
    ("environment.wind.directionTrue", 4.712389, Q.TRUE_FROM_DEG, 270.0),
    ("environment.wind.speedTrue", 12.5, Q.TRUE_WIND_MS, 12.5),
    ("environment.wind.speedOverGround", 12.5, Q.GROUND_WIND_MS, 12.5),
    ("environment.wind.speedApparent", 15.4333, Q.APPARENT_WIND_MS, 15.4333),
    ("environment.outside.pressure", 101325, Q.PRESSURE_PA, 101325.0),
    ("navigation.headingTrue", 2.3114, Q.HEADING_DEG, 132.434),
    ("navigation.headingMagnetic", 5.55014702, Q.HEADING_MAGNETIC_DEG, 318.0),
    ("navigation.magneticVariation", -0.261799, Q.VARIATION_DEG, -15.0),
    ("navigation.speedThroughWater", 2.556, Q.WATER_SPEED_MS, 2.556),
])
def test_each_path_in_its_unit(path: str, value: float, quantity: Quantity, expected: float) -> None:
    delta = {"updates": [{"$source": "a", "values": [{"path": path, "value": value}]}]}
    (reading,) = parse_delta(json.dumps(delta), RECEIVED).readings
    assert (reading.quantity, reading.value) == (quantity, pytest.approx(expected, abs=1e-3))


@pytest.mark.parametrize("path", ["navigation.position", "environment.wind.speedTrue", "environment.outside.pressure"])
def test_null_is_missing_and_no_zero(path: str) -> None:
    delta = {"updates": [{"$source": "a", "values": [{"path": path, "value": None}]}]}
    parsed = parse_delta(json.dumps(delta), RECEIVED)
    assert (parsed.readings, [r.reason for r in parsed.refused]) == ((), [Refused.EMPTY])


def test_a_position_is_two_readings_of_one_moment() -> None:
    position = {"altitude": 0.0, "latitude": 37.81479, "longitude": -122.44880152}  # the specification's full example
    delta = {"updates": [{"$source": "ttyUSB0.GP", "timestamp": "2017-05-16T05:15:50.007Z",
                          "values": [{"path": "navigation.position", "value": position}]}]}
    latitude, longitude = parse_delta(json.dumps(delta), RECEIVED, clock_may_differ_s=None).readings
    assert (latitude.quantity, latitude.value, longitude.quantity) == (Q.LATITUDE_DEG, 37.81479, Q.LONGITUDE_DEG)
    assert longitude.value == pytest.approx(-122.44880152, abs=1e-9)
    assert latitude.when == longitude.when == parse_utc("2017-05-16T05:15:50.007Z")
