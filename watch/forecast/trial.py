"""A first reading of strange files in a process of its own: damage deep in the packed data can stop a decoder dead (I/O)."""

import contextlib
import errno
import json
import os
import resource
import select
import signal
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from watch.faults import BadInputError
from watch.forecast.frames import ASK_AGAIN
from watch.forecast.grib import read
from watch.when import parse_utc

LONGEST_S = 300.0
BEGUN = "begun"
DIED = {int(signal.SIGKILL): "takes more memory than there is: far too large, or damaged"}
MOST_BYTES = 3 << 30  # of memory more for the other process: grids are refused at a size that needs less


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


class Trial:
    """Another process that reads one file after another; a new one when it dies. Use it as a context; not for two threads at once."""

    def __init__(self, seconds: float = LONGEST_S) -> None:
        self._seconds = seconds
        self._other: subprocess.Popen[bytes] | None = None
        self._held = b""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def of(self, path: Path) -> Tried:
        """What comes of a file. One that kills the other process, takes all memory or longer than `seconds` is refused.

        Raises TrialError when there is no other process to be had.
        """
        other = self._other or self._start()
        assert other.stdin is not None
        begun, why = False, "is not read in {:.0f} seconds: damaged or far too large"
        try:
            other.stdin.write(json.dumps(str(path)).encode() + b"\n")
            other.stdin.flush()
            while (line := self._line(other)) is not None:
                said = _understood(line)
                begun = begun or said == BEGUN
                if isinstance(said, Tried):
                    return said
            why = DIED.get(-other.wait(), "stops the decoder dead: damaged inside")
        except TimeoutError:
            begun = True
        except BrokenPipeError:
            begun = False
        self._end()
        if not begun:
            raise TrialError(errno.EAGAIN, "the first reading in a process apart cannot be made")
        return Tried(source=str(path), faults=(f"{why.format(self._seconds)}; {ASK_AGAIN}",))

    def fault(self, path: Path) -> str | None:
        """What is said against a file, None when it can be read."""
        faults = self.of(path).faults
        return "; ".join(faults) if faults else None

    def _start(self) -> subprocess.Popen[bytes]:
        same_modules = {**os.environ, "PYTHONPATH": os.pathsep.join(part for part in sys.path if part)}
        self._held = b""
        try:
            self._other = subprocess.Popen(
                [sys.executable, "-m", "watch.forecast.trial"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, env=same_modules)
        except OSError as error:
            raise TrialError(error.errno, f"a process apart cannot be started ({error.strerror or error})") from None
        return self._other

    def _line(self, other: subprocess.Popen[bytes]) -> bytes | None:
        """The next line, None at the end; TimeoutError when nothing comes for too long."""
        assert other.stdout is not None
        while b"\n" not in self._held:
            if not select.select([other.stdout], [], [], self._seconds)[0]:
                raise TimeoutError
            got = os.read(other.stdout.fileno(), 1 << 16)
            if not got:
                return None
            self._held += got
        line, self._held = self._held.split(b"\n", 1)
        return line

    def _end(self) -> None:
        other, self._other = self._other, None
        if other is not None:
            other.kill()
            with contextlib.suppress(OSError):
                other.communicate()


def try_apart(paths: Sequence[Path], *, seconds: float = LONGEST_S) -> tuple[Tried, ...]:
    """Lets another process read each file by itself and throws the values away; a result for each, in order.

    Costs a start of Python for all, and one reading each. Raises TrialError when there is no other process to be had.
    """
    with Trial(seconds) as trial:
        return tuple(trial.of(path) for path in paths)


def read_apart(paths: Sequence[Path], *, seconds: float = LONGEST_S) -> None:
    """Lets another process read the files whole: afterwards they can be read here without danger.

    Raises BadInputError as `read` would, and when the other process dies or takes longer than `seconds` over a file, which nothing
    here would survive. Only for files that are new on board: what passed once is not tried again.
    """
    with Trial(seconds) as trial:
        for path in paths:
            one = trial.of(path)
            if one.faults:
                raise BadInputError(one.source, one.faults)


def _understood(line: bytes) -> str | Tried | None:
    try:
        said: dict[str, Any] = json.loads(line)
        if "begun" in said:
            return BEGUN
        holds = tuple(Holds(centre=str(c), run=parse_utc(r), kind=str(k)) for c, r, k in said["holds"])
        return Tried(holds=holds, source=str(said["source"]), faults=tuple(str(fault) for fault in said["faults"]))
    except (ValueError, KeyError, TypeError):
        return None  # a library's own words


def _say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def _main() -> int:
    hold_down()
    for line in sys.stdin:
        name = str(json.loads(line))
        _say(begun=name)
        try:
            found = read([Path(name)])
        except BadInputError as refused:
            _say(holds=[], source=refused.source, faults=[fault.expected for fault in refused.faults])
        except MemoryError:
            _say(holds=[], source=name, faults=[f"{DIED[signal.SIGKILL]}; {ASK_AGAIN}"])
        else:
            _say(holds=[[one.centre, one.run.isoformat(), one.kind] for one in found], source=name, faults=[])
    return 0


def hold_down() -> None:
    """This process leaves no core on the disk, may not take all memory, and is the first to go when there is none left."""
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with contextlib.suppress(OSError, ValueError):
        has = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (has + MOST_BYTES, resource.getrlimit(resource.RLIMIT_AS)[1]))
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("900", encoding="ascii")


if __name__ == "__main__":
    sys.exit(_main())
