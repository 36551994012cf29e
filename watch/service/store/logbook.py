"""(I/O) The log as the sailor writes it. Nothing is ever taken out of it: a correction is one more line."""

import sqlite3
from dataclasses import dataclass
from datetime import datetime

from watch.service.store.memory import Memory
from watch.service.store.times import instant_of, legible, text_of


@dataclass(frozen=True, kw_only=True)
class LogLine:
    """One line of the log. at: when it was written (what it tells of has its own time, in the text); by: who or what wrote it; line: the
    text as typed, corrected if it was; before: the texts that it had before, oldest first."""

    id: int
    at: datetime
    by: str
    line: str
    before: tuple[str, ...] = ()

    @property
    def is_corrected(self) -> bool:
        return bool(self.before)


class Logbook(Memory):
    """Keeps the log; each line is on the disk when add_log returns."""

    def add_log(self, line: str, at: datetime, by: str) -> int:
        """Writes a line; gives back its number. The text is kept as typed: whether it can be understood is not asked here."""
        row = (text_of(at), legible(by), legible(line))
        return self._write(lambda db: inserted(db.execute("INSERT INTO log_line (at, by, line) VALUES (?, ?, ?)", row)))

    def correct_log(self, id: int, line: str, at: datetime | None = None, by: str = "") -> None:
        """Puts another text in the place of a line; the old one is kept. at: when it was corrected, None: not known, and then the time of
        the line stands for it. Raises BadInputError when there is no such line."""
        written = None if at is None else text_of(at)

        def work(db: sqlite3.Connection) -> bool:
            found = db.execute("SELECT coalesce(corrects, id), at FROM log_line WHERE id = ?", (id,)).fetchone()
            if found is not None:
                row = (written or found[1], legible(by), legible(line), found[0])
                db.execute("INSERT INTO log_line (at, by, line, corrects) VALUES (?, ?, ?, ?)", row)
            return found is not None

        if not self._write(work):
            from watch.faults import BadInputError

            raise BadInputError("the log", [f"there is no line {id}; look up its number with: nightorders log"])

    def log_lines(self, since: datetime | None = None) -> list[LogLine]:
        """The lines written at or after a time, all when None, in order of time, as they stand after correction."""
        rows = self._read(lambda db: db.execute("SELECT id, at, by, line, corrects FROM log_line ORDER BY id").fetchall())
        texts: dict[int, list[str]] = {}
        first: dict[int, tuple[str, str]] = {}
        for row, at, by, line, corrects in self._each(rows, lambda *row: row, "lines of the log"):
            about = corrects if isinstance(corrects, int) else row  # a correction whose line is lost stands for itself
            first.setdefault(about, (at, by))
            texts.setdefault(about, []).append(line)
        lines = self._each(((row, *first[row], lines) for row, lines in texts.items()), _line, "lines of the log")
        return sorted((one for one in lines if since is None or one.at >= since), key=lambda one: (one.at, one.id))


def inserted(cursor: sqlite3.Cursor) -> int:
    row = cursor.lastrowid
    assert row is not None
    return row


def _line(row: int, at: str, by: str, texts: list[str]) -> LogLine:
    return LogLine(id=row, at=instant_of(at), by=by, line=texts[-1], before=tuple(texts[:-1]))
