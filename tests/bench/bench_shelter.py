"""Twenty shelters, 120 hours, 31 weathers: how long the whole question of shelter takes beside decoding the forecast (prints ratios).

    python -m tests.bench.bench_shelter

The ensemble is made here: 31 members x 41 steps (120 h) x 4 fields on 41 x 41 points, like the one of bench_brief but of 20 degrees, so
that the shelters can be reached. These are invented, all in open water. "Decode" is a bare ecCodes loop over every field. Timed apart:
the mask of land (once a pass), then everything else of the question: weathers anywhere, legs, sail plans, counting, sea room, words. The
least of three counts, in seconds of the processor: all of it runs on one core, and what else the machine does then matters less.
"""

import cProfile
import pstats
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fixtures.encode import Box, Part, messages, write
from fixtures.make_demo import member
from tests.bench.bench_read import bare
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.orders.schedule import Schedule
from watch.passage.land import Land, load_land
from watch.passage.shelters import Entrance, Shelter
from watch.service import one_pass as pass_
from watch.service.gather import gather
from watch.service.sheltering import with_shelters
from watch.when import STEPS_PER_HOUR, parse_utc

ROOT = Path(__file__).resolve().parents[2]
MEMBERS, STEPS, SHELTERS = 31, 41, 20
BOX = Box(north=48.0, south=28.0, west=-58.0, east=-38.0, step=0.5)
NOW, PLACE = "2026-05-16T12:00Z", "36 30.0 N, 52 00.0 W"


def shortest(work: Callable[[], object], times: int = 3) -> float:
    """The least of some times [s of the processor]."""
    taken = []
    for _ in range(times):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def made(folder: Path) -> Path:
    base = np.datetime64("2026-05-16T12:00:00")
    part = Part(names=("u10_ms", "v10_ms", "gust_ms", "pressure_pa"), box=BOX, steps_h=tuple(range(0, 3 * STEPS, 3)))
    path = folder / "ensemble.grib2"
    write(path, [m for k in range(MEMBERS) for m in messages(member(k % 21), base, (part,), member=k, members=MEMBERS)])
    return path


def shelters() -> tuple[Shelter, ...]:
    """Twenty invented ones in two rings round the middle of the track."""
    entrance = Entrance(mean_kn=30, gust_kn=42, sea_m=5, daylight=True, bar=False)
    found = []
    for k in range(SHELTERS):
        angle, away = 2.0 * np.pi * k / SHELTERS, (2.0, 4.5)[k % 2]
        found.append(Shelter(
            name=f"invented {k + 1}", kind="lee",
            latitude=37.5 + away * float(np.cos(angle)), longitude=-48.0 + away * float(np.sin(angle)),
            open_to_wind=((20.0 * k % 360.0, (20.0 * k + 120.0) % 360.0),), open_wind_kn=20.0, open_to_swell=(), entrance=entrance,
        ))  # fmt: skip
    return tuple(found)


def asked_of(grib: Path) -> pass_.Asked:
    boat = read_boat(ROOT / "config" / "boat-sloop.toml")
    route = ROOT / "config" / "passage-bermuda-horta.toml"
    return gather(boat, parse_state(boat, "main: reef 1"), route, [grib], parse_utc(NOW), PLACE, None, None)


def question(asked: pass_.Asked, land: Land | None) -> tuple[Callable[[], object], Schedule]:
    """The pass without shelters, and the question of shelter as one call after it."""
    passed = pass_.one_pass(asked)
    night = passed.schedule.judged.night
    setting = pass_._setting(asked, night, passed.track, passed.scenarios, True)
    full = replace(asked, shelters=shelters(), land=land)
    return lambda: with_shelters(full, setting, passed.schedule, passed.track), passed.schedule


@dataclass(frozen=True, kw_only=True)
class Took:
    """Seconds of one run: the bare decode, the mask of land, the question of shelter; fields decoded and hours looked at."""

    decode_s: float
    land_s: float
    question_s: float
    fields: int
    hours: int


def measure(profile_by: str | None = None) -> Took:
    """The whole case once, the shortest of several turns of each part."""
    with tempfile.TemporaryDirectory() as scratch:
        grib = made(Path(scratch))
        fields = bare(grib)
        decode_s = shortest(lambda: bare(grib))
        asked = asked_of(grib)
        land = load_land(26.0, 50.0, -70.0, -24.0)
        land_s = shortest(lambda: load_land(26.0, 50.0, -70.0, -24.0))
        work, schedule = question(asked, land)
        question_s = shortest(work)
    if profile_by is not None:
        profile = cProfile.Profile()
        profile.runcall(work)
        pstats.Stats(profile).sort_stats(profile_by).print_stats(40)
    return Took(decode_s=decode_s, land_s=land_s, question_s=question_s, fields=fields, hours=len(schedule.carried) // STEPS_PER_HOUR)


def main() -> None:
    took = measure(sys.argv[1] if len(sys.argv) > 1 else None)
    print(f"{SHELTERS} shelters x {took.hours} hours x {MEMBERS} weathers; {took.fields} fields decoded")
    print(f"bare decode {took.decode_s:.2f} s, mask of land {took.land_s:.2f} s, the question of shelter {took.question_s:.2f} s")
    print(f"question / decode {took.question_s / took.decode_s:.2f}; with the mask {(took.question_s + took.land_s) / took.decode_s:.2f}; "
          "asked for: below 2")  # fmt: skip


if __name__ == "__main__":
    main()
