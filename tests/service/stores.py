"""Shared by the tests of the store: times, a child process that writes, and a look at the file without the store."""

import os
import signal
import sqlite3
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from watch.service.store import Store

PAGE = 4096  # bytes
NOON = datetime(2026, 5, 16, 12, 0, tzinfo=UTC)


def after(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def in_child(work: Callable[[int], None]) -> tuple[int, int]:
    """Runs work(pipe to write to) in a child process; its id and the pipe to read from. The child ends without any of our clean-up."""
    readable, writable = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # other tests may have left threads: the child touches none of them
        child = os.fork()
    if child == 0:  # pragma: no cover
        status = 1
        try:
            signal.alarm(60)
            os.close(readable)
            work(writable)
            status = 0
        except BaseException as error:  # noqa: BLE001
            print("child:", repr(error), file=sys.stderr, flush=True)
        finally:
            os._exit(status)
    os.close(writable)
    return child, readable


def all_of(readable: int) -> str:
    """All that comes out of a pipe until its writer is gone."""
    parts = []
    while piece := os.read(readable, 65536):
        parts.append(piece)
    os.close(readable)
    return b"".join(parts).decode()


def answer_of(work: Callable[[int], None]) -> str:
    """Runs work in a child to its end; what it wrote into the pipe. Fails when it failed."""
    child, readable = in_child(work)
    text = all_of(readable)
    _, status = os.waitpid(child, 0)
    assert status == 0, f"the child ended with {status}; it said {text}"
    return text


def verdict(path: Path) -> str:
    """What SQLite itself says of the file."""
    db = sqlite3.connect(path)
    try:
        return str(db.execute("PRAGMA integrity_check").fetchone()[0])
    finally:
        db.close()


def lines_of(path: Path) -> list[str]:
    with Store.open(path, NOON) as store:
        return [line.line for line in store.log_lines()]


@contextmanager
def quick_place() -> Iterator[Path]:
    """A folder in it, gone afterwards."""
    with tempfile.TemporaryDirectory(dir=quick_folder()) as folder:
        yield Path(folder)


def quick_folder() -> Path | None:
    """Where a file is written without waiting for a disk, for what is only read afterwards; None: the usual place."""
    memory = Path("/dev/shm")
    return memory if memory.is_dir() and os.access(memory, os.W_OK) else None


def zero_page(path: Path, page: int) -> None:
    """Fills one page of a file, counted from 1, with zeros."""
    with open(path, "r+b") as file:
        file.seek((page - 1) * PAGE)
        file.write(bytes(PAGE))
