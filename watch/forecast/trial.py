"""A first reading of strange files in a process of its own: damage deep in the packed data can stop a decoder dead (I/O)."""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from watch.faults import BadInputError
from watch.forecast.frames import ASK_AGAIN
from watch.forecast.grib import read

LONGEST_S = 300.0
REFUSED = 2


def read_apart(paths: Sequence[Path], *, seconds: float = LONGEST_S) -> None:
    """Lets another process read the files whole and throws the result away: afterwards they can be read here without danger.

    Costs a start of Python and one reading. Raises BadInputError as `read` would, and when the other process dies or takes longer
    than `seconds`, which nothing here would survive. Only for files that are new on board: what passed once is not tried again.
    """
    command = [sys.executable, "-m", "watch.forecast.trial", *(str(path) for path in paths)]
    same_modules = {**os.environ, "PYTHONPATH": os.pathsep.join(part for part in sys.path if part)}
    try:
        done = subprocess.run(command, check=False, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=seconds,
                              env=same_modules)
    except subprocess.TimeoutExpired as slow:
        at = _reached(slow.stdout or b"", paths)
        raise BadInputError(at, [f"is not read in {seconds:.0f} seconds: damaged or far too large; {ASK_AGAIN}"]) from None
    if done.returncode == REFUSED:
        source, faults = json.loads(done.stdout.splitlines()[-1])
        raise BadInputError(source, faults)
    if done.returncode != 0:
        raise BadInputError(_reached(done.stdout, paths), [f"stops the decoder dead: damaged inside; {ASK_AGAIN}"])


def _reached(said: bytes, paths: Sequence[Path]) -> Path:
    """The file that the other process had in hand: it names each before it begins."""
    begun = said.splitlines()
    return paths[max(0, min(len(begun), len(paths)) - 1)]


def _main(names: Sequence[str]) -> int:
    for name in names:
        print(name, flush=True)
        try:
            read([Path(name)])
        except BadInputError as refused:
            print(json.dumps([refused.source, [fault.expected for fault in refused.faults]]), flush=True)
            return REFUSED
    return 0


if __name__ == "__main__":
    sys.exit(_main(sys.argv[1:]))
