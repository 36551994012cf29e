"""A first reading of strange files in a process of its own: damage deep in the packed data can stop a decoder dead (I/O)."""

import contextlib
import json
import os
import resource
import select
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from watch.faults import BadInputError
from watch.forecast.frames import ASK_AGAIN
from watch.forecast.grib import read
from watch.when import parse_utc

LONGEST_S = 300.0
MOST_BYTES = 3 << 30  # of memory for the other process: grids are refused at a size that needs less


class TrialError(OSError):
    """The other process could not be started, or ended before it had any file in hand: nothing is known of the files."""


@dataclass(frozen=True, kw_only=True)
class Holds:
    """One run found in a file. kind: "single" or "ensemble"."""

    centre: str
    run: datetime
    kind: str


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What came of one file. holds: its runs, the newest first; empty when it is refused. source, faults: of the refusal."""

    holds: tuple[Holds, ...] = ()
    source: str = ""
    faults: tuple[str, ...] = ()


def try_apart(paths: Sequence[Path], *, seconds: float = LONGEST_S) -> tuple[Tried, ...]:
    """Lets another process read each file by itself and throws the values away; a result for each, in order.

    A file that kills the other process, takes all memory or longer than `seconds` is refused, and the rest go to a new process.
    Costs a start of Python for all, and one reading each. Raises TrialError when there is no other process to be had.
    """
    tried: list[Tried] = []
    while len(tried) < len(paths):
        rest = paths[len(tried) :]
        begun, ended, why = _one_process(rest, seconds)
        tried += ended
        if len(ended) < len(rest):
            if begun <= len(ended):
                raise TrialError(0, f"the first reading apart cannot be made ({why})")
            tried.append(Tried(source=str(rest[len(ended)]), faults=(f"{why}; {ASK_AGAIN}",)))
    return tuple(tried)


def read_apart(paths: Sequence[Path], *, seconds: float = LONGEST_S) -> None:
    """Lets another process read the files whole: afterwards they can be read here without danger.

    Raises BadInputError as `read` would, and when the other process dies or takes longer than `seconds` over a file, which nothing
    here would survive. Only for files that are new on board: what passed once is not tried again.
    """
    for one in try_apart(paths, seconds=seconds):
        if one.faults:
            raise BadInputError(one.source, one.faults)


def _one_process(paths: Sequence[Path], seconds: float) -> tuple[int, list[Tried], str]:
    """How many files were begun, what came of those that were ended, and why it stopped."""
    command = [sys.executable, "-m", "watch.forecast.trial", *(str(path) for path in paths)]
    same_modules = {**os.environ, "PYTHONPATH": os.pathsep.join(part for part in sys.path if part)}
    begun, ended, late = 0, list[Tried](), False
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=same_modules) as other:
        assert other.stdout is not None
        try:
            for line in _lines(other.stdout.fileno(), seconds):
                said = _understood(line)
                if said == "begun":
                    begun += 1
                elif isinstance(said, Tried):
                    ended.append(said)
        except TimeoutError:
            late = True
            other.kill()
        other.wait()
    if late:
        return begun, ended, f"is not read in {seconds:.0f} seconds: damaged or far too large"
    killed = other.returncode == -signal.SIGKILL
    return begun, ended, "takes more memory than there is: far too large, or damaged" if killed else "stops the decoder dead: damaged inside"


def _lines(handle: int, seconds: float) -> Iterator[bytes]:
    """Lines as they come; TimeoutError when nothing comes for so long."""
    held = b""
    while True:
        if not select.select([handle], [], [], seconds)[0]:
            raise TimeoutError
        got = os.read(handle, 1 << 16)
        if not got:
            return
        *whole, held = (held + got).split(b"\n")
        yield from whole


def _understood(line: bytes) -> str | Tried | None:
    try:
        said: dict[str, Any] = json.loads(line)
        if "begun" in said:
            return "begun"
        holds = tuple(Holds(centre=str(c), run=parse_utc(r), kind=str(k)) for c, r, k in said["holds"])
        return Tried(holds=holds, source=str(said["source"]), faults=tuple(str(fault) for fault in said["faults"]))
    except (ValueError, KeyError, TypeError):
        return None  # a library's own words


def _say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def _main(names: Sequence[str]) -> int:
    hold_down()
    for number, name in enumerate(names):
        _say(begun=number)
        try:
            found = read([Path(name)])
        except BadInputError as refused:
            _say(holds=[], source=refused.source, faults=[fault.expected for fault in refused.faults])
        except MemoryError:
            _say(holds=[], source=name, faults=[f"takes more memory than there is: far too large, or damaged; {ASK_AGAIN}"])
        else:
            _say(holds=[[one.centre, one.run.isoformat(), one.kind] for one in found], source=name, faults=[])
    return 0


def hold_down() -> None:
    """This process leaves no core on the disk, may not take all memory, and is the first to go when there is none left."""
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, resource.getrlimit(resource.RLIMIT_AS)[1]))
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("900", encoding="ascii")


if __name__ == "__main__":
    sys.exit(_main(sys.argv[1:]))
