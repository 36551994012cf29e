"""Reads forecasts so that a file which stops the decoder dead costs a sentence and not the whole process (I/O)."""

import mmap
import signal
from collections.abc import Sequence
from pathlib import Path
from typing import Any, BinaryIO

from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.copied import Copy, DiedError, ErredError, alone
from watch.forecast.frames import ASK_AGAIN
from watch.forecast.grib import joined, read
from watch.forecast.shared import lay_out, read_shared, taken, unnamed_memory
from watch.forecast.trial import DIED, LONGEST_S, read_apart

NUMBER_BYTES = 8
DONE, REFUSED = "done", "refused"


def read_guarded(paths: Sequence[Path], box: Box | None = None, *, seconds: float = LONGEST_S) -> tuple[Forecast, ...]:
    """The same as `read`, by copies of this process that hand over what they read: when one dies, we do not.

    Large files are read by as many copies as there are cores, each a share of the messages; when that comes to grief, and for small
    files, one copy reads all, and its end tells which file is to blame. Raises BadInputError as `read` does, and when a file kills
    the decoder or nothing comes for `seconds`. Where other threads run, no copy is safe: then the files are tried by a process
    apart, and read here after that. What it costs: tests/bench/bench_read.py.
    """
    if not alone():
        read_apart(paths, seconds=seconds)
        return read(paths, box)
    found = read_shared(paths, box, seconds)
    return _read_by_one(paths, box, seconds) if found is None else found


def _read_by_one(paths: Sequence[Path], box: Box | None, seconds: float) -> tuple[Forecast, ...]:
    with mmap.mmap(-1, NUMBER_BYTES) as in_hand, unnamed_memory() as memory, Copy(lambda: _told(paths, box, in_hand, memory)) as copy:
        try:
            kind, what = copy.result(seconds)
        except TimeoutError:
            slow = f"is not read in {seconds:.0f} seconds: damaged or far too large"
            raise BadInputError(_file(paths, in_hand), [f"{slow}; {ASK_AGAIN}"]) from None
        except DiedError:
            raise BadInputError(_file(paths, in_hand), [f"stops the decoder dead: damaged inside; {ASK_AGAIN}"]) from None
        except ErredError:
            return read(paths, box)  # here it is told as it is
        if kind == REFUSED:
            raise BadInputError(*what)
        return joined(paths, box, taken(what, memory))


def _told(paths: Sequence[Path], box: Box | None, in_hand: mmap.mmap, memory: BinaryIO) -> tuple[str, Any]:
    """What comes of laying out all that is in the files. in_hand: holds the place of the file that is being read, for us and for whoever outlives us."""
    def begins(number: int) -> None:
        in_hand[:NUMBER_BYTES] = number.to_bytes(NUMBER_BYTES, "little")

    try:
        return DONE, lay_out(paths, box, memory, begins=begins)
    except BadInputError as refused:
        return REFUSED, (refused.source, refused.faults)
    except MemoryError:
        return REFUSED, (str(_file(paths, in_hand)), (f"{DIED[signal.SIGKILL]}; {ASK_AGAIN}",))


def _file(paths: Sequence[Path], in_hand: mmap.mmap) -> Path:
    return paths[int.from_bytes(in_hand[:NUMBER_BYTES], "little")]
