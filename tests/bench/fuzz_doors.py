"""Every door tried with spoiled inputs, and a table of what came of them: python tests/bench/fuzz_doors.py [--inputs 120000] [--door NAME].

Coverage-guided by atheris where that is installed (else blind, and the table says so), with ways to spoil an input that know its form.
One process at a time, apart from this one: an input that kills it, or on which it makes no progress for a minute, is written down and
the door goes on. What is found lies in --keep, one file a place in the code, beside its traceback. Exit code 1 when anything was found.
"""

import argparse
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.bench.fuzz.door import Door  # noqa: E402
from tests.bench.fuzz.doors import DOORS  # noqa: E402

STUCK_S = 90.0
MOST_DEATHS = 200
# Doors behind which the decoder itself may die: in the project it never runs but in a process apart (the two doors after it).
MAY_DIE = {"GRIB, reader"}


def tried(door: Door, inputs: int, seed: int, keep: Path) -> dict[str, Any]:
    """Starts processes for a door until so many inputs have been tried; the sums over them."""
    place = keep / re.sub(r"\W+", "-", door.name)
    (place / "found").mkdir(parents=True, exist_ok=True)
    sums: dict[str, Any] = {"inputs": 0, "outcomes": {}, "found": {}, "died": 0, "stuck": 0, "longest_s": 0.0, "grown_mb": 0.0, "paths": 0, "edges": 0}
    began = time.monotonic()
    while sums["inputs"] < inputs and sums["died"] + sums["stuck"] < MOST_DEATHS:
        (place / "state.json").unlink(missing_ok=True)
        command = [sys.executable, "-m", "tests.bench.fuzz.child", "--door", door.name, "--place", str(place),
                   "--runs", str(inputs - sums["inputs"]), "--seed", str(seed + sums["died"] + sums["stuck"])]
        with (place / "said").open("w+", encoding="utf-8", errors="replace") as said:
            child = subprocess.Popen(command, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, stdout=said, stderr=said, stdin=subprocess.DEVNULL)
            ended = _watched(child, place)
        _added(sums, place)
        if ended == "stuck":
            sums["stuck"] += 1
            (place / "found" / f"stuck-{sums['stuck']}").write_bytes((place / "in-hand").read_bytes())
        elif ended != 0:
            sums["died"] += 1
            (place / "found" / f"died-{-int(ended)}-{sums['died']}").write_bytes((place / "in-hand").read_bytes())
            if not (place / "state.json").exists():
                print((place / "said").read_text(encoding="utf-8", errors="replace")[-3000:])
                break
    sums["seconds"] = time.monotonic() - began
    return sums


def _watched(child: subprocess.Popen[bytes], place: Path) -> int | str:
    """How the process ended: its code, or "stuck" when it had to be ended."""
    while True:
        try:
            return child.wait(timeout=STUCK_S)
        except subprocess.TimeoutExpired:
            with_hand = place / "in-hand"
            if with_hand.exists() and time.time() - with_hand.stat().st_mtime > STUCK_S:
                child.send_signal(signal.SIGKILL)
                child.wait()
                return "stuck"


def _added(sums: dict[str, Any], place: Path) -> None:
    try:
        state = json.loads((place / "state.json").read_text(encoding="utf-8"))
    except FileNotFoundError:
        return
    sums["inputs"] += state["inputs"]
    for name, count in state["outcomes"]:
        sums["outcomes"][name] = sums["outcomes"].get(name, 0) + count
    for name, count in state["found"].items():
        sums["found"][name] = sums["found"].get(name, 0) + count
    sums["longest_s"], sums["grown_mb"] = max(sums["longest_s"], state["longest_s"]), max(sums["grown_mb"], state["grown_mb"])
    units = re.findall(r"cov: (\d+) ft: \d+ corp: (\d+)/", (place / "said").read_text(encoding="utf-8", errors="replace"))
    if units:
        sums["edges"], sums["paths"] = max(sums["edges"], int(units[-1][0])), max(sums["paths"], int(units[-1][1]))


def row(door: Door, sums: dict[str, Any]) -> str:
    good = sum(count for name, count in sums["outcomes"].items() if name.startswith("accepted"))
    crashes = sum(1 for name in sums["found"] if name.startswith("crash"))
    hangs = sums["stuck"] + sum(1 for name in sums["found"] if name.startswith("hang"))
    died = f"{sums['died']} (decoder)" if door.name in MAY_DIE else str(sums["died"])
    bad = sum(sums["outcomes"].values()) - good
    return (f"| {door.name:<25} | {sums['inputs']:>7} | {sums['paths']:>5} | {len(sums['outcomes']):>5} | {bad:>7} | {good:>7} | {crashes:>3} | {died:>6} | "
            f"{hangs:>2} | {sums['longest_s']:>5.2f} of {door.limit_s:.0f} | {sums['grown_mb']:>5.0f} | {sums['seconds']:>5.0f} |")


HEAD = ("| door                      |  inputs | paths | outcomes | refused | accepted | crashes | died | hangs | longest [s] | memory [MB] | took [s] |\n"
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--inputs", type=int, default=120_000, help="in all, shared out by what one costs")
    parser.add_argument("--door", action="append", help="only this one; all inputs go to it")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=None, help="a folder for the corpus and what is found")
    given = parser.parse_args()
    os.nice(10)
    keep = given.keep or Path(tempfile.mkdtemp(prefix="fuzz-"))
    chosen = [door for door in DOORS if not given.door or door.name in given.door]
    weights = sum(door.weight for door in chosen)
    try:
        import atheris  # noqa: F401
    except ImportError:
        print("atheris is not installed: blind, not coverage-guided")
    print(HEAD, flush=True)
    found = total = 0
    for door in chosen:
        sums = tried(door, round(given.inputs * door.weight / weights), given.seed, keep)
        total += sums["inputs"]
        found += len(sums["found"]) + sums["stuck"] + (0 if door.name in MAY_DIE else sums["died"])
        print(row(door, sums), flush=True)
        (keep / f"{re.sub(r'[^A-Za-z0-9]+', '-', door.name)}.json").write_text(json.dumps(sums, indent=1), encoding="utf-8")
    print(f"{total} inputs in all, {found} places found; what was found lies in {keep}")
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
