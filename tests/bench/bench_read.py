"""How much longer a whole read takes than a bare ecCodes decode of every field of the same file, in the same run.

Run it from the top folder: python tests/bench/bench_read.py [FILE ...]. Without files: every readable file in ../shared/data/grib
and a made ensemble of 31 members, 41 times, 4 fields on 41 by 41 points. Each is done three times, the shortest time counts.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import eccodes
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from watch.faults import BadInputError  # noqa: E402
from watch.forecast.box import Box  # noqa: E402
from watch.forecast.grib import read  # noqa: E402
from watch.forecast.guarded import read_guarded  # noqa: E402

FIELDS = ((0, 2, 2, 103, 10), (0, 2, 3, 103, 10), (0, 2, 22, 1, 0), (0, 3, 1, 101, 0))  # u, v, gust, pressure
MEMBERS, TIMES, POINTS, STEP_DEG = 31, 41, 41, 0.25


def make_ensemble(path: Path) -> None:
    """31 x 41 x 4 messages of 41 x 41 points, simply packed in 12 bits."""
    rng = np.random.default_rng(1)
    with path.open("wb") as out:
        for member in range(MEMBERS):
            for step in range(TIMES):
                for field in FIELDS:
                    handle = eccodes.codes_grib_new_from_samples("regular_ll_sfc_grib2")
                    for key, value in _keys(member, step, field).items():
                        eccodes.codes_set(handle, key, value)
                    eccodes.codes_set_values(handle, rng.normal(size=POINTS * POINTS))
                    eccodes.codes_write(handle, out)
                    eccodes.codes_release(handle)


def _keys(member: int, step: int, field: tuple[int, int, int, int, int]) -> dict[str, float]:
    width = (POINTS - 1) * STEP_DEG
    return {
        "centre": 7, "productDefinitionTemplateNumber": 1, "dataDate": 20260514, "dataTime": 0, "discipline": field[0],
        "parameterCategory": field[1], "parameterNumber": field[2], "typeOfFirstFixedSurface": field[3],
        "scaleFactorOfFirstFixedSurface": 0, "scaledValueOfFirstFixedSurface": field[4], "numberOfForecastsInEnsemble": MEMBERS,
        "perturbationNumber": member, "typeOfEnsembleForecast": 3 if member else 1, "stepUnits": 1, "forecastTime": 3 * step,
        "Ni": POINTS, "Nj": POINTS, "latitudeOfFirstGridPointInDegrees": 45, "longitudeOfFirstGridPointInDegrees": 290,
        "latitudeOfLastGridPointInDegrees": 45 - width, "longitudeOfLastGridPointInDegrees": 290 + width,
        "iDirectionIncrementInDegrees": STEP_DEG, "jDirectionIncrementInDegrees": STEP_DEG, "bitsPerValue": 12,
    }


def bare(path: Path) -> int:
    """Every field decoded and thrown away: the least that any reader can do. Number of fields."""
    count = 0
    eccodes.codes_grib_multi_support_on()
    try:
        with path.open("rb") as stream:
            while (handle := eccodes.codes_grib_new_from_file(stream)) is not None:
                eccodes.codes_get_values(handle)
                eccodes.codes_release(handle)
                count += 1
    finally:
        eccodes.codes_grib_multi_support_off()
    return count


def shortest(work: Callable[[], object], times: int = 3) -> float:
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def report(path: Path, box: Box | None = None) -> None:
    try:
        read([path], box)
    except BadInputError as refused:
        print(f"{path.name:45} refused: {str(refused).split(': ', 1)[1][:70]}...")
        return
    count = bare(path)
    least, ours = shortest(lambda: bare(path)), shortest(lambda: read([path], box))
    copied = shortest(lambda: read_guarded([path], box))
    print(f"{path.name:45} {count:5} fields  bare {least * 1e3:8.1f} ms  read {ours * 1e3:8.1f} ms  ratio {ours / least:5.2f}"
          f"  by a copy of the process {copied / ours:5.2f} of that")


def main() -> None:
    files = [Path(name) for name in sys.argv[1:]] or sorted((ROOT.parent / "shared" / "data" / "grib").glob("*"))
    for path in files:
        report(path)
    if len(sys.argv) == 1:
        with tempfile.TemporaryDirectory() as folder:
            made = Path(folder) / "made-31-members.grib2"
            make_ensemble(made)
            report(made)
            report(made, Box(40.0, 42.0, -67.0, -64.0))


if __name__ == "__main__":
    main()
