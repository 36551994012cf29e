"""When: UTC instants, the ten-minute grid, spans, the finder of changes, and ship's time. Reads no clock."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.datetime64]

STEP_MINUTES = 10
STEP = timedelta(minutes=STEP_MINUTES)
STEPS_PER_HOUR = 60 // STEP_MINUTES
FIRST_YEAR, LAST_YEAR = 1900, 2199  # of what is read: a time outside is a slip of the pen or damage, and hours ahead of it must exist too


class NaiveTimeError(ValueError):
    """A time without its offset from UTC was given: it could be hours wrong."""


def utc(instant: datetime) -> datetime:
    """An aware datetime -> the same instant in UTC; a naive one is refused.

    >>> utc(datetime(2026, 5, 14, 9, 0, tzinfo=timezone(timedelta(hours=-3)))).isoformat()
    '2026-05-14T12:00:00+00:00'
    """
    if instant.tzinfo is None or instant.utcoffset() is None:
        raise NaiveTimeError(f"{instant.isoformat()} has no offset from UTC: write it like {instant.isoformat()}Z")
    try:
        return instant.astimezone(UTC)
    except OverflowError:
        raise ValueError(f"{instant.isoformat()} lies outside the years that there are") from None


def dated(instant: datetime) -> datetime:
    """What a person or a program gave as a time -> the same in UTC; ValueError for a year that no voyage is in, or without an offset.

    >>> dated(datetime(1, 1, 1, tzinfo=UTC))
    Traceback (most recent call last):
    ...
    ValueError: 0001-01-01T00:00:00+00:00 is no time to sail in: the year must be from 1900 to 2199
    """
    found = utc(instant)
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise ValueError(f"{instant.isoformat()} is no time to sail in: the year must be from {FIRST_YEAR} to {LAST_YEAR}")
    return found


def parse_utc(text: str) -> datetime:
    """ISO 8601 text with an offset or Z -> UTC instant; anything else is refused with a ValueError that says how to write it.

    >>> parse_utc("2026-05-14T12:00Z").hour
    12
    """
    try:
        instant = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f'"{text[:40]}" is no time: write it like 2026-05-14T12:00Z') from None
    return dated(instant)


def to_np(instant: datetime) -> np.datetime64:
    """UTC instant -> numpy datetime64[s] in UTC, whole seconds.

    >>> to_np(parse_utc("2026-05-14T12:00Z"))
    np.datetime64('2026-05-14T12:00:00')
    """
    return np.datetime64(utc(instant).strftime("%Y-%m-%dT%H:%M:%S"), "s")


def from_np(instant: np.datetime64) -> datetime:
    """numpy datetime64 in UTC -> aware UTC datetime.

    >>> from_np(np.datetime64("2026-05-14T12:00")).isoformat()
    '2026-05-14T12:00:00+00:00'
    """
    seconds = int(instant.astype("datetime64[s]").astype(np.int64))
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)


def floor_step(instant: datetime) -> datetime:
    """The ten-minute mark at or before the instant.

    >>> floor_step(parse_utc("2026-05-14T12:19:59Z")).strftime("%H:%M")
    '12:10'
    """
    return utc(instant).replace(minute=instant.minute // STEP_MINUTES * STEP_MINUTES, second=0, microsecond=0)


def ceil_step(instant: datetime) -> datetime:
    """The ten-minute mark at or after the instant.

    >>> ceil_step(parse_utc("2026-05-14T12:10:01Z")).strftime("%H:%M")
    '12:20'
    """
    down = floor_step(instant)
    return down if down == utc(instant) else down + STEP


def grid(start: datetime, steps: int) -> Times:
    """start on the ten-minute grid, steps >= 0 -> steps + 1 marks as datetime64[s]; step i lasts from mark i to mark i + 1.

    >>> grid(parse_utc("2026-05-14T12:00Z"), 2)[-1]
    np.datetime64('2026-05-14T12:20:00')
    """
    if floor_step(start) != utc(start):
        raise ValueError(f"{start.isoformat()} is not on the ten-minute grid")
    return to_np(start) + np.arange(steps + 1) * np.timedelta64(STEP_MINUTES * 60, "s")


def steps_for(minutes: float) -> int:
    """Minutes -> whole ten-minute steps, rounded up: a job never takes less than it takes.

    >>> steps_for(25), steps_for(30), steps_for(0)
    (3, 3, 0)
    """
    return -int(-minutes // STEP_MINUTES)


@dataclass(frozen=True, kw_only=True)
class Span:
    """A stretch of time from start to end, end not included; both aware UTC, end after start."""

    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        if utc(self.end) <= utc(self.start):
            raise ValueError(f"a span must end after it starts: {self.start.isoformat()} to {self.end.isoformat()}")

    @property
    def hours(self) -> float:
        return (self.end - self.start).total_seconds() / 3600.0

    def overlaps(self, other: "Span") -> bool:
        return self.start < other.end and other.start < self.end

    def contains(self, instant: datetime) -> bool:
        return self.start <= instant < self.end


@dataclass(frozen=True)
class Run:
    """A stretch of equal values in a series: indexes first <= i < last have the value."""

    first: int
    last: int
    value: Any


def runs(values: NDArray[Any]) -> list[Run]:
    """The one finder of events: a 1-D series of discrete values -> its stretches of equal value, in order.

    >>> [(r.first, r.last, bool(r.value)) for r in runs(np.array([True, True, False]))]
    [(0, 2, True), (2, 3, False)]
    """
    values = np.asarray(values)
    if values.ndim != 1:
        raise ValueError("runs() takes a series of one dimension")
    if values.size == 0:
        return []
    edges = np.flatnonzero(values[1:] != values[:-1]) + 1
    bounds = [0, *edges.tolist(), values.size]
    return [Run(a, b, values[a]) for a, b in pairwise(bounds)]


@dataclass(frozen=True)
class ShipTime:
    """Ship's time: a fixed offset from UTC, in minutes; for printing only.

    >>> ShipTime(-180).clock(parse_utc("2026-05-14T12:00Z"))
    '09:00'
    """

    offset_minutes: int = 0

    @classmethod
    def parse(cls, text: str) -> "ShipTime":
        """'-03:00' or 'UTC' -> ShipTime; anything else is refused with a ValueError that says how to write it.

        >>> ShipTime.parse("-03:00").offset_minutes
        -180
        """
        if text.strip().upper() in ("UTC", "Z"):
            return cls(0)
        match = re.fullmatch(r"([+-])(\d{2}):(\d{2})", text.strip())
        if not match or int(match[2]) > 14 or int(match[3]) > 59:
            raise ValueError(f'"{text[:40]}" is no offset from UTC: write it like -03:00')
        minutes = int(match[2]) * 60 + int(match[3])
        return cls(-minutes if match[1] == "-" else minutes)

    @classmethod
    def for_longitude(cls, longitude_deg: float) -> "ShipTime":
        """The nautical zone of a longitude: whole hours, 15 degrees each (common practice at sea).

        >>> ShipTime.for_longitude(-52.0).offset_minutes
        -180
        """
        return cls(round(((longitude_deg + 180.0) % 360.0 - 180.0) / 15.0) * 60)

    @property
    def name(self) -> str:
        if self.offset_minutes == 0:
            return "UTC"
        hours, minutes = divmod(abs(self.offset_minutes), 60)
        return f"UTC{'-' if self.offset_minutes < 0 else '+'}{hours}" + (f":{minutes:02d}" if minutes else "")

    def local(self, instant: datetime) -> datetime:
        return utc(instant).astimezone(timezone(timedelta(minutes=self.offset_minutes)))

    def clock(self, instant: datetime) -> str:
        return self.local(instant).strftime("%H:%M")

    def day_clock(self, instant: datetime) -> str:
        """Weekday and clock, like 'Thu 18:40'."""
        return self.local(instant).strftime("%a %H:%M")
