"""(I/O) The passes of the watch and the orders that each gave."""

import sqlite3
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from watch.service.store.memory import Memory
from watch.service.store.times import instant_of, text_of

if TYPE_CHECKING:
    from watch.orders.document import Orders


@dataclass(frozen=True, kw_only=True)
class PassKept:
    """One pass: when it was made, when the next was wanted, a sentence on how it went, and whether it gave orders; times aware UTC."""

    id: int
    made_at: datetime
    next_wake: datetime | None
    sentence: str
    has_orders: bool


class Passes(Memory):
    """Keeps each pass. `latest` means kept last: a clock that was set back does not make older orders the latest ones."""

    def keep_pass(self, orders: "Orders | None", made_at: datetime, next_wake: datetime | None, sentence: str) -> None:
        """Keeps a pass; orders None: it could give none, and the sentence says why."""
        form, packed = _packed(orders)
        row = (text_of(made_at), None if next_wake is None else text_of(next_wake), sentence, form, packed)
        self._write(lambda db: db.execute("INSERT INTO pass_kept (made_at, next_wake, sentence, form, orders) VALUES (?, ?, ?, ?, ?)", row))

    def latest_orders(self) -> "Orders | None":
        """The orders given last; None when there are none that can be read."""
        return self._first_readable("orders IS NOT NULL", ())

    def orders_before(self, made_at: datetime) -> "Orders | None":
        """The orders given last of those made before this time; None when there are none that can be read."""
        return self._first_readable("orders IS NOT NULL AND made_at < ?", (text_of(made_at),))

    def passes(self, since: datetime) -> list[PassKept]:
        """The passes made at or after a time, in the order in which they were kept."""
        query = "SELECT id, made_at, next_wake, sentence, orders IS NOT NULL FROM pass_kept WHERE made_at >= ? ORDER BY id"
        return self._each(self._read(lambda db: db.execute(query, (text_of(since),)).fetchall()), _kept, "pass")

    def _first_readable(self, where: str, values: tuple[str, ...]) -> "Orders | None":
        """Newest first, until one reads. Orders of another form, or torn, are passed over, and that is said."""
        from watch.faults import BadInputError
        from watch.render.from_json import from_json

        passed_over = 0
        for packed in self._newest_first(where, values):
            try:
                orders = from_json(zlib.decompress(packed).decode())
            except (BadInputError, zlib.error, UnicodeDecodeError, TypeError):
                passed_over += 1
                continue
            break
        else:
            orders = None
        if passed_over:
            self._say(f"{passed_over} kept orders cannot be read, for they are torn or from another version: "
                      f"{'older ones are taken' if orders else 'none are left that can'}.")  # fmt: skip
        return orders

    def _newest_first(self, where: str, values: tuple[str, ...]) -> Iterator[bytes]:
        """One at a time, each in a transaction of its own: a month of orders does not fit in a small computer."""
        below = 2**62

        def next_one(db: sqlite3.Connection) -> tuple[int, bytes] | None:
            query = f"SELECT id, orders FROM pass_kept WHERE {where} AND id < ? ORDER BY id DESC LIMIT 1"
            row: tuple[int, bytes] | None = db.execute(query, (*values, below)).fetchone()
            return row

        while (row := self._read(next_one)) is not None:
            below = row[0]
            yield row[1]


def _packed(orders: "Orders | None") -> tuple[str | None, bytes | None]:
    if orders is None:
        return None, None
    from watch.render.as_json import SCHEMA, as_json

    return SCHEMA, zlib.compress(as_json(orders).encode())


def _kept(row: int, made_at: str, next_wake: str | None, sentence: str, has_orders: int) -> PassKept:
    wake = None if next_wake is None else instant_of(next_wake)
    return PassKept(id=row, made_at=instant_of(made_at), next_wake=wake, sentence=sentence, has_orders=bool(has_orders))
