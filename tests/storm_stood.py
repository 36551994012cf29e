"""A storm in minutes: the rehearsal's own weather, come early and stronger, played to a watch that stands in a process of its own.

What is played waits for what the watch has done, never for a time on the wall: it comes out the same on a slow computer as on a quick one.
"""

import json
import math
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from tests.standing import Watch
from watch.boat.boat_file import read_boat
from watch.forecast.grib import read
from watch.instruments.scripts import script_from_forecast
from watch.instruments.simulate import Script, nmea0183_pieces
from watch.instruments.simulator import serve_nmea0183_tcp
from watch.instruments.steps import Step
from watch.orders.document import Orders
from watch.passage.route_file import read_route
from watch.service.gather import parse_position
from watch.service.home import book_of
from watch.service.rehearsal import DEMO_POSITION
from watch.service.stand.setting_up import wall_clock
from watch.service.store.calls import EventKept
from watch.service.store.readings import Position
from watch.service.store.store import Store
from watch.when import floor_step, parse_utc

EVERY_S = 5
DEAD_LINE_S = 600.0  # for one pass: a computer that takes longer stands no watch
FIRST_HOLD = timedelta(minutes=10)
HEARD = ("RMC", "HDT", "MWV R", "XDR")
INSTRUMENTS = """
[instruments]
clock = "instruments"

[[instruments.nmea0183]]
name = "simulator"
transport = "tcp"
host = "127.0.0.1"
port = {port}
"""


@dataclass(frozen=True, kw_only=True)
class Played:
    """What is played: so many hours of the rehearsal's weather, begun so long after its newest run, so early and so strong, held every so
    many hours until there are orders of then. ahead_h: how far the orders look, None: all the way. members: whether with the ensemble."""

    hours: float
    begins_h: float = 0.0
    early_h: float = 2.0
    strength: float = 1.15
    hold_h: float = 3.0
    ahead_h: int | None = None
    members: bool = True
    rig_state: str = "main: reef 1"


@dataclass(frozen=True, kw_only=True)
class Stood:
    """What is left of a watch that was stood: its script, every order it made, calls, track and steps, what it printed, its exit code."""

    script: Script
    end: datetime
    orders: tuple[Orders, ...]
    events: tuple[EventKept, ...]
    track: tuple[Position, ...]
    steps: tuple[Step, ...]
    printed: str
    exit_code: int
    seconds: float

    @property
    def front(self) -> datetime:
        """When the wind of the script veers most within an hour."""
        turn = (self.script.from_deg[6:] - self.script.from_deg[:-6] + 180.0) % 360.0 - 180.0
        return self.script.start + timedelta(minutes=10) * (int(np.argmax(turn)) + 3)


def stand_a_storm(folder: Path, what: Played) -> Stood:
    """The rehearsal in `folder` and a watch that hears its weather. Nobody does what the orders say: the rig stays as it is."""
    begun_s, said = time.monotonic(), folder / "said.txt"
    start = wall_clock().replace(minute=0, second=0, microsecond=0)
    watch = Watch(folder, dated=start - timedelta(hours=what.begins_h))
    watch.environment.pop("NOTIFY_SOCKET")
    script = _script(watch.home, start, what)
    if not what.members:
        for path in (watch.home / "inbox").glob("*ensemble*"):
            path.unlink()
    with serve_nmea0183_tcp(_held(script, watch, said, what), speed=math.inf) as simulator:
        ahead = "" if what.ahead_h is None else f"hours = {what.ahead_h}\n"
        settings = watch.settings.read_text().replace("[stand]\n", f"[stand]\nlearn_widths = true\n{ahead}")
        watch.settings.write_text(settings + INSTRUMENTS.format(port=simulator.port))
        watch.start("--rig-state", what.rig_state, said=said)
        assert watch.process is not None
        try:
            while not simulator.wait(1.0):
                _stands(watch, said)
            watch.process.send_signal(signal.SIGTERM)
            code = watch.process.wait(DEAD_LINE_S)
        finally:
            watch.end()
    since = start - timedelta(hours=1)
    with Store.open(book_of(watch.home), wall_clock()) as store:
        return Stood(
            script=script, end=start + timedelta(hours=what.hours), orders=_all_orders(store, since), events=tuple(store.events(since)),
            track=tuple(store.track(since)), steps=tuple(store.steps(since)), printed=said.read_text(), exit_code=code,
            seconds=time.monotonic() - begun_s,
        )  # fmt: skip


def _script(home: Path, start: datetime, what: Played) -> Script:
    forecasts = read(sorted(p for p in (home / "inbox").glob("*.grib2") if "ensemble" not in p.name), None)
    route = read_route(home / "passage.toml").from_position(*parse_position(DEMO_POSITION))
    height_m = read_boat(home / "boat-sloop.toml").boat.anemometer_height_m
    return script_from_forecast(forecasts, route, start, what.hours, height_m=height_m, early_h=what.early_h, strength=what.strength)


def _held(script: Script, watch: Watch, said: Path, what: Played) -> Iterator[tuple[datetime, bytes]]:
    """Every fifth second of the script, as fast as it is heard; after ten minutes, then every so many hours and at its end it waits until
    the watch has made orders of then."""
    hold, sent = script.start + FIRST_HOLD, script.start
    for number, (moment, piece) in enumerate(nmea0183_pieces(script, what=HEARD)):
        if number % EVERY_S:
            continue
        if moment >= hold:
            _until_made(watch, said, sent)
            hold += timedelta(hours=what.hold_h)
        sent = moment
        yield moment, piece
    _until_made(watch, said, sent)


def _until_made(watch: Watch, said: Path, at: datetime) -> None:
    """Waits until orders of that time are written: of the last ten minutes before it, for it has nothing to make new ones for sooner."""
    written, end_s = watch.home / "orders" / "orders.json", time.monotonic() + DEAD_LINE_S
    while time.monotonic() < end_s:
        if written.exists() and parse_utc(json.loads(written.read_text())["made_at"]) >= floor_step(at):
            return
        _stands(watch, said)
        time.sleep(0.2)
    raise AssertionError(f"no orders after {at:%H:%M} UTC in {DEAD_LINE_S:.0f} s")


def _stands(watch: Watch, said: Path) -> None:
    """A watch that has ended, or whose passes die, makes no orders to be waited for."""
    printed = said.read_text() if said.exists() else ""
    dead = watch.process is not None and watch.process.poll() is not None
    if dead or "the pass died" in printed:
        raise AssertionError(f"the watch {'has ended' if dead else 'makes no more orders'}: {printed[-3000:]}")


def _all_orders(store: Store, since: datetime) -> tuple[Orders, ...]:
    found = [store.orders_before(one.made_at + timedelta(microseconds=1)) for one in store.passes(since) if one.has_orders]
    return tuple(orders for orders in found if orders is not None)
