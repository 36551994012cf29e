"""Reads forecasts so that a file which stops the decoder dead costs a sentence and not the whole process (I/O)."""

import contextlib
import faulthandler
import mmap
import os
import pickle
import select
import signal
import threading
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.frames import ASK_AGAIN
from watch.forecast.grib import read
from watch.forecast.trial import DIED, LONGEST_S, hold_down, read_apart

NUMBER_BYTES = 8
DONE, REFUSED = "done", "refused"
PIPE_BYTES = 1 << 20


def read_guarded(paths: Sequence[Path], box: Box | None = None, *, seconds: float = LONGEST_S) -> tuple[Forecast, ...]:
    """The same as `read`, by a copy of this process that hands its forecasts over: when it dies, we do not.

    Costs up to about a tenth of the reading (tests/bench/bench_read.py). Raises BadInputError as `read` does, and when a file kills the
    decoder or nothing comes for `seconds`. Where other threads run, no copy is safe: then the files are tried by a process apart,
    and read here after that.
    """
    if not alone():
        read_apart(paths, seconds=seconds)
        return read(paths, box)
    with mmap.mmap(-1, NUMBER_BYTES) as in_hand:
        answer, status = _copied(paths, box, in_hand, seconds)
        number = int.from_bytes(in_hand[:NUMBER_BYTES], "little")
    if answer is not None:
        kind, what = answer
        if kind == REFUSED:
            raise BadInputError(*what)
        found: tuple[Forecast, ...] = what
        return found
    if status is None:
        raise BadInputError(paths[number], [f"is not read in {seconds:.0f} seconds: damaged or far too large; {ASK_AGAIN}"])
    if os.WIFSIGNALED(status):
        raise BadInputError(paths[number], [f"stops the decoder dead: damaged inside; {ASK_AGAIN}"])
    return read(paths, box)  # an error of another kind: here it is told as it is


def alone() -> bool:
    """True when this process has no other threads, so that a copy of it is sound."""
    return hasattr(os, "fork") and threading.active_count() == 1


def _copied(paths: Sequence[Path], box: Box | None, in_hand: mmap.mmap, seconds: float) -> tuple[tuple[str, Any] | None, int | None]:
    """What the copy says, None when it died first; and how it ended, None when it had to be stopped."""
    out, into = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # threads of a numerical library that are asleep
        child = os.fork()
    if child == 0:
        os.close(out)
        _in_the_copy(paths, box, in_hand, into)
    os.close(into)
    try:
        data = _all_of(out, seconds)
    except TimeoutError:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return None, None
    except BaseException:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        raise
    finally:
        os.close(out)
    status = os.waitpid(child, 0)[1]
    return (pickle.loads(data) if status == 0 else None), status


def _in_the_copy(paths: Sequence[Path], box: Box | None, in_hand: mmap.mmap, into: int) -> None:
    """Reads, hands over, and ends this process without any of its farewells; 1 when something else went wrong."""
    ended = 1
    with contextlib.suppress(Exception):
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_DFL)
        faulthandler.disable()
        hold_down()
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # a decoder's last words

        def begins(number: int) -> None:
            in_hand[:NUMBER_BYTES] = number.to_bytes(NUMBER_BYTES, "little")

        try:
            answer: tuple[str, Any] = DONE, read(paths, box, begins)
        except BadInputError as refused:
            answer = REFUSED, (refused.source, refused.faults)
        except MemoryError:
            at = paths[int.from_bytes(in_hand[:NUMBER_BYTES], "little")]
            answer = REFUSED, (str(at), (f"{DIED[signal.SIGKILL]}; {ASK_AGAIN}",))
        with os.fdopen(into, "wb", PIPE_BYTES) as stream:
            pickle.dump(answer, stream, protocol=pickle.HIGHEST_PROTOCOL)
        ended = 0
    os._exit(ended)


def _all_of(handle: int, seconds: float) -> bytes:
    """Everything to the end; TimeoutError when nothing comes for so long."""
    pieces: list[bytes] = []
    while True:
        if not select.select([handle], [], [], seconds)[0]:
            raise TimeoutError
        piece = os.read(handle, PIPE_BYTES)
        if not piece:
            return b"".join(pieces)
        pieces.append(piece)
