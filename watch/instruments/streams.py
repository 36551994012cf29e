"""Readings in columns: one stream for each quantity and source, as plain arrays of seconds and values."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from watch.instruments.readings import Doubt, Quantity
from watch.units import Floats

Key = tuple[Quantity, str]
Flags = NDArray[np.bool_]
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def seconds_of(instant: datetime) -> float:
    """Aware instant -> seconds since 1970-01-01 UTC, fractions kept.

    >>> seconds_of(datetime(1970, 1, 2, tzinfo=UTC))
    86400.0
    """
    return (instant - EPOCH).total_seconds()


def instant_of(seconds: float) -> datetime:
    """Seconds since 1970-01-01 UTC -> aware UTC instant.

    >>> instant_of(86400.0).isoformat()
    '1970-01-02T00:00:00+00:00'
    """
    return EPOCH + timedelta(seconds=float(seconds))


@dataclass(frozen=True, kw_only=True)
class Stream:
    """What one source said of one quantity: seconds [s since 1970, UTC], values [the quantity's unit] and doubts, all of one
    length, in order of time."""

    quantity: Quantity
    source: str
    seconds: Floats
    values: Floats
    doubts: tuple[Doubt | None, ...]

    @property
    def clean(self) -> Flags:
        """True where nothing is in doubt."""
        return np.fromiter((doubt is None for doubt in self.doubts), bool, len(self.doubts))

    @property
    def usable(self) -> Flags:
        """True where the value may serve, in doubt or not."""
        return np.fromiter((doubt is None or doubt.kind.usable for doubt in self.doubts), bool, len(self.doubts))

    def kept(self, keep: Flags) -> "Stream":
        """The part of it where keep is True."""
        return Stream(
            quantity=self.quantity, source=self.source, seconds=self.seconds[keep], values=self.values[keep],
            doubts=tuple(doubt for doubt, kept in zip(self.doubts, keep, strict=True) if kept),
        )

    def between(self, start_s: float, end_s: float) -> "Stream":
        """The part with start_s <= time < end_s."""
        return self.kept((self.seconds >= start_s) & (self.seconds < end_s))

    def doubted(self, doubts: Iterable[Doubt | None]) -> "Stream":
        return Stream(quantity=self.quantity, source=self.source, seconds=self.seconds, values=self.values, doubts=tuple(doubts))


def stream_of(quantity: Quantity, source: str, seconds: Iterable[float], values: Iterable[float],
              doubts: Iterable[Doubt | None]) -> Stream:
    """Columns in any order of time -> a stream in order; equal times keep the order they came in.

    >>> stream_of(Quantity.HEADING_DEG, "HE/HDT", [2.0, 1.0], [20.0, 10.0], [None, None]).values.tolist()
    [10.0, 20.0]
    """
    at, value, doubt = np.array(list(seconds), float), np.array(list(values), float), tuple(doubts)
    order = np.argsort(at, kind="stable")
    return Stream(quantity=quantity, source=source, seconds=at[order], values=value[order],
                  doubts=tuple(doubt[i] for i in order))


def nearest(times_s: Floats, stream_s: Floats, values: Floats, within_s: float) -> Floats:
    """The value nearest in time to each of times_s, NaN where none lies within within_s [s]; same shape as times_s.

    >>> nearest(np.array([1.0, 9.0]), np.array([0.0, 2.5]), np.array([7.0, 8.0]), 2.0).tolist()
    [7.0, nan]
    """
    if stream_s.size == 0:
        return np.full(times_s.shape, np.nan)
    after = np.clip(np.searchsorted(stream_s, times_s), 0, stream_s.size - 1)
    before = np.clip(after - 1, 0, stream_s.size - 1)
    nearer = np.where(np.abs(times_s - stream_s[before]) <= np.abs(stream_s[after] - times_s), before, after)
    found = values[nearer].astype(float)
    found[~(np.abs(stream_s[nearer] - times_s) <= within_s)] = np.nan
    return found
