"""NMEA 0183 alert sentences (IEC 61162-1): ALF, ALC, ARC, ACN and HBT, written and read. Source: alf-1."""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from watch.alerts.situation import Priority
from watch.alerts.states import State
from watch.when import utc

LONGEST = 82  # characters of a sentence from $ to the line feed
RESERVED = frozenset("\r\n$*,!\\^~\x7f")
STATE_LETTERS = {
    State.UNACKNOWLEDGED: "V", State.SILENCED: "S", State.ACKNOWLEDGED: "A", State.ACTIVE: "A", State.RECTIFIED: "U",
    State.NORMAL: "N",
}
PRIORITY_LETTERS = {Priority.EMERGENCY_ALARM: "E", Priority.ALARM: "A", Priority.WARNING: "W", Priority.CAUTION: "C"}
COMMANDS = {"A": "acknowledge", "Q": "repeat", "O": "transfer", "S": "silence"}
CUT = ".."  # what stands where a text was too long


@dataclass(frozen=True)
class Sentence:
    """A sentence that was read: who talks, which kind, and its fields as they stood."""

    talker: str
    kind: str
    fields: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AlertName:
    """How sentences name an alert: maker's three letters or nothing, identifier, instance."""

    identifier: int
    instance: int | None
    maker: str = ""

    @property
    def fields(self) -> tuple[str, str, str]:
        return self.maker, str(self.identifier), "" if self.instance is None else str(self.instance)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What an ALF says: the alert, when it last changed, category, priority, state, revision, escalation and text."""

    name: AlertName
    changed_at: datetime
    priority: Priority
    state: State
    revision: int
    escalation: int
    title: str
    text: str = ""
    category: str = "B"


@dataclass(frozen=True, kw_only=True)
class Command:
    """What an ACN asks: 'acknowledge', 'silence', 'repeat' or 'transfer' of one alert."""

    deed: str
    letter: str
    name: AlertName
    time: str


def checksum(body: str) -> str:
    """What stands between $ and * -> its checksum, two hexadecimal digits.

    >>> checksum("IIHBT,30.0,A,1")
    '1F'
    """
    value = 0
    for byte in body.encode("ascii"):
        value ^= byte
    return f"{value:02X}"


def write(talker: str, kind: str, fields: Sequence[str]) -> str:
    """A talker, a kind and fields already encoded -> the sentence with checksum and line end."""
    body = ",".join([talker + kind, *fields])
    return f"${body}*{checksum(body)}\r\n"


def read(line: str) -> Sentence:
    """A line -> the sentence. Raises ValueError, in a sentence of words, when it is none or its checksum is wrong."""
    match = re.fullmatch(r"\$([A-Z0-9]{2})([A-Z]{3})((?:,[^*$]*)?)\*([0-9A-Fa-f]{2})", line.strip())
    if not match or not line.isascii():
        raise ValueError("this is no sentence of an instrument: $ talker kind , fields * checksum")
    talker, kind, rest, given = match.groups()
    if checksum(talker + kind + rest) != given.upper():
        raise ValueError(f"the checksum of this {kind} sentence is wrong: it was garbled on the way")
    return Sentence(talker, kind, tuple(rest.split(",")[1:]))


def encode_text(text: str) -> str:
    """Text -> letters a sentence may hold: accents dropped, reserved characters as ^ and two hexadecimal digits.

    >>> encode_text("50% * gale, né 3")
    '50% ^2A gale^2C ne 3'
    """
    flat = unicodedata.normalize("NFKD", text)
    plain = "".join(_plain(c) for c in flat if not unicodedata.combining(c))
    return "".join(f"^{ord(c):02X}" if c in RESERVED or ord(c) < 0x20 else c for c in plain)


def _plain(char: str) -> str:
    if char.isascii():
        return char
    return "-" if unicodedata.category(char) == "Pd" else "?"


def decode_text(field: str) -> str:
    """A field as it stood -> the text.

    >>> decode_text("50% ^2A gale^2C")
    '50% * gale,'
    """
    return re.sub(r"\^([0-9A-Fa-f]{2})", lambda m: chr(int(m[1], 16)), field)


def fitted(text: str, most: int) -> str:
    """Text -> encoded, at most `most` characters, cut with two dots where it is too long; an encoded character is never cut."""
    whole = encode_text(text)
    if len(whole) <= most:
        return whole
    pieces = re.findall(r"\^[0-9A-F]{2}|.", whole, flags=re.DOTALL)
    out = ""
    for piece in pieces:
        if len(out) + len(piece) > most - len(CUT):
            break
        out += piece
    return out.rstrip() + CUT


def clock(instant: datetime) -> str:
    """An aware instant -> hhmmss.ss in UTC.

    >>> from watch.when import parse_utc
    >>> clock(parse_utc("2026-05-14T12:43:04.50Z"))
    '124304.50'
    """
    instant = utc(instant)
    return f"{instant:%H%M%S}.{instant.microsecond // 10_000:02d}"


def alf(standing: Standing, sequence: int, talker: str = "II") -> list[str]:
    """How an alert stands -> one ALF, or two when it has a text beside its title. sequence 0 to 9."""
    count = 2 if standing.text.strip() else 1
    counters = [_from_1_to_99(standing.revision), str(min(standing.escalation, 9))]
    first = [
        str(count), "1", str(sequence % 10), clock(standing.changed_at), standing.category, PRIORITY_LETTERS[standing.priority],
        STATE_LETTERS[standing.state], *standing.name.fields, *counters,
    ]
    lines = [_with_text(talker, first, standing.title)]
    if count == 2:
        second = ["2", "2", str(sequence % 10), "", "", "", "", *standing.name.fields, *counters]
        lines.append(_with_text(talker, second, " ".join(standing.text.split())))
    return lines


def _with_text(talker: str, fields: list[str], text: str) -> str:
    room = LONGEST - len(write(talker, "ALF", [*fields, ""]))
    return write(talker, "ALF", [*fields, fitted(text, room)])


def _from_1_to_99(revision: int) -> str:
    return str((revision - 1) % 99 + 1)


def alc(entries: Sequence[tuple[AlertName, int]], sequence: int, talker: str = "II") -> list[str]:
    """All alerts that stand with their revisions -> ALC sentences; an entry is never split. sequence 0 to 99."""
    packs: list[list[str]] = [[]]
    counts = [0]
    for name, revision in entries:
        entry = [*name.fields, _from_1_to_99(revision)]
        if counts[-1] and len(write(talker, "ALC", ["01", "01", "00", "01", *packs[-1], *entry])) > LONGEST:
            packs.append([])
            counts.append(0)
        packs[-1] += entry
        counts[-1] += 1
    packs, counts = packs[:99], counts[:99]
    head = f"{len(packs):02d}"
    return [
        write(talker, "ALC", [head, f"{i:02d}", f"{sequence % 100:02d}", f"{count:02d}", *pack])
        for i, (pack, count) in enumerate(zip(packs, counts, strict=True), start=1)
    ]


def hbt(interval_s: float, *, working: bool, sequence: int, talker: str = "II") -> str:
    """The heartbeat: how often it comes, whether all works, a number from 0 to 9 that counts on."""
    return write(talker, "HBT", [f"{interval_s:.1f}", "A" if working else "V", str(sequence % 10)])


def arc(time: str, name: AlertName, letter: str, talker: str = "II") -> str:
    """A command that is refused: when (see clock(), or as the command had it), which alert, which command."""
    return write(talker, "ARC", [time, *name.fields, letter])


def acn(at: datetime, name: AlertName, letter: str, talker: str = "II") -> str:
    """A command to an alert: A acknowledge, S silence, Q repeat, O transfer."""
    return write(talker, "ACN", [clock(at), *name.fields, letter, "C"])


def command(sentence: Sentence) -> Command | None:
    """A sentence -> the command it gives, None when it gives none. Raises ValueError when an ACN is malformed."""
    if sentence.kind != "ACN":
        return None
    if len(sentence.fields) != 6:
        raise ValueError(f"an ACN sentence has 6 fields, this one {len(sentence.fields)}")
    time, maker, identifier, instance, letter, flag = sentence.fields
    if flag != "C":
        return None  # a report, not a command
    if letter not in COMMANDS or not identifier.isdecimal() or not (instance == "" or instance.isdecimal()):
        raise ValueError("this ACN sentence names no alert or no command that there is")
    name = AlertName(maker=maker, identifier=int(identifier), instance=int(instance) if instance else None)
    return Command(deed=COMMANDS[letter], letter=letter, name=name, time=time)
