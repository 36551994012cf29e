"""(I/O) One door tried by one process: coverage-guided by atheris where it is installed, else blind; what is found is written down.

The process that started this one looks at the state now and then: an input that kills or stops this process is known all the same.
"""

import argparse
import contextlib
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

try:
    import atheris
except ImportError:
    atheris = None  # type: ignore[assignment]


class TooLongError(BaseException):
    """More processor time than one input may take."""


class Tally:
    """What came of the inputs so far; kept in a file, so that it outlives this process."""

    def __init__(self, place: Path, door: Any) -> None:
        self.place, self.door, self.inputs = place, door, 0
        self.outcomes: Counter[str] = Counter()
        self.found: dict[str, int] = {}
        self.longest_s = 0.0
        self.base_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    def save(self) -> None:
        grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - self.base_kb) / 1024
        text = json.dumps({"inputs": self.inputs, "outcomes": self.outcomes.most_common(), "found": self.found, "longest_s": self.longest_s,
                           "grown_mb": round(grown_mb, 1), "base_mb": round(self.base_kb / 1024, 1)})
        making = self.place / "state.tmp"
        making.write_text(text, encoding="utf-8")
        making.replace(self.place / "state.json")

    def note(self, kind: str, error: BaseException, data: bytes) -> None:
        frames = [f for f in traceback.extract_tb(error.__traceback__) if "/watch/" in f.filename] or traceback.extract_tb(error.__traceback__)
        where = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else "?"
        name = f"{kind}-{type(error).__name__}-{where}" + (f"-{str(error)[:40]}" if type(error).__name__ == "UnsoundError" else "")
        name = "".join(letter if letter.isalnum() or letter in "-.:" else "_" for letter in name)
        known = self.place / "found" / name
        if name not in self.found or len(data) < known.stat().st_size:
            known.parent.mkdir(exist_ok=True)
            known.write_bytes(data)
            known.with_name(name + ".txt").write_text("".join(traceback.format_exception(error)), encoding="utf-8")
        self.found[name] = self.found.get(name, 0) + 1


def tried(door: Any, one: Any, tally: Tally, data: bytes) -> None:
    (tally.place / "in-hand").write_bytes(data)
    began = time.process_time()
    signal.setitimer(signal.ITIMER_PROF, door.limit_s)
    try:
        outcome = one(data)
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        tally.outcomes[outcome if len(tally.outcomes) < 5000 else outcome.partition(":")[0]] += 1
    except TooLongError as error:
        tally.note("hang", error, data)
    except Exception as error:  # noqa: BLE001
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        tally.note("crash", error, data)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
    tally.inputs += 1
    tally.longest_s = max(tally.longest_s, time.process_time() - began)
    if tally.inputs % 50 == 0 or time.process_time() - began > 0.5:
        tally.save()


def _too_long(*_: object) -> None:
    raise TooLongError


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--door")
    parser.add_argument("--place", type=Path)
    parser.add_argument("--runs", type=int)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    with atheris.instrument_imports(include=["watch", "tomllib"], enable_loader_override=False) if atheris else contextlib.nullcontext():
        from tests.bench.fuzz import doors

        door = doors.named(given.door)
        with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
            _fuzz(door, Path(folder), given)


def _fuzz(door: Any, folder: Path, given: Any) -> None:
    seeds, corpus = door.seeds(folder), given.place / "corpus"
    corpus.mkdir(exist_ok=True)
    for number, seed in enumerate(seeds):
        (corpus / f"seed-{number:03}").write_bytes(seed)
    one, rng = door.opens(folder), random.Random(given.seed)
    tally = Tally(given.place, door)
    signal.signal(signal.SIGPROF, _too_long)
    for seed in seeds:
        tried(door, one, tally, seed)

    def each(data: bytes) -> None:
        tried(door, one, tally, data)
        if tally.inputs >= given.runs:
            tally.save()
            import shutil

            os.chdir("/")
            shutil.rmtree(folder, ignore_errors=True)
            sys.stderr.flush()
            os._exit(0)

    def spoil(data: bytes, most: int, seed: int) -> bytes:
        rng.seed(seed * 1_000_003 + given.seed)
        made = data if rng.random() < 0.15 else door.spoil(data or seeds[0], rng, seeds)
        return atheris.Mutate(made, most) if rng.random() < 0.25 and len(made) < most else made[:most]

    if atheris is None:
        while True:
            each(door.spoil(rng.choice(seeds), rng, seeds)[: door.longest])
    flags = {"timeout": 3600, "artifact_prefix": f"{given.place}/", "rss_limit_mb": 0, "max_len": door.longest, "seed": given.seed,
             "len_control": 0, "mutate_depth": 2}
    options = [sys.argv[0], str(corpus), *(f"-{name}={value}" for name, value in flags.items())]
    atheris.Setup(options, each, custom_mutator=spoil)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
