"""(I/O) The alert book, the acknowledgements that people ask for, and what was called and done."""

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING, Any

from watch.service.store.logbook import inserted
from watch.service.store.memory import Memory
from watch.service.store.times import instant_of, legible, text_of

if TYPE_CHECKING:
    from watch.alerts.book import Acknowledge, Alert, AlertBook, Call, Member, Refused, Silence
    from watch.alerts.situation import Situation

    Happened = Acknowledge | Silence | Call | Refused

_ACK_COLUMNS = "id, alert, by, at, revision, place, taken_at, outcome"


@dataclass(frozen=True, kw_only=True)
class AckWanted:
    """Somebody asked for an alert to be acknowledged: its name, who, where, when (aware UTC), and the revision they had read, if known.

    taken_at: when the watch took it up; None while it has not. outcome: what became of it, in words; empty when it was followed.
    """

    id: int
    alert: str
    by: str
    at: datetime
    revision: int | None
    where: str
    taken_at: datetime | None = None
    outcome: str = ""


@dataclass(frozen=True, kw_only=True)
class EventKept:
    """Something called or done: when (aware UTC), what kind ("Call", "Acknowledge", "Silence" or "Refused"), of which alert, and itself."""

    id: int
    at: datetime
    kind: str
    alert: str
    event: "Happened"


class Calls(Memory):
    """Keeps how the alerts stand and what people did about them. An acknowledgement is on the disk when ask_ack returns."""

    def keep_book(self, book: "AlertBook") -> None:
        """Keeps the alert book in place of the one before."""
        from watch.alerts.kept import to_dict

        text = json.dumps(to_dict(book), ensure_ascii=False, allow_nan=False)
        self._write(lambda db: db.execute(
            "INSERT INTO alert_book (id, book) VALUES (1, ?) ON CONFLICT (id) DO UPDATE SET book = excluded.book", (text,)
        ))  # fmt: skip

    def book(self) -> "AlertBook | None":
        """The alert book kept last; None when there is none, or when it cannot be read any more, which is said: then every alert calls
        again."""
        from watch.alerts.kept import from_dict
        from watch.faults import BadInputError

        row = self._read(lambda db: db.execute("SELECT book FROM alert_book WHERE id = 1").fetchone())
        if row is None:
            return None
        try:
            return from_dict(json.loads(row[0]))
        except (BadInputError, ValueError, TypeError):
            self._say("The kept alert book cannot be read; a new one is begun and every alert calls again.")
            return None

    def ask_ack(
        self, member_or_key: "str | Alert | Member | Situation", by: str, at: datetime, *, revision: int | None = None, where: str = "",
    ) -> int:
        """Writes down that somebody acknowledges an alert; gives back the number of the wish. The watch takes it up at its next step."""
        row = (legible(_name(member_or_key)), legible(by), text_of(at), revision, legible(where))
        query = "INSERT INTO ack (alert, by, at, revision, place) VALUES (?, ?, ?, ?, ?)"
        return self._write(lambda db: inserted(db.execute(query, row)))

    def acks_wanted(self) -> list[AckWanted]:
        """Those not taken up yet, in the order in which they were asked for."""
        query = f"SELECT {_ACK_COLUMNS} FROM ack WHERE taken_at IS NULL ORDER BY id"
        return self._each(self._read(lambda db: db.execute(query).fetchall()), _wanted, "acknowledgements")

    def acks(self, since: datetime) -> list[AckWanted]:
        """All asked for at or after a time, taken up or not, in order."""
        query = f"SELECT {_ACK_COLUMNS} FROM ack WHERE at >= ? ORDER BY id"
        return self._each(self._read(lambda db: db.execute(query, (text_of(since),)).fetchall()), _wanted, "acknowledgements")

    def ack_taken(self, ids: Iterable[int], at: datetime, outcome: str = "") -> None:
        """The watch has taken these up; outcome: why they could not be followed, empty when they were. One taken up before stays so."""
        rows = [(text_of(at), legible(outcome), row) for row in ids]

        def work(db: sqlite3.Connection) -> None:
            db.executemany("UPDATE ack SET taken_at = ?, outcome = ? WHERE id = ? AND taken_at IS NULL", rows)

        self._write(work)

    def keep_events(self, events: "Iterable[Happened]", at: datetime | None = None) -> None:
        """Keeps calls, acknowledgements, silences and refusals. at: their time, for those that carry none; ValueError when it is missing."""
        rows = [(text_of(_time(event, at)), type(event).__name__, _alert(event), _text(event)) for event in events]

        def work(db: sqlite3.Connection) -> None:
            db.executemany("INSERT INTO event (at, kind, alert, data) VALUES (?, ?, ?, ?)", rows)

        self._write(work)

    def events(self, since: datetime) -> list[EventKept]:
        """What was called or done at or after a time, in the order in which it was kept."""
        query = "SELECT id, at, kind, alert, data FROM event WHERE at >= ? ORDER BY id"
        return self._each(self._read(lambda db: db.execute(query, (text_of(since),)).fetchall()), _event, "events")


def _name(what: "str | Alert | Member | Situation") -> str:
    """The name of the alert that is meant."""
    if isinstance(what, str):
        return what
    situation: Any = getattr(what, "situation", what)
    return str(getattr(situation, "name", None) or situation.alert)


def _wanted(
    row: int, alert: str, by: str, at: str, revision: int | None, where: str, taken_at: str | None, outcome: str
) -> AckWanted:
    taken = None if taken_at is None else instant_of(taken_at)
    return AckWanted(id=row, alert=alert, by=by, at=instant_of(at), revision=revision, where=where, taken_at=taken, outcome=outcome)


def _time(event: "Happened", at: datetime | None) -> datetime:
    own = getattr(event, "at", None) or at
    if own is None:
        raise ValueError(f"when it happened is missing: {type(event).__name__} of {_alert(event)} carries no time")
    return own


def _alert(event: "Happened") -> str:
    return str(event.event.alert if hasattr(event, "event") else event.alert)


@cache  # to make one takes longer than everything else in keeping an event
def _adapter(kind: str) -> Any:
    from pydantic import TypeAdapter

    from watch.alerts.book import Acknowledge, Call, Refused, Silence

    return TypeAdapter({"Acknowledge": Acknowledge, "Silence": Silence, "Call": Call, "Refused": Refused}[kind])


def _text(event: "Happened") -> str:
    return str(_adapter(type(event).__name__).dump_json(event).decode())


def _event(row: int, at: str, kind: str, alert: str, data: str) -> EventKept:
    return EventKept(id=row, at=instant_of(at), kind=kind, alert=alert, event=_adapter(kind).validate_json(data))
