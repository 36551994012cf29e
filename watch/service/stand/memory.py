"""What the keeper needs of the store and of the channels; both can be had in memory for a trial."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from watch.alerts.book import AlertBook, Call, Event
from watch.alerts.situation import Situation
from watch.alerts.worker import Health
from watch.orders.document import Orders
from watch.service.stand.reckoning import Place


@dataclass(frozen=True, kw_only=True)
class AckWish:
    """Somebody asked by command that an alert be acknowledged."""

    id: int
    alert: str
    by: str
    at: datetime
    revision: int | None = None


@dataclass(frozen=True, kw_only=True)
class LogWords:
    """One line of the log as it was written."""

    id: int
    at: datetime
    line: str


class Memory(Protocol):
    """What outlasts a loss of power. Each call is kept when it returns; it raises the database's Error, OSError or BadInputError otherwise."""

    @property
    def said(self) -> Sequence[str]:
        """What the sailor has to know of the store's own state."""

    def book(self) -> AlertBook | None: ...

    def keep_book(self, book: AlertBook) -> None: ...

    def latest_orders(self) -> Orders | None: ...

    def keep_pass(self, orders: Orders, made_at: datetime, next_wake: datetime, sentence: str) -> None: ...

    def acks_wanted(self) -> list[AckWish]: ...

    def acks_taken(self, ids: Sequence[int], at: datetime, outcome: str = "") -> None: ...

    def keep_events(self, events: Sequence[Call | Event], at: datetime) -> None: ...

    def last_place(self) -> Place | None: ...

    def add_position(self, at: datetime, latitude: float, longitude: float, source: str) -> None: ...

    def log_lines(self, after: int) -> list[LogWords]:
        """The lines of the log with a higher number, in order."""

    def put(self, name: str, value: object) -> None: ...

    def get(self, name: str, default: object = None) -> object: ...


class Post(Protocol):
    """Who takes the calls to the sailor: the dispatcher. Every call returns at once."""

    def deliver(self, calls: Sequence[Call], book: AlertBook) -> None: ...

    def show(self, book: AlertBook) -> None: ...

    def events(self, book: AlertBook) -> list[Event]: ...

    def situations(self) -> list[Situation]: ...

    def health(self) -> list[Health]: ...

    def close(self) -> None: ...
