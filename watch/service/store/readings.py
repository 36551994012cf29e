"""(I/O) Her own track, and what the instruments saw in each ten minutes."""

import json
import math
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from watch.service.store.memory import Memory
from watch.service.store.times import instant_of, text_of

if TYPE_CHECKING:
    from watch.instruments.steps import Step


@dataclass(frozen=True, kw_only=True)
class Position:
    """Where she was [deg, north and east positive], when (aware UTC), and who said so."""

    at: datetime
    latitude_deg: float
    longitude_deg: float
    source: str

    def __post_init__(self) -> None:
        if not (-90.0 <= self.latitude_deg <= 90.0 and -360.0 <= self.longitude_deg <= 360.0):
            raise ValueError(f"{self.latitude_deg:g}, {self.longitude_deg:g} is no position: a missing one is not kept")


class Readings(Memory):
    """Keeps the track and the steps."""

    def add_position(self, at: datetime, lat: float, lon: float, source: str) -> None:
        """Keeps a position [deg]. Raises ValueError for one that cannot be, NaN among them."""
        Position(at=at, latitude_deg=lat, longitude_deg=lon, source=source)
        row = (text_of(at), float(lat), float(lon), source)
        self._write(lambda db: db.execute("INSERT INTO position (at, latitude_deg, longitude_deg, source) VALUES (?, ?, ?, ?)", row))

    def track(self, since: datetime) -> list[Position]:
        """The positions at or after a time, in order of time."""
        query = "SELECT at, latitude_deg, longitude_deg, source FROM position WHERE at >= ? ORDER BY at, id"
        return self._each(self._read(lambda db: db.execute(query, (text_of(since),)).fetchall()), _position, "positions")

    def last_position(self, since: datetime) -> Position | None:
        """The latest position at or after a time, of two of the same time the one kept last; None without one."""
        query = "SELECT at, latitude_deg, longitude_deg, source FROM position WHERE at >= ? ORDER BY at DESC, id DESC LIMIT 1"
        found = self._each(self._read(lambda db: db.execute(query, (text_of(since),)).fetchall()), _position, "positions")
        return found[0] if found else None

    def take_back_position(self, at: datetime, source: str) -> None:
        """Takes the positions of a time and source out of the track: they were wrong."""
        row = (text_of(at), source)
        self._write(lambda db: db.execute("DELETE FROM position WHERE at = ? AND source = ?", row))

    def add_step(self, *steps: "Step") -> None:
        """Keeps ten-minute steps, each in place of what was kept of the same ten minutes."""
        rows = [(text_of(datetime.fromtimestamp(step.start_s, UTC)), step_text(step)) for step in steps]

        def work(db: sqlite3.Connection) -> None:
            db.executemany("INSERT INTO step (start, data) VALUES (?, ?) ON CONFLICT (start) DO UPDATE SET data = excluded.data", rows)

        self._write(work)

    def steps(self, since: datetime) -> "list[Step]":
        """The steps that begin at or after a time, in order; `Observed.resume` goes on from them, `ObservedSteps.of` is the series."""
        query = "SELECT data FROM step WHERE start >= ? ORDER BY start"
        return self._each(self._read(lambda db: db.execute(query, (text_of(since),)).fetchall()), step_from, "ten-minute steps")


def _position(at: str, latitude_deg: float, longitude_deg: float, source: str) -> Position:
    return Position(at=instant_of(at), latitude_deg=latitude_deg, longitude_deg=longitude_deg, source=source)


def step_text(step: "Step") -> str:
    """A step -> one line of JSON; what is NaN is null, since a number that is not known is not a number."""
    from dataclasses import asdict

    plain = {name: None if isinstance(value, float) and math.isnan(value) else value for name, value in asdict(step).items()}
    return json.dumps(plain, ensure_ascii=False, allow_nan=False)


def step_from(text: str) -> "Step":
    """What step_text gave -> the step. A field that is no longer known is dropped, one that was not yet known keeps its default."""
    from dataclasses import fields

    from watch.instruments.averages import GustKind, WindWay
    from watch.instruments.readings import Doubt, DoubtKind
    from watch.instruments.steps import Step

    kept = json.loads(text)
    values: dict[str, Any] = {f.name: kept[f.name] for f in fields(Step) if f.name in kept}
    values = {name: math.nan if value is None else value for name, value in values.items()}
    values["gust_kind"], values["wind_way"] = GustKind(values["gust_kind"]), WindWay(values["wind_way"])
    values["doubts"] = tuple(Doubt(DoubtKind(one["kind"]), one["says"]) for one in values["doubts"])
    return Step(**values)
