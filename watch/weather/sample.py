"""What the forecast says along a track: fields sampled at places and times, so that nothing strong is averaged away."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from watch.forecast.contract import Forecast, Name
from watch.units import Floats, wind_from_deg
from watch.when import STEP_MINUTES

NEAR_DEG = 1e-6  # a tenth of a metre: a place this near to an edge or a grid line lies on it
NEAR = 1e-9  # a weight this small is none

Indexes = NDArray[np.intp]
Seconds = NDArray[np.int64]
Reading = Callable[..., Floats]  # values of one or more fields at a corner -> what is to be weighed


def at(field: xr.DataArray, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """A field of instants at points: bilinear in space, linear in time.

    field: (member, time, latitude, longitude) as the contract has it. time: datetime64, UTC; latitude, longitude [deg], matched
    modulo 360; any shapes that fit one common shape. -> (member, *shape), the field's unit. NaN off the grid, outside the field's
    times, and wherever a corner that counts is missing. Raises ValueError for a field of intervals: those are for `strongest`.

    >>> hours = np.array(["2026-05-14T00:00", "2026-05-14T06:00"], dtype="datetime64[s]")
    >>> glass = xr.DataArray(np.array([[[[100000.0, 100200.0]] * 2, [[99400.0, 99600.0]] * 2]]), name="pressure_pa",
    ...     dims=("member", "time", "latitude", "longitude"),
    ...     coords={"member": [0], "time": hours, "time_from": ("time", hours),
    ...             "latitude": [30.0, 31.0], "longitude": [350.0, 351.0]})
    >>> at(glass, np.datetime64("2026-05-14T02:00"), 30.5, -9.5).tolist()
    [99900.0]
    """
    if _of_intervals(field):
        raise ValueError(f"{field.name} belongs to stretches of time: take strongest(), not at()")
    points = Points.of(field, time, latitude, longitude)
    first, share, known = _between(_seconds(field["time"].to_numpy()), points.time_s)
    return points.finish(points.between(first, share, [field], _itself), known)


def strongest(field: xr.DataArray, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, *,
              minutes: float = STEP_MINUTES) -> Floats:
    """The strongest value of a field during the step that begins at each time, bilinear in space.

    A field of instants: the largest of all instants from the last one before or at the step's beginning to the first one at or
    after its end; between two instants the stronger end counts. A step at the last instant is therefore unknown (NaN); with
    minutes=0, an instant alone is asked for, it is known. A field of intervals (gust as a maximum, rain): the largest of all
    intervals that overlap the step; NaN where they do not cover the whole of it. Arguments and result as for `at`.

    >>> hours = np.array(["2026-05-14T06:00", "2026-05-14T12:00"], dtype="datetime64[s]")
    >>> gust = xr.DataArray(np.array([[[[12.0] * 2] * 2, [[19.0] * 2] * 2]]), name="gust_ms",
    ...     dims=("member", "time", "latitude", "longitude"),
    ...     coords={"member": [0], "time": hours, "time_from": ("time", hours - np.timedelta64(6, "h")),
    ...             "latitude": [30.0, 31.0], "longitude": [-10.0, -9.0]})
    >>> steps = np.array(["2026-05-14T05:50", "2026-05-14T05:55", "2026-05-14T12:00"], dtype="datetime64[s]")
    >>> strongest(gust, steps, 30.5, -9.5).tolist()
    [[12.0, 19.0, nan]]
    """
    return Points.of(field, time, latitude, longitude).over_the_step([field], _itself, minutes)


def plain_wind(forecast: Forecast, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> tuple[Floats, Floats]:
    """Wind components [m/s] towards east and north at 10 m, linear in time: for direction and for sailing, not for limits.

    -> two arrays (member, *shape); NaN where unknown, everywhere when the forecast has no wind. Arguments as for `at`.
    """
    if not forecast.has(Name.U10_MS, Name.V10_MS):
        missing = _nothing(forecast, time, latitude, longitude)
        return missing, missing.copy()
    u, v = (at(forecast.fields[name], time, latitude, longitude) for name in (Name.U10_MS, Name.V10_MS))
    return u, v


def direction_deg(forecast: Forecast, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """Direction the wind at 10 m comes from [deg true, 0..360), from its components -> (member, *shape). As for `plain_wind`."""
    return wind_from_deg(*plain_wind(forecast, time, latitude, longitude))


def angle_at(field: xr.DataArray, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    """A field of directions [deg], like that of the waves, at points, taken round the circle -> [deg, 0..360), (member, *shape).

    Between 350 and 10 degrees lies 0, not 180. Arguments as for `at`.
    """
    points = Points.of(field, time, latitude, longitude)
    first, share, known = _between(_seconds(field["time"].to_numpy()), points.time_s)
    east, north = (points.between(first, share, [field], part) for part in (_east, _north))
    return points.finish(np.degrees(np.arctan2(east, north)) % 360.0, known)


def strong_mean(forecast: Forecast, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, *,
                minutes: float = STEP_MINUTES) -> Floats:
    """Mean wind [m/s] for limits during the step that begins at each time -> (member, *shape).

    The speed, not the components, is bilinear in space, and the stronger of the instants round the step counts: no averaged
    vector ever hides a wind, and a reversal is not calm in between. NaN where unknown. Otherwise as for `strongest`.
    """
    if not forecast.has(Name.U10_MS, Name.V10_MS):
        return _nothing(forecast, time, latitude, longitude)
    u, v = forecast.fields[Name.U10_MS], forecast.fields[Name.V10_MS]
    if not all(np.array_equal(u[axis], v[axis]) for axis in u.dims):
        raise ValueError("the components of one wind stand on different axes: they cannot be put together")
    return Points.of(u, time, latitude, longitude).over_the_step([u, v], np.hypot, minutes)


def strong_gust(forecast: Forecast, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike, *,
                minutes: float = STEP_MINUTES) -> Floats:
    """Gust [m/s] for limits during the step that begins at each time -> (member, *shape).

    At least the mean wind, where that is known. NaN where the gust is unknown, everywhere when the forecast has none. Otherwise
    as for `strongest`.
    """
    if not forecast.has(Name.GUST_MS):
        return _nothing(forecast, time, latitude, longitude)
    gust = strongest(forecast.fields[Name.GUST_MS], time, latitude, longitude, minutes=minutes)
    mean = strong_mean(forecast, time, latitude, longitude, minutes=minutes)
    return np.where(np.isnan(gust), gust, np.fmax(gust, mean))


def _itself(values: Floats) -> Floats:
    return values


def _east(from_deg: Floats) -> Floats:
    return np.asarray(np.sin(np.radians(from_deg, dtype=np.float64)))


def _north(from_deg: Floats) -> Floats:
    return np.asarray(np.cos(np.radians(from_deg, dtype=np.float64)))


def _nothing(forecast: Forecast, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> Floats:
    members = max((field.sizes["member"] for field in forecast.fields.values()), default=1)
    shape = np.broadcast_shapes(np.shape(time), np.shape(latitude), np.shape(longitude))
    return np.full((members, *shape), np.nan)


def _seconds(times: ArrayLike) -> Seconds:
    return np.asarray(times).astype("datetime64[s]").astype(np.int64)


def _of_intervals(field: xr.DataArray) -> bool:
    return bool((field["time_from"].to_numpy() != field["time"].to_numpy()).any())


def _between(times: Seconds, wanted: Seconds) -> tuple[Indexes, Floats, NDArray[np.bool_]]:
    """Index of the instant before each wanted one, its share of the way to the next, and whether it lies within the times."""
    known = (wanted >= times[0]) & (wanted <= times[-1])
    first = np.clip(np.searchsorted(times, wanted, side="right") - 1, 0, times.size - 1)
    after = np.minimum(first + 1, times.size - 1)
    width = np.maximum(times[after] - times[first], 1)
    return first, np.where(known, (wanted - times[first]) / width, 0.0), known


def _along(axis: Floats, wanted: Floats) -> tuple[Indexes, Indexes, Floats, NDArray[np.bool_]]:
    """The two grid lines round each place on an increasing axis, the share of the second, and whether the place is on the grid.

    On a grid line both are that line, so that a missing value beyond it does not matter.
    """
    inside = (wanted >= axis[0] - NEAR_DEG) & (wanted <= axis[-1] + NEAR_DEG)
    if axis.size == 1:
        line = np.zeros(wanted.shape, dtype=np.intp)
        return line, line, np.zeros(wanted.shape), inside
    low = np.clip(np.searchsorted(axis, wanted, side="right") - 1, 0, axis.size - 2)
    share = np.clip((wanted - axis[low]) / (axis[low + 1] - axis[low]), 0.0, 1.0)
    share = np.where(inside, share, 0.0)
    first = np.where(share > 1.0 - NEAR, low + 1, low)
    second = np.where(share < NEAR, low, low + 1)
    return first, second, share, inside


@dataclass(frozen=True, kw_only=True)
class Points:
    """Where and when, laid on one grid: four corners in a flattened (latitude, longitude) and their weights, each [4, points]."""

    shape: tuple[int, ...]
    time_s: Seconds
    corners: Indexes
    weights: Floats
    inside: NDArray[np.bool_]

    @classmethod
    def of(cls, field: xr.DataArray, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> "Points":
        return cls.on(field["latitude"].to_numpy(), field["longitude"].to_numpy(), time, latitude, longitude)

    @classmethod
    def on(cls, lats: Floats, lons: Floats, time: ArrayLike, latitude: ArrayLike, longitude: ArrayLike) -> "Points":
        """The same on a grid of these latitudes and longitudes [deg]."""
        when, lat, lon = np.broadcast_arrays(
            _seconds(time), np.asarray(latitude, dtype=np.float64), np.asarray(longitude, dtype=np.float64))
        turned = lons[0] + (lon.ravel() - lons[0]) % 360.0
        turned = np.where((turned > lons[-1] + NEAR_DEG) & (turned - 360.0 >= lons[0] - NEAR_DEG), turned - 360.0, turned)
        south, north, up, in_lat = _along(lats, lat.ravel())
        west, east, over, in_lon = _along(lons, turned)
        south, north = south * lons.size, north * lons.size
        corners = np.stack([south + west, south + east, north + west, north + east])
        weights = np.stack([(1 - up) * (1 - over), (1 - up) * over, up * (1 - over), up * over])
        return cls(shape=when.shape, time_s=when.ravel(), corners=corners, weights=weights, inside=in_lat & in_lon)

    def weighed(self, fields: list[xr.DataArray], reading: Reading, instant: Indexes) -> Floats:
        """What `reading` makes of the fields at the corners, at the instant of that index, weighed -> (member, points)."""
        arrays = [np.ascontiguousarray(field.to_numpy()).reshape(field.sizes["member"], -1) for field in fields]
        base = instant * (fields[0].sizes["latitude"] * fields[0].sizes["longitude"])
        total: Floats = np.zeros((arrays[0].shape[0], self.time_s.size))
        for corner, weight in zip(self.corners, self.weights, strict=True):
            total += weight * reading(*(array.take(base + corner, axis=1) for array in arrays))
        return total

    def between(self, first: Indexes, share: Floats, fields: list[xr.DataArray], reading: Reading) -> Floats:
        """Linear between the instant `first` and the one after it, which does not matter where its share is 0."""
        value = self.weighed(fields, reading, first)
        if (share > 0.0).any():
            value = value * (1.0 - share) + share * self.weighed(fields, reading, np.where(share > 0.0, first + 1, first))
        return value

    def over_the_step(self, fields: list[xr.DataArray], reading: Reading, minutes: float) -> Floats:
        """The largest over the step, of instants or of intervals, as `strongest` says."""
        if not minutes >= 0.0:
            raise ValueError(f"a step lasts 0 or more minutes, not {minutes}")
        ends_s, begins_s = (_seconds(fields[0][name].to_numpy()) for name in ("time", "time_from"))
        last_s = self.time_s + round(minutes * 60.0)
        if (ends_s != begins_s).any():
            return self._over_intervals(fields, reading, begins_s, ends_s, last_s)
        first = np.searchsorted(ends_s, self.time_s, side="right") - 1
        last = np.searchsorted(ends_s, last_s, side="left")
        known = (first >= 0) & (last < ends_s.size)
        first, last = np.where(known, first, 0), np.where(known, last, 0)
        largest = self.weighed(fields, reading, first)
        for ahead in range(1, int((last - first).max(initial=0)) + 1):
            largest = np.maximum(largest, self.weighed(fields, reading, np.minimum(first + ahead, last)))
        return self.finish(largest, known)

    def _over_intervals(self, fields: list[xr.DataArray], reading: Reading, begins_s: Seconds, ends_s: Seconds,
                        last_s: Seconds) -> Floats:
        """Intervals (begin, end] in order of their ends; those that count end after the step begins and begin before it ends."""
        first_s = np.where(last_s > self.time_s, self.time_s, self.time_s - 1)  # an instant belongs to the interval it may end
        first = np.searchsorted(ends_s, first_s, side="right")
        earliest_to_come = np.minimum.accumulate(begins_s[::-1])[::-1]
        covered = first_s.copy()
        largest = np.full((fields[0].sizes["member"], first_s.size), -np.inf)
        for ahead in range(ends_s.size):
            there = first + ahead < ends_s.size
            index = np.minimum(first + ahead, ends_s.size - 1)
            if not (there & (earliest_to_come[index] < last_s)).any():
                break
            counts = there & (begins_s[index] < last_s)
            largest = np.where(counts, np.maximum(largest, self.weighed(fields, reading, index)), largest)
            covered = np.where(counts & (begins_s[index] <= covered), np.maximum(covered, ends_s[index]), covered)
        return self.finish(largest, covered >= last_s)

    def finish(self, values: Floats, known: NDArray[np.bool_]) -> Floats:
        """NaN where off the grid or unknown in time; the points' own shape again."""
        done: Floats = np.where(self.inside & known, values, np.nan).reshape(values.shape[0], *self.shape)
        return done
