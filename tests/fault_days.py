"""Days of faults in simulated time: the keeper with its real store against lost networks, late runs, corrupt files, full disks, dead
channels, jumping clocks and losses of power. Counts what happened, and whether anything was lost or silent.
"""

import random
import sqlite3
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from tests.watchkeeping import BOAT, ROUTE, HandPost, made_at
from watch.alerts.book import Alert
from watch.alerts.known import Aboard
from watch.service.stand.keeper import Keeper
from watch.service.stand.passing import Outcome
from watch.service.stand.rigged import Rigged
from watch.service.stand.setting_up import rig_after
from watch.service.stand.store_memory import StoreMemory
from watch.service.stand.vitals import Settings
from watch.service.store.store import Store

LOOK = timedelta(minutes=5)
SAID_WITHIN = timedelta(minutes=20)  # of a fault that can be seen at once: two passes
RUN_EVERY, RUN_DELAY = timedelta(hours=6), timedelta(hours=5)

Find = Callable[[Keeper], bool]


def _active(keeper: Keeper, of: Callable[[Alert], bool]) -> bool:
    return any(alert.state.is_active and of(alert) for alert in keeper.book.alerts)


def _says(words: str) -> Find:
    return lambda keeper: _active(keeper, lambda a: words in " ".join([a.title, a.text, *a.news, a.why, *(m.situation.text for m in a.present)]))


# kind of fault -> how long it lasts at the least and at the most [h], and how the sailor is told of it
KINDS: dict[str, tuple[float, float, Find]] = {
    "network lost": (1, 60, _says("forecast")),
    "corrupt file": (1, 8, _says("is damaged inside")),
    "pass dies": (0.5, 6, _says("the pass died")),
    "boat file spoiled": (0.5, 6, _says("hard_kn")),
    "disk full": (0.5, 10, _says("cannot write its book")),
    "disk nearly full": (0.5, 10, _says("disk is nearly full")),
    "channel dead": (0.5, 12, _says("does not work")),
    "position lost": (0.5, 12, _says("position")),
    "wind lost": (0.5, 12, _says("wind")),
    "clock set back": (0, 0, _says("clock jumped")),
    "clock set forward": (0, 0, _says("clock jumped")),
    "power lost": (0, 0, lambda keeper: True),
}
# while the second is on there is no pass that would meet the first: nothing is read
HIDES = {
    "corrupt file": ("pass dies", "boat file spoiled"),
    "boat file spoiled": ("pass dies",),
}


class FullDisk(StoreMemory):
    """The store on a disk that can be full."""

    full = False

    def __getattribute__(self, name: str) -> object:
        writes = ("keep_book", "keep_pass", "acks_taken", "keep_events", "add_position", "put")
        if name in writes and object.__getattribute__(self, "full"):
            raise sqlite3.OperationalError("database or disk is full")
        return object.__getattribute__(self, name)


@dataclass
class Fault:
    """One fault: from and to by true time; said once the sailor was told of it; plain_at: since when it could be noticed at all."""

    kind: str
    start: datetime
    end: datetime
    said: bool = False
    plain_at: datetime = field(init=False)

    def __post_init__(self) -> None:
        self.plain_at = self.start


@dataclass
class Tally:
    """What was counted. silent and lost must stay empty."""

    faults: Counter[str] = field(default_factory=Counter)
    silent: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    passes: int = 0
    alerts: int = 0
    calls: int = 0
    acknowledged: int = 0
    log_lines: int = 0
    starts: int = 0


class Days:
    """Simulated days from a start, with faults drawn by a seed. true: time as it really is; wall: as the computer has it."""

    def __init__(self, path: Path, start: datetime, seed: int, kinds: Sequence[str] = tuple(KINDS)) -> None:
        self.path, self.true, self.random, self.kinds = path, start, random.Random(seed), kinds
        self.wall_error = timedelta(0)
        self.steady_s = 0.0
        self.post = HandPost()
        self.tally = Tally()
        self.faults: list[Fault] = []
        self.logged: list[str] = []
        self.acked: set[tuple[str, int]] = set()
        self.answers: dict[tuple[str, int], datetime] = {}
        self.run = start - RUN_DELAY
        self.sounded: dict[str, float] = {}
        self.store = Store.open(path, self.wall)
        self.memory = FullDisk(self.store, self.wall)
        self.keeper = self._begin("main: reef 1")

    @property
    def wall(self) -> datetime:
        return self.true + self.wall_error

    def _begin(self, told: str | None) -> Keeper:
        self.tally.starts += 1
        settings = Settings(boat=BOAT, route=ROUTE, has_instruments=True)
        rigged = Rigged(self.memory, "", lambda state, lines: rig_after(BOAT, state, lines), told)
        return Keeper(settings, self.memory, self.post, rigged, now=self.wall, steady_s=self.steady_s, aboard=self._aboard,
                      disk_free_mb=lambda: 100.0 if self.on("disk nearly full") else 9000.0)

    def on(self, kind: str) -> Fault | None:
        return next((f for f in self.faults if f.kind == kind and f.start <= self.true < f.end), None)

    def _aboard(self, now: datetime, rig_state: str) -> Aboard:
        lost_position, lost_wind = self.on("position lost"), self.on("wind lost")
        return Aboard(
            mean_kn=None if lost_wind else 15.0, gust_kn=None if lost_wind else 20.0, working_kn=30.0, hard_kn=40.0,
            position_at=lost_position.start + self.wall_error if lost_position else now, wind_at=lost_wind.start + self.wall_error if lost_wind else now,
            expects_position=True, expects_wind=True,
        )  # fmt: skip

    def live(self, days: int) -> Tally:
        """So many days go by."""
        for _ in range(days):
            self._draw()
            end = self.true + timedelta(days=1)
            while self.true < end:
                self._live_a_little()
        self._check_log()
        return self.tally

    def _draw(self) -> None:
        least_one = 0 if self.tally.faults else 1
        for _ in range(max(least_one, self.random.choice((0, 1, 1, 2, 3)))):
            kind = self.random.choice(self.kinds)
            least, most, _ = KINDS[kind]
            start = self.true + timedelta(hours=self.random.uniform(0, 23))
            self.faults.append(Fault(kind=kind, start=start, end=start + timedelta(hours=self.random.uniform(least, most))))
            self.tally.faults[kind] += 1

    def _live_a_little(self) -> None:
        self.true += LOOK
        self.steady_s += LOOK.total_seconds()
        for fault in [f for f in self.faults if f.start <= self.true and f.start == f.end and not f.said]:
            self._strike(fault)
        self.memory.full = self.on("disk full") is not None
        self.post.dead = "bell" if self.on("channel dead") else ""
        if self.true - RUN_DELAY - self.run >= RUN_EVERY and not self.on("network lost") and not self.on("corrupt file"):
            self.run = self.true - RUN_DELAY
        self.keeper.look(self.wall, self.steady_s)
        if self.wall >= self.keeper.next_pass_at:
            self._pass()
        self._answer()
        self._check()

    def _strike(self, fault: Fault) -> None:
        if fault.kind == "power lost":
            self._lose_power()
            fault.said = True
            return
        jump = timedelta(minutes=self.random.uniform(3, 60 * 30))
        self.wall_error += -jump if fault.kind == "clock set back" else jump
        self.keeper.look(self.wall, self.steady_s)
        fault.said = KINDS[fault.kind][2](self.keeper)
        if not fault.said:
            self.tally.silent.append(f"{self.true}: {fault.kind}")
        self.wall_error = timedelta(0)  # and it is put right again
        self.keeper.look(self.wall, self.steady_s)

    def _lose_power(self) -> None:
        before = {a.name: a.acknowledged for a in self.keeper.book.alerts if a.acknowledged is not None}
        could_keep = "book" not in self.keeper.failures
        self.store.close()
        self.store = Store.open(self.path, self.wall)
        self.memory = FullDisk(self.store, self.wall)
        self.keeper, self.sounded = self._begin(None), {}
        after = {a.name: a.acknowledged for a in self.keeper.book.alerts if a.acknowledged is not None}
        if could_keep and before != after:
            self.tally.lost.append(f"{self.true}: acknowledgements {sorted(before.keys() ^ after.keys())}")
        self._check_log()

    def _pass(self) -> None:
        self.tally.passes += 1
        if self.on("pass dies"):
            self.keeper.pass_died("the pass died (signal 11)", self.wall)
        elif self.on("boat file spoiled"):
            self.keeper.passed(Outcome(orders=None, why="boat-sloop.toml sail_plan[2].hard_kn: missing; knots"), self.wall)
        else:
            made = made_at(self.wall, run=self.run + self.wall_error)
            unread = (("new.grb", "new.grb is damaged inside; fetch it again"),) if self.on("corrupt file") else ()
            self.keeper.passed(Outcome(orders=made.orders, runs=made.runs, unread=unread), self.wall)

    def _answer(self) -> None:
        """The sailor acknowledges what he hears, after a minute or after three hours; and writes the log."""
        for alert in self.keeper.book.alerts:
            waits = alert.state.awaits or alert.state.value.startswith("rectified")
            key = (alert.name, alert.revision)
            if not waits:
                continue
            self.answers.setdefault(key, self.true + timedelta(minutes=self.random.choice((1, 5, 20, 60, 180))))
            if self.true < self.answers[key]:
                continue
            if self.random.random() < 0.5:
                self.keeper.acknowledge(alert.name, alert.revision, "skipper", "hand", self.wall)
            else:
                self.store.ask_ack(alert.name, "skipper", self.wall, revision=alert.revision)
                self.keeper.look(self.wall, self.steady_s)
            self.tally.acknowledged += 1
        if len(self.answers) > 5000:
            self.answers.clear()
        if self.random.random() < 0.01:
            line = f"{self.wall:%Y-%m-%dT%H:%MZ} note {len(self.logged)}"
            self.store.add_log(line, self.wall, "skipper")
            self.logged.append(line)
            self.tally.log_lines += 1

    def _check(self) -> None:
        for call in self.post.calls:
            self.tally.calls += call.sounds
            self.tally.alerts += call.reason.value == "new"
            if call.sounds:
                self.sounded[call.alert] = self.steady_s
        self.post.calls.clear()
        for alert in self.keeper.book.alerts:
            if alert.state.awaits and alert.priority.is_heard:
                since = self.steady_s - self.sounded.setdefault(alert.name, self.steady_s)
                if since > 2 * LOOK.total_seconds() + 1:
                    self.tally.silent.append(f"{self.true}: {alert.name} not called for {since:.0f} s")
        for fault in self.faults:
            if any(self.on(other) for other in HIDES.get(fault.kind, ())):
                fault.plain_at = max(fault.plain_at, self.true)
            if fault.said or fault.start == fault.end or not fault.plain_at + SAID_WITHIN <= self.true < fault.end:
                continue
            fault.said = KINDS[fault.kind][2](self.keeper)
            seen_late = fault.kind == "network lost" and self.true - self.run < timedelta(hours=13, minutes=10)
            slow = fault.kind in ("position lost", "wind lost") and self.true - fault.start < timedelta(minutes=35)
            if not fault.said and not seen_late and not slow:
                said = "; ".join(alert.title for alert in self.keeper.book.alerts if alert.state.is_active)
                self.tally.silent.append(f"{self.true}: {fault.kind} since {fault.start}; said is: {said}")
                fault.said = True
        self.faults = [f for f in self.faults if f.end >= self.true or (f.start == f.end and not f.said)]

    def _check_log(self) -> None:
        kept = [line.line for line in self.store.log_lines()]
        if kept != self.logged:
            self.tally.lost.append(f"{self.true}: {len(self.logged)} lines were logged, {len(kept)} are kept")
