"""(I/O) A process apart for the heavy work: what dies, hangs or swells there takes nothing of the watch along."""

import multiprocessing
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Generic, TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")

RENEWED_AFTER = 72  # works done by one process: half a day of passes (judgement); its memory goes with it
ENDS_S = 5.0


class ApartError(Exception):
    """The process apart died, or took too long; the message says which, as the end of a sentence that begins with the work."""


class Apart(Generic[Given, Made]):
    """Does one kind of work in a process of its own, which is started when it is needed and renewed now and then.

    work: a function that can be imported, of one value that can be pickled, with a result that can be; it must not raise. For one
    thread at a time.
    """

    def __init__(self, work: Callable[[Given], Made], *, renewed_after: int = RENEWED_AFTER) -> None:
        self._work, self._renewed_after = work, renewed_after
        self._process: SpawnProcess | None = None
        self._line: Connection | None = None
        self._done = 0

    def run(self, given: Given, seconds: float) -> Made:
        """The work on one value. Raises ApartError when the process dies or takes longer than `seconds`; the next call starts anew."""
        if self._done >= self._renewed_after:
            self.close()
        process, line = self._ready()
        try:
            line.send(given)
            if not line.poll(seconds):
                self._end()
                raise ApartError(f"took longer than {seconds:.0f} seconds and was stopped")
            made: Made = line.recv()
        except (EOFError, OSError):
            process.join(ENDS_S)
            code = process.exitcode
            self._end()
            how = "" if code is None else f" (signal {-code})" if code < 0 else f" (exit code {code})"
            raise ApartError(f"died{how}") from None
        self._done += 1
        return made

    def _ready(self) -> tuple[SpawnProcess, Connection]:
        if self._process is not None and self._line is not None and self._process.is_alive():
            return self._process, self._line
        self._end()
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs, self._work), daemon=True, name="nightorders-pass")
        process.start()
        theirs.close()
        self._process, self._line, self._done = process, ours, 0
        return process, ours

    def close(self) -> None:
        """Ends the process, kindly if it listens."""
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.join(ENDS_S)
        self._end()

    def _end(self) -> None:
        if self._process is not None:
            if self._process.is_alive():
                self._process.kill()
            self._process.join(ENDS_S)
        if self._line is not None:
            self._line.close()
        self._process, self._line = None, None


def _serve(line: Connection, work: Callable[[Given], Made]) -> None:
    """Works until the other end is closed; a signal meant to end the watch is the watch's to follow, not ours."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    while True:
        try:
            given = line.recv()
        except (EOFError, OSError):
            return
        line.send(work(given))
