"""(I/O) Keeps the file from growing without end. The log and the acknowledgements are never thinned."""

import json
import sqlite3
from collections.abc import Iterable
from datetime import datetime, timedelta

from watch.service.store.memory import Memory
from watch.service.store.opening import is_sound, size_of, wal_of
from watch.service.store.times import instant_of, text_of

PASSES_KEPT = timedelta(days=30)
PASSES_EVERY = timedelta(hours=6)  # after that
STEPS_KEPT = timedelta(days=60)
STEPS_EVERY = timedelta(hours=1)  # after that; the track the same
EVENTS_KEPT = timedelta(days=365)  # calls and what was done about them; the acknowledgements themselves are kept apart, for ever
DAMAGED_KEPT = 3  # files put aside


class Upkeep(Memory):
    """Thins what is old, and says how large the store is."""

    def prune(self, now: datetime) -> None:
        """Thins passes older than 30 days to one in six hours, steps and positions older than 60 days to one an hour (of steps the
        windiest), drops calls older than a year and all but the newest three files put aside; reads the whole file to see that it is
        sound, and brings what was written last into the file itself."""
        self.look_through()
        self._write(lambda db: _prune(db, now))
        self._drop_damaged()
        self.checkpoint()

    def look_through(self) -> None:
        """Reads the whole file; one that is damaged somewhere is mended now, which `said` then tells, and not when it is needed."""
        with self._mutex:
            if self.keeps and self._read(lambda db: not is_sound(db, self.path)):
                self._begin(thorough=True)

    def checkpoint(self) -> None:
        """Brings what was written last into the file itself, as far as nobody reads in it just now."""
        with self._mutex:
            if self.keeps and self._db is not None:
                self._tried(lambda db: db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone(), None)

    def size_bytes(self) -> int:
        """How much room the store takes on the disk, what was written last and files put aside included."""
        aside = sum(size_of(path) for path in self.path.parent.glob(f"{self.path.name}.damaged-*"))
        return size_of(self.path) + size_of(wal_of(self.path)) + aside

    def _drop_damaged(self) -> None:
        names = sorted(p for p in self.path.parent.glob(f"{self.path.name}.damaged-*") if not p.name.endswith("-wal"))
        for old in names[:-DAMAGED_KEPT]:
            for file in (old, wal_of(old)):
                file.unlink(missing_ok=True)


def _prune(db: sqlite3.Connection, now: datetime) -> None:
    _drop(db, "pass_kept", _surplus(_old(db, "pass_kept", "made_at", "''", now - PASSES_KEPT), PASSES_EVERY))
    _drop(db, "position", _surplus(_old(db, "position", "at", "''", now - STEPS_KEPT), STEPS_EVERY))
    steps = _old(db, "step", "start", "data", now - STEPS_KEPT)
    _drop(db, "step", _surplus(sorted(steps, key=lambda row: -_windiest(row[2])), STEPS_EVERY))
    db.execute("DELETE FROM event WHERE at < ?", (text_of(now - EVENTS_KEPT),))


def _old(db: sqlite3.Connection, table: str, time: str, data: str, before: datetime) -> list[tuple[int, str, str]]:
    return db.execute(f"SELECT id, {time}, {data} FROM {table} WHERE {time} < ? ORDER BY {time}, id", (text_of(before),)).fetchall()


def _surplus(rows: Iterable[tuple[int, str, str]], every: timedelta) -> list[int]:
    """All but the first of each stretch of time; a row whose time cannot be read goes too."""
    seen, surplus = set(), []
    for row, time, _ in rows:
        try:
            stretch = int(instant_of(time).timestamp() // every.total_seconds())
        except ValueError:
            surplus.append(row)
            continue
        if stretch in seen:
            surplus.append(row)
        seen.add(stretch)
    return surplus


def _windiest(data: str) -> float:
    """The strongest wind of a kept step [m/s]; below all others when it has none."""
    try:
        kept = json.loads(data)
        return max(float(kept[name]) for name in ("gust_ms", "largest_ms", "mean_ms") if kept.get(name) is not None)
    except (ValueError, TypeError):
        return -1.0


def _drop(db: sqlite3.Connection, table: str, rows: list[int]) -> None:
    db.executemany(f"DELETE FROM {table} WHERE id = ?", [(row,) for row in rows])
