"""How long a whole brief takes beside a bare ecCodes decode of the same files in the same run, and how much memory (prints ratios).

    python -m tests.bench.bench_brief [FOLDER OF REAL FORECAST FILES]

Each case runs in processes of its own, five times by turns, the middle time counts; imports are counted apart. Wall: from beginning to end;
processor: of the process and of the copies of it that read, together. The least of each is the fairer one on a busy machine.
The ensemble is made here: 31 members x 41 steps x 4 fields on 41 x 41 points.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

import numpy as np

from fixtures.encode import Box, Part, messages, write
from fixtures.make_demo import member

ROOT = Path(__file__).resolve().parents[2]
TIMES = 5
BOX = Box(north=42.0, south=32.0, west=-56.0, east=-46.0, step=0.25)

DECODE = """
import sys, time, json, resource, os
import eccodes
spent = lambda: sum(os.times()[:4])
t, c = time.perf_counter(), spent(); n = 0
for path in sys.argv[1:]:
    with open(path, "rb") as f:
        while (h := eccodes.codes_grib_new_from_file(f)) is not None:
            eccodes.codes_get_values(h); eccodes.codes_release(h); n += 1
print(json.dumps({"s": time.perf_counter() - t, "cpu": spent() - c, "messages": n, "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
"""

BRIEF = """
import sys, time, json, resource, os
spent = lambda: sum(os.times()[:4])
t0 = time.perf_counter()
from pathlib import Path
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.service.gather import gather
from watch.service.one_pass import one_pass
from watch.render.text import as_text
from watch.when import parse_utc
import xarray
xarray.DataArray([0.0])  # with the first array it imports what else is installed that has arrays
imports = time.perf_counter() - t0
boat_path, route, now, position, *gribs = sys.argv[1:]
t, c = time.perf_counter(), spent()
boat = read_boat(Path(boat_path))
asked = gather(boat, parse_state(boat, "main: reef 1"), Path(route), [Path(g) for g in gribs], parse_utc(now), position or None, None, None)
read, read_cpu = time.perf_counter() - t, spent() - c
passed = one_pass(asked)
text = as_text(passed.orders)
print(json.dumps({"s": time.perf_counter() - t, "cpu": spent() - c, "read": read, "read_cpu": read_cpu, "imports": imports, "weathers": passed.orders.weathers,
                  "steps": len(passed.orders.steps), "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
"""


def run(code: str, *arguments: str) -> dict[str, float]:
    """One run, in a process of its own."""
    done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, cwd=ROOT)
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def by_turns(times: int, *asked: tuple[str, ...]) -> list[list[dict[str, float]]]:
    """Each asked so many times, one after the other, so that what else the machine does meets all alike."""
    return [list(found) for found in zip(*([run(*one) for one in asked] for _ in range(times)), strict=True)]


def middle(found: list[dict[str, float]], key: str) -> float:
    return median(one[key] for one in found)


def least(found: list[dict[str, float]], key: str) -> float:
    return min(one[key] for one in found)


def made_ensemble(folder: Path, members: int = 31, steps: int = 41) -> Path:
    base = np.datetime64("2026-05-16T12:00:00")
    part = Part(names=("u10_ms", "v10_ms", "gust_ms", "pressure_pa"), box=BOX, steps_h=tuple(range(0, 3 * steps, 3)))
    path = folder / f"ensemble-{members}x{steps}.grib2"
    write(path, [m for k in range(members) for m in messages(member(k % 21), base, (part,), member=k, members=members)])
    return path


def cases(real: Path | None, folder: Path) -> list[tuple[str, list[str], list[str]]]:
    boat, route = str(ROOT / "config" / "boat-sloop.toml"), str(ROOT / "config" / "passage-bermuda-horta.toml")
    demo = [str(p) for p in sorted((ROOT / "fixtures").glob("kittiwake-*.grib2"))]
    place = ["2026-05-16T12:00Z", "36 30.0 N, 52 00.0 W"]
    found = [("the demo, three files", [boat, route, *place], demo), ("the demo, one run", [boat, route, *place], [demo[-1]])]
    found.append(("31 members x 41 steps x 4 fields", [boat, route, *place], [str(made_ensemble(folder))]))
    if real is not None:
        io = folder / "io.toml"
        io.write_text('[passage]\nname = "invented"\n[[waypoint]]\nname = "A"\nlatitude = -30.0\nlongitude = 34.0\n'
                      '[[waypoint]]\nname = "B"\nlatitude = -22.0\nlongitude = 56.0\n')  # fmt: skip
        week = [str(p) for p in sorted((real / "grib").glob("w*-7days-indian-ocean-*.grib1"))]
        found.append(("a real week, wind and waves", [boat, str(io), "2016-03-01T12:00Z", ""], week))
    return found


def main() -> None:
    real = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    print(f"{'ratios to the bare decode':<34}{'decode s':>9}{'read':>7}{'brief':>7}{'least':>7}  processor:{'read':>6}{'brief':>7}{'least':>7}"
          f"{'MB':>6}{'imports s':>11}{'weathers':>10}{'steps':>7}")  # fmt: skip
    with tempfile.TemporaryDirectory() as scratch:
        for name, arguments, gribs in cases(real, Path(scratch)):
            bare, whole = by_turns(TIMES, (DECODE, *gribs), (BRIEF, *arguments, *gribs))
            wall, cpu = middle(bare, "s"), middle(bare, "cpu")
            print(f"{name:<34}{wall:>9.3f}{middle(whole, 'read') / wall:>7.2f}{middle(whole, 's') / wall:>7.2f}"
                  f"{least(whole, 's') / least(bare, 's'):>7.2f}{middle(whole, 'read_cpu') / cpu:>17.2f}{middle(whole, 'cpu') / cpu:>7.2f}"
                  f"{least(whole, 'cpu') / least(bare, 'cpu'):>7.2f}{middle(whole, 'mb'):>6.0f}{middle(whole, 'imports'):>11.2f}"
                  f"{whole[0]['weathers']:>10.0f}{whole[0]['steps']:>7.0f}")  # fmt: skip


if __name__ == "__main__":
    main()
