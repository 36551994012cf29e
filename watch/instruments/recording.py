"""(I/O) Recorded instruments: a file of NMEA 0183 lines or of Signal K deltas, each with its time; and the pace to play it."""

import json
import math
import time
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from threading import Event
from typing import TypeVar

from watch.faults import BadInputError
from watch.instruments import nmea0183, signal_k

Piece = TypeVar("Piece")
MOST_AT_ONCE = 20_000_000  # bytes of a Signal K file that may be one piece of JSON; larger ones must have one delta a line


def recorded_nmea0183(path: Path, starts: datetime | None = None) -> Iterator[tuple[datetime, bytes]]:
    """The lines of a recording, each with its time: that of the latest line with a time before it.

    Times come from tag blocks and RMC dates. A recording without any date needs `starts`, when it began; its times of day then
    count from there. Raises BadInputError when the file cannot be read, or has no date and starts is None.
    """
    first = _first_time(path, starts)

    def play() -> Iterator[tuple[datetime, bytes]]:
        now = first
        with _opened(path) as file:
            for line in nmea_lines(file):
                now = nmea0183.own_time(line, now if starts else None) or now
                yield now, line

    return play()


def _first_time(path: Path, starts: datetime | None) -> datetime:
    with _opened(path) as file:
        first = next((t for line in nmea_lines(file) if (t := nmea0183.own_time(line, starts)) is not None), None)
    if first is None:
        cure = "times of day (RMC, GGA, GLL)" if starts else "a date (RMC or a time tag); say when it began"
        raise BadInputError(path, [f"no line carries {cure}"])
    return first


def nmea_lines(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Bytes -> lines, however long the file and its lines.

    >>> list(nmea_lines([b"$HEHDT,1", b"19.9,T*2F"]))
    [b'$HEHDT,119.9,T*2F']
    """
    lines = nmea0183.Lines()
    for piece in pieces:
        yield from lines.feed(piece)
    yield from lines.feed(b"\n")


def recorded_signal_k(path: Path) -> Iterator[tuple[datetime, str]]:
    """The deltas of a recording, each with its time: its own, or that of the latest before it.

    The file holds one delta a line, or one JSON list of deltas. Raises BadInputError when it cannot be read or has no time.
    """
    whole = _whole(path)
    first = next((t for m in whole or _messages(path) if (t := signal_k.own_time(m)) is not None), None)
    if first is None:
        raise BadInputError(path, ["no Signal K delta with a timestamp in it"])

    def play() -> Iterator[tuple[datetime, str]]:
        now = first
        for message in whole or _messages(path):
            now = signal_k.own_time(message) or now
            yield now, message

    return play()


def _whole(path: Path) -> list[str]:
    """The deltas of a file that is one piece of JSON; empty when it is not (one delta a line) or too large."""
    with _opened(path) as file:
        text = b""
        for piece in file:
            text += piece
            if len(text) > MOST_AT_ONCE:
                return []
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        return []
    return [json.dumps(one) for one in (content if isinstance(content, list) else [content])]


def _messages(path: Path) -> Iterator[str]:
    with _opened(path) as file:
        for line in message_lines(file):
            yield line.decode("utf-8", "replace")


def message_lines(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Bytes -> lines of up to a Signal K message's length; longer ones come out cut and are refused as broken."""
    held = b""
    for piece in pieces:
        *done, held = (held + piece).split(b"\n")
        yield from (line for line in done if line.strip())
        held = held[: signal_k.LONGEST_MESSAGE + 1]
    if held.strip():
        yield held


class _opened:  # noqa: N801
    """A file in pieces of 64 kB, closed at the end; what is wrong with it in one sentence."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> Iterator[bytes]:
        try:
            self._file = self._path.open("rb")
        except OSError as error:
            raise BadInputError(self._path, [f"cannot be read: {error.strerror or error}"]) from None
        return iter(lambda: self._file.read(65536), b"")

    def __exit__(self, *_: object) -> None:
        self._file.close()


def paced(pieces: Iterable[tuple[datetime, Piece]], speed: float, stop: Event) -> Iterator[tuple[datetime, Piece]]:
    """Pieces with their times -> the same, each held back until it is due at `speed` times real time (inf: never held back).

    Ends early when stop is set. Times that go back are not waited for.
    """
    if not speed > 0.0:
        raise ValueError(f"a speed of {speed:g} plays nothing: 1 is real time")
    began_s, first = time.monotonic(), None
    for moment, piece in pieces:
        first = first or moment
        due_s = 0.0 if math.isinf(speed) else (moment - first).total_seconds() / speed - (time.monotonic() - began_s)
        if (due_s > 0.0 and stop.wait(due_s)) or stop.is_set():
            return
        yield moment, piece
