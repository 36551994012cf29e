"""NMEA 0183 sentences with something odd in them, and further ones worked by hand."""

import pytest

from watch.instruments.nmea0183 import checksum, parse_line
from watch.instruments.readings import DoubtKind, Quantity
from watch.when import parse_utc

Q = Quantity
NOON = parse_utc("2026-05-14T12:00:00Z")


@pytest.mark.parametrize(("body", "kind"), [
    ("WIMWV,045.0,R,22.5,N", DoubtKind.NO_STATUS),
    ("GPGGA,123519,3500.000,N,05000.000,W,6,08,0.9,,M,,M,,", DoubtKind.NOT_A_FIX),
    ("GPRMC,120000,A,3500.000,N,05000.000,W,5.0,080.0,140526,,,S", DoubtKind.NOT_A_FIX),
    ("WIMWD,270.0,T,,M,25.0,N,25.0,M", DoubtKind.UNITS_DISAGREE),
    ("IIXDR,P,1.01,B,ENGINEOIL", DoubtKind.OTHER_TRANSDUCER),
])
def test_an_odd_sentence_gives_doubtful_readings(body: str, kind: DoubtKind) -> None:
    readings = parse_line(f"${body}*{checksum(body)}", NOON).readings
    assert kind in {r.doubtful.kind for r in readings if r.doubtful}


def test_two_units_that_disagree_give_the_larger_wind() -> None:
    body = "WIMWD,270.0,T,,M,25.0,N,25.0,M"
    wind = next(r for r in parse_line(f"${body}*{checksum(body)}", NOON).readings if r.quantity is Q.TRUE_WIND_MS)
    assert wind.value == 25.0


@pytest.mark.parametrize("body", [
    "WIMWV,045.0,R,22.5,N,V", "GPRMC,120000,V,3500.000,N,05000.000,W,5.0,080.0,140526,,,N", "GPGLL,3500.0,N,05000.0,W,120000,V,N",
    "GPGGA,123519,3500.000,N,05000.000,W,0,08,0.9,,M,,M,,", "GPVTG,080.0,T,,M,5.0,N,9.3,K,N", "WIMWV,045.0,R,NaN,N,A",
    "WIMWV,045.0,R,-3.0,N,A", "WIMWV,945.0,R,,N,A", "GPGLL,9100.0,N,05000.0,W,120000,A,A", "GPGLL,3560.0,N,05000.0,W,120000,A,A",
    "HCHDM,361.0,M", "HEHDT,90.0,M", "IIVHW,,T,,M,5.0,K,,K", "WIMWV,,R,5.0,X,A", "IIXDR,P,1013,H,Baro",
])
def test_what_is_not_valid_or_out_of_range_gives_nothing(body: str) -> None:
    parsed = parse_line(f"${body}*{checksum(body)}", NOON)
    assert [r for r in parsed.readings if r.quantity is not Q.APPARENT_ANGLE_DEG] == []
    assert any(r.reason.is_fault for r in parsed.refused)


@pytest.mark.parametrize(("body", "expected"), [
    ("HCHDG,100.0,2.0,E,15.0,W", {Q.VARIATION_DEG: -15.0, Q.HEADING_MAGNETIC_DEG: 102.0, Q.HEADING_DEG: 87.0}),
    ("HCHDG,359.0,,,5.0,E", {Q.VARIATION_DEG: 5.0, Q.HEADING_MAGNETIC_DEG: 359.0, Q.HEADING_DEG: 4.0}),
    ("HCHDG,100.0,,,,", {Q.HEADING_MAGNETIC_DEG: 100.0}),
    ("HCHDM,185.0,M", {Q.HEADING_MAGNETIC_DEG: 185.0}),
    ("IIVWR,75.0,L,,N,10.0,M,,K", {Q.APPARENT_ANGLE_DEG: -75.0, Q.APPARENT_WIND_MS: 10.0}),
    ("WIVWT,110.0,R,,N,,M,36.0,K", {Q.TRUE_ANGLE_DEG: 110.0, Q.TRUE_WIND_MS: 10.0}),
    ("GPVTG,054.7,T,034.4,M,,N,36.0,K", {Q.GROUND_COURSE_DEG: 54.7, Q.GROUND_SPEED_MS: 10.0}),
    ("GPGLL,3330.00,S,15115.00,E,120000,A,A", {Q.LATITUDE_DEG: -33.5, Q.LONGITUDE_DEG: 151.25}),
    ("WIXDR,C,19.5,C,AIR,P,1.0150,B,Baro,H,65,P,HUM", {Q.PRESSURE_PA: 101500.0}),
    ("WIMWV,360.0,R,,N,A", {Q.APPARENT_ANGLE_DEG: 0.0}),
])
def test_further_sentences_worked_by_hand(body: str, expected: dict[Quantity, float]) -> None:
    readings = parse_line(f"${body}*{checksum(body)}", NOON).readings
    assert {r.quantity: r.value for r in readings} == pytest.approx(expected)
