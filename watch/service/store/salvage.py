"""(I/O) Saves what can be read of a damaged file into a new one, and puts the damaged one aside: table by table, row by row."""

import contextlib
import os
import sqlite3
from collections import deque
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from watch.service.store.carve import PAGE_BYTES, carve
from watch.service.store.opening import (
    UNREADABLE,
    CannotWriteError,
    Trouble,
    connect,
    is_beheaded,
    salvaged_of,
    shm_of,
    size_of,
    trouble_of,
    wal_of,
)
from watch.service.store.schema import NEVER_THROWN_AWAY, TABLES, VERSION, migrate, version_of
from watch.service.store.times import is_torn

MOST_TRIES = 20_000  # to get round what cannot be read of one table
MOST_IN_VAIN = 500  # before any row of it was read
UNKNOWN_HIGHEST = 1_000_000
NAMES = {
    "log_line": ("line of the log", "lines of the log"), "ack": ("acknowledgement", "acknowledgements"), "event": ("event", "events"),
    "position": ("position", "positions"), "forecast": ("forecast", "forecasts"), "step": ("step", "ten-minute steps"),
    "pass_kept": ("pass", "passes"), "setting": ("setting", "settings"), "alert_book": ("alert book", "alert books"),
}  # fmt: skip


def mend(path: Path, now: datetime) -> str:
    """Puts a new file with all that could be saved in the place of a damaged one; gives back the sentence that says so.

    Only for who holds the folder's lock alone. Killed at any moment, the next call of finish() or mend() ends it. Raises CannotWriteError.
    """
    whole = salvaged_of(path)
    part = path.with_name(path.name + ".salvaged-part")
    try:
        _clear(part)
        target = connect(part)
        try:
            said = salvage_into(target, path)
        finally:
            target.close()
        os.replace(part, whole)
        _sync(path.parent)
        aside = _put_aside(path, now)
        os.replace(whole, path)
        _sync(path.parent)
    except sqlite3.Error as error:
        raise CannotWriteError(f"it is damaged, and {trouble_of(error).value}") from None
    except OSError as error:
        full = Trouble.FULL.value
        raise CannotWriteError(f"it is damaged, and {full if error.errno == 28 else error.strerror}") from None
    finally:
        _clear(part)
    return f"The watch's memory was damaged. {said} The damaged file is kept as {aside.name}."


def _clear(part: Path) -> None:
    for file in (part, part.with_name(part.name + "-journal")):
        with contextlib.suppress(OSError):
            file.unlink(missing_ok=True)


def finish(path: Path, now: datetime) -> None:
    """Ends a repair that was killed half-way; nothing when there was none. Only for who holds the folder's lock alone."""
    whole = salvaged_of(path)
    if not whole.exists():
        return
    if path.exists():
        whole.unlink()  # nothing was moved yet: the repair begins again
        return
    _put_aside(path, now)
    os.replace(whole, path)
    _sync(path.parent)


def _put_aside(path: Path, now: datetime) -> Path:
    """Moves the file first, then what was written last beside it: as long as the file is there, nothing has been moved."""
    name = f"{path.name}.damaged-{now:%Y%m%dT%H%M%SZ}"
    aside, number = path.with_name(name), 1
    while aside.exists() or wal_of(aside).exists():
        number += 1
        aside = path.with_name(f"{name}-{number}")
    with contextlib.suppress(FileNotFoundError):
        os.rename(path, aside)
    with contextlib.suppress(FileNotFoundError):
        os.rename(wal_of(path), wal_of(aside))
    shm_of(path).unlink(missing_ok=True)
    return aside


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def salvage_into(target: sqlite3.Connection, path: Path) -> str:
    """All that can be read of the file at `path` into an empty open file, at the present version; the sentence that says what it was."""
    source = _source(path)
    try:
        version = _version(source)
        migrate(target, version)
        target.execute("BEGIN IMMEDIATE")
        highest = {}
        for table in TABLES:
            highest[table] = _highest(source, table)
            _copy(source, target, table, highest[table])
    finally:
        if source is not None:
            source.close()
    if any(highest[table] is None or _count(target, table) < (highest[table] or 0) for table in NEVER_THROWN_AWAY):
        for table, row in carve(path):
            _insert(target, table, row)
    target.execute("COMMIT")
    migrate(target)
    return _sentence(target, highest)


def _source(path: Path) -> sqlite3.Connection | None:
    try:
        if is_beheaded(path):  # with anything at all in the file, SQLite reads what was written last beside it
            path.write_bytes(bytes(PAGE_BYTES))
        if size_of(path) == 0:
            return None
    except OSError:
        return None
    try:
        source = connect(path, "ro")
        source.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except UNREADABLE:
        return None
    return source


def _version(source: sqlite3.Connection | None) -> int:
    version = 0
    if source is not None:
        with contextlib.suppress(*UNREADABLE):
            version = version_of(source)
    return version if 1 <= version <= VERSION else VERSION


def _count(db: sqlite3.Connection, table: str) -> int:
    return int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def _highest(source: sqlite3.Connection | None, table: str) -> int | None:
    """The highest id ever given in a table, 0 when there was none; None when that cannot be read."""
    if source is None:
        return None
    for query in ("SELECT seq FROM sqlite_sequence WHERE name = ?", f"SELECT max(id) FROM {table} WHERE ? <> ''"):
        with contextlib.suppress(*UNREADABLE):
            row = source.execute(query, (table,)).fetchone()
            if row is not None and (row[0] is None or isinstance(row[0], int)):
                return int(row[0] or 0)
    return None


def _copy(source: sqlite3.Connection | None, target: sqlite3.Connection, table: str, highest: int | None) -> None:
    if source is None or highest == 0:
        return
    try:
        there = _columns(source, table)
    except UNREADABLE:
        return
    columns = [name for name in _columns(target, table) if name in there]
    if "id" not in columns:
        return
    for row in rows_of(source, table, columns, highest or UNKNOWN_HIGHEST):
        _insert(target, table, dict(zip(columns, row, strict=True)))


def _columns(db: sqlite3.Connection, table: str) -> list[str]:
    return [str(row[1]) for row in db.execute(f"PRAGMA table_info({table})")]


def _insert(target: sqlite3.Connection, table: str, row: dict[str, Any]) -> None:
    """Keeps what is there already; a row that is torn, or breaks a rule of the table, is no row."""
    if is_torn(row.values()):
        return
    there = _columns(target, table)
    kept = {name: value for name, value in row.items() if name in there}
    marks = ", ".join("?" * len(kept))
    with contextlib.suppress(sqlite3.IntegrityError):
        target.execute(f"INSERT OR IGNORE INTO {table} ({', '.join(kept)}) VALUES ({marks})", tuple(kept.values()))


def rows_of(source: sqlite3.Connection, table: str, columns: list[str], highest: int) -> Iterator[tuple[Any, ...]]:
    """Every row with an id of 1 to `highest` that can be read. Where one cannot, reads up to it, down to it, and then halves what is
    left between, widest first, until nothing is left or too many were in vain."""
    place, tries, found = columns.index("id"), 0, False
    left = deque([(1, highest)])
    while left and tries < (MOST_TRIES if found else MOST_IN_VAIN):
        low, high = left.popleft()
        for order in ("ASC", "DESC"):
            tries += 1
            query = f"SELECT {', '.join(columns)} FROM {table} WHERE id BETWEEN ? AND ? ORDER BY id {order}"
            try:
                for row in source.execute(query, (low, high)):
                    if not low <= row[place] <= high:  # a tree out of order can lead round in a circle
                        raise sqlite3.DatabaseError
                    found = True
                    yield row
                    low, high = (row[place] + 1, high) if order == "ASC" else (low, row[place] - 1)
            except UNREADABLE:
                continue
            break
        else:
            middle = (low + high) // 2
            left.extend(span for span in ((low, middle), (middle + 1, high)) if low < high)


def _sentence(target: sqlite3.Connection, highest: dict[str, int | None]) -> str:
    counts = {table: _count(target, table) for table in TABLES}
    words = [f"{n} {NAMES[table][n != 1]}" for table, n in counts.items() if n]
    saved = f"Saved from it: {', '.join(words)}." if words else "Nothing could be saved from it."
    losses = []
    for table in NEVER_THROWN_AWAY:
        known = max(highest[table] or 0, int(target.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()[0]))
        lost = known - counts[table]
        if lost > 0:
            losses.append(f"{lost} {NAMES[table][lost != 1]}")
    return f"{saved} Lost for certain: {', '.join(losses)}." if losses else f"{saved} What else was lost, if anything, is not known."
