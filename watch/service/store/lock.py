"""(I/O) A lock on the folder of the store: many may work in the file at once, one alone may put another file in its place.

SQLite's own locks guard what happens inside a file. They cannot guard the moment in which a damaged file is moved aside, for whoever
has it open would go on writing into the one moved. Without such locks (no flock on this system) that moment is unguarded.
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

try:
    import fcntl
except ImportError:  # pragma: no cover
    fcntl = None  # type: ignore[assignment]

LONGEST_S = 60.0  # a repair reads the whole file; nothing else is held for longer than a transaction


class FolderLock:
    """The lock of one folder; each object counts for itself, also within one process."""

    def __init__(self, folder: Path):
        self._fd: int | None = None
        if fcntl is not None:
            try:
                self._fd = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
            except OSError:
                self._fd = None

    @contextmanager
    def shared(self) -> Iterator[None]:
        """Held while working in the file. TimeoutError when a repair takes too long."""
        with self._held(alone=False):
            yield

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Held while another file is put in its place. TimeoutError when others do not let go."""
        with self._held(alone=True):
            yield

    @contextmanager
    def _held(self, *, alone: bool) -> Iterator[None]:
        locked = self._take(alone)
        try:
            yield
        finally:
            if locked and self._fd is not None:
                fcntl.flock(self._fd, fcntl.LOCK_UN)

    def _take(self, alone: bool) -> bool:
        if self._fd is None:
            return False
        kind = (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB
        until_s, pause_s = time.monotonic() + LONGEST_S, 0.001
        while True:
            try:
                fcntl.flock(self._fd, kind)
            except BlockingIOError:
                if time.monotonic() >= until_s:
                    raise TimeoutError("another process works on it and does not let go") from None
                time.sleep(pause_s)
                pause_s = min(2.0 * pause_s, 0.1)
            except OSError:  # a folder on a file system without such locks
                return False
            else:
                return True

    def close(self) -> None:
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None
