"""(I/O) Once an hour: what the store keeps of this passage's forecasts and winds, made into the widths of the forecast's errors."""

import math
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from watch.boat.boat_file import read_boat
from watch.faults import BadInputError
from watch.instruments.steps import ObservedSteps
from watch.service.own_record import Foretold, foretold, widths_of_record
from watch.service.store.store import Store
from watch.weather.errors import Widening
from watch.weather.own_errors import OwnWidths, scaled
from watch.weather.wind import to_10m

BACK = timedelta(days=10)  # judgement: what is older tells of another sea and another spell of weather
EVERY = timedelta(hours=6)  # one of the orders of so long: a run's worth
KEPT_AS = "own_widths"


@dataclass(frozen=True)
class Learning:
    """What the passage itself teaches, told to the keeper and kept under a name for `why`."""

    store: Store
    boat: Path
    learnt: Callable[[OwnWidths], None]
    name: str = "widths"
    every: timedelta = timedelta(hours=1)
    _told: dict[int, Foretold] = field(default_factory=dict)

    def run(self, now: datetime) -> tuple[str, bool]:
        """-> a sentence when it failed, else ""; it never asks for a pass: the next one takes what was learnt."""
        try:
            factor = float(to_10m(1.0, read_boat(self.boat).boat.anemometer_height_m))
            seen = ObservedSteps.of(self.store.steps(now - BACK)).to_ten_metres(factor)
            found = widths_of_record(self._forecasts(now), seen)
            self.store.put(KEPT_AS, plain(found))
        except (BadInputError, OSError, sqlite3.Error) as error:
            return f"what the passage teaches of its forecasts could not be worked out: {error}", False
        self.learnt(found)
        return "", False

    def _forecasts(self, now: datetime) -> list[Foretold]:
        """The first orders of every six hours; each is read once."""
        blocks, wanted = set(), []
        for one in self.store.passes(now - BACK):
            block = one.made_at.timestamp() // EVERY.total_seconds()
            if one.has_orders and block not in blocks and one.made_at <= now:
                blocks.add(block)
                wanted.append(one)
        for gone in self._told.keys() - {one.id for one in wanted}:
            del self._told[gone]
        for one in wanted:
            if one.id not in self._told:
                orders = self.store.orders_before(one.made_at + timedelta(microseconds=1))
                if orders is not None and orders.forecasts:
                    self._told[one.id] = foretold(orders)
        return list(self._told.values())


def plain(widths: OwnWidths) -> dict[str, float | int | None]:
    """What is kept of it: the widening follows from the table and how many times it is."""
    seen = widths.seen_times
    return {"times": widths.times, "seen_times": seen if math.isfinite(seen) else None, "spells": widths.spells}


def learnt_in(store: Store) -> OwnWidths | None:
    """What a watch learnt last; None when it has learnt nothing, or of another version."""
    try:
        kept = store.get(KEPT_AS)
        times, seen, spells = float(kept["times"]), kept["seen_times"], int(kept["spells"])
        return OwnWidths(widening=scaled(Widening(), times), times=times, seen_times=math.nan if seen is None else float(seen), spells=spells)
    except (TypeError, KeyError, ValueError):
        return None
