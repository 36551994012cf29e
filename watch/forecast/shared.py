"""Large files read by as many copies of this process as there are cores, each a share of the messages (I/O)."""

import heapq
import mmap
import os
import tempfile
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from functools import partial
from pathlib import Path
from typing import BinaryIO

import numpy as np

from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.copied import Copy, CopyError
from watch.forecast.decode import Slice
from watch.forecast.frames import ALL, Share
from watch.forecast.grib import Piece, joined, pieces
from watch.forecast.handle import quiet

LEAST_BYTES = 1 << 20  # of files: below this a second copy gains nothing (tests/bench/bench_read.py)
MOST_COPIES = 8  # more only share out what is left over
MOST_BYTES = 3 << 29  # of values: put together they take as much again
NOTHING = np.empty(0, dtype=np.float32)


def read_shared(paths: Sequence[Path], box: Box | None, seconds: float) -> tuple[Forecast, ...] | None:
    """The same as `read`; None when the files are small, when there is one core, and when anything at all goes wrong.

    Half of `seconds` is waited for each copy: the other half is for whoever reads after it.
    """
    copies = min(cores(), MOST_COPIES)
    if copies < 2 or _bytes(paths) < LEAST_BYTES:
        return None
    with suppress(BadInputError, CopyError, OSError), ExitStack() as held:
        lent = [held.enter_context(unnamed_memory()) for _ in range(copies)]
        at_work = [held.enter_context(Copy(partial(lay_out, paths, box, memory, Share(k, copies)))) for k, memory in enumerate(lent)]
        shares = [taken(copy.result(seconds / 2), memory) for copy, memory in zip(at_work, lent, strict=True)]
        return joined(paths, box, heapq.merge(*shares, key=lambda piece: (piece.file, piece.message)))
    return None


def cores() -> int:
    """How many this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _bytes(paths: Sequence[Path]) -> int:
    try:
        return sum(path.stat().st_size for path in paths)
    except OSError:
        return 0


def unnamed_memory() -> BinaryIO:
    """A file without a name, in memory where there is such a thing, that copies of this process share with it."""
    return os.fdopen(os.memfd_create("forecast"), "w+b") if hasattr(os, "memfd_create") else tempfile.TemporaryFile()


def lay_out(
    paths: Sequence[Path], box: Box | None, memory: BinaryIO, share: Share = ALL, begins: Callable[[int], None] = lambda _: None,
) -> list[Piece]:
    """In the copy: reads its share, lays the values one after the other in the memory, and gives the rest of each piece.

    Raises as `read`, and MemoryError when the values are more than MOST_BYTES.
    """
    found, room = [], MOST_BYTES
    with quiet():
        for piece in pieces(paths, box, begins, share):
            if isinstance(piece.got, Slice):
                room -= memory.write(piece.got.values.data)
                if room < 0:
                    raise MemoryError
                piece = piece._replace(got=piece.got._replace(values=NOTHING))
            found.append(piece)
    memory.flush()
    return found


def taken(found: list[Piece], memory: BinaryIO) -> list[Piece]:
    """The pieces of a share with their values again, which stay where they lie."""
    slices = [piece.got for piece in found if isinstance(piece.got, Slice)]
    values = np.frombuffer(mmap.mmap(memory.fileno(), 0, access=mmap.ACCESS_READ), dtype=np.float32) if slices else NOTHING
    whole, at = [], 0
    for piece in found:
        if isinstance(piece.got, Slice):
            axes = piece.got.layout.axes
            shape = axes.latitude.size, axes.longitude.size
            end = at + shape[0] * shape[1]
            piece = piece._replace(got=piece.got._replace(values=values[at:end].reshape(shape)))
            at = end
        whole.append(piece)
    return whole
