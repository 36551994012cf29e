"""The same answers from a general NMEA 0183 library, from the slow and obvious way, and from one that measures the earth."""

import math
from itertools import pairwise

import numpy as np
import pynmea2
import pytest
from geographiclib.geodesic import Geodesic

from watch.instruments.averages import GustKind, coverage, largest_gust, step_mean
from watch.instruments.nmea0183 import parse_line
from watch.instruments.plausible import distance_m
from watch.instruments.readings import Quantity
from watch.instruments.simulate import SENTENCES, Script, gusty, nmea0183_pieces, wandering
from watch.instruments.streams import nearest
from watch.units import KN_PER_MS
from watch.when import parse_utc

Q = Quantity
pytestmark = pytest.mark.source("instruments-twin-1")
START = parse_utc("2026-05-14T12:00Z")
VOYAGE = Script(
    start=START, mean_ms=np.array([9.0, 14.0]), gust_ms=np.array([12.5, 22.0]), from_deg=np.array([215.0, 350.0]),
    heading_deg=np.array([80.0, 85.0]), pressure_pa=np.array([101200.0, 101100.0, 101000.0]),
    latitude_deg=np.array([-33.9, -33.895, -33.89]), longitude_deg=np.array([179.99, -179.995, -179.98]),
)


def test_every_simulated_sentence_reads_the_same_in_a_general_library() -> None:
    for _, piece in list(nmea0183_pieces(VOYAGE, what=tuple(SENTENCES), tagged=False))[::97]:
        for line in piece.decode().splitlines():
            theirs = pynmea2.parse(line, check=True)
            ours = {r.quantity: r.value for r in parse_line(line, START, clock_may_differ_s=None).readings}
            if theirs.sentence_type == "RMC":
                assert ours[Q.LATITUDE_DEG] == pytest.approx(theirs.latitude, abs=1e-9)
                assert ours[Q.LONGITUDE_DEG] == pytest.approx(theirs.longitude, abs=1e-9)
                assert ours[Q.GROUND_SPEED_MS] * KN_PER_MS == pytest.approx(theirs.spd_over_grnd, abs=1e-9)
                assert ours[Q.GROUND_COURSE_DEG] == theirs.true_course
            elif theirs.sentence_type == "MWV":
                apparent = theirs.reference == "R"
                speed = ours[Q.APPARENT_WIND_MS if apparent else Q.TRUE_WIND_MS]
                angle = ours[Q.APPARENT_ANGLE_DEG if apparent else Q.TRUE_ANGLE_DEG]
                assert speed * KN_PER_MS == pytest.approx(float(theirs.wind_speed), abs=1e-9)
                assert angle % 360.0 == pytest.approx(float(theirs.wind_angle), abs=1e-9)
            elif theirs.sentence_type == "XDR":
                assert ours[Q.PRESSURE_PA] == pytest.approx(float(theirs.value) * 1e5)
            else:
                assert ours[Q.HEADING_DEG if theirs.sentence_type != "MWD" else Q.TRUE_FROM_DEG] == float(theirs.data[0])


@pytest.mark.parametrize("seed", range(8))
def test_means_coverage_and_gusts_against_plain_loops(seed: int) -> None:
    rng = np.random.default_rng(seed)
    seconds = np.sort(rng.uniform(-5.0, 605.0, 450)) if seed % 2 else np.arange(-5.0, 605.0)[rng.random(610) > 0.1]
    speeds = 10.0 + 3.0 * wandering(seconds.size, 8.0, rng)
    bins: dict[int, list[float]] = {}
    for second, speed in zip(seconds, speeds, strict=True):
        if 0.0 <= second < 600.0:
            bins.setdefault(int(second // 10), []).append(speed)
    assert step_mean(seconds, speeds, 0.0, 10.0) == pytest.approx(sum(sum(b) / len(b) for b in bins.values()) / len(bins))
    assert coverage(seconds, 0.0, 10.0) == pytest.approx(len(bins) / 60)
    gust_ms, kind = largest_gust(seconds, speeds, 0.0)
    inside = [s for s in seconds if 0.0 <= s < 600.0]
    apart = [b - a for a, b in pairwise(inside)]
    many = round(3.0 / float(np.median(apart)))
    windows = {j: float(np.mean(speeds[j - many + 1 : j + 1])) for j in range(many - 1, seconds.size)
               if 0.0 <= seconds[j] < 600.0 and seconds[j] - seconds[j - many + 1] <= 3.0}
    in_windows = {i for j in windows for i in range(j - many + 1, j + 1)}
    singles = {i: float(speeds[i]) for i in range(seconds.size) if 0.0 <= seconds[i] < 600.0}
    alone = max((speed for i, speed in singles.items() if i not in in_windows), default=0.0)
    if len({int(seconds[j] // 10) for j in windows}) < 40 or float(np.median(apart)) > 1.2:
        assert (gust_ms, kind) == (pytest.approx(max(singles.values())), GustKind.LARGEST_READING)
    else:
        best = max(windows.values())
        assert (gust_ms, kind is GustKind.THREE_SECOND) == (pytest.approx(max(best, alone)), best >= alone)


def test_nearest_against_a_plain_search() -> None:
    rng = np.random.default_rng(5)
    times, stream, values = np.sort(rng.uniform(0, 100, 40)), np.sort(rng.uniform(0, 100, 25)), rng.normal(size=25)
    found = nearest(times, stream, values, 2.0)
    for time, value in zip(times, found, strict=True):
        place = min(range(25), key=lambda i: abs(stream[i] - time))
        expected = values[place] if abs(stream[place] - time) <= 2.0 else math.nan
        assert value == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize("seed", range(5))
def test_distance_against_the_ellipsoid(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a = rng.uniform([-75.0, -180.0], [75.0, 180.0])
    b = a + rng.uniform(-2.0, 2.0, 2)
    b[1] = (b[1] + 180.0) % 360.0 - 180.0
    theirs = Geodesic.WGS84.Inverse(a[0], a[1], b[0], b[1])["s12"]
    ours = float(distance_m(a[0], a[1], b[0], b[1]))
    assert ours == pytest.approx(theirs, rel=0.006)


@pytest.mark.parametrize(("mean_ms", "gust_ms"), [(8.0, 11.0), (15.0, 24.0), (5.0, 25.0), (2.0, 30.0), (12.0, 12.5)])
def test_made_up_wind_has_the_mean_and_gust_asked_for_and_hangs_together(mean_ms: float, gust_ms: float) -> None:
    for seed in range(3):
        speeds = gusty(mean_ms, gust_ms, np.random.default_rng(seed))
        threes = [float(np.mean(speeds[i : i + 3])) for i in range(598)]
        assert float(np.mean(speeds)) == pytest.approx(mean_ms, rel=1e-9)
        assert max(threes) == pytest.approx(gust_ms, rel=1e-6)
        assert speeds.min() >= 0.0


def test_made_up_turbulence_forgets_at_the_rate_asked_for() -> None:
    values = wandering(200_000, 10.0, np.random.default_rng(3))
    for lag in (1, 5, 10, 20):
        expected = math.exp(-lag / 10.0)
        assert float(np.corrcoef(values[:-lag], values[lag:])[0, 1]) == pytest.approx(expected, abs=0.03)
    assert float(values.std()) == pytest.approx(1.0, abs=0.03)
