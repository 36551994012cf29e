"""A storm in minutes: the rehearsal's own weather, come early and stronger, played to a watch that stands in a process of its own."""

import json
import math
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from tests.standing import PATIENCE_S, Watch
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
AHEAD = timedelta(hours=5)  # so far the play may get ahead of the orders
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
class Stood:
    """What is left of a watch that was stood: its script, every orders it made, calls, track and steps, what it printed, its exit code."""

    script: Script
    end: datetime
    orders: tuple[Orders, ...]
    events: tuple[EventKept, ...]
    track: tuple[Position, ...]
    steps: tuple[Step, ...]
    printed: str
    exit_code: int
    seconds: float


def stand_a_storm(folder: Path, *, hours: float, early_h: float, strength: float, speed: float, rig_state: str = "main: reef 1") -> Stood:
    """The rehearsal in `folder`, its weather so early and so strong, played for so many hours at so many times real time. Nobody does
    what the orders say: the rig stays as it is."""
    watch = Watch(folder)
    watch.environment.pop("NOTIFY_SOCKET")
    start = floor_step(wall_clock())
    script = _script(watch.home, start, hours, early_h, strength)
    said = folder / "said.txt"
    begun_s = time.monotonic()
    with serve_nmea0183_tcp(_played(script, watch, speed), speed=math.inf) as simulator:
        watch.settings.write_text(watch.settings.read_text() + INSTRUMENTS.format(port=simulator.port))
        watch.start("--rig-state", rig_state, said=said)
        assert watch.process is not None
        try:
            assert simulator.wait(10 * PATIENCE_S + 3600.0 * hours / speed), "the weather was never played to its end"
            end = start + timedelta(hours=hours)
            _until_made(watch, end - timedelta(hours=1))
            watch.process.send_signal(signal.SIGTERM)
            code = watch.process.wait(PATIENCE_S)
        finally:
            watch.end()
    with Store.open(book_of(watch.home), wall_clock()) as store:
        orders = _all_orders(store, start - timedelta(hours=1))
        return Stood(
            script=script, end=end, orders=orders, events=tuple(store.events(start - timedelta(hours=1))),
            track=tuple(store.track(start - timedelta(hours=1))), steps=tuple(store.steps(start - timedelta(hours=1))),
            printed=said.read_text(), exit_code=code, seconds=time.monotonic() - begun_s,
        )  # fmt: skip


def _script(home: Path, start: datetime, hours: float, early_h: float, strength: float) -> Script:
    forecasts = read(sorted(p for p in (home / "inbox").glob("*.grib2") if "ensemble" not in p.name), None)
    route = read_route(home / "passage.toml").from_position(*parse_position(DEMO_POSITION))
    height_m = read_boat(home / "boat-sloop.toml").boat.anemometer_height_m
    return script_from_forecast(forecasts, route, start, hours, height_m=height_m, early_h=early_h, strength=strength)


def _played(script: Script, watch: Watch, speed: float) -> Iterator[tuple[datetime, bytes]]:
    """Every fifth second of the script, at so many times real time; it waits for the orders where it would get too far ahead of them, so
    that it comes out the same on a slow machine as on a quick one."""
    made, last_s = script.start - timedelta(hours=24), time.monotonic()
    for number, (moment, piece) in enumerate(nmea0183_pieces(script, what=HEARD)):
        if number % EVERY_S:
            continue
        if number % 600 == 0 and moment - made > AHEAD and moment - script.start >= timedelta(minutes=10):
            made, last_s = _until_made(watch, moment - AHEAD), time.monotonic()
        last_s += EVERY_S / speed
        time.sleep(max(0.0, last_s - time.monotonic()))
        yield moment, piece


def _until_made(watch: Watch, at: datetime) -> datetime:
    """Waits until orders of that time or later are written -> when they were made."""
    written = watch.home / "orders" / "orders.json"
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if written.exists() and (made := parse_utc(json.loads(written.read_text())["made_at"])) >= at:
            return made
        time.sleep(0.2)
    raise AssertionError(f"no orders after {at:%H:%M} UTC in {PATIENCE_S:.0f} s")


def _all_orders(store: Store, since: datetime) -> tuple[Orders, ...]:
    found = [store.orders_before(one.made_at + timedelta(microseconds=1)) for one in store.passes(since) if one.has_orders]
    return tuple(orders for orders in found if orders is not None)
