"""The sums of a ten-minute step: WMO means, directions and gust; which instrument wins; what is in doubt."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from watch.instruments.readings import Doubt, DoubtKind, Quantity
from watch.instruments.streams import Flags, Key, Stream, nearest
from watch.instruments.thresholds import BOAT_SPEEDS, POSITION, WINDS
from watch.units import Floats, ms_to_kn, wind_components_ms, wind_from_deg
from watch.when import STEP_MINUTES

Q = Quantity
STEP_S = STEP_MINUTES * 60.0
ENOUGH = 2.0 / 3.0  # of a step, for a mean (source aws-qc-2)
WIND_BIN_S = 10.0  # a step is covered bin by bin: a bin with any reading counts (judgement)
BOAT_BIN_S = 60.0
GLASS_BIN_S = 200.0
GUST_S = 3.0  # source wmo-8-wind-1
SLOWEST_FOR_GUST_S = 1.2  # at least three readings in three seconds, with some unevenness
HEADING_WITHIN_S = 10.0  # a heading this near in time serves a wind reading (judgement)
BOAT_WITHIN_S = 15.0
CALM_MS = 0.1  # below this the mean vector has no direction worth saying
APART = {Q.PRESSURE_PA: (300.0, 0.0), **dict.fromkeys(WINDS, (3.0, 0.25))}  # two instruments disagree: by, and by a part of it
MOST_DOUBTS = 20


class WindWay(StrEnum):
    """How the true wind was had, best first."""

    NORTH = "north"  # speed and direction against north, from the instrument
    GROUND = "ground"  # over the ground from the bow, and heading
    BOW = "bow"  # true wind from the bow, and heading
    APPARENT_GROUND = "apparent_ground"  # apparent wind, heading, course and speed over the ground
    APPARENT_WATER = "apparent_water"  # apparent wind, heading, speed through the water; no leeway
    SPEED_ONLY = "speed_only"  # true wind without a direction
    NONE = "none"


class GustKind(StrEnum):
    """What the gust is."""

    THREE_SECOND = "three_second"  # largest mean over three seconds
    LARGEST_READING = "largest_reading"  # largest single reading: the instrument speaks too seldom for three-second means
    NONE = "none"


@dataclass(frozen=True, kw_only=True)
class Preferences:
    """Which instrument wins. sources: for a quantity, source names in order of preference; the others follow, the cleaner and
    fuller first. variation_deg: east positive, for a boat whose instruments give none."""

    sources: Mapping[Quantity, tuple[str, ...]] = field(default_factory=dict)
    variation_deg: float = math.nan


@dataclass(frozen=True)
class Chosen:
    """The usable readings of the instrument that wins; grade 2: clean ones are enough, 1: usable ones are, 0: too few."""

    stream: Stream
    grade: int
    coverage: float


def coverage(seconds: Floats, start_s: float, bin_s: float) -> float:
    """Part of the step's bins [1] that hold at least one of these times [s].

    >>> coverage(np.array([5.0, 7.0, 215.0]), 0.0, 200.0)
    0.6666666666666666
    """
    bins = round(STEP_S / bin_s)
    return float(np.unique(_bin_of(seconds, start_s, bin_s)).size) / bins


def _bin_of(seconds: Floats, start_s: float, bin_s: float) -> Floats:
    inside = seconds[(seconds >= start_s) & (seconds < start_s + STEP_S)]
    bins: Floats = np.floor((inside - start_s) / bin_s)
    return bins


def step_mean(seconds: Floats, values: Floats, start_s: float, bin_s: float) -> float:
    """Mean of the means of the bins, so that a burst of readings weighs no more than its time; NaN without readings.

    >>> step_mean(np.array([0.0, 1.0, 2.0, 300.0]), np.array([4.0, 4.0, 4.0, 8.0]), 0.0, 10.0)
    6.0
    """
    inside = (seconds >= start_s) & (seconds < start_s + STEP_S) & np.isfinite(values)
    if not inside.any():
        return math.nan
    _, at, count = np.unique(_bin_of(seconds[inside], start_s, bin_s), return_inverse=True, return_counts=True)
    return float(np.mean(np.bincount(at, weights=values[inside]) / count))


def step_direction(seconds: Floats, size: Floats, direction_deg: Floats, start_s: float, bin_s: float) -> float:
    """Direction [deg] of the mean vector; NaN without readings or when they cancel out.

    >>> round(step_direction(np.array([0.0, 300.0]), np.array([5.0, 5.0]), np.array([80.0, 100.0]), 0.0, 10.0), 6)
    90.0
    """
    east, north = wind_components_ms(size, direction_deg)
    mean_east, mean_north = step_mean(seconds, east, start_s, bin_s), step_mean(seconds, north, start_s, bin_s)
    if not math.hypot(mean_east, mean_north) >= CALM_MS:
        return math.nan
    return float(wind_from_deg(mean_east, mean_north))


def largest_gust(seconds: Floats, speed_ms: Floats, start_s: float) -> tuple[float, GustKind]:
    """Readings of a step, with those of the three seconds before it -> largest three-second mean [m/s] that ends in it, or the
    largest single reading where the readings are too sparse for that, be it all through or only around that reading: what is
    next to a gap is not lost. Source: wmo-8-wind-1.

    >>> largest_gust(np.arange(600.0), np.where(np.arange(600) % 60 < 2, 15.0, 9.0), 0.0)
    (13.0, <GustKind.THREE_SECOND: 'three_second'>)
    """
    ends = (seconds >= start_s) & (seconds < start_s + STEP_S)
    if not ends.any():
        return math.nan, GustKind.NONE
    largest = float(speed_ms[ends].max())
    apart_s = float(np.median(np.diff(seconds[ends]))) if ends.sum() > 1 else math.inf
    if not apart_s <= SLOWEST_FOR_GUST_S:
        return largest, GustKind.LARGEST_READING
    many = max(2, round(GUST_S / max(apart_s, 0.05)))
    if seconds.size < many:
        return largest, GustKind.LARGEST_READING
    sums = np.cumsum(np.r_[0.0, speed_ms])
    means = (sums[many:] - sums[:-many]) / many
    whole = (seconds[many - 1 :] - seconds[: seconds.size - many + 1] <= GUST_S) & ends[many - 1 :]
    if not coverage(seconds[many - 1 :][whole], start_s, WIND_BIN_S) >= ENOUGH:
        return largest, GustKind.LARGEST_READING
    gust = float(means[whole].max())
    edges = np.zeros(seconds.size + 1)
    np.add.at(edges, np.flatnonzero(whole), 1.0)
    np.add.at(edges, np.flatnonzero(whole) + many, -1.0)
    alone = ends & (np.cumsum(edges)[:-1] == 0.0)
    if alone.any() and speed_ms[alone].max() > gust:
        return float(speed_ms[alone].max()), GustKind.LARGEST_READING
    return gust, GustKind.THREE_SECOND


def bin_s_of(quantity: Quantity) -> float:
    """Length of the bins [s] in which a step must be covered for this quantity.

    >>> bin_s_of(Quantity.TRUE_WIND_MS), bin_s_of(Quantity.PRESSURE_PA)
    (10.0, 200.0)
    """
    if quantity is Q.PRESSURE_PA:
        return GLASS_BIN_S
    slow = (*BOAT_SPEEDS, *POSITION, Q.GROUND_COURSE_DEG, Q.HEADING_DEG, Q.HEADING_MAGNETIC_DEG, Q.VARIATION_DEG)
    return BOAT_BIN_S if quantity in slow else WIND_BIN_S


def choose(window: Mapping[Key, Stream], quantity: Quantity, start_s: float, preferences: Preferences) -> Chosen | None:
    """The instrument that wins for a quantity in a step: clean and enough before doubtful, the preferred before the others, the
    fuller before the sparser, then by name so that it does not change from step to step. None without a usable reading."""
    order = preferences.sources.get(quantity, ())
    candidates = []
    for (found, source), stream in window.items():
        inside = (stream.seconds >= start_s) & (stream.seconds < start_s + STEP_S)
        if found is not quantity or not (stream.usable & inside).any():
            continue
        full = {grade: _coverage_of(stream, keep, start_s) for grade, keep in ((2, stream.clean), (1, stream.usable))}
        grade = next((grade for grade, part in full.items() if part >= ENOUGH), 0)
        kept = stream.kept(stream.clean if grade == 2 else stream.usable)
        rank = order.index(source) if source in order else len(order)
        part = full[2] if grade == 2 else full[1]
        candidates.append(((-grade, rank, -round(part, 1), source), Chosen(kept, grade, part)))
    return min(candidates, key=lambda candidate: candidate[0])[1] if candidates else None


def _coverage_of(stream: Stream, keep: Flags, start_s: float) -> float:
    return coverage(stream.seconds[keep], start_s, bin_s_of(stream.quantity))


def mean_of(chosen: Chosen | None, start_s: float) -> float:
    """Mean of the chosen readings, NaN when they are too few.

    >>> mean_of(None, 0.0)
    nan
    """
    if chosen is None or chosen.grade == 0:
        return math.nan
    return step_mean(chosen.stream.seconds, chosen.stream.values, start_s, bin_s_of(chosen.stream.quantity))


def direction_of(chosen: Chosen | None, start_s: float) -> float:
    """Mean direction of the chosen readings, NaN when they are too few."""
    if chosen is None or chosen.grade == 0:
        return math.nan
    stream = chosen.stream
    return step_direction(stream.seconds, np.ones(stream.values.size), stream.values, start_s, bin_s_of(stream.quantity))


def true_heading(window: Mapping[Key, Stream], start_s: float, preferences: Preferences, variation_deg: float) -> Chosen | None:
    """True heading as an instrument gives it, or magnetic heading with the variation [deg, east positive]."""
    true = choose(window, Q.HEADING_DEG, start_s, preferences)
    magnetic = choose(window, Q.HEADING_MAGNETIC_DEG, start_s, preferences)
    if magnetic is None or math.isnan(variation_deg) or (true is not None and true.grade >= magnetic.grade):
        return true
    stream = magnetic.stream
    turned = Stream(quantity=Q.HEADING_DEG, source=stream.source, seconds=stream.seconds,
                    values=(stream.values + variation_deg) % 360.0, doubts=stream.doubts)
    return Chosen(turned, magnetic.grade, magnetic.coverage)


def at_times(chosen: Chosen, times_s: Floats, within_s: float) -> Floats:
    """Values of the chosen readings nearest to these times; NaN where none is within within_s."""
    return nearest(times_s, chosen.stream.seconds, chosen.stream.values, within_s)


def doubts_in(window: Mapping[Key, Stream], start_s: float) -> tuple[Doubt, ...]:
    """The different doubts of a step, gravest first, each once; and two instruments that disagree."""
    found = dict.fromkeys(
        doubt for stream in window.values() for doubt in stream.between(start_s, start_s + STEP_S).doubts if doubt is not None
    )
    for quantity, (by, part) in APART.items():
        means = {s: step_mean(st.seconds[st.clean], st.values[st.clean], start_s, bin_s_of(quantity))
                 for (q, s), st in window.items() if q is quantity}
        known = sorted((mean, source) for source, mean in means.items() if not math.isnan(mean))
        if len(known) > 1 and known[-1][0] - known[0][0] > max(by, part * known[-1][0]):
            (low, low_source), (high, high_source) = known[0], known[-1]
            numbers = f"{low / 100:.1f} and {high / 100:.1f} hPa" if quantity is Q.PRESSURE_PA else (
                f"{ms_to_kn(low):.0f} and {ms_to_kn(high):.0f} kn")
            says = f"{low_source} and {high_source} say {numbers}: one of the two is wrong"
            found[Doubt(DoubtKind.INSTRUMENTS_DISAGREE, says)] = None
    return tuple(sorted(found, key=lambda doubt: -doubt.kind.severity)[:MOST_DOUBTS])
