"""From a file to whole GRIB messages, one field each, or one sentence on what is wrong with it (I/O)."""

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

from watch.faults import BadInputError

END = b"7777"
BULLETIN_BYTES = 200  # a telecommunication header or trailer round a message may be this long, padding apart
BLOCK = 1 << 16
PADDING_1 = 120  # GRIB1 messages may be filled up before their end mark
PADDING = b"\0\r\n "
ASK_AGAIN = "fetch it again"
FORMATS = {
    b"\x1f\x8b": "is compressed (gzip): unpack it first",
    b"BZh": "is compressed (bzip2): unpack it first",
    b"PK\x03\x04": "is a zip archive: unpack it first",
    b"\xfd7zXZ": "is compressed (xz): unpack it first",
    b"\x28\xb5\x2f\xfd": "is compressed (zstd): unpack it first",
    b"CDF": "is netCDF, not GRIB: fetch the forecast as GRIB",
    b"\x89HDF": "is HDF or netCDF, not GRIB: fetch the forecast as GRIB",
    b"BUFR": "is BUFR (observations), not GRIB: fetch the forecast as GRIB",
}


class Frame(NamedTuple):
    """One field as it stands in a file: its sections as bytes, and a message that holds it alone."""

    label: str  # its number in the file from 1, with a second one where a message holds several fields: "12" or "12.2"
    edition: int
    head: bytes  # GRIB1: product definition section; GRIB2: discipline and identification section
    local: bytes  # GRIB2: local section, or nothing
    grid: bytes
    product: bytes  # GRIB1: the product definition section again
    points: int  # values that the data section says it holds (GRIB1: 0)
    message: bytes


def frames(path: Path) -> Iterator[Frame]:
    """Every field of a file, in order. Refuses (BadInputError) a file that is missing, empty, no GRIB, cut short or damaged."""
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise BadInputError(path, ["is a folder: name the GRIB file itself"])
        with path.open("rb", buffering=4 * BLOCK) as stream:
            yield from _messages(path, stream, size)
    except FileNotFoundError:
        raise BadInputError(path, ["there is no such file"]) from None
    except OSError as error:
        raise BadInputError(path, [f"cannot be read ({error.strerror or error}): check the disk and who may read it"]) from None


def _messages(path: Path, stream: BinaryIO, size: int) -> Iterator[Frame]:
    if size == 0:
        raise BadInputError(path, [f"is empty: {ASK_AGAIN}"])
    start, number = _skip(path, stream, 0, size, 0), 0
    while start < size:
        number += 1
        stream.seek(start)
        head = stream.read(16)
        length = _length(path, stream, head, start, size, number)
        if start + length > size:
            raise BadInputError(path, [f"not whole: ends inside message {number} at byte {size}; {ASK_AGAIN}"])
        stream.seek(start)
        message = stream.read(length)
        if len(message) < length or message[-4:] != END:
            raise _damaged(path, number, start, "its end mark is not where its length says")
        try:
            yield from _split_1(message, number) if head[7] == 1 else _split_2(message, number)
        except _BrokenError as broken:
            raise _damaged(path, number, start, str(broken)) from None
        start += length
        start = _skip(path, stream, start, size, number)


class _BrokenError(Exception):
    """Sections that do not add up; the text says which."""


def _damaged(path: Path, number: int, start: int, why: str) -> BadInputError:
    return BadInputError(path, [f"message {number} at byte {start} is damaged ({why}); {ASK_AGAIN}"])


def _skip(path: Path, stream: BinaryIO, start: int, size: int, number: int) -> int:
    """Where the next message begins, or the size of the file; anything but padding or a short bulletin line is refused."""
    stream.seek(start)
    first = stream.read(BULLETIN_BYTES + 8)
    if first.startswith(b"GRIB"):
        return start
    if first and b"GRIB".startswith(first):
        raise BadInputError(path, [f"not whole: ends inside message {number + 1} at byte {size}; {ASK_AGAIN}"])
    begin, strange, lost = _gap(stream, start, size)
    if number == 0 and (begin == size or strange > BULLETIN_BYTES or _is_page(first) or not _known_edition(stream, begin)):
        raise BadInputError(path, [_no_grib(first)])
    if strange > BULLETIN_BYTES or lost or _is_page(first):
        raise BadInputError(path, [f"bytes {start} to {begin} after message {number} are no GRIB: damaged; {ASK_AGAIN}"])
    return begin


def _gap(stream: BinaryIO, start: int, size: int) -> tuple[int, int, bool]:
    """Where the next message begins (or the size), how many bytes before it are no padding, and whether an end mark is among them."""
    stream.seek(start)
    at, tail, strange, lost = start, b"", 0, False
    while block := stream.read(BLOCK):
        seen = tail + block
        found = seen.find(b"GRIB")
        gap = seen if found < 0 else seen[:found]
        strange += len(gap.translate(None, PADDING)) - len(tail.translate(None, PADDING))
        lost = lost or END in gap
        if found >= 0:
            return at - len(tail) + found, strange, lost
        at += len(block)
        tail = block[-3:]
    return size, strange, lost


def _known_edition(stream: BinaryIO, begin: int) -> bool:
    stream.seek(begin + 7)
    return stream.read(1) in (b"\x01", b"\x02")


def _is_page(first: bytes) -> bool:
    text = first.lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    return text.startswith((b"<!doctype", b"<html", b"<?xml", b"<head", b"<body"))


def _no_grib(first: bytes) -> str:
    if _is_page(first):
        return f"is a web page, not GRIB: the server answered in words, often to say why not; read them, then {ASK_AGAIN}"
    for magic, sentence in FORMATS.items():
        if first.startswith(magic):
            return sentence
    if first and all(byte in b"\t\r\n" or 32 <= byte < 127 for byte in first):
        return f"is text, not GRIB: read what it says, then {ASK_AGAIN}"
    return f"is no GRIB: no message begins in it; {ASK_AGAIN}"


def _length(path: Path, stream: BinaryIO, head: bytes, start: int, size: int, number: int) -> int:
    """Bytes of the message that begins at `start`, as it says itself."""
    if len(head) < 16:
        raise BadInputError(path, [f"not whole: ends inside message {number} at byte {size}; {ASK_AGAIN}"])
    if head[7] == 2:
        return int.from_bytes(head[8:16], "big")
    if head[7] != 1:
        raise _damaged(path, number, start, f"GRIB edition {head[7]}, where 1 or 2 is known")
    length = int.from_bytes(head[4:7], "big")
    if not length & 0x800000:
        return length
    # Large GRIB1 messages give their length in units of 120 bytes, less what the data section's own length then says.
    at = 8 + int.from_bytes(head[8:11], "big")
    stream.seek(start + 8)
    flags = stream.read(8)[7]
    for flag in (0x80, 0x40):
        if flags & flag:
            stream.seek(start + at)
            at += int.from_bytes(stream.read(3), "big")
    stream.seek(start + at)
    short = int.from_bytes(stream.read(3), "big")
    return (length & 0x7FFFFF) * 120 - short + 4 if short < 120 else length


def _split_1(message: bytes, number: int) -> Iterator[Frame]:
    """GRIB1: product, grid and bitmap section (the last two where a flag says so), data, end mark; their lengths must add up."""
    at, last, sections = 8, len(message) - 4, list[bytes]()
    flags, large = message[15], message[4] & 0x80
    for there, shortest in ((True, 28), (flags & 0x80, 32), (flags & 0x40, 6), (True, 11)):
        length = int.from_bytes(message[at : at + 3], "big") if there else 0
        if large and len(sections) == 3:
            length = last - at  # in a large message the data section fills what is left
        if (there and length < shortest) or at + length > last:
            raise _BrokenError(f"its sections do not add up at byte {at} of it")
        sections.append(message[at : at + length])
        at += length
    if last - at > PADDING_1:
        raise _BrokenError(f"its sections do not add up at byte {at} of it")
    head, grid = sections[0], sections[1]
    yield Frame(str(number), 1, head, b"", grid, head, 0, message)


def _split_2(message: bytes, number: int) -> Iterator[Frame]:
    sections: dict[int, bytes] = {2: b""}
    bitmap, at, last, fields = b"", 16, len(message) - 4, []
    while at < last:
        length, kind = int.from_bytes(message[at : at + 4], "big"), message[at + 4]
        if length < 5 or at + length > last or not 1 <= kind <= 7:
            raise _BrokenError(f"its sections do not add up at byte {at} of it")
        section = message[at : at + length]
        at += length
        if kind == 6:
            bitmap = bitmap if section[5:6] == b"\xfe" else section  # 254: the bitmap given before holds here too
            if not bitmap:
                raise _BrokenError("it points to an earlier bitmap that is not there")
            section = bitmap
        sections[kind] = section
        if kind == 7:
            if not sections.keys() >= {1, 3, 4, 5, 6} or len(sections[1]) < 21 or len(sections[4]) < 9:
                raise _BrokenError("a section is missing or too short")
            fields.append(dict(sections))
    if not fields:
        raise _BrokenError("it holds no data")
    single = len(fields) == 1
    for index, field in enumerate(fields, start=1):
        label = str(number) if single else f"{number}.{index}"
        whole = message if single else _alone(message, field)
        points = int.from_bytes(field[5][5:9], "big")
        yield Frame(label, 2, message[6:7] + field[1], field[2], field[3], field[4], points, whole)


def _alone(message: bytes, field: dict[int, bytes]) -> bytes:
    body = b"".join(field[kind] for kind in range(1, 8)) + END
    return message[:8] + (16 + len(body)).to_bytes(8, "big") + body
