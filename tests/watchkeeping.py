"""A watch to be tried in simulated time: a memory in hand that can fail, a post that keeps what was called, orders of any hour."""

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from tests.page_demo import demo_orders
from watch.alerts.book import Acknowledge, AlertBook, Call, Event
from watch.alerts.known import Aboard
from watch.alerts.situation import Priority, Situation
from watch.alerts.worker import Health
from watch.orders.document import Orders
from watch.service.stand.keeper import Keeper
from watch.service.stand.memory import AckWish, LogWords
from watch.service.stand.passing import KnownRun, Outcome
from watch.service.stand.reckoning import Place
from watch.service.stand.rigged import Rigged
from watch.service.stand.setting_up import rig_after
from watch.service.stand.vitals import Settings

BOAT = Path(__file__).resolve().parents[1] / "config" / "boat-sloop.toml"
ROUTE = BOAT.parent / "passage-bermuda-horta.toml"


def moved(value: Any, by: timedelta) -> Any:
    """Any plain value with every time in it moved."""
    if isinstance(value, datetime):
        return value + by
    if is_dataclass(value) and not isinstance(value, type):
        changed = {f.name: moved(getattr(value, f.name), by) for f in fields(value) if f.init}
        return replace(value, **changed)
    if isinstance(value, tuple):
        return tuple(moved(item, by) for item in value)
    return value


@cache
def _slim() -> Orders:
    """The demo's orders without their ten-minute steps."""
    return replace(demo_orders(), steps=demo_orders().steps[:1])


def orders_at(at: datetime, *, run: datetime | None = None) -> Orders:
    """The demo's orders as if made at a time, from a run of a time."""
    made: Orders = moved(_slim(), at - demo_orders().made_at)
    used = tuple(replace(f, run=run) for f in made.forecasts) if run is not None else made.forecasts
    return replace(made, forecasts=used, ends_at=max(f.run for f in used) + timedelta(hours=120))


def made_at(at: datetime, *, run: datetime | None = None) -> Outcome:
    """The outcome of a pass that went well."""
    orders = orders_at(at, run=run)
    return Outcome(orders=orders, runs=(KnownRun(files=("a.grb",), centre="kwbc", run=orders.forecasts[0].run, kind="single"),))


@dataclass
class HandMemory:
    """A Memory in hand; `broken` makes every write fail as a full disk does."""

    broken: bool = False
    said: tuple[str, ...] = ()
    kept_book: AlertBook | None = None
    orders: Orders | None = None
    wishes: dict[int, AckWish] = field(default_factory=dict)
    outcomes: dict[int, str] = field(default_factory=dict)
    places: list[Place] = field(default_factory=list)
    log: list[LogWords] = field(default_factory=list)
    settings: dict[str, object] = field(default_factory=dict)
    told: list[Call | Event] = field(default_factory=list)

    def _write(self) -> None:
        if self.broken:
            raise sqlite3.OperationalError("database or disk is full")

    def book(self) -> AlertBook | None:
        return self.kept_book

    def keep_book(self, book: AlertBook) -> None:
        self._write()
        self.kept_book = book

    def latest_orders(self) -> Orders | None:
        return self.orders

    def keep_pass(self, orders: Orders, made_at: datetime, next_wake: datetime, sentence: str) -> None:
        self._write()
        self.orders = orders

    def acks_wanted(self) -> list[AckWish]:
        return [wish for number, wish in self.wishes.items() if number not in self.outcomes]

    def ask(self, alert: str, at: datetime, revision: int | None = None) -> int:
        number = len(self.wishes) + 1
        self.wishes[number] = AckWish(id=number, alert=alert, by="skipper", at=at, revision=revision)
        return number

    def acks_taken(self, ids: Sequence[int], at: datetime, outcome: str = "") -> None:
        self._write()
        self.outcomes |= dict.fromkeys(ids, outcome)

    def keep_events(self, events: Sequence[Call | Event], at: datetime) -> None:
        self._write()
        self.told += events

    def last_place(self) -> Place | None:
        return self.places[-1] if self.places else None

    def add_position(self, at: datetime, latitude: float, longitude: float, source: str) -> None:
        self._write()
        self.places.append(Place(at=at, latitude=latitude, longitude=longitude, source=source))

    def write_log(self, line: str, at: datetime) -> None:
        self.log.append(LogWords(id=len(self.log) + 1, at=at, line=line))

    def log_lines(self, after: int) -> list[LogWords]:
        return [line for line in self.log if line.id > after]

    def put(self, name: str, value: object) -> None:
        self._write()
        self.settings[name] = value

    def get(self, name: str, default: object = None) -> object:
        return self.settings.get(name, default)


@dataclass
class HandPost:
    """A post that keeps what it is given. dead: a channel's name when it fails."""

    calls: list[Call] = field(default_factory=list)
    heard: list[Event] = field(default_factory=list)
    dead: str = ""

    def deliver(self, calls: Sequence[Call], book: AlertBook) -> None:
        self.calls += calls

    def show(self, book: AlertBook) -> None:
        pass

    def events(self, book: AlertBook) -> list[Event]:
        heard, self.heard = self.heard, []
        return heard

    def situations(self) -> list[Situation]:
        if not self.dead:
            return []
        return [Situation(key=f"channel.{self.dead}", group="channels", priority=Priority.WARNING, title="A channel does not work",
                          text="Calls do not get through.", why="tried", clears="a call gets through")]  # fmt: skip

    def health(self) -> list[Health]:
        return []

    def close(self) -> None:
        pass

    def sounded(self) -> list[Call]:
        return [call for call in self.calls if call.sounds]


@dataclass
class Trial:
    """A keeper with its memory and post, and clocks that are told to go on."""

    now: datetime
    memory: HandMemory = field(default_factory=HandMemory)
    post: HandPost = field(default_factory=HandPost)
    steady_s: float = 0.0
    aboard: Aboard = field(default_factory=Aboard)
    disk_free_mb: float = 10_000.0
    settings: Settings = field(default_factory=lambda: Settings(boat=BOAT, route=ROUTE))

    def __post_init__(self) -> None:
        self.keeper = self.begin()

    def begin(self, told: str | None = "main: reef 1") -> Keeper:
        """A start of the watch, with what the memory holds."""
        self.keeper = Keeper(
            self.settings, self.memory, self.post, Rigged(self.memory, "", lambda state, lines: rig_after(BOAT, state, lines), told),
            now=self.now, steady_s=self.steady_s, aboard=lambda now, rig_state: self.aboard, disk_free_mb=lambda: self.disk_free_mb,
        )  # fmt: skip
        return self.keeper

    def passes(self, *, run: datetime | None = None) -> list[Call]:
        return self.keeper.passed(made_at(self.now, run=run), self.now)

    def goes_on(self, seconds: float, *, every_s: float = 1.0, until: Callable[[], bool] = lambda: False) -> None:
        """Time goes by, looked at as the daemon does."""
        end = self.steady_s + seconds
        while self.steady_s < end and not until():
            self.steady_s += every_s
            self.now += timedelta(seconds=every_s)
            self.keeper.look(self.now, self.steady_s)

    def acknowledge_all(self) -> None:
        for alert in self.keeper.book.alerts:
            if alert.state.awaits or alert.state.value.startswith("rectified"):
                assert self.keeper.acknowledge(alert.name, alert.revision, "skipper", "hand", self.now) is None


def acknowledged(book: AlertBook) -> set[str]:
    return {alert.name for alert in book.alerts if alert.acknowledged is not None}


def wish(alert: str) -> Acknowledge:
    return Acknowledge(alert=alert, who="skipper", where="hand")
