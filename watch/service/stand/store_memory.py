"""(I/O) The store as the keeper wants it."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from watch.alerts.book import AlertBook, Call, Event
from watch.orders.document import Orders
from watch.service.stand.memory import AckWish, LogWords
from watch.service.stand.reckoning import Place
from watch.service.store.store import Store

TRACK_KEPT = timedelta(days=14)  # judgement: a place older than this is no place


class StoreMemory:
    """A Memory that keeps everything in the watch's one file."""

    def __init__(self, store: Store, now: datetime) -> None:
        self.store, self._begun = store, now

    @property
    def said(self) -> Sequence[str]:
        return self.store.said

    def book(self) -> AlertBook | None:
        return self.store.book()

    def keep_book(self, book: AlertBook) -> None:
        self.store.keep_book(book)

    def latest_orders(self) -> Orders | None:
        return self.store.latest_orders()

    def keep_pass(self, orders: Orders, made_at: datetime, next_wake: datetime, sentence: str) -> None:
        self.store.keep_pass(orders, made_at, next_wake, sentence)

    def acks_wanted(self) -> list[AckWish]:
        return [AckWish(id=a.id, alert=a.alert, by=a.by, at=a.at, revision=a.revision) for a in self.store.acks_wanted()]

    def acks_taken(self, ids: Sequence[int], at: datetime, outcome: str = "") -> None:
        self.store.ack_taken(ids, at, outcome)

    def keep_events(self, events: Sequence[Call | Event], at: datetime) -> None:
        self.store.keep_events(events, at)

    def last_place(self) -> Place | None:
        last = self.store.last_position(self._begun - TRACK_KEPT)
        if last is None:
            return None
        return Place(at=last.at, latitude=last.latitude_deg, longitude=last.longitude_deg, source=last.source)

    def add_position(self, at: datetime, latitude: float, longitude: float, source: str) -> None:
        self.store.add_position(at, latitude, longitude, source)

    def log_lines(self, after: int) -> list[LogWords]:
        return [LogWords(id=line.id, at=line.at, line=line.line) for line in self.store.log_lines() if line.id > after]

    def put(self, name: str, value: object) -> None:
        self.store.put(name, value)

    def get(self, name: str, default: object = None) -> object:
        found: object = self.store.get(name, default)
        return found
