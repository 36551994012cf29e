"""The observed series: a bounded store that readings go into and ten-minute steps come out of. Reads no clock."""

import math
from collections import Counter, deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

import numpy as np

from watch.instruments.averages import STEP_S, Preferences, choose
from watch.instruments.plausible import judge_streams
from watch.instruments.readings import Doubt, Quantity, Reading
from watch.instruments.steps import ObservedSteps, Step, step_of
from watch.instruments.streams import Key, Stream, instant_of, nearest, seconds_of, stream_of
from watch.instruments.thresholds import SPLIT_S
from watch.when import floor_step

KEPT_BEFORE_S = 600.0  # raw readings kept before the open step, so that what went before can be judged
SETTLE_S = 20.0  # after the end of a step, for readings still on their way (judgement)
AHEAD_S = 60.0  # a reading further ahead of our clock than this has no place (judgement)
MOST_STREAMS = 48  # quantities times sources; a boat has some thirty (judgement)
MOST_READINGS = 12_000  # of one stream: twenty minutes at ten a second


class LeftOut(StrEnum):
    """Why a reading found no place in the store."""

    LATE = "late"  # its step was closed already
    AHEAD = "ahead"  # its time is in the future
    TOO_MANY_STREAMS = "too_many_streams"
    TOO_MANY_READINGS = "too_many_readings"  # the oldest of its stream had to go
    CLOCK_SET_BACK = "clock_set_back"  # this computer's clock went back: all before was filed under a wrong time


@dataclass(frozen=True, kw_only=True)
class Fix:
    """A position [deg], when, and by which receiver."""

    when: datetime
    latitude_deg: float
    longitude_deg: float
    source: str
    doubtful: Doubt | None


@dataclass
class _Column:
    """The raw readings of one stream, bounded, each with the time since which its value had not changed."""

    seconds: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_READINGS))
    values: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_READINGS))
    doubts: deque[Doubt | None] = field(default_factory=lambda: deque(maxlen=MOST_READINGS))
    since_s: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_READINGS))

    def add(self, seconds: float, value: float, doubt: Doubt | None) -> bool:
        """File one reading; False when the oldest had to go for it."""
        room = len(self.values) < MOST_READINGS
        same = self.values and value == self.values[-1] and seconds - self.seconds[-1] <= SPLIT_S
        self.since_s.append(self.since_s[-1] if same else seconds)
        self.seconds.append(seconds)
        self.values.append(value)
        self.doubts.append(doubt)
        return room

    def copy(self) -> "_Column":
        return _Column(seconds=self.seconds.copy(), values=self.values.copy(), doubts=self.doubts.copy(), since_s=self.since_s.copy())

    def trim(self, before_s: float) -> None:
        while self.seconds and self.seconds[0] < before_s:
            self.seconds.popleft()
            self.values.popleft()
            self.doubts.popleft()
            self.since_s.popleft()


class Observed:
    """The bounded store: readings go in, ten-minute steps come out. Reads no clock: `now` is given.

    Raw readings are kept for the open step and ten minutes before it; closed steps for keep_hours. A reading that finds no place
    is counted in left_out, by reason.

    >>> from watch.when import parse_utc
    >>> observed = Observed()
    >>> observed.add([], parse_utc("2026-05-14T12:00Z"))
    >>> observed.steps(parse_utc("2026-05-14T12:25Z")).start.tolist()[-1].isoformat()
    '2026-05-14T12:10:00'
    """

    def __init__(self, *, preferences: Preferences | None = None, keep_hours: float = 72.0) -> None:
        self.left_out: Counter[LeftOut] = Counter()
        self._preferences = preferences or Preferences()
        self._columns: dict[Key, _Column] = {}
        self._closed: deque[Step] = deque(maxlen=max(1, math.ceil(keep_hours * 3600.0 / STEP_S)))
        self._open_s = math.nan
        self._variation_deg = self._preferences.variation_deg
        self._heard_s: dict[Quantity, float] = {}

    def resume(self, closed: Iterable[Step], now: datetime) -> None:
        """Goes on from steps kept before a restart, in any order: before the first reading is added. Ten minutes that are missing among
        them, or between them and now, are steps in which nothing was seen; steps off the grid, or not over yet, are left out."""
        self._begin(now)
        kept = {step.start_s: step for step in closed if step.start_s < self._open_s and step.start_s % STEP_S == 0.0}
        self._closed.clear()
        if kept:
            first_s = max(min(kept), self._open_s - (self._closed.maxlen or 1) * STEP_S)
            self._closed.extend(kept.get(at_s, Step(start_s=at_s)) for at_s in np.arange(first_s, self._open_s, STEP_S).tolist())

    def add(self, readings: Iterable[Reading], now: datetime) -> None:
        """Readings as they come, in any order; now: the time at the end of the batch, by the clock they were received by (for a
        recording the latest time in it). Steps that are over are closed after the batch is filed, so that none of it is late."""
        self._begin(now)
        latest_s = seconds_of(now) + AHEAD_S
        for reading in readings:
            key, at_s = (reading.quantity, reading.source), seconds_of(reading.placed)
            if not at_s >= self._open_s:
                self.left_out[LeftOut.LATE] += 1
            elif at_s > latest_s:
                self.left_out[LeftOut.AHEAD] += 1
            elif key not in self._columns and len(self._columns) >= MOST_STREAMS:
                self.left_out[LeftOut.TOO_MANY_STREAMS] += 1
            elif not self._columns.setdefault(key, _Column()).add(at_s, reading.value, reading.doubtful):
                self.left_out[LeftOut.TOO_MANY_READINGS] += 1
            if self._open_s <= at_s <= latest_s and (reading.doubtful is None or reading.doubtful.kind.usable):
                self._heard_s[reading.quantity] = max(at_s, self._heard_s.get(reading.quantity, at_s))
        self._close(now)

    def steps(self, now: datetime) -> ObservedSteps:
        """All whole steps up to now, oldest first; the last may still change for some seconds after its end."""
        self._begin(now)
        self._close(now)
        rows = list(self._closed)
        if self._open_s + STEP_S <= seconds_of(now):
            rows.append(self._step()[0])
        return ObservedSteps.of(rows[-(self._closed.maxlen or 0) :])

    def step_now(self, now: datetime) -> Step:
        """The last ten minutes up to now, off the grid: for what has to be told at once. At first it has too little in it."""
        start_s = seconds_of(now) - STEP_S
        return step_of(self._judged(start_s - KEPT_BEFORE_S, start_s + STEP_S + AHEAD_S), start_s, self._preferences, self._variation_deg)

    def heard_at(self, quantity: Quantity) -> datetime | None:
        """When a usable reading of it was last heard, however long ago; None: never since it was switched on."""
        return instant_of(self._heard_s[quantity]) if quantity in self._heard_s else None

    def closed(self, since: datetime | None = None) -> tuple[Step, ...]:
        """The closed steps that began at or after since, oldest first: to be kept for `resume`."""
        return tuple(step for step in self._closed if since is None or step.start_s >= seconds_of(since))

    def copy(self) -> "Observed":
        """As it is now; what is added to either later does not show in the other."""
        other = Observed(preferences=self._preferences)
        other.left_out, other._closed = self.left_out.copy(), self._closed.copy()
        other._columns = {key: column.copy() for key, column in self._columns.items()}
        other._open_s, other._variation_deg, other._heard_s = self._open_s, self._variation_deg, dict(self._heard_s)
        return other

    def position(self, now: datetime) -> Fix | None:
        """The latest usable fix of the last ten minutes, a clean one first; None without one."""
        latitude = self._latest(Quantity.LATITUDE_DEG, now)
        if latitude is None:
            return None
        longitude = self._recent(now)[Quantity.LONGITUDE_DEG, latitude.source]
        longitude_deg = float(nearest(latitude.seconds[-1:], longitude.seconds, longitude.values, 0.001)[0])
        if math.isnan(longitude_deg):
            return None
        return Fix(when=instant_of(latitude.seconds[-1]), latitude_deg=float(latitude.values[-1]), longitude_deg=longitude_deg,
                   source=latitude.source, doubtful=latitude.doubts[-1])

    def latest(self, quantity: Quantity, now: datetime) -> Reading | None:
        """The latest usable reading of the last ten minutes, a clean one first; None without one. For a position: `position`."""
        stream = self._latest(quantity, now)
        if stream is None:
            return None
        when = instant_of(stream.seconds[-1])
        return Reading(when=when, received=when, quantity=quantity, value=float(stream.values[-1]), source=stream.source,
                       doubtful=stream.doubts[-1])

    def _latest(self, quantity: Quantity, now: datetime) -> Stream | None:
        order = self._preferences.sources.get(quantity, ())
        found = [s for (q, _), s in self._recent(now).items() if q is quantity and s.usable.any()]
        if not found:
            return None
        best = min(found, key=lambda s: (not s.clean.any(), order.index(s.source) if s.source in order else len(order),
                                         -s.seconds[s.usable][-1], s.source))
        return best.kept(best.clean if best.clean.any() else best.usable)

    def _recent(self, now: datetime) -> Mapping[Key, Stream]:
        end_s = seconds_of(now) + AHEAD_S
        return self._judged(end_s - AHEAD_S - STEP_S, end_s)

    def _judged(self, start_s: float, end_s: float) -> Mapping[Key, Stream]:
        """The raw readings in [start_s, end_s), judged."""
        streams, unchanged_since_s = {}, {}
        for key, column in self._columns.items():
            stream = stream_of(*key, column.seconds, column.values, column.doubts).between(start_s, end_s)
            if stream.values.size:
                streams[key] = stream
                unchanged_since_s[key] = column.since_s[column.seconds.index(stream.seconds[0])]
        return judge_streams(streams, unchanged_since_s)

    def _step(self) -> tuple[Step, float]:
        """The open step as far as it is known, and the variation to go on with."""
        window = self._judged(self._open_s - KEPT_BEFORE_S, self._open_s + STEP_S + AHEAD_S)
        variation = choose(window, Quantity.VARIATION_DEG, self._open_s, self._preferences)
        variation_deg = self._variation_deg if variation is None else float(np.median(variation.stream.values))
        return step_of(window, self._open_s, self._preferences, variation_deg), variation_deg

    def _begin(self, now: datetime) -> None:
        """The first step; and a new beginning when the clock was set back, since all before was filed under a wrong time."""
        if seconds_of(now) < self._open_s - STEP_S:
            self.left_out[LeftOut.CLOCK_SET_BACK] += len(self._closed)
            self._closed.clear()
            self._columns.clear()
            self._heard_s.clear()
            self._open_s = math.nan
        if math.isnan(self._open_s):
            self._open_s = seconds_of(floor_step(now))

    def _close(self, now: datetime) -> None:
        """Close the steps that ended before now."""
        now_s = seconds_of(now)
        while self._open_s + STEP_S + SETTLE_S <= now_s:
            if not self._columns:
                self._skip_to(now_s)
                continue
            step, self._variation_deg = self._step()
            self._closed.append(step)
            self._open_s += STEP_S
            for key, column in list(self._columns.items()):
                column.trim(self._open_s - KEPT_BEFORE_S)
                if not column.values:
                    del self._columns[key]

    def _skip_to(self, now_s: float) -> None:
        """Steps without any reading, as many as are kept."""
        behind = int((now_s - SETTLE_S - self._open_s) // STEP_S)
        first = max(0, behind - (self._closed.maxlen or behind))
        self._closed.extend(Step(start_s=self._open_s + i * STEP_S) for i in range(first, behind))
        self._open_s += behind * STEP_S
