"""From a file to whole GRIB messages, one field each, or one sentence on what is wrong with it (I/O)."""

import os
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import BinaryIO, NamedTuple

from watch.faults import BadInputError
from watch.forecast.framing import END, State, walk_by

PADDING_1 = 120  # GRIB1 messages may be filled up before their end mark
ASK_AGAIN = "fetch it again"
BUFFER = 1 << 18


class Frame(NamedTuple):
    """One field as it stands in a file: its sections as bytes, and a message that holds it alone."""

    number: int  # of the message in the file, from 1
    label: str  # the number, with a second one where a message holds several fields: "12" or "12.2"
    edition: int
    head: bytes  # GRIB1: product definition section; GRIB2: discipline and identification section
    local: bytes  # GRIB2: local section, or nothing
    grid: bytes
    product: bytes  # GRIB1: the product definition section again
    points: int  # values that the data section says it holds (GRIB1: 0)
    message: bytes


class Share(NamedTuple):
    """Which messages of a file to take: every so many, beginning with this one (counted from 0)."""

    first: int
    every: int


ALL = Share(0, 1)


def frames(path: Path, share: Share = ALL) -> Iterator[Frame]:
    """Every field of a file's messages, or of a share of them, in order.

    Refuses (BadInputError) a file that is missing, empty, no GRIB, cut short or damaged.
    """
    try:
        if path.is_dir():
            raise BadInputError(path, ["is a folder: name the GRIB file itself"])
        with path.open("rb", buffering=BUFFER) as stream:
            yield from _messages(path, stream, share)
    except FileNotFoundError:
        raise BadInputError(path, ["there is no such file"]) from None
    except OSError as error:
        raise BadInputError(path, [f"cannot be read ({error.strerror or error}): check the disk and who may read it"]) from None


def _messages(path: Path, stream: BinaryIO, share: Share) -> Iterator[Frame]:
    handle = stream.fileno()
    framing = walk_by(lambda at, count: os.pread(handle, count, at), os.fstat(handle).st_size)
    if framing.state != State.WHOLE:
        raise BadInputError(path, [f"{framing.fault}{'' if framing.state == State.FOREIGN else f'; {ASK_AGAIN}'}"])
    numbered = enumerate(zip(framing.starts, framing.lengths, strict=True), start=1)
    for number, (start, length) in islice(numbered, share.first, None, share.every):
        stream.seek(start)
        message = stream.read(length)
        try:
            if len(message) < length:
                raise _BrokenError("the file became shorter while it was read")
            yield from _split_1(message, number) if message[7] == 1 else _split_2(message, number)
        except _BrokenError as broken:
            raise BadInputError(path, [f"message {number} at byte {start} is damaged ({broken}); {ASK_AGAIN}"]) from None


class _BrokenError(Exception):
    """Sections that do not add up; the text says which."""


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
    yield Frame(number, str(number), 1, head, b"", grid, head, 0, message)


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
        yield Frame(number, label, 2, message[6:7] + field[1], field[2], field[3], field[4], points, whole)


def _alone(message: bytes, field: dict[int, bytes]) -> bytes:
    body = b"".join(field[kind] for kind in range(1, 8)) + END
    return message[:8] + (16 + len(body)).to_bytes(8, "big") + body
