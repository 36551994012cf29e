"""(I/O) What the file of the store holds: the tables of each version, and the way from one version to the next.

A version once given out is never changed here; a change is one more entry of MIGRATIONS. Every table has an id that is never used
twice, so that a gap in the ids of what is never thrown away is a loss.
"""

import sqlite3
import zlib
from collections.abc import Callable, Sequence

APPLICATION = 0x4E4F5244  # marks the file as ours, in its header
# In the order in which a damaged file is read: what cannot be made again comes first.
TABLES = ("log_line", "ack", "setting", "alert_book", "event", "position", "forecast", "step", "pass_kept")
NEVER_THROWN_AWAY = ("log_line", "ack")
HIGHEST_BELIEVED = 9999  # a version above this is no version but a damaged header

Migration = Sequence[str | Callable[[sqlite3.Connection], None]]

_FIRST: Migration = (
    "CREATE TABLE log_line (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, by TEXT NOT NULL, line TEXT NOT NULL)",
    "CREATE TABLE ack (id INTEGER PRIMARY KEY AUTOINCREMENT, alert TEXT NOT NULL, by TEXT NOT NULL, at TEXT NOT NULL, taken_at TEXT)",
    "CREATE TABLE setting (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE, value TEXT NOT NULL)",
    "CREATE TABLE alert_book (id INTEGER PRIMARY KEY AUTOINCREMENT, book TEXT NOT NULL)",
    "CREATE TABLE event (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, kind TEXT NOT NULL, alert TEXT NOT NULL,"
    " data TEXT NOT NULL)",
    "CREATE TABLE position (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, latitude_deg REAL NOT NULL,"
    " longitude_deg REAL NOT NULL, source TEXT NOT NULL)",
    "CREATE TABLE forecast (id INTEGER PRIMARY KEY AUTOINCREMENT, path TEXT NOT NULL UNIQUE, checksum TEXT NOT NULL,"
    " centre TEXT NOT NULL, run TEXT NOT NULL, kind TEXT NOT NULL, arrived TEXT NOT NULL, size_bytes INTEGER NOT NULL)",
    "CREATE TABLE step (id INTEGER PRIMARY KEY AUTOINCREMENT, start TEXT NOT NULL UNIQUE, data TEXT NOT NULL)",
    "CREATE TABLE pass_kept (id INTEGER PRIMARY KEY AUTOINCREMENT, made_at TEXT NOT NULL, next_wake TEXT, sentence TEXT NOT NULL,"
    " form TEXT, orders TEXT)",
    "CREATE INDEX event_at ON event (at)",
    "CREATE INDEX position_at ON position (at)",
    "CREATE INDEX pass_made_at ON pass_kept (made_at)",
)


def _pack_orders(db: sqlite3.Connection) -> None:
    """Orders from text to packed bytes: a month of passes is then some 100 MB and not ten times that."""
    for row, text in db.execute("SELECT id, orders FROM pass_kept WHERE typeof(orders) = 'text'").fetchall():
        db.execute("UPDATE pass_kept SET orders = ? WHERE id = ?", (zlib.compress(text.encode()), row))


_SECOND: Migration = (
    "ALTER TABLE log_line ADD COLUMN corrects INTEGER",
    "ALTER TABLE ack ADD COLUMN revision INTEGER",
    "ALTER TABLE ack ADD COLUMN place TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE ack ADD COLUMN outcome TEXT NOT NULL DEFAULT ''",
    _pack_orders,
)

MIGRATIONS: tuple[Migration, ...] = (_FIRST, _SECOND)
VERSION = len(MIGRATIONS)


def version_of(db: sqlite3.Connection) -> int:
    """The version of the tables in an open file; 0 when it has none."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def tables_of(db: sqlite3.Connection) -> set[str]:
    """The names of the tables in an open file."""
    return {str(row[0]) for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def migrate(db: sqlite3.Connection, upto: int = VERSION) -> None:
    """Brings an open file (its isolation_level None) to a version, all or nothing; safe when several processes do it at once."""
    db.execute("BEGIN IMMEDIATE")
    try:
        for number in range(version_of(db), upto):
            for part in MIGRATIONS[number]:
                if isinstance(part, str):
                    db.execute(part)
                else:
                    part(db)
            db.execute(f"PRAGMA user_version = {number + 1}")
        db.execute(f"PRAGMA application_id = {APPLICATION}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
