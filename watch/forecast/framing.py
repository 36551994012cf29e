"""Where each GRIB message in a run of bytes begins and ends, by the lengths that the messages declare; nothing is decoded."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from mmap import mmap

ReadAt = Callable[[int, int], bytes]  # (offset, count) -> up to count bytes from there; fewer only at the end

BEGIN, END = b"GRIB", b"7777"
PADDING = b"\0\r\n "
BULLETIN_BYTES = 200  # a telecommunication header or trailer round a message may be this long
EMPTY_TAIL_BYTES = 1 << 16  # more empty bytes than this at the end: room set aside for what is still to come
BLOCK = 1 << 16
SHORTEST = {1: 8 + 28 + 4, 2: 16 + 21 + 4}  # indicator, one identification section, end mark
LARGE = 0x800000  # edition 1: the length is in units of 120 bytes
UNIT_BYTES = 120


class State(StrEnum):
    """What a run of bytes is."""

    WHOLE = "whole"  # one message or more, each with its end mark where its length says
    CUT = "cut"  # the bytes end inside a message, or more is plainly still to come
    DAMAGED = "damaged"  # a length or an end mark is wrong, or other bytes stand between messages
    FOREIGN = "foreign"  # no message begins here
    EMPTY = "empty"


@dataclass(frozen=True, kw_only=True)
class Framing:
    """starts, lengths: bytes, of the messages known to be whole, in order. at: the byte where the walk ended. why: for a person."""

    state: State
    starts: tuple[int, ...]
    lengths: tuple[int, ...]
    at: int
    why: str = ""

    @property
    def fault(self) -> str | None:
        """None when whole, else a sentence's end: what is wrong, and how much before it is sound."""
        if self.state == State.WHOLE:
            return None
        sound = f" ({len(self.starts)} whole messages come before)" if self.starts else ""
        return self.why + sound


def walk(data: bytes | bytearray | memoryview | mmap) -> Framing:
    """The messages of bytes in memory. Padding and short bulletin lines between them are passed over.

    >>> walk(b"GRIB" + bytes(3) + b"\\x02" + (41).to_bytes(8, "big") + bytes(21) + b"7777").lengths
    (41,)
    >>> walk(b"GRIB" + bytes(3)).state.value
    'cut'
    """
    return walk_by(lambda at, count: bytes(data[at : at + count]), len(data))


def walk_by(read_at: ReadAt, size: int) -> Framing:
    """The same, by a reader of a few bytes here and there: two short reads a message, whatever its length.

    size: bytes in all, none beyond is looked at. Nothing is mapped into memory: a file that shrinks meanwhile reads as cut.
    """
    return _walked(lambda at, count: read_at(at, max(0, min(count, size - at))), size)


def _walked(read_at: ReadAt, size: int) -> Framing:
    starts: list[int] = []
    lengths: list[int] = []
    at = 0

    def ended(state: State, why: str = "") -> Framing:
        return Framing(state=state, starts=tuple(starts), lengths=tuple(lengths), at=at, why=why)

    if size == 0:
        return ended(State.EMPTY, "is empty")
    while True:
        start = _next(read_at, size, at)
        if start is None:
            return ended(*_strange(read_at, size, at, bool(starts)))
        if start >= size:
            break
        at = start
        length = declared_length(read_at, start)
        number = len(starts) + 1
        if length is None or start + length > size:
            return ended(State.CUT, f"is not whole: it ends inside message {number}, at byte {size}")
        if length <= 0 or read_at(start + length - len(END), len(END)) != END:
            return ended(State.DAMAGED, f"is damaged: message {number} at byte {start} does not end where its length says")
        starts.append(start)
        lengths.append(length)
        at = start + length
    if _still_to_come(read_at, size, at):
        so_far = f"after {len(starts)} messages it goes on as if more were to come" if starts else "no message has arrived yet"
        return ended(State.CUT, f"is not whole: {so_far}")
    return ended(State.WHOLE)


def declared_length(read_at: ReadAt, start: int) -> int | None:
    """Bytes of the message that begins at `start`, as it says itself; None when too few bytes are there to tell; 0 when senseless.

    Edition 1 holds long messages in units of 120 bytes, less what its data section then gives as its own length: source grib-large-1.
    """
    head = read_at(start, 16)
    if len(head) < 16:
        return None
    edition = head[7]
    if edition not in SHORTEST or not head.startswith(BEGIN):
        return 0
    length = int.from_bytes(head[8:16], "big") if edition == 2 else int.from_bytes(head[4:7], "big")
    if edition == 1 and length & LARGE:
        large = _large_length(read_at, start, head, length)
        if large is None:
            return None
        length = large
    return length if length >= SHORTEST[edition] else 0


def _large_length(read_at: ReadAt, start: int, head: bytes, length: int) -> int | None:
    at = 8 + int.from_bytes(head[8:11], "big")
    flags = head[15]
    for present in (flags & 0x80, flags & 0x40):  # grid section, bitmap section
        if present:
            three = read_at(start + at, 3)
            if len(three) < 3:
                return None
            at += int.from_bytes(three, "big")
    three = read_at(start + at, 3)
    if len(three) < 3:
        return None
    data_bytes = int.from_bytes(three, "big")
    return (length & ~LARGE) * UNIT_BYTES - data_bytes + len(END) if data_bytes < UNIT_BYTES else length


def _next(read_at: ReadAt, size: int, begin: int) -> int | None:
    """Where the next message begins; size when only padding or a short trailer is left; None when other bytes stand here."""
    at = begin
    if read_at(at, 4) == BEGIN:
        return at
    while at < size:
        block = read_at(at, BLOCK)
        if not block:
            return size
        lead = len(block) - len(block.lstrip(PADDING))
        at += lead
        if lead < len(block):
            head = read_at(at, BULLETIN_BYTES + len(BEGIN))
            found = head.find(BEGIN)
            if found >= 0 and not is_page(head):
                return at + found
            trailer = begin > 0 or _breaks_off(head)
            return size if trailer and size - at <= BULLETIN_BYTES and not is_page(head) else None
    return size


def _breaks_off(tail: bytes) -> bool:
    """True when bytes end inside the word that begins a message."""
    return any(tail.endswith(BEGIN[:count]) for count in (1, 2, 3))


def _strange(read_at: ReadAt, size: int, at: int, after: bool) -> tuple[State, str]:
    if after:
        return State.DAMAGED, f"is damaged: the bytes from {at} on are no GRIB"
    return State.FOREIGN, foreign(read_at(at, BULLETIN_BYTES))


def _still_to_come(read_at: ReadAt, size: int, at: int) -> bool:
    """True for an empty file of some size, a long empty tail, or a tail that breaks off inside the word GRIB."""
    return at == 0 or size - at > EMPTY_TAIL_BYTES or _breaks_off(read_at(max(at, size - 3), 3))


def is_page(head: bytes) -> bool:
    """True when bytes begin like a web page.

    >>> is_page(b"\\n<!DOCTYPE html>")
    True
    """
    text = head.lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    return text.startswith((b"<!doctype", b"<html", b"<?xml", b"<head", b"<body"))


def foreign(head: bytes) -> str:
    """The first bytes of what is no GRIB -> what it seems to be, as the end of a sentence.

    >>> foreign(b"Dear sailor,")
    'is text, not GRIB: read what it says'
    """
    if is_page(head):
        return "is a web page, not GRIB: a server answered in words; read what it says"
    if head.startswith((b"CDF", b"\x89HDF")):
        return "is netCDF or HDF, not GRIB: fetch the forecast as GRIB"
    if head.startswith((b"\x28\xb5\x2f\xfd", b"7z\xbc\xaf", b"Rar!")):
        return "is compressed in a way not known here: unpack it, or send it as zip or gzip"
    if head.startswith(b"BUFR"):
        return "is BUFR (observations), not GRIB: fetch the forecast as GRIB"
    if head and all(byte in b"\t\r\n" or 32 <= byte < 127 for byte in head):
        return "is text, not GRIB: read what it says"
    return "is no GRIB: no message begins in it"
