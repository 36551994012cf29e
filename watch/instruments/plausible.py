"""Can this be true? Looks at readings together and marks the doubtful ones with a sentence; changes no value, drops nothing.

A real squall must never be taken for a fault: a wind that rises and stays risen, even for two samples, is believed.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

import numpy as np

from watch.instruments.readings import Doubt, DoubtKind, Quantity, Reading, worse
from watch.instruments.streams import Flags, Key, Stream, nearest, seconds_of, stream_of
from watch.instruments.thresholds import BOAT_SPEEDS, DROPOUT_MS, LIMITS, PRESSURE_UNITS, SPLIT_S, UNIT_RATIOS, WINDS
from watch.units import Floats, ms_to_kn, wrap_180
from watch.when import runs

Q = Quantity
EARTH_RADIUS_M = 6371008.8


def judge(readings: Iterable[Reading], unchanged_since_s: Mapping[Key, float] | None = None) -> tuple[Reading, ...]:
    """Readings of any kind, in any order -> the same readings in the same order, the doubtful ones marked.

    A graver doubt replaces a milder one; no value is changed. unchanged_since_s: for streams whose value was the same already
    before the first of these readings, since when [s since 1970, UTC].

    >>> from watch.when import parse_utc
    >>> at = parse_utc("2026-05-14T12:00Z")
    >>> low = Reading(when=at, received=at, quantity=Quantity.PRESSURE_PA, value=2992.0, source="WI/MDA")
    >>> str(judge([low])[0].doubtful)
    '29.92 hPa cannot be the glass: it looks like inches of mercury given as hPa'
    """
    given = list(readings)
    places: dict[Key, list[int]] = {}
    for place, reading in enumerate(given):
        places.setdefault((reading.quantity, reading.source), []).append(place)
    for key, rows in places.items():
        places[key] = sorted(rows, key=lambda place: given[place].placed)
    streams = {
        key: stream_of(*key, (seconds_of(given[i].placed) for i in rows), (given[i].value for i in rows),
                       (given[i].doubtful for i in rows))
        for key, rows in places.items()
    }
    for key, judged in judge_streams(streams, unchanged_since_s or {}).items():
        for place, doubt in zip(places[key], judged.doubts, strict=True):
            if doubt is not given[place].doubtful:
                given[place] = replace(given[place], doubtful=doubt)
    return tuple(given)


def judge_streams(streams: Mapping[Key, Stream], unchanged_since_s: Mapping[Key, float]) -> dict[Key, Stream]:
    """The same on columns: streams by quantity and source -> the same streams with more doubts."""
    judged = {key: _alone(stream, unchanged_since_s.get(key)) for key, stream in streams.items()}
    for (quantity, source), latitude in list(judged.items()):
        partner = (Q.LONGITUDE_DEG, source)
        if quantity is Q.LATITUDE_DEG and partner in judged and np.array_equal(latitude.seconds, judged[partner].seconds):
            judged[quantity, source], judged[partner] = _positions(latitude, judged[partner])
    for key, stream in list(judged.items()):
        for other_key, other in list(judged.items()):
            if key != other_key:
                judged[key] = stream = _compare(stream, other)
    return judged


def _marked(stream: Stream, flags: Flags, kind: DoubtKind, say: Callable[[int], str]) -> Stream:
    """The stream with a doubt wherever flagged; one sentence for each unbroken run, made of its first place."""
    if not flags.any():
        return stream
    doubts = list(stream.doubts)
    for run in runs(flags):
        if run.value:
            doubt = Doubt(kind, say(run.first))
            doubts[run.first : run.last] = [worse(old, doubt) for old in doubts[run.first : run.last]]
    return stream.doubted(doubts)


def _said(stream: Stream, value: float) -> str:
    """A value as a sailor says it."""
    if stream.quantity in WINDS or stream.quantity in BOAT_SPEEDS:
        return f"{ms_to_kn(value):.1f} kn"
    if stream.quantity is Q.PRESSURE_PA:
        return f"{value / 100.0:.2f} hPa"
    return f"{value:.1f} degrees"


def _name(stream: Stream) -> str:
    words = stream.quantity.value.rsplit("_", 1)[0].replace("_", " ")
    return f"the {'glass' if stream.quantity is Q.PRESSURE_PA else words} of {stream.source}"


def _alone(stream: Stream, unchanged_since_s: float | None) -> Stream:
    """The checks that need no other stream."""
    if (limits := LIMITS.get((DoubtKind.RANGE, stream.quantity))) is not None:
        stream = _range(stream, *limits)
    if (limits := LIMITS.get((DoubtKind.SPIKE, stream.quantity))) is not None:
        stream = _spikes(stream, *limits)
    if (limits := LIMITS.get((DoubtKind.JUMP, stream.quantity))) is not None:
        stream = _jumps(stream, *limits)
    if (limits := LIMITS.get((DoubtKind.STUCK, stream.quantity))) is not None:
        stream = _stuck(stream, unchanged_since_s, *limits)
    return stream


def _range(stream: Stream, least: float, most: float) -> Stream:
    outside = ~((stream.values >= least) & (stream.values <= most))
    if stream.quantity is not Q.PRESSURE_PA:
        return _marked(stream, outside, DoubtKind.RANGE,
                       lambda i: f"{_name(stream)} says {_said(stream, stream.values[i])}: more than is believed")

    def say(i: int) -> str:
        return f"{_said(stream, stream.values[i])} cannot be the glass"

    def looks_like(words: str) -> Callable[[int], str]:
        return lambda i: f"{say(i)}: it looks like {words}"

    judged = stream
    for factor, words in PRESSURE_UNITS.items():
        fits = outside & (stream.values * factor >= least) & (stream.values * factor <= most)
        outside = outside & ~fits
        judged = _marked(judged, fits, DoubtKind.UNIT_MIXUP, looks_like(words))
    return _marked(judged, outside, DoubtKind.RANGE, say)


def _spikes(stream: Stream, by: float, within_s: float) -> Stream:
    flags = np.zeros(stream.values.size, bool)
    if stream.values.size < 3:
        return stream
    before, after = np.diff(stream.values)[:-1], np.diff(stream.values)[1:]
    close = (np.diff(stream.seconds)[:-1] <= within_s) & (np.diff(stream.seconds)[1:] <= within_s)
    flags[1:-1] = close & (((before > by) & (after < -by)) | ((before < -by) & (after > by)))
    if stream.quantity in WINDS:
        zero = stream.values[1:-1] == 0.0
        flags[1:-1] |= close & zero & (stream.values[:-2] > DROPOUT_MS) & (stream.values[2:] > DROPOUT_MS)

    def say(i: int) -> str:
        before, at, after = (_said(stream, value) for value in stream.values[i - 1 : i + 2])
        return f"{_name(stream)} says {at} for one reading, {before} before and {after} after"

    return _marked(stream, flags, DoubtKind.SPIKE, say)


def _jumps(stream: Stream, by: float, within_s: float) -> Stream:
    flags = np.zeros(stream.values.size, bool)
    steps = np.diff(stream.values)
    flags[1:] = (np.abs(steps) > by) & (np.diff(stream.seconds) <= within_s)

    def say(i: int) -> str:
        before, at = (_said(stream, value) for value in stream.values[i - 1 : i + 1])
        return f"{_name(stream)} jumped from {before} to {at} at once: knocked, moved or set?"

    return _marked(stream, flags, DoubtKind.JUMP, say)


def _stuck(stream: Stream, since_s: float | None, longest_s: float, fewest: float) -> Stream:
    """Runs of one and the same value that last too long."""
    if stream.values.size == 0:
        return stream
    new = np.r_[True, (np.diff(stream.values) != 0.0) | (np.diff(stream.seconds) > SPLIT_S)]
    first = np.flatnonzero(new)
    last = np.r_[first[1:], stream.values.size] - 1
    began_s = stream.seconds[first].copy()
    began_s[0] = began_s[0] if since_s is None else min(began_s[0], since_s)
    lasted_s = stream.seconds[last] - began_s
    long = (lasted_s >= longest_s) & (last - first + 1 >= min(fewest, stream.values.size))
    flags = np.repeat(long, last - first + 1)
    minutes = np.repeat(lasted_s / 60.0, last - first + 1)

    def say(i: int) -> str:
        cause = ": flat calm, or it has seized" if stream.quantity in WINDS and stream.values[i] == 0.0 else ""
        value = _said(stream, stream.values[i])
        return f"{_name(stream)} has stood at {value} for {minutes[i]:.0f} minutes without the least change{cause}"

    return _marked(stream, flags, DoubtKind.STUCK, say)


def distance_m(latitude_deg: Floats, longitude_deg: Floats, latitude2_deg: Floats, longitude2_deg: Floats) -> Floats:
    """Great circle distance on a sphere [m] of points in degrees, same shape; half a percent is good enough here.

    >>> round(float(distance_m(np.array(0.0), np.array(179.5), np.array(0.0), np.array(-179.5))) / 1852.0, 1)
    60.0
    """
    a, b = np.radians(latitude_deg), np.radians(latitude2_deg)
    across = np.radians(wrap_180(np.asarray(longitude2_deg) - np.asarray(longitude_deg)))
    half = np.sin((b - a) / 2.0) ** 2 + np.cos(a) * np.cos(b) * np.sin(across / 2.0) ** 2
    metres: Floats = 2.0 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
    return metres


def _positions(latitude: Stream, longitude: Stream) -> tuple[Stream, Stream]:
    """Fixes at 0 N 0 E, and fixes that leap: a fix too far from the last believed one, until several agree on the new place."""
    (zero_deg,) = LIMITS[DoubtKind.NULL_ISLAND, Q.LATITUDE_DEG]
    fastest_ms, scatter_m, _ = LIMITS[DoubtKind.LEAP, Q.LATITUDE_DEG]
    null = (np.abs(latitude.values) <= zero_deg) & (np.abs(longitude.values) <= zero_deg)
    leaps = np.zeros(null.size, bool)
    steps_m = distance_m(latitude.values[:-1], longitude.values[:-1], latitude.values[1:], longitude.values[1:])
    if (steps_m > scatter_m + fastest_ms * np.diff(latitude.seconds)).any():
        leaps = _leaps(latitude, longitude, null)

    def mark(stream: Stream) -> Stream:
        stream = _marked(stream, null, DoubtKind.NULL_ISLAND, lambda i: f"{stream.source} says 0 N 0 E: a receiver without a fix")
        return _marked(stream, leaps & ~null, DoubtKind.LEAP, lambda i: f"the position of {stream.source} leaps to "
                       f"{latitude.values[i]:.3f} {longitude.values[i]:.3f}, faster than {ms_to_kn(fastest_ms):.0f} kn")

    return mark(latitude), mark(longitude)


def _leaps(latitude: Stream, longitude: Stream, null: Flags) -> Flags:
    fastest_ms, scatter_m, enough = LIMITS[DoubtKind.LEAP, Q.LATITUDE_DEG]
    flags = np.zeros(null.size, bool)
    good: int | None = None
    waiting: list[int] = []

    def reachable(a: int, b: int) -> bool:
        apart_m = distance_m(latitude.values[a], longitude.values[a], latitude.values[b], longitude.values[b])
        return bool(apart_m <= scatter_m + fastest_ms * (latitude.seconds[b] - latitude.seconds[a]))

    for i in np.flatnonzero(~null).tolist():
        if good is None or reachable(good, i):
            good, waiting = i, []
            continue
        flags[i] = True
        waiting = [*waiting, i] if waiting and reachable(waiting[-1], i) else [i]
        if len(waiting) > enough:
            good, waiting, flags[i] = i, [], False
    return flags


def _compare(stream: Stream, other: Stream) -> Stream:
    """Two streams that should agree: do they, once one is read in another unit?"""
    if stream.quantity in WINDS and other.quantity is stream.quantity:
        return _wind_units(stream, other, *LIMITS[DoubtKind.UNIT_MIXUP, stream.quantity])
    if (DoubtKind.UNIT_MIXUP, stream.quantity) not in LIMITS:
        return stream
    same_deg, course_deg, pairs = LIMITS[DoubtKind.UNIT_MIXUP, stream.quantity]
    if other.quantity is stream.quantity:
        return _radians(stream, other, same_deg, pairs)
    if {stream.quantity, other.quantity} == {Q.HEADING_DEG, Q.GROUND_COURSE_DEG}:
        return _radians(stream, other, course_deg, pairs)
    return stream


def _wind_units(stream: Stream, other: Stream, within: float, least_ms: float, pairs: float) -> Stream:
    """The smaller of two winds, when they differ as two units do: the larger is then used, which is the safe side."""
    against = nearest(stream.seconds, other.seconds, other.values, 3.0)
    both = (stream.values > least_ms) & (against > least_ms)
    if both.sum() < pairs:
        return stream
    ratio = float(np.median(against[both] / stream.values[both]))
    for unit_ratio, words in UNIT_RATIOS.items():
        if abs(ratio / unit_ratio - 1.0) <= within:
            says = f"{_name(stream)} is {1.0 / ratio:.2f} of {other.source}'s: {words} look mixed up, the larger is used"
            return stream.doubted(worse(doubt, Doubt(DoubtKind.UNIT_MIXUP, says)) for doubt in stream.doubts)
    return stream


def _radians(stream: Stream, other: Stream, within_deg: float, pairs: float) -> Stream:
    """A direction that never leaves 0 to 6.3 and agrees with another instrument only when read as radians."""
    if stream.values.size < pairs or not (np.abs(stream.values) <= 2.0 * np.pi + 0.01).all():
        return stream
    against = nearest(stream.seconds, other.seconds, other.values, 3.0)
    known = np.isfinite(against)
    if known.sum() < pairs:
        return stream
    as_degrees = np.median(np.abs(wrap_180(stream.values[known] - against[known])))
    as_radians = np.median(np.abs(wrap_180(np.degrees(stream.values[known]) - against[known])))
    if not (as_radians <= within_deg and as_degrees > 2.0 * within_deg):
        return stream
    says = f"{_name(stream)} stays below 6.3 and fits {other.source} only when read as radians"
    return stream.doubted(worse(doubt, Doubt(DoubtKind.UNIT_MIXUP, says)) for doubt in stream.doubts)
