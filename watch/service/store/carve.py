"""(I/O) Finds lines of the log and acknowledgements in the pages of a file whose first page, or the tree above them, is gone.

Reads the leaf pages of tables as SQLite's file format lays them out (source sqlite-format-1). Only for what can never be made again; a
row is known by its shape, since the page does not say which table it belongs to.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from watch.service.store.opening import WAL_HEADER_BYTES, wal_of

PAGE_BYTES = 4096  # what SQLite takes when it is not told otherwise
FRAME_HEADER_BYTES = 24
LEAF = 0x0D
MOST_LOCAL_BYTES = PAGE_BYTES - 35  # a longer row goes on on other pages: none of ours does
INTEGER_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}\+00:00")


class _NoRowError(ValueError):
    """These bytes are no row."""


def carve(path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row of the two tables found in the file, newest page first; the table and the columns by name."""
    for file, header, between in ((wal_of(path), WAL_HEADER_BYTES, FRAME_HEADER_BYTES), (path, 0, 0)):
        try:
            data = file.read_bytes()
        except OSError:
            continue
        stride = PAGE_BYTES + between
        for start in reversed(range(header, len(data), stride)):
            page = data[start + between : start + stride]
            head = 100 if file is path and start == 0 else 0
            if len(page) > head + 8 and page[head] == LEAF:
                yield from _rows(page, head)


def _rows(page: bytes, head: int) -> Iterator[tuple[str, dict[str, Any]]]:
    cells = int.from_bytes(page[head + 3 : head + 5], "big")
    for number in range(min(cells, PAGE_BYTES // 4)):
        at = int.from_bytes(page[head + 8 + 2 * number : head + 10 + 2 * number], "big")
        try:
            row = _row(page, at)
        except (_NoRowError, IndexError, UnicodeDecodeError):
            continue
        if row is not None:
            yield row


def _row(page: bytes, at: int) -> tuple[str, dict[str, Any]] | None:
    length, at = _varint(page, at)
    row_id, at = _varint(page, at)
    if length > MOST_LOCAL_BYTES or at + length > len(page) or row_id < 1:
        raise _NoRowError
    return _known(row_id, values_of(page[at : at + length]))


def values_of(record: bytes) -> list[Any]:
    """The bytes of one record -> its values: None, whole numbers, text; anything else is refused, for our two tables have none.

    >>> values_of(bytes([3, 0x17, 1]) + b"reef 1"[:5] + b"\\x07")
    ['reef ', 7]
    """
    header, at = _varint(record, 0)
    body = header
    values: list[Any] = []
    if not 1 <= header <= len(record):
        raise _NoRowError
    while at < header:
        kind, at = _varint(record, at)
        if kind == 0 or kind in (8, 9):
            values.append({0: None, 8: 0, 9: 1}[kind])
            continue
        if kind in INTEGER_BYTES:
            size, is_text = INTEGER_BYTES[kind], False
        elif kind >= 13 and kind % 2:
            size, is_text = (kind - 13) // 2, True
        else:
            raise _NoRowError
        raw = record[body : body + size]
        if len(raw) != size:
            raise _NoRowError
        values.append(raw.decode("utf-8") if is_text else int.from_bytes(raw, "big", signed=True))
        body += size
    return values


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for count in range(9):
        byte = data[at + count]
        if count == 8:
            return (value << 8) | byte, at + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + count + 1
    raise _NoRowError


def _known(row_id: int, values: list[Any]) -> tuple[str, dict[str, Any]] | None:
    """The table a row belongs to by its shape, in either version; None for any other."""
    shape = "".join("n" if v is None else "t" if isinstance(v, str) else "i" for v in values)
    if re.fullmatch(r"nttt[ni]?", shape) and TIME.fullmatch(values[1]):
        return "log_line", dict(zip(("at", "by", "line", "corrects"), values[1:], strict=False), id=row_id)
    if re.fullmatch(r"nttt[nt]([ni](t(t)?)?)?", shape) and TIME.fullmatch(values[3]) and (values[4] is None or TIME.fullmatch(values[4])):
        return "ack", dict(zip(("alert", "by", "at", "taken_at", "revision", "place", "outcome"), values[1:], strict=False), id=row_id)
    return None
