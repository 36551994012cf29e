"""(I/O) Many passages at once, over the cores of this machine, or over a Dask cluster when it is installed and asked for."""

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from watch.faults import BadInputError

Item = TypeVar("Item")
Made = TypeVar("Made")

HERE = "here"  # in place of an address: a cluster on this machine alone


def over_cores(work: Callable[[Item], Made], items: Sequence[Item], workers: int) -> Iterator[Made]:
    """work of each item, as they are done (not in order); in this process when there is one worker, else in so many.

    When the caller stops, nothing more is begun. Raises what work raises, and BadInputError when a process was killed.
    """
    if workers <= 1 or len(items) <= 1:
        yield from map(work, items)
        return
    pool = ProcessPoolExecutor(min(workers, len(items)), mp_context=multiprocessing.get_context("spawn"), initializer=_leave_interrupts)
    try:
        waiting = [pool.submit(work, item) for item in items]
        for future in as_completed(waiting):
            yield future.result()
    except BrokenProcessPool:
        raise BadInputError("--workers", ["a process was killed, perhaps for want of memory; give fewer, like 1"]) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _leave_interrupts() -> None:
    """Ctrl-C is for the process that started this one: it stops them all in order."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def over_dask(work: Callable[[Item], Made], items: Sequence[Item], address: str) -> Iterator[Made]:
    """The same over a Dask cluster: address of its scheduler, or HERE. Raises BadInputError when Dask or the cluster is not there."""
    dask = _dask()
    try:
        client = dask.Client() if address == HERE else dask.Client(address, timeout=20)
    except (OSError, ValueError, TimeoutError) as error:
        why = str(error).split("\n")[0] or type(error).__name__
        raise BadInputError("--dask", [f"no cluster answers at {address} ({why}); start one, or leave --dask out"]) from None
    with client:
        for future in dask.as_completed(client.map(work, list(items), pure=False)):
            yield future.result()


def _dask() -> Any:
    try:
        import distributed
    except ImportError:
        raise BadInputError("--dask", ["Dask is not installed; install nightorders[replay], or leave --dask out"]) from None
    return distributed
