"""A copy of this process at work: it may die without harm to us, and hands what it made over by a pipe (I/O)."""

import faulthandler
import os
import pickle
import select
import signal
import threading
import warnings
from collections.abc import Callable
from typing import Any, Self

from watch.forecast.trial import hold_down

PIPE_BYTES = 1 << 20
ERRED = 70  # how a copy ends after an error of ours; 0 is an end that a library may have made, too


class CopyError(Exception):
    """A copy gave nothing."""


class DiedError(CopyError):
    """It was killed, or ended by a library."""


class ErredError(CopyError):
    """An error came out of the work."""


def alone() -> bool:
    """True when this process has no other threads, so that a copy of it is sound."""
    return hasattr(os, "fork") and threading.active_count() == 1


class Copy:
    """A copy of this process that does one piece of work and ends. Use it as a context: at its end the copy is gone.

    work: what it gives is handed over whole, as a pickle.
    """

    def __init__(self, work: Callable[[], Any]) -> None:
        self._out, into = os.pipe()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # threads of a numerical library that are asleep
            child = os.fork()
        if child == 0:
            os.close(self._out)
            _in_the_copy(work, into)
        os.close(into)
        self._child: int | None = child

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._child is not None:
            os.kill(self._child, signal.SIGKILL)
            os.waitpid(self._child, 0)
            self._child = None
        os.close(self._out)

    def result(self, seconds: float) -> Any:
        """What the work gave. Raises DiedError, ErredError, and TimeoutError when nothing comes for so long."""
        data = self._all(seconds)
        assert self._child is not None
        status = os.waitpid(self._child, 0)[1]
        self._child = None
        if status == 0 and data:
            return pickle.loads(data)
        raise ErredError if os.WIFEXITED(status) and os.WEXITSTATUS(status) == ERRED else DiedError

    def _all(self, seconds: float) -> bytes:
        got: list[bytes] = []
        while True:
            if not select.select([self._out], [], [], seconds)[0]:
                raise TimeoutError
            piece = os.read(self._out, PIPE_BYTES)
            if not piece:
                return b"".join(got)
            got.append(piece)


def _in_the_copy(work: Callable[[], Any], into: int) -> None:
    """Works, hands over, and ends this process without any of its farewells."""
    ended = ERRED
    try:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_DFL)
        faulthandler.disable()
        hold_down()
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # a decoder's last words
        made = work()
        with os.fdopen(into, "wb", PIPE_BYTES) as stream:
            pickle.dump(made, stream, protocol=pickle.HIGHEST_PROTOCOL)
        ended = 0
    finally:
        os._exit(ended)
