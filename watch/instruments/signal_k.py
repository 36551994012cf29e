"""Signal K delta messages -> the same readings as from NMEA 0183. Hostile or broken input is counted by reason, never raised.

Values are SI: radians, metres a second, pascals; angles from the bow are negative to port (source signalk-1). Only the own boat
counts: other vessels heard by radio arrive in the same stream.
"""

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from watch.instruments.nmea0183 import CLOCK_MAY_DIFFER_S
from watch.instruments.readings import (
    FASTEST_MS,
    HIGHEST_PA,
    LONGEST_SOURCE,
    Doubt,
    Parsed,
    Quantity,
    Reading,
    Refusal,
    Refused,
    Tally,
    bow_deg,
    clock_doubt,
    compass_deg,
    shown,
)
from watch.when import NaiveTimeError, parse_utc

LONGEST_MESSAGE = 1_000_000  # characters; a whole boat's state is some tens of thousands (judgement)
MOST_VALUES = 10_000  # values taken from one message (judgement)
FULL_TURN_RAD = 2.0 * math.pi + 0.01
OWN = "vessels.self"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

SPEEDS = {
    "navigation.speedOverGround": Quantity.GROUND_SPEED_MS,
    "navigation.speedThroughWater": Quantity.WATER_SPEED_MS,
    "environment.wind.speedTrue": Quantity.TRUE_WIND_MS,
    "environment.wind.speedOverGround": Quantity.GROUND_WIND_MS,
    "environment.wind.speedApparent": Quantity.APPARENT_WIND_MS,
}
DIRECTIONS = {
    "navigation.courseOverGroundTrue": Quantity.GROUND_COURSE_DEG,
    "navigation.headingTrue": Quantity.HEADING_DEG,
    "navigation.headingMagnetic": Quantity.HEADING_MAGNETIC_DEG,
    "environment.wind.directionTrue": Quantity.TRUE_FROM_DEG,
    "environment.wind.directionMagnetic": Quantity.TRUE_FROM_MAGNETIC_DEG,
}
FROM_BOW = {
    "navigation.magneticVariation": Quantity.VARIATION_DEG,
    "environment.wind.angleTrueWater": Quantity.TRUE_ANGLE_DEG,
    "environment.wind.angleTrueGround": Quantity.GROUND_ANGLE_DEG,
    "environment.wind.angleApparent": Quantity.APPARENT_ANGLE_DEG,
}
PRESSURE = "environment.outside.pressure"
POSITION = "navigation.position"
USED = {*SPEEDS, *DIRECTIONS, *FROM_BOW, PRESSURE, POSITION}


@dataclass
class _Update:
    """One update in hand: its source and time, and the readings and refusals made of it so far."""

    when: datetime
    received: datetime
    source: str
    doubt: Doubt | None
    readings: list[Reading] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)

    def refuse(self, reason: Refused, says: str) -> None:
        self.refused.append(Refusal(reason, says))

    def add(self, quantity: Quantity, value: float) -> None:
        self.readings.append(Reading(when=self.when, received=self.received, quantity=quantity, value=value, source=self.source,
                                     doubtful=self.doubt))

    def number(self, path: str, value: Any, low: float, high: float, hint: str = "") -> float | None:
        """A JSON number in [low, high]; None is missing; anything else is refused."""
        if value is None:
            self.refuse(Refused.EMPTY, f"{path} is empty")
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
            self.refuse(Refused.NOT_A_NUMBER, f"{path} is {_said(value)}, not a number")
            return None
        if not low <= value <= high:
            self.refuse(Refused.OUT_OF_RANGE, f"{path} is {value:g}, outside {low:.6g} to {high:.6g}{hint}")
            return None
        return float(value)

    def take(self, path: str, value: Any) -> None:
        """One path and its value -> its readings."""
        hint = ": more than a full turn in radians, perhaps degrees"
        if path == POSITION:
            self.take_position(value)
        elif path in SPEEDS:
            speed_ms = self.number(path, value, 0.0, FASTEST_MS)
            if speed_ms is not None:
                self.add(SPEEDS[path], speed_ms)
        elif path in DIRECTIONS or path in FROM_BOW:
            angle_rad = self.number(path, value, -FULL_TURN_RAD, FULL_TURN_RAD, hint)
            if angle_rad is not None and path in DIRECTIONS:
                self.add(DIRECTIONS[path], compass_deg(math.degrees(angle_rad)))
            elif angle_rad is not None:
                self.add(FROM_BOW[path], bow_deg(math.degrees(angle_rad)))
        else:
            pressure_pa = self.number(path, value, 0.0, HIGHEST_PA)
            if pressure_pa is not None:
                self.add(Quantity.PRESSURE_PA, pressure_pa)

    def take_position(self, value: Any) -> None:
        """Latitude and longitude, both or neither."""
        if value is None:
            self.refuse(Refused.EMPTY, f"{POSITION} is empty")
            return
        if not isinstance(value, dict):
            self.refuse(Refused.MALFORMED, f"{POSITION} is {_said(value)}, not a latitude and a longitude")
            return
        latitude = self.number(f"{POSITION}.latitude", value.get("latitude"), -90.0, 90.0)
        longitude = self.number(f"{POSITION}.longitude", value.get("longitude"), -180.0, 360.0)
        if latitude is not None and longitude is not None:
            self.add(Quantity.LATITUDE_DEG, latitude)
            self.add(Quantity.LONGITUDE_DEG, bow_deg(longitude))


def parse_delta(
    message: str | bytes, received: datetime, *, own: str | None = None, clock_may_differ_s: float | None = CLOCK_MAY_DIFFER_S
) -> Parsed:
    """One message -> its readings and what was refused of it. Never raises on what the message holds.

    received: when it came, aware. own: the context of the own boat, like "vessels.urn:mrn:imo:mmsi:234567890", when known; no
    context and "vessels.self" always are the own boat; all other contexts are refused. clock_may_differ_s: as in nmea0183.

    >>> from watch.when import parse_utc
    >>> text = '{"updates": [{"$source": "mast", "values": [{"path": "environment.wind.angleApparent", "value": -0.5}]}]}'
    >>> [(str(r.quantity), round(r.value, 2), r.source) for r in parse_delta(text, parse_utc("2026-05-14T12:00Z")).readings]
    [('apparent_angle_deg', -28.65, 'mast')]
    """
    content, refusal = _as_object(message)
    if refusal is not None:
        return Parsed(refused=(refusal,))
    if "updates" not in content:
        return Parsed(refused=(Refusal(Refused.NOT_USED, f"{shown(message)} is not a delta"),))
    inside, boat = _inside(content.get("context", OWN), own)
    if not boat:
        return Parsed(refused=(Refusal(Refused.NOT_OWN_BOAT, f"{_said(content.get('context'))} is not the own boat"),))
    readings: list[Reading] = []
    refused: list[Refusal] = []
    ahead_s = math.nan
    for update in content["updates"] if isinstance(content["updates"], list) else [None]:
        if not isinstance(update, dict):
            refused.append(Refusal(Refused.MALFORMED, f"{_said(update)} is not an update"))
            continue
        at, own_ahead_s = _start(update, received, clock_may_differ_s)
        for path, value in _values(update, inside, at):
            if len(readings) >= MOST_VALUES:
                at.refuse(Refused.TOO_LONG, f"more than {MOST_VALUES} values in one message")
                break
            at.take(path, value)
        readings.extend(at.readings)
        refused.extend(at.refused)
        ahead_s = own_ahead_s if not math.isnan(own_ahead_s) else ahead_s
    return Parsed(tuple(readings), tuple(refused), ahead_s)


def own_context(message: str | bytes) -> str | None:
    """The greeting of a server names its own boat: that context, or None when the message is no greeting.

    >>> own_context('{"version": "1.0.4", "self": "vessels.urn:mrn:imo:mmsi:234567890", "roles": ["main"]}')
    'vessels.urn:mrn:imo:mmsi:234567890'
    """
    content, refusal = _as_object(message)
    named = content.get("self") if refusal is None and "version" in content else None
    if not isinstance(named, str) or not 0 < len(named) <= 200:
        return None
    return named if named.startswith("vessels.") else f"vessels.{named}"


def own_time(message: str | bytes) -> datetime | None:
    """The latest time with an offset that a delta's updates carry; None when they carry none.

    >>> str(own_time('{"updates": [{"timestamp": "2014-08-15T16:00:00.081Z", "values": []}]}'))
    '2014-08-15 16:00:00.081000+00:00'
    """
    content, refusal = _as_object(message)
    updates = content.get("updates") if refusal is None else None
    found = [_start(update, EPOCH, None) for update in updates if isinstance(update, dict)] if isinstance(updates, list) else []
    return max((at.when for at, ahead_s in found if not math.isnan(ahead_s)), default=None)


def _said(value: Any) -> str:
    """A JSON value for a sentence; what holds other values is only named, however deep it goes."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "a list"
    return shown(value if isinstance(value, str) else repr(value))


def _not_a_number(word: str) -> None:
    raise ValueError(f"{word} is not allowed in JSON")


def _as_object(message: str | bytes) -> tuple[dict[str, Any], Refusal | None]:
    if len(message) > LONGEST_MESSAGE:
        return {}, Refusal(Refused.TOO_LONG, f"a message of {len(message)} characters")
    try:
        content = json.loads(message, parse_constant=_not_a_number)
    except (ValueError, RecursionError):
        return {}, Refusal(Refused.MALFORMED, f"{shown(message)} is not JSON")
    if not isinstance(content, dict):
        return {}, Refusal(Refused.MALFORMED, f"{shown(message)} is not a message")
    return content, None


def _inside(context: Any, own: str | None) -> tuple[str, bool]:
    """A context -> (the path inside the boat that it adds in front, ending in a dot or empty; whether it is the own boat)."""
    if context is None:
        return "", True
    if not isinstance(context, str):
        return "", False
    for boat in (OWN, own):
        if boat and (context == boat or context.startswith(f"{boat}.")):
            rest = context[len(boat) + 1 :]
            return (f"{rest}." if rest else ""), True
    return "", False


def _start(update: dict[str, Any], received: datetime, may_differ_s: float | None) -> tuple[_Update, float]:
    """An update's own time and source; its own time where it has one, else the time received."""
    stamp = update.get("timestamp")
    source = _source(update)
    if stamp is None:
        return _Update(received, received, source, None), math.nan
    try:
        own = parse_utc(stamp if isinstance(stamp, str) else "")
        ahead_s = (own - received).total_seconds()
    except (NaiveTimeError, ValueError, OverflowError):
        at = _Update(received, received, source, None)
        at.refuse(Refused.TIME, f"{_said(stamp)} is no time with an offset from UTC: the time received is used")
        return at, math.nan
    when, doubt = clock_doubt(own, received, may_differ_s)
    return _Update(when, received, source, doubt), ahead_s


def _source(update: dict[str, Any]) -> str:
    """$source as it stands, else the label with talker and sentence, or with address and message number."""
    named = update.get("$source")
    if not isinstance(named, str):
        parts = update.get("source")
        parts = parts if isinstance(parts, dict) else {}
        inner = [str(parts[key]) for key in ("talker", "sentence", "src", "pgn") if isinstance(parts.get(key), str | int)]
        named = " ".join([str(parts.get("label", "unnamed")), "/".join(part[:20] for part in inner)]).strip()
    return shown(named[:LONGEST_SOURCE])[1:-1] or "unnamed"


def _values(update: dict[str, Any], inside: str, at: _Update) -> Iterator[tuple[str, Any]]:
    """The paths we use of an update, with their values."""
    values = update.get("values", [])
    for entry in values if isinstance(values, list) else [None]:
        path = entry.get("path") if isinstance(entry, dict) else None
        if not isinstance(entry, dict) or not isinstance(path, str) or "value" not in entry:
            at.refuse(Refused.MALFORMED, f"{_said(entry)} is not a path and a value")
        elif inside + path in USED:
            yield inside + path, entry["value"]
        else:
            at.refuse(Refused.NOT_USED, f"{shown(inside + path)} is not needed here")


class SignalK:
    """A stream of Signal K: fed with whole messages, gives readings, counts the rest; learns the own boat from the greeting.

    >>> from watch.when import parse_utc
    >>> SignalK().feed("[]", parse_utc("2026-05-14T12:00Z"))
    []
    """

    def __init__(self, *, own: str | None = None, clock_may_differ_s: float | None = CLOCK_MAY_DIFFER_S) -> None:
        self.tally = Tally()
        self.clock_ahead_s = math.nan
        self.own = own
        self._may_differ_s = clock_may_differ_s

    def feed(self, message: str | bytes, received: datetime) -> list[Reading]:
        """One message and the time it came -> its readings."""
        if self.own is None:
            self.own = own_context(message)
        parsed = parse_delta(message, received, own=self.own, clock_may_differ_s=self._may_differ_s)
        self.tally.note(parsed)
        if not math.isnan(parsed.clock_ahead_s):
            self.clock_ahead_s = parsed.clock_ahead_s
        return list(parsed.readings)
