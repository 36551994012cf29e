"""A forecast by whole hours on its own grid, members side by side: for the many places that legs to shelter lead through.

says: in each hour the strongest of all instants (or intervals) that touch it; directions from the middle of the hour.
why: a leg is looked at hour by hour; a wind between two instants is never less than either end is taken for. Bilinear in space of the
strongest at each corner, which is never less than the strongest of the bilinear. source: as watch.weather.sample, which is its slow twin.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.weather.sample import Points
from watch.when import Times

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

HOUR_S = 3600


@dataclass(frozen=True, kw_only=True, eq=False)
class Blocks:
    """One quantity on its grid: values (hour, latitude x longitude, member), NaN where unknown; latitude, longitude: the grid's own."""

    values: Floats32
    latitude: Floats
    longitude: Floats

    @property
    def hours(self) -> int:
        return int(self.values.shape[0])

    @property
    def members(self) -> int:
        return int(self.values.shape[2])

    def of_members(self, chosen: Ints) -> "Blocks":
        """The same for some members only, closely packed."""
        return replace(self, values=np.ascontiguousarray(self.values[:, :, chosen]))

    def strongest_of_last(self, hours: int) -> "Blocks":
        """At each hour the strongest of it and the so many before it; unknown hours before it do not count."""
        out, done = self.values.copy(), 1
        while done < hours:
            step = min(done, hours - done)
            out[step:] = np.fmax(out[step:], out[:-step].copy())
            done += step
        return replace(self, values=out)

    def inside(self, latitude: Floats, longitude: Floats) -> Flags:
        """Whether places [deg] are on the grid."""
        return self.spots(latitude, longitude).inside

    def spots(self, latitude: Floats, longitude: Floats) -> Points:
        """Places [deg] (C) laid on this grid; good for every quantity on it."""
        return Points.on(self.latitude, self.longitude, np.datetime64(0, "s"), latitude, longitude)

    def on_grid_of(self, other: "Blocks") -> bool:
        """Whether the two stand on the same grid."""
        return np.array_equal(self.latitude, other.latitude) and np.array_equal(self.longitude, other.longitude)

    def at(self, hour: Ints, spots: Points) -> Floats32:
        """At whole hours (C) and places (C) -> (C, member); NaN off the grid and for an hour below 0 or past the last."""
        known = spots.inside & (hour >= 0) & (hour < self.hours)
        base = np.where(known, hour, 0) * self.values.shape[1]
        flat = self.values.reshape(-1, self.members)
        total: Floats32 | None = None
        for corner, weight in zip(spots.corners, spots.weights, strict=True):
            row = flat.take(base + corner, axis=0)
            row *= weight.astype(np.float32)[:, None]
            nothing = weight <= 0.0
            if nothing.any():  # a corner that does not count may be unknown
                row[nothing] = 0.0
            if total is None:
                total = row
            else:
                total += row
        assert total is not None
        if not known.all():
            total[~known] = np.nan
        return total

    def at_members(self, hour: Ints, member: Ints, spots: Points) -> Floats32:
        """At whole hours (C), a member for each (C) and places (C) -> (C); NaN off the grid and for an hour that is not there."""
        known = spots.inside & (hour >= 0) & (hour < self.hours)
        at = np.where(known, hour, 0)
        total = np.zeros(len(member), dtype=np.float32)
        for corner, weight in zip(spots.corners, spots.weights, strict=True):
            total += np.where(weight > 0.0, self.values[at, corner, member] * weight.astype(np.float32), np.float32(0.0))
        return np.where(known, total, np.float32(np.nan))


def _seconds(times: NDArray[np.datetime64]) -> Ints:
    return times.astype("datetime64[s]").astype(np.int64)


def _blocks(values: Floats32, field: xr.DataArray) -> Blocks:
    axes = (np.asarray(field[name].to_numpy(), dtype=float) for name in ("latitude", "longitude"))
    return Blocks(values=values, **dict(zip(("latitude", "longitude"), axes, strict=True)))


def _members_last(field: xr.DataArray) -> Floats32:
    """(member, time, latitude, longitude) -> (time, latitude x longitude, member)."""
    values = np.moveaxis(field.to_numpy(), 0, -1)
    return np.ascontiguousarray(values, dtype=np.float32).reshape(values.shape[0], -1, values.shape[-1])


def strongest(fields: Sequence[xr.DataArray], hours: Times) -> Blocks:
    """One field, or the two components of a wind, whose speed is then taken; marks (H + 1) of the hours -> the strongest of each (H)."""
    parts = [_members_last(f) for f in fields]
    values = parts[0] if len(parts) == 1 else np.hypot(parts[0], parts[1])
    ends_s, begins_s = (_seconds(fields[0][n].to_numpy()) for n in ("time", "time_from"))
    marks_s = _seconds(hours)
    out = np.full((len(hours) - 1, *values.shape[1:]), np.nan, dtype=np.float32)
    instants = bool((ends_s == begins_s).all())
    for h in range(len(hours) - 1):
        chosen = _instants(ends_s, marks_s[h], marks_s[h + 1]) if instants else _intervals(begins_s, ends_s, marks_s[h], marks_s[h + 1])
        if len(chosen):
            out[h] = values[chosen].max(axis=0)  # NaN in any of them stays NaN: unknown
    return _blocks(out, fields[0])


def _instants(times_s: Ints, from_s: int, to_s: int) -> Ints:
    """From the last instant at or before an hour to the first at or after it; none where they do not hold it between them."""
    first, last = int(np.searchsorted(times_s, from_s, side="right")) - 1, int(np.searchsorted(times_s, to_s, side="left"))
    return np.arange(first, last + 1) if first >= 0 and last < len(times_s) else np.arange(0)


def _intervals(begins_s: Ints, ends_s: Ints, from_s: int, to_s: int) -> Ints:
    """All intervals that touch an hour; none where they leave part of it out."""
    touch = np.flatnonzero((ends_s > from_s) & (begins_s < to_s))
    covered = from_s
    for k in touch[np.argsort(begins_s[touch])]:
        covered = max(covered, int(ends_s[k])) if begins_s[k] <= covered else covered
    return touch if covered >= to_s else np.arange(0)


def middle(field: xr.DataArray, hours: Times) -> Blocks:
    """A field of instants, linear in time, at the middle of each hour (H)."""
    values, times_s = _members_last(field), _seconds(field["time"].to_numpy())
    at_s = _seconds(hours)[:-1] + HOUR_S // 2
    known = (at_s >= times_s[0]) & (at_s <= times_s[-1])
    first = np.clip(np.searchsorted(times_s, at_s, side="right") - 1, 0, max(len(times_s) - 2, 0))
    after = np.minimum(first + 1, len(times_s) - 1)
    share = ((at_s - times_s[first]) / np.maximum(times_s[after] - times_s[first], 1)).astype(np.float32)[:, None, None]
    out = values[first] * (1 - share) + values[after] * share
    out[~known] = np.nan
    return _blocks(out, field)
