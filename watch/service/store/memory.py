"""(I/O) The open file behind the store: its transactions, and what happens when it turns out to be damaged, full or not writable."""

import os
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Any, NoReturn, Self, TypeVar

from watch.service.store.lock import FolderLock
from watch.service.store.opening import (
    CannotWriteError,
    DamagedError,
    Trouble,
    is_beheaded,
    open_file,
    open_to_read,
    salvaged_of,
    trouble_of,
    wal_of,
)
from watch.service.store.salvage import finish, mend
from watch.service.store.times import is_torn, text_of

T = TypeVar("T")
Work = Callable[[sqlite3.Connection], T]
MOST_SAID = 50
MOST_TRIES = 3


class Memory:
    """One file, to be used by several processes and threads at once; a `fork` must not take it along open.

    Whatever the file is like, opening it goes on: what is damaged is put aside and what can be read of it is saved; where nothing can
    be written what is known can still be read. `said` then has a sentence. Only a file of a newer version, or of another program, is
    refused. Every change is on the disk when the method that makes it returns; NotKeptError says that it is not.
    """

    def __init__(self, path: Path, now: datetime):
        text_of(now)  # refuses a naive time
        self.path = path.resolve()
        self._opened_at, self._opened_s = now, time.monotonic()
        self._mutex = threading.RLock()
        self._said: list[str] = []
        self._db: sqlite3.Connection | None = None
        self._is_copy = False  # what is open is a copy in memory
        self._seen: tuple[object, ...] = ()  # what the file looked like when it was opened, or copied
        self._why_not = ""  # why nothing can be kept; empty when it can
        with suppress(OSError):
            self.path.parent.mkdir(parents=True, exist_ok=True)
        self._lock = FolderLock(self.path.parent)

    @classmethod
    def open(cls, path: Path, now: datetime) -> Self:
        """The store in this file, made when there is none. now: aware, for the name of a damaged file put aside.

        Raises BadInputError for a file of a newer version or of another program, and for a folder.
        """
        store = cls(path, now)
        try:
            store._begin()
        except BaseException:
            store.close()
            raise
        return store

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Ends the use of the file; may be called twice."""
        with self._mutex:
            self._let_go()
            self._lock.close()

    @property
    def said(self) -> tuple[str, ...]:
        """What the sailor has to know of the store itself since it was opened: sentences, each once."""
        return tuple(self._said)

    @property
    def keeps(self) -> bool:
        """False while nothing can be kept, only read."""
        return not self._why_not

    def _say(self, sentence: str) -> None:
        if sentence not in self._said:
            self._said = [*self._said, sentence][-MOST_SAID:]

    def _now(self) -> datetime:
        return self._opened_at + timedelta(seconds=time.monotonic() - self._opened_s)

    # opening

    def _begin(self, *, thorough: bool = False) -> None:
        if not self._is_copy:
            self._let_go()
        try:
            try:
                with self._lock.shared():
                    if salvaged_of(self.path).exists() or is_beheaded(self.path):
                        raise DamagedError("a part of it is missing")
                    self._take_up(open_file(self.path, thorough=thorough))
            except DamagedError:
                with self._lock.alone():
                    self._take_up(self._mended())
            self._why_not = ""
        except CannotWriteError as error:
            self._only_read(str(error))
        except TimeoutError as error:
            self._only_read(str(error))

    def _mended(self) -> sqlite3.Connection:
        """The file after it was mended, unless another process has done so by now."""
        with suppress(OSError):
            finish(self.path, self._now())
        if not is_beheaded(self.path):
            with suppress(DamagedError):
                return open_file(self.path, thorough=True)
        self._say(mend(self.path, self._now()))
        try:
            return open_file(self.path, thorough=True)
        except DamagedError:
            raise CannotWriteError("the disk does not give back what was written to it: use another one") from None

    def _only_read(self, why: str) -> None:
        self._why_not = why
        self._say(f"Nothing can be kept in {self.path}: {why}. What was known before can still be read.")
        if self._db is None or self._seen != self._look_of(copy=True):
            seen = self._look_of(copy=True)
            db, is_copy = open_to_read(self.path)
            self._take_up(db, is_copy=is_copy)
            self._seen = seen if is_copy else self._seen

    def _take_up(self, db: sqlite3.Connection, *, is_copy: bool = False) -> None:
        self._let_go()
        self._db, self._is_copy, self._seen = db, is_copy, self._look_of(copy=is_copy)

    def _look_of(self, *, copy: bool) -> tuple[object, ...]:
        """Which file lies there; for a copy, also whether it was written since."""
        looks: list[object] = []
        for path in (self.path, wal_of(self.path)) if copy else (self.path,):
            try:
                there = os.stat(path)
            except OSError:
                looks.append(None)
                continue
            looks.append((there.st_dev, there.st_ino, there.st_size, there.st_mtime_ns) if copy else (there.st_dev, there.st_ino))
        return tuple(looks)

    def _let_go(self) -> None:
        if self._db is not None:
            with suppress(sqlite3.Error):
                self._db.close()
            self._db, self._is_copy = None, False

    # transactions

    def _read(self, work: Work[T]) -> T:
        """One transaction that only reads."""
        with self._mutex:
            return self._tried(work, "BEGIN")

    def _write(self, work: Work[T]) -> T:
        """One transaction; on the disk when this returns. Raises NotKeptError."""
        with self._mutex:
            if not self.keeps:
                self._begin()  # room may have been made
            if not self.keeps:
                self._refuse(self._why_not)
            return self._tried(work, "BEGIN IMMEDIATE")

    def _tried(self, work: Work[T], begin: str | None) -> T:
        if self._db is None:
            raise ValueError("the store is closed")
        why = Trouble.DAMAGED.value
        for _ in range(MOST_TRIES):
            try:
                with self._lock.shared():
                    if self._seen == self._look_of(copy=self._is_copy):
                        return _transaction(self._db, work, begin)
                self._begin()  # another process has put another file in its place, or can write again
            except sqlite3.Error as error:
                why = trouble_of(error).value
                if trouble_of(error) is not Trouble.DAMAGED:
                    self._refuse(f"{why} ({error})" if trouble_of(error) is Trouble.OTHER else why)
                self._begin(thorough=True)
            except UnicodeDecodeError:  # an error of SQLite that repeats a damaged definition
                self._begin(thorough=True)
            except TimeoutError as error:
                self._refuse(str(error))
            if begin != "BEGIN" and not self.keeps:
                self._refuse(self._why_not)
        self._refuse(why)

    def _refuse(self, why: str) -> NoReturn:
        from watch.service.store.refused import NotKeptError

        raise NotKeptError(self.path, [f"this could not be done: {why}"])

    def _each(self, rows: Iterable[tuple[Any, ...]], build: Callable[..., T], what: str) -> list[T]:
        """Rows -> what they stand for; those that cannot be read any more are left out, and that is said."""
        built, unread = [], 0
        for row in rows:
            try:
                if is_torn(row):
                    raise ValueError("zeros where there was text")
                built.append(build(*row))
            except (ValueError, TypeError, KeyError, AttributeError, OverflowError):
                unread += 1
        if unread:
            self._say(f"What cannot be read any more is left out: {what}, {unread}.")
        return built


def _transaction(db: sqlite3.Connection, work: Work[T], begin: str | None) -> T:
    """begin None: what cannot be done inside a transaction."""
    if begin is None:
        return work(db)
    db.execute(begin)
    try:
        result = work(db)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            with suppress(sqlite3.Error):
                db.execute("ROLLBACK")
        raise
    return result
