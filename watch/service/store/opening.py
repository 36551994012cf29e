"""(I/O) Opens the file of the store, and tells what is wrong with it: damaged, no room, not ours, of a newer version."""

import contextlib
import os
import sqlite3
import tempfile
from enum import Enum
from pathlib import Path

from watch.service.store.schema import APPLICATION, HIGHEST_BELIEVED, NEVER_THROWN_AWAY, TABLES, VERSION, migrate, tables_of, version_of
from watch.service.store.times import text_or_torn

BUSY_S = 15.0  # how long a transaction waits for another process
WAL_LIMIT_BYTES = 4 * 1024 * 1024
WAL_HEADER_BYTES = 32
READ_BYTES = 1024 * 1024
MOST_VALUE_BYTES = 64 * 1024 * 1024  # of one text or blob
CHECKED = "store: checked since the computer was started"
BOOT = Path("/proc/sys/kernel/random/boot_id")


class DamagedError(Exception):
    """The file cannot be gone on with as it is."""


class CannotWriteError(Exception):
    """Nothing can be kept in the file now; one sentence without its full stop says why and what to do."""


class Trouble(Enum):
    """What an error of SQLite means for the sailor."""

    DAMAGED = "it is damaged"
    FULL = "the disk is full: make room on it"
    DISK = "the disk gives an error: look to it"
    READ_ONLY = "it can only be read here: give a folder you may write to"
    BUSY = "another process works on it and does not let go: end that one"
    OTHER = "it does not do as it should"


_READ_ERRORS = {
    sqlite3.SQLITE_IOERR_READ, sqlite3.SQLITE_IOERR_SHORT_READ, sqlite3.SQLITE_IOERR_CORRUPTFS, sqlite3.SQLITE_IOERR_DATA,
}  # fmt: skip
_BY_CODE = {
    sqlite3.SQLITE_CORRUPT: Trouble.DAMAGED, sqlite3.SQLITE_NOTADB: Trouble.DAMAGED, sqlite3.SQLITE_FORMAT: Trouble.DAMAGED,
    sqlite3.SQLITE_FULL: Trouble.FULL, sqlite3.SQLITE_IOERR: Trouble.DISK, sqlite3.SQLITE_READONLY: Trouble.READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: Trouble.READ_ONLY, sqlite3.SQLITE_PERM: Trouble.READ_ONLY, sqlite3.SQLITE_BUSY: Trouble.BUSY,
    sqlite3.SQLITE_LOCKED: Trouble.BUSY, sqlite3.SQLITE_PROTOCOL: Trouble.BUSY,
}  # fmt: skip


UNREADABLE = (sqlite3.Error, UnicodeDecodeError)  # an error that repeats a damaged definition cannot itself be read


def trouble_of(error: sqlite3.Error) -> Trouble:
    """An error of SQLite -> what it means."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:
        return Trouble.OTHER
    if code == sqlite3.SQLITE_IOERR_SHMSIZE:  # no room for the index of what was written last
        return Trouble.FULL
    return Trouble.DAMAGED if code in _READ_ERRORS else _BY_CODE.get(code & 0xFF, Trouble.OTHER)


def wal_of(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def shm_of(path: Path) -> Path:
    return path.with_name(path.name + "-shm")


def salvaged_of(path: Path) -> Path:
    """Where a repair puts the new file before it takes the place of the damaged one."""
    return path.with_name(path.name + ".salvaged")


def size_of(path: Path) -> int:
    """Bytes of a file, 0 when it is not there."""
    try:
        return os.stat(path).st_size
    except OSError:
        return 0


_KEPT_OPEN: dict[tuple[int, int], int] = {}


def bytes_of(path: Path) -> bytes:
    """All of a file that may be open elsewhere in this process. It is never closed again: closing it would let go of every lock that
    SQLite holds on it for this process. Raises OSError."""
    there = os.stat(path)
    handle = _KEPT_OPEN.get((there.st_dev, there.st_ino))
    if handle is None:
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        there = os.fstat(handle)
        _KEPT_OPEN[there.st_dev, there.st_ino] = handle
    parts: list[bytes] = []
    while piece := os.pread(handle, READ_BYTES, sum(map(len, parts))):
        parts.append(piece)
    return b"".join(parts)


def is_beheaded(path: Path) -> bool:
    """The file is gone or empty, but what was written last still lies beside it: SQLite would throw that away."""
    return size_of(path) == 0 and size_of(wal_of(path)) > WAL_HEADER_BYTES


def connect(path: Path, mode: str = "rwc") -> sqlite3.Connection:
    """A connection that begins no transaction by itself, for use under one's own lock from any thread. mode: rwc, rw or ro."""
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    db = sqlite3.connect(uri, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    db.text_factory = text_or_torn
    db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_VALUE_BYTES)  # damage may say any length, and SQLite would make room for it
    try:
        for pragma in ("synchronous = FULL", "fullfsync = ON", "cell_size_check = ON", "trusted_schema = OFF"):
            db.execute(f"PRAGMA {pragma}")
    except BaseException:
        db.close()
        raise
    return db


def open_file(path: Path, *, thorough: bool = False) -> sqlite3.Connection:
    """The file, made when there is none and brought to the present version, to read and write.

    It is looked through wholly when `thorough`, and once after each start of the computer: what a loss of power does shows then. Raises
    DamagedError, CannotWriteError, and BadInputError when it is of a newer version or another program's.
    """
    if path.is_dir():
        raise _bad(path, "is a folder; name a file in it")
    db: sqlite3.Connection | None = None
    try:
        db = connect(path)
        _look(db, path)
        db.execute("PRAGMA journal_mode = WAL").fetchone()
        db.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")
        if version_of(db) < VERSION:
            migrate(db)
        db.execute("BEGIN IMMEDIATE")
        db.execute(f"PRAGMA user_version = {VERSION}")  # shows whether it can be written: to begin alone is let through
        db.execute("ROLLBACK")
        if thorough or not _is_checked(db):
            if not is_sound(db, path):
                raise DamagedError("its parts do not fit together")
            _mark_checked(db)
    except sqlite3.Error as error:
        if db is not None:
            db.close()
        trouble = trouble_of(error)
        # A header that is half gone gives all sorts of errors; what is neither full, busy nor read-only is damage.
        if trouble in (Trouble.DAMAGED, Trouble.OTHER):
            raise DamagedError(str(error)) from None
        raise CannotWriteError(trouble.value) from None
    except UnicodeDecodeError:  # see UNREADABLE
        if db is not None:
            db.close()
        raise DamagedError("its tables are defined by what is no text") from None
    except BaseException:
        if db is not None:
            db.close()
        raise
    return db


def is_sound(db: sqlite3.Connection, path: Path) -> bool:
    """Reads every page of the open file at `path`: does all of it fit together?"""
    try:
        pages, page_bytes = (db.execute(f"PRAGMA {name}").fetchone()[-1] for name in ("page_count", "page_size"))
        if pages * page_bytes > size_of(path) + size_of(wal_of(path)):
            return False  # a damaged count of pages: the look through every page would make room for them all
        return [str(row[0]) for row in db.execute("PRAGMA integrity_check(1)")] == ["ok"]
    except sqlite3.Error as error:
        if trouble_of(error) is Trouble.DAMAGED:
            return False
        raise


def _look(db: sqlite3.Connection, path: Path) -> None:
    """Is it ours, of a version known here, and are its tables there?"""
    version, tables = version_of(db), tables_of(db)
    ours = int(db.execute("PRAGMA application_id").fetchone()[0]) == APPLICATION
    if not tables and not ours and version == 0:
        return  # new
    if not ours and not tables & set(NEVER_THROWN_AWAY):
        raise _bad(path, "is the file of another program; name another one for the watch")
    if version > VERSION and ours and version <= HIGHEST_BELIEVED:
        raise _bad(path, f"is of version {version}, and this program knows versions up to {VERSION}; use the newer program again, "
                         "or name another file")  # fmt: skip
    if not 1 <= version <= VERSION or not set(TABLES) <= tables or not ours:
        raise DamagedError("its tables are not all there")


def _is_checked(db: sqlite3.Connection) -> bool:
    row = db.execute("SELECT value FROM setting WHERE name = ?", (CHECKED,)).fetchone()
    boot = _boot()
    return boot != "" and row is not None and row[0] == boot


def _mark_checked(db: sqlite3.Connection) -> None:
    db.execute("INSERT INTO setting (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", (CHECKED, _boot()))


def _boot() -> str:
    """A text that is another one after each start of the computer; empty where there is none, and then every opening is thorough."""
    try:
        return BOOT.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""


def _bad(path: Path, sentence: str) -> Exception:
    from watch.faults import BadInputError

    return BadInputError(path, [sentence])


def open_to_read(path: Path) -> tuple[sqlite3.Connection, bool]:
    """The file as it can be had where nothing can be written: itself, or what can be read of it copied into memory, or nothing. And
    whether it is a copy."""
    with contextlib.suppress(*UNREADABLE, DamagedError, OSError):
        if is_beheaded(path):
            raise DamagedError
        db = connect(path, "ro")
        try:
            _look(db, path)
            if version_of(db) == VERSION and is_sound(db, path):
                return db, False
        except BaseException:
            db.close()
            raise
        db.close()
    return _copy_in_memory(path), True


def _copy_in_memory(path: Path) -> sqlite3.Connection:
    from watch.service.store.salvage import salvage_into

    memory = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    shared_memory = Path("/dev/shm")
    try:
        with tempfile.TemporaryDirectory(dir=shared_memory if shared_memory.is_dir() else None) as folder:
            copy = Path(folder) / "copy.db"
            for of, to in ((path, copy), (wal_of(path), wal_of(copy))):
                with contextlib.suppress(FileNotFoundError):
                    to.write_bytes(bytes_of(of))
            salvage_into(memory, copy)
    except (OSError, *UNREADABLE):
        memory.close()
        memory = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        migrate(memory)
    return memory
