"""Front lines on one map: the warm edge of a zone of strong gradient. Plain arrays (latitude, longitude), both increasing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.units import Floats

EARTH_M = 6371e3
SMOOTH_M = 140e3  # judgement: standard deviation of the smoothing; within the published number of passes on 0.25 and 0.7 degrees
PASS_VARIANCE = 0.4  # of one five-point mean, in squared grid lengths
LEAST_STEP_K = 4.0  # judgement: the step of temperature across the weakest front that is drawn
TFP_SHARE = 1.0 / 3.0  # judgement: of the thermal front parameter that such a step has when smoothed
LEAST_LENGTH_M = 250e3  # source fronts-2
STANDING_MS = 1.5  # source fronts-3


@dataclass(frozen=True, kw_only=True)
class Thresholds:
    """What a point must have to be on a front: thermal front parameter [K/m2] and gradient of the zone beside it [K/m]."""

    tfp: float
    gradient: float


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Points of front lines on one map, all arrays (point,), and the segments (segment, 2) that join them, as indexes of points.

    toward_warm_east, toward_warm_north: unit vector across the front to the warm side. speed_ms: of the front towards its warm
    side (cold air advances: positive; NaN without winds). gradient [K/m]: of the zone beside it. line: number of the line it
    belongs to.
    """

    latitude: Floats
    longitude: Floats
    toward_warm_east: Floats
    toward_warm_north: Floats
    speed_ms: Floats
    gradient: Floats
    line: NDArray[np.int64]
    segments: NDArray[np.int64]


def spacing_m(latitude: Floats, longitude: Floats) -> tuple[float, Floats]:
    """Grid spacing [m] northward, and eastward for each latitude."""
    north = float(np.radians(np.diff(latitude).mean()) * EARTH_M)
    return north, np.radians(np.diff(longitude).mean()) * EARTH_M * np.cos(np.radians(latitude)).clip(min=1e-3)


def gradient_k_m(field: Floats, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
    """Eastward and northward derivative [a metre], central differences on the sphere, one-sided at the edges."""
    east_m = np.radians(longitude) * EARTH_M
    by_longitude = np.gradient(field, east_m, axis=-1)
    east = by_longitude / np.cos(np.radians(latitude)).clip(min=1e-3)[:, None]
    return np.asarray(east), np.asarray(np.gradient(field, np.radians(latitude) * EARTH_M, axis=-2))


def smooth(field: Floats, latitude: Floats, longitude: Floats) -> Floats:
    """Five-point means, as often as it takes to reach SMOOTH_M (once at least); missing points stay missing and weigh nothing.

    The passes are counted on the northward spacing: source fronts-2 counts passes on its own grids.
    """
    passes = max(1, round(SMOOTH_M**2 / (PASS_VARIANCE * spacing_m(latitude, longitude)[0] ** 2)))
    known = ~np.isnan(field)
    values, weight = np.where(known, field, 0.0), known.astype(float)
    for _ in range(passes):
        total, count = values.copy(), weight.copy()
        for axis in (-1, -2):
            for part, out in ((values, total), (weight, count)):
                low, high = np.split(part, [1], axis=axis)[1], np.split(part, [part.shape[axis] - 1], axis=axis)[0]
                pad = [(0, 0)] * part.ndim
                pad[axis] = (0, 1)
                out += np.pad(low, pad)
                pad[axis] = (1, 0)
                out += np.pad(high, pad)
        values = np.where(known, total / np.where(count > 0.0, count, 1.0), 0.0)
    return np.where(known, values, np.nan)


def thresholds(latitude: Floats, longitude: Floats, least_step_k: float = LEAST_STEP_K) -> Thresholds:
    """Thresholds for this grid: those of a sudden step of least_step_k seen through its smoothing and its spacing.

    A step S blurred to standard deviation s has gradient S/(s sqrt(2 pi)) and greatest front parameter S e^-1/2 /(s^2 sqrt(2
    pi)). Published thresholds span a factor of 25 with grid and smoothing (source fronts-2 ties its own to quantiles of a climate
    that one forecast does not have). On a quarter-degree grid this gives 1.1 K/100 km.

    >>> t = thresholds(np.arange(40.0, 60.0, 0.25), np.arange(0.0, 20.0, 0.25))
    >>> round(t.gradient * 1e5, 2), round(t.tfp * 1e10, 2)
    (1.14, 0.16)
    """
    north = spacing_m(latitude, longitude)[0]
    passes = max(1, round(SMOOTH_M**2 / (PASS_VARIANCE * north**2)))
    # a difference over two spacings blurs by a third of one spacing squared
    variance = PASS_VARIANCE * passes * north**2 + north**2 / 3.0
    peak = least_step_k / np.sqrt(2.0 * np.pi * variance)
    return Thresholds(tfp=float(TFP_SHARE * peak * np.exp(-0.5) / np.sqrt(variance)), gradient=float(peak))


def front_parameter(field: Floats, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Temperature [K] -> (thermal front parameter [K/m2], |gradient| [K/m], its own gradient eastward and northward [K/m2]).

    TFP = -grad|grad T| . grad T / |grad T|: positive on the warm side. Source: fronts-1.
    """
    east, north = gradient_k_m(field, latitude, longitude)
    size = np.hypot(east, north)
    size_east, size_north = gradient_k_m(size, latitude, longitude)
    safe = np.where(size > 0.0, size, 1.0)
    return -(size_east * east + size_north * north) / safe, size, size_east, size_north


def lines_on_map(
    field: Floats,
    u_ms: Floats | None,
    v_ms: Floats | None,
    latitude: Floats,
    longitude: Floats,
    least_step_k: float = LEAST_STEP_K,
) -> Lines:
    """Temperature (theta-w, or plain) [K] and wind [m/s] at its level, (latitude, longitude) -> Lines.

    says: here runs a front, this way lies the warm air, and so fast it goes.
    why: the wind along her track tells of a front only when it is there; the map shows it coming.
    example: a step of 10 K moving east at 12 m/s: a line at its warm edge, cold, 12 m/s.
    source: fronts-2, after fronts-1: smooth; lines where the Laplacian of |grad T| is zero, contoured before masking; kept where
    the front parameter and the gradient of the zone half a diagonal beside it are large enough, and the line is 250 km or longer.
    Errs: across a mountain, over a warm current's edge and on the moist and dry air of the tropics (within some 20 degrees of the
    equator) a front may be drawn that no sailor would call one.
    """
    warm = smooth(np.asarray(field, dtype=float), latitude, longitude)
    tfp, size, size_east, size_north = front_parameter(warm, latitude, longitude)
    slope = np.hypot(size_east, size_north)
    east2, _ = gradient_k_m(size_east, latitude, longitude)
    _, north2 = gradient_k_m(size_north, latitude, longitude)
    north_m, _ = spacing_m(latitude, longitude)
    safe = np.where(slope > 0.0, slope, 1.0)
    warm_east, warm_north = -size_east / safe, -size_north / safe
    speed = np.full(size.shape, np.nan) if u_ms is None or v_ms is None else np.asarray(u_ms * warm_east + v_ms * warm_north)
    maps = {"tfp": tfp, "zone": size + north_m / np.sqrt(2.0) * slope, "east": warm_east, "north": warm_north, "speed": speed}
    points, at = _zero_points(east2 + north2, maps, latitude, longitude)
    limits = thresholds(latitude, longitude, least_step_k)
    keep = (points["tfp"] >= limits.tfp) & (points["zone"] >= limits.gradient)
    return _long_lines(points, keep, _segments(at))


def _zero_points(
    locator: Floats, maps: dict[str, Floats], latitude: Floats, longitude: Floats
) -> tuple[dict[str, Floats], tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Points where the locator changes sign on grid edges; and the point's number on each edge east and north, -1 for none."""
    rows, columns = locator.shape
    lat, lon = np.meshgrid(latitude, longitude, indexing="ij")
    everything = {**maps, "latitude": lat, "longitude": lon}
    found: dict[str, list[Floats]] = {name: [] for name in everything}
    numbers = []
    count = 0
    for low, high in (((slice(None), slice(0, columns - 1)), (slice(None), slice(1, columns))),
                      ((slice(0, rows - 1), slice(None)), (slice(1, rows), slice(None)))):
        a, b = locator[low], locator[high]
        changes = np.isfinite(a) & np.isfinite(b) & ((a > 0.0) != (b > 0.0))
        share = np.where(changes, a / np.where(changes, a - b, 1.0), 0.0)[changes]
        number = np.full(changes.shape, -1, dtype=np.int64)
        number[changes] = count + np.arange(share.size)
        numbers.append(number)
        count += share.size
        for name, values in everything.items():
            found[name].append(values[low][changes] * (1.0 - share) + values[high][changes] * share)
    return {name: np.concatenate(parts) for name, parts in found.items()}, (numbers[0], numbers[1])


def _segments(at: tuple[NDArray[np.int64], NDArray[np.int64]]) -> NDArray[np.int64]:
    """Pairs of points that share a grid cell; a saddle's four points are paired lower with left, upper with right."""
    east, north = at
    sides = np.stack([east[:-1], north[:, :-1], east[1:], north[:, 1:]], axis=-1).reshape(-1, 4)  # lower, left, upper, right
    count = (sides >= 0).sum(axis=1)
    two = sides[count == 2]
    pairs = two[two >= 0].reshape(-1, 2)
    four = sides[count == 4]
    return np.concatenate([pairs, four[:, :2], four[:, 2:]])


def _long_lines(points: dict[str, Floats], keep: NDArray[np.bool_], segments: NDArray[np.int64]) -> Lines:
    """Joins kept points to lines and drops the short ones."""
    segments = segments[keep[segments].all(axis=1)]
    line = np.arange(keep.size)
    while True:  # each point takes the lowest number of its neighbours until nothing changes
        low = np.minimum(line[segments[:, 0]], line[segments[:, 1]])
        renewed = line.copy()
        np.minimum.at(renewed, segments[:, 0], low)
        np.minimum.at(renewed, segments[:, 1], low)
        renewed = renewed[renewed]
        if (renewed == line).all():
            break
        line = renewed
    length = np.zeros(keep.size)
    a, b = segments[:, 0], segments[:, 1]
    latitude, longitude = np.radians(points["latitude"]), np.radians(points["longitude"])
    middle = 0.5 * (latitude[a] + latitude[b])
    np.add.at(length, line[a], EARTH_M * np.hypot(latitude[a] - latitude[b], (longitude[a] - longitude[b]) * np.cos(middle)))
    used = np.zeros(keep.size, dtype=bool)
    used[segments.ravel()] = True
    used &= length[line] >= LEAST_LENGTH_M
    renumber = np.cumsum(used) - 1
    whole = segments[used[segments].all(axis=1)]
    direction = np.hypot(points["east"], points["north"])
    direction = np.where(direction > 0.0, direction, 1.0)[used]
    return Lines(
        latitude=points["latitude"][used], longitude=points["longitude"][used],
        toward_warm_east=points["east"][used] / direction, toward_warm_north=points["north"][used] / direction,
        speed_ms=points["speed"][used], gradient=points["zone"][used],
        line=np.unique(line[used], return_inverse=True)[1].astype(np.int64), segments=renumber[whole],
    )
