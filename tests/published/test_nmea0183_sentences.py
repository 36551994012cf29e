"""Sentences printed by others, with their checksums, and what they say."""

import math

import pytest

from watch.instruments.nmea0183 import Nmea0183, checksum, own_time, parse_line
from watch.instruments.readings import DoubtKind, Quantity, Refused
from watch.when import parse_utc

Q = Quantity
KN = 1852.0 / 3600.0
RECEIVED = parse_utc("2026-05-14T12:00:00Z")
PRINTED = {
    "$WIMWV,214.8,R,0.1,K,A*28": {Q.APPARENT_ANGLE_DEG: -145.2, Q.APPARENT_WIND_MS: 0.1 / 3.6},
    "$IIMWV,045.0,R,22.5,N,A*09": {Q.APPARENT_ANGLE_DEG: 45.0, Q.APPARENT_WIND_MS: 22.5 * KN},
    "$IIMWV,060.0,T,18.0,N,A*04": {Q.TRUE_ANGLE_DEG: 60.0, Q.TRUE_WIND_MS: 18.0 * KN},
    "$WIMWD,270.0,T,265.0,M,25.0,N,12.9,M*53": {
        Q.TRUE_FROM_DEG: 270.0, Q.TRUE_FROM_MAGNETIC_DEG: 265.0, Q.TRUE_WIND_MS: 25.0 * KN},
    "$WIMWD,,T,,M,,N,,M*5A": {},
    "$IIVHW,245.1,T,245.1,M,006.0,N,011.1,K*52": {
        Q.HEADING_DEG: 245.1, Q.HEADING_MAGNETIC_DEG: 245.1, Q.WATER_SPEED_MS: 6.0 * KN},
    "$WIMDA,29.9900,I,1.0156,B,18.3,C,,,65.2,,11.6,C,270.0,T,265.0,M,25.0,N,12.9,M*65": {
        Q.PRESSURE_PA: 101560.0, Q.TRUE_FROM_DEG: 270.0, Q.TRUE_FROM_MAGNETIC_DEG: 265.0, Q.TRUE_WIND_MS: 25.0 * KN},
    "$IIXDR,P,1.01325,B,BARO*68": {Q.PRESSURE_PA: 101325.0},
    "$IIXDR,P,101325,P,BARO*54": {Q.PRESSURE_PA: 101325.0},
}


@pytest.mark.source("nmea-mwv-1")
@pytest.mark.parametrize("line", PRINTED)
def test_each_printed_sentence_says_what_it_is_printed_to_say(line: str) -> None:
    parsed = parse_line(line, RECEIVED)
    assert {r.quantity: r.value for r in parsed.readings} == pytest.approx(PRINTED[line], abs=1e-6)
    source = f"{line[1:3]}/{line[3:6]}"
    assert all(r.doubtful is None and r.when == RECEIVED and r.source.startswith(source) for r in parsed.readings)
    assert [r.reason for r in parsed.refused] == ([] if PRINTED[line] else [Refused.EMPTY])


@pytest.mark.source("nmea-mwv-1")
@pytest.mark.parametrize("line", [*PRINTED, "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"])
def test_a_changed_character_is_caught_by_the_checksum(line: str) -> None:
    place = line.index(",") + 1
    garbled = line[:place] + chr(ord(line[place]) ^ 1) + line[place + 1 :]
    parsed = parse_line(garbled, RECEIVED)
    assert not parsed.readings
    assert [r.reason for r in parsed.refused] == [Refused.CHECKSUM]


@pytest.mark.source("nmea-mwv-1")
@pytest.mark.parametrize(("unit", "speed_ms"), [("K", 36.0 / 3.6), ("M", 36.0), ("N", 36.0 * KN), ("S", 36.0 * 0.44704)])
def test_the_four_units_of_the_wind_sentence(unit: str, speed_ms: float) -> None:
    body = f"WIMWV,010.0,R,36.0,{unit},A"
    (wind,) = [r for r in parse_line(f"${body}*{checksum(body)}", RECEIVED).readings if r.quantity is Q.APPARENT_WIND_MS]
    assert wind.value == pytest.approx(speed_ms, rel=1e-9)


@pytest.mark.source("nmea-rmc-1")
def test_the_fix_of_march_1994_carries_its_own_date() -> None:
    received = parse_utc("1994-03-23T12:35:20Z")
    parsed = parse_line("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", received)
    assert {r.quantity: r.value for r in parsed.readings} == pytest.approx({
        Q.LATITUDE_DEG: 48.1173, Q.LONGITUDE_DEG: 11.516667, Q.GROUND_SPEED_MS: 22.4 * KN, Q.GROUND_COURSE_DEG: 84.4,
        Q.VARIATION_DEG: -3.1}, abs=1e-5)
    assert {r.when for r in parsed.readings} == {parse_utc("1994-03-23T12:35:19Z")}
    assert parsed.clock_ahead_s == -1.0


@pytest.mark.source("nmea-rmc-1")
def test_a_fix_without_a_date_takes_the_time_received() -> None:
    parsed = parse_line("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", RECEIVED)
    assert [(r.quantity, round(r.value, 4), r.when) for r in parsed.readings] == [
        (Q.LATITUDE_DEG, 48.1173, RECEIVED), (Q.LONGITUDE_DEG, 11.5167, RECEIVED)]
    assert math.isnan(parsed.clock_ahead_s)


@pytest.mark.source("signalk-rmc-1")
def test_a_fix_in_the_south_pacific() -> None:
    line = "$GPRMC,061404.000,A,4117.6201,S,17314.8224,E,0.38,354.82,030417,,*11"
    parsed = parse_line(line, parse_utc("2017-04-03T06:14:04.451Z"))
    assert {r.quantity: r.value for r in parsed.readings} == pytest.approx({
        Q.LATITUDE_DEG: -(41 + 17.6201 / 60), Q.LONGITUDE_DEG: 173 + 14.8224 / 60, Q.GROUND_SPEED_MS: 0.38 * KN,
        Q.GROUND_COURSE_DEG: 354.82}, abs=1e-9)
    assert {r.when for r in parsed.readings} == {parse_utc("2017-04-03T06:14:04Z")}


@pytest.mark.source("nmea-tag-1")
def test_a_tag_block_is_taken_off_and_its_time_used() -> None:
    tag = "\\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\"
    assert checksum(tag[1:-4]) == "4A"
    parsed = parse_line(tag + "$IIMWV,045.0,R,22.5,N,A*09", parse_utc("2009-05-05T17:20:36Z"))
    assert {r.when for r in parsed.readings} == {parse_utc("2009-05-05T17:20:35Z")}  # 1241544035 s after 1970
    assert own_time(tag + "!AIVDM,1,1,,B,15N4cJ`005Jrek0H@9n`DW5608EP,0*13") == parse_utc("2009-05-05T17:20:35Z")


@pytest.mark.source("nmea-tag-2")
def test_a_tag_block_with_a_wrong_checksum_is_taken_off_and_not_believed() -> None:
    (heading,) = parse_line("\\s:HE0002,c:1474107266,n:5*20\\$HEHDT,119.9,T*2F", RECEIVED).readings
    assert (heading.quantity, heading.value, heading.when) == (Q.HEADING_DEG, 119.9, RECEIVED)


@pytest.mark.source("gps-week-1")
@pytest.mark.parametrize("weeks", [1, 2])
def test_a_date_1024_weeks_back_is_known_for_what_it_is(weeks: int) -> None:
    received = parse_utc("2026-05-17T12:00:01Z")
    date = {1: "011006", 2: "150287"}[weeks]  # 7168 and 14336 days before 17 May 2026
    body = f"GPRMC,120000,A,3500.000,N,05000.000,W,5.0,080.0,{date},,,A"
    parsed = parse_line(f"${body}*{checksum(body)}", received)
    assert {r.when for r in parsed.readings} == {received}
    assert {r.doubtful.kind for r in parsed.readings if r.doubtful} == {DoubtKind.CLOCK}
    assert f"{1024 * weeks} weeks" in str(parsed.readings[0].doubtful)


@pytest.mark.source("nmea-inhg-1")
def test_inches_of_mercury_where_there_are_no_bars() -> None:
    body = "WIMDA,29.9213,I,,B,,C,,,,,,C,,T,,M,,N,,M"
    (glass,) = parse_line(f"${body}*{checksum(body)}", RECEIVED).readings
    assert glass.value == pytest.approx(101325.0, abs=1.0)  # the standard atmosphere in both units


@pytest.mark.source("nmea-mwv-1")
def test_all_of_it_as_one_stream_in_odd_pieces() -> None:
    stream = "\r\n".join(PRINTED).encode() + b"\r\n"
    whole, pieces = Nmea0183(), Nmea0183()
    once = whole.feed(stream, RECEIVED)
    bit_by_bit = [r for at in range(0, len(stream), 7) for r in pieces.feed(stream[at : at + 7], RECEIVED)]
    assert once == bit_by_bit
    assert len(once) == sum(map(len, PRINTED.values()))
    assert (whole.tally.readings, whole.tally.faults, whole.tally.counts[Refused.EMPTY]) == (len(once), 0, 1)
