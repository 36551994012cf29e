"""NMEA 0183: bytes as they come from a wire or a file -> readings. Hostile or broken input is counted by reason, never raised.

A line: perhaps a tag block between backslashes, then $ or !, two letters for the talker, three for the sentence, fields between
commas, and *hh, the exclusive or of all between the start and the star. Sources: nmea-mwv-1, nmea-tag-1, signalk-rmc-1.
"""

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import reduce

from watch.instruments.readings import Doubt, DoubtKind, Parsed, Reading, Refusal, Refused, Tally, clock_doubt, shown
from watch.instruments.sentences import READERS, Sentence, layout

LONGEST_LINE = 1024  # the standard has 82 and a tag block; room for careless senders (judgement)
CLOCK_MAY_DIFFER_S = 60.0  # judgement: far above the delay of any wire, far below what spoils a ten-minute mean
FIRST_YEAR = 1980  # satellite time began in 1980: two-digit years 80 to 99 are before 2000
BODY = re.compile(r"([A-Z][A-Z0-9])([A-Z]{3}),([^*]*)(?:\*([0-9A-Fa-f]{2}))?\s*")
CLOCK = re.compile(r"([01]\d|2[0-3])([0-5]\d)([0-5]\d|60)(\.\d{1,9})?")
TAG_TIME = re.compile(r"(?:^|,)c:(\d{9,13})(?=,|$)")
LATEST_TAG_S = 4102444800  # 2100-01-01: a longer number is in milliseconds
NO_CHECKSUM = Doubt(DoubtKind.NO_CHECKSUM, "the line has no checksum: what it says may have been garbled on the way")


def checksum(body: str) -> str:
    """The exclusive or of the characters between the start and the star, as two hexadecimal digits.

    >>> checksum("WIMWV,214.8,R,0.1,K,A")
    '28'
    """
    return f"{reduce(lambda code, character: code ^ ord(character), body, 0) & 0xFF:02X}"


def sentence(body: str, tag: str = "") -> str:
    """The body of a sentence -> the whole line with its checksum and line end; with a tag block when one is given.

    >>> sentence("HEHDT,119.9,T")
    '$HEHDT,119.9,T*2F\\r\\n'
    """
    block = f"\\{tag}*{checksum(tag)}\\" if tag else ""
    return f"{block}${body}*{checksum(body)}\r\n"


def parse_line(line: bytes | str, received: datetime, *, clock_may_differ_s: float | None = CLOCK_MAY_DIFFER_S) -> Parsed:
    """One line -> its readings and what was refused of it. Never raises on what the line holds.

    received: when it came, aware. clock_may_differ_s: how far the line's own date and time may be from it before the readings
    are doubted [s]; None for a recording, whose own time is the only one.

    >>> from watch.when import parse_utc
    >>> parsed = parse_line("$IIMWV,045.0,R,22.5,N,A*09", parse_utc("2026-05-14T12:00Z"))
    >>> [(str(r.quantity), round(r.value, 3), r.source) for r in parsed.readings]
    [('apparent_wind_ms', 11.575, 'II/MWV'), ('apparent_angle_deg', 45.0, 'II/MWV')]
    """
    text, refusal = _as_text(line)
    if refusal is not None:
        return Parsed(refused=(refusal,))
    tag_time, text = _take_tag(text)
    start = max(text.rfind("$"), text.rfind("!"))
    if start < 0:
        return _refused(Refused.NO_START, f"no $ in {shown(text)}")
    match = BODY.fullmatch(text, start + 1)
    if match is None:
        return _refused(*_odd_form(text[start:]))
    talker, kind, data, said = match.groups()
    if said is not None and said.upper() != checksum(f"{talker}{kind},{data}"):
        return _refused(Refused.CHECKSUM, f"the checksum of {shown(text[start:])} should be {checksum(f'{talker}{kind},{data}')}")
    if said is None and start > 0:
        return _refused(Refused.MALFORMED, f"{shown(text)} has no checksum and does not begin with $")
    reader = READERS.get(kind)
    if reader is None or text[start] == "!":
        return _refused(Refused.NOT_USED, f"{talker}{kind} is not needed here")
    own, fault = _own_time(kind, data.split(","), tag_time)
    when, doubt = clock_doubt(own, received, clock_may_differ_s) if own else (received, None)
    at = Sentence(talker, kind, data.split(","), when, received, doubt or (NO_CHECKSUM if said is None else None))
    if fault:
        at.refuse(Refused.TIME, fault)
    reader(at)
    if not at.readings and not at.refused:
        at.refuse(Refused.EMPTY, "all its fields are empty")
    ahead_s = (own - received).total_seconds() if own else math.nan
    return Parsed(tuple(at.readings), tuple(at.refused), ahead_s)


def own_time(line: bytes | str, near: datetime | None = None) -> datetime | None:
    """The line's own UTC: from its tag block or an RMC date; with `near`, also from a time of day without a date (RMC, GGA, GLL),
    taken within twelve hours of it. None when it has none, or when its checksum is wrong.

    >>> str(own_time("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"))
    '1994-03-23 12:35:19+00:00'
    """
    text, refusal = _as_text(line)
    if refusal is not None:
        return None
    tag_time, text = _take_tag(text)
    if tag_time is not None:
        return tag_time
    match = BODY.fullmatch(text, max(text.rfind("$"), 0) + 1)
    if match is None or (match[4] is not None and match[4].upper() != checksum(f"{match[1]}{match[2]},{match[3]}")):
        return None
    fields = match[3].split(",")
    own, _ = _own_time(match[2], fields, None)
    if own is not None or near is None or match[2] not in ("RMC", "GGA", "GLL"):
        return own
    of_day = _time_of_day(_field(match[2], fields, "timestamp"))
    if of_day is None:
        return None
    midnight = near.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return min((midnight + timedelta(days=d) + of_day for d in (-1, 0, 1)), key=lambda moment: abs(moment - near))


def _refused(reason: Refused, says: str) -> Parsed:
    return Parsed(refused=(Refusal(reason, says),))


def _as_text(line: bytes | str) -> tuple[str, Refusal | None]:
    if len(line) > LONGEST_LINE:
        return "", Refusal(Refused.TOO_LONG, f"a line of more than {LONGEST_LINE} characters, starting {shown(line)}")
    try:
        text = line.decode("ascii") if isinstance(line, bytes) else line.encode("ascii").decode("ascii")
    except UnicodeError:
        return "", Refusal(Refused.NOT_TEXT, f"{shown(line)} is not plain text")
    if any(character < " " and character not in "\t\r\n" for character in text):
        return "", Refusal(Refused.NOT_TEXT, f"{shown(line)} is not plain text")
    return text.strip(), None


def _take_tag(text: str) -> tuple[datetime | None, str]:
    """Text that may begin with a tag block -> (the time in it when its checksum is right, the text without it)."""
    if not text.startswith("\\"):
        return None, text
    block, closed, rest = text[1:].partition("\\")
    if not closed:
        return None, text
    inside, _, said = block.partition("*")
    found = TAG_TIME.search(inside)
    if found is None or said.upper() != checksum(inside):
        return None, rest
    number = int(found[1])
    seconds = number / 1000.0 if number > LATEST_TAG_S else float(number)
    return datetime.fromtimestamp(seconds, UTC), rest


def _odd_form(text: str) -> tuple[Refused, str]:
    """Why this text, which begins with $ or !, is not a sentence we read."""
    if text.startswith("!") or text[1:2] == "P" or re.match(r"\$[A-Z]{4}Q,", text):
        return Refused.NOT_USED, f"{shown(text)} is not needed here"
    if "*" in text:
        return Refused.CHECKSUM, f"{shown(text)} has no two hexadecimal digits after its star"
    return Refused.MALFORMED, f"{shown(text)} is no sentence"


def _field(kind: str, fields: list[str], name: str) -> str:
    place = (layout(kind) or {}).get(name)
    return fields[place].strip() if place is not None and place < len(fields) else ""


def _time_of_day(text: str) -> timedelta | None:
    match = CLOCK.fullmatch(text)
    if match is None:
        return None
    return timedelta(hours=int(match[1]), minutes=int(match[2]), seconds=int(match[3]) + float(match[4] or 0))


def _own_time(kind: str, fields: list[str], tag_time: datetime | None) -> tuple[datetime | None, str]:
    """A sentence's own UTC where it carries a date, else the tag block's; and what was wrong with its date, if anything.

    A receiver without a fix may send any date: it is not believed.
    """
    if kind != "RMC" or _field(kind, fields, "status").upper() == "V":
        return tag_time, ""
    date, of_day = _field(kind, fields, "datestamp"), _time_of_day(_field(kind, fields, "timestamp"))
    if not date:
        return tag_time, ""
    if of_day is None or not re.fullmatch(r"\d{6}", date):
        given = shown(f"{date} {_field(kind, fields, 'timestamp')}")
        return tag_time, f"{given} is no date and time: the time received is used"
    year = int(date[4:]) + (1900 if int(date[4:]) >= FIRST_YEAR - 1900 else 2000)
    try:
        return datetime(year, int(date[2:4]), int(date[:2]), tzinfo=UTC) + of_day, ""
    except ValueError:
        return tag_time, f"{shown(date)} is no date: the time received is used"


@dataclass
class Lines:
    """Bytes in pieces -> whole lines. Holds at most one line; a longer one is skipped to its end and comes out once, cut."""

    held: bytes = b""
    skipping: bool = False

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that these bytes complete, without their ends.

        >>> lines = Lines()
        >>> lines.feed(b"$GPG"), lines.feed(b"GA,*00" + bytes([13, 10]) + b"$")
        ([], [b'$GPGGA,*00'])
        """
        pieces = re.split(rb"[\r\n]+", data)
        done = []
        for piece in pieces[:-1]:
            if not self.skipping:
                done.append((self.held + piece[: LONGEST_LINE + 1])[: LONGEST_LINE + 1])
            self.held, self.skipping = b"", False
        if not self.skipping:
            self.held += pieces[-1][: LONGEST_LINE + 1]
            if len(self.held) > LONGEST_LINE:
                done.append(self.held[: LONGEST_LINE + 1])
                self.held, self.skipping = b"", True
        return [line for line in done if line.strip()]


class Nmea0183:
    """A stream of NMEA 0183: fed with bytes as they come, gives readings, counts the rest. Memory is bounded by one line.

    >>> from watch.when import parse_utc
    >>> reader = Nmea0183()
    >>> reader.feed(b"$WIMWD,,T,,M,,N,,M*5A" + bytes([13, 10]), parse_utc("2026-05-14T12:00Z")), str(list(reader.tally.counts)[0])
    ([], 'empty')
    """

    def __init__(self, *, clock_may_differ_s: float | None = CLOCK_MAY_DIFFER_S) -> None:
        self.tally = Tally()
        self.clock_ahead_s = math.nan  # of the instruments' clock over ours, from the latest line that carried a date
        self._may_differ_s = clock_may_differ_s
        self._lines = Lines()

    def feed(self, data: bytes, received: datetime) -> list[Reading]:
        """Bytes and the time they came -> the readings of the lines they complete, in order."""
        readings: list[Reading] = []
        for line in self._lines.feed(data):
            parsed = parse_line(line, received, clock_may_differ_s=self._may_differ_s)
            self.tally.note(parsed)
            readings.extend(parsed.readings)
            if not math.isnan(parsed.clock_ahead_s):
                self.clock_ahead_s = parsed.clock_ahead_s
        return readings
