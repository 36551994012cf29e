"""(I/O) From the sailor's settings to everything that the daemon is made of. What is wrong is said before the watch begins."""

import os
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from watch.alerts.channels.build import build_channels
from watch.alerts.dispatcher import Dispatcher
from watch.alerts.secrets import load_secrets, scrub_logs
from watch.boat.boat_file import read_boat
from watch.boat.rig import UnknownStateError, parse_state
from watch.faults import BadInputError
from watch.files import named_path
from watch.instruments.config import InstrumentsConfig
from watch.instruments.logged import misfits, state_after
from watch.passage.route_file import read_route
from watch.service.gather import parse_place
from watch.service.give_out import need
from watch.service.home import book_of
from watch.service.listening import Listening
from watch.service.page_config import load_access
from watch.service.rehearsal import MADE
from watch.service.stand.daemon import FIRST_LOOK_S, Errand, Setup, disk_free_mb
from watch.service.stand.downloads import Downloads, chosen
from watch.service.stand.hearing import Hearing
from watch.service.stand.housekeeping import Housekeeping
from watch.service.stand.incoming import Incoming
from watch.service.stand.keeper import Keeper
from watch.service.stand.learning import Learning
from watch.service.stand.page_source import KeeperSource
from watch.service.stand.reckoning import BY_HAND, Place
from watch.service.stand.rigged import Rigged
from watch.service.stand.store_memory import StoreMemory
from watch.service.stand.vitals import Settings
from watch.service.stand.watch_file import WatchFile
from watch.service.store.store import Store
from watch.service.web_access import Access
from watch.when import ShipTime

Clock = Callable[[], datetime]
STEPS_KEPT = timedelta(hours=72)
FIRST_READING_S = 60.0


def wall_clock() -> datetime:
    """The computer's clock, UTC."""
    return datetime.now(UTC)


def set_up(found: WatchFile, home: Path, *, rig_state: str | None = None, position: str | None = None) -> Setup:
    """The settings, the home of the watch, what the sailor said at this start -> the daemon's setup. Raises BadInputError."""
    config = found.config
    place = None if position is None else parse_place(position)
    _checked_state(found, rig_state)
    ship = found.ship or ShipTime.for_longitude(_longitude(found, place))
    secrets_file = None if config.alerts.secrets_file is None else found.file(config.alerts.secrets_file)
    secrets = load_secrets(config.alerts.secret_names(), os.environ, secrets_file)
    scrub_logs(secrets.scrub)
    lines = build_channels(config.alerts, secrets, ship)
    store = Store.open(book_of(home), wall_clock())
    incoming = Incoming(inbox=_in_home(home, config.stand.inbox), kept=home)
    if config.instruments.placed() and config.instruments.clock == "instruments":
        incoming.settle(FIRST_LOOK_S)  # a simulator begins with its first listener, and hours of it may go by in seconds
    listening = _listening(config.instruments, store)
    clock, steady_s = _clocks(config.instruments, listening)
    now = clock()
    memory = StoreMemory(store, now)
    hearing = None if listening is None else Hearing(listening, found.boat, lambda steps: store.add_step(*steps))
    keeper = Keeper(
        settings_of(found), memory, Dispatcher(lines, ship, scrub=secrets.scrub),
        Rigged(memory, config.stand.rig_state, partial(rig_after, found.boat), rig_state), now=now, steady_s=steady_s(now),
        disk_free_mb=partial(disk_free_mb, home), **({} if hearing is None else {"aboard": hearing.aboard}),
    )  # fmt: skip
    if place is not None:
        keeper.heard(Place(at=now, latitude=place[0], longitude=place[1], source=BY_HAND))
    access, source = load_access(found.path), KeeperSource(keeper, clock, invented=(home / MADE).exists())
    store.put("boat_file", str(found.boat.resolve()))  # by which nightorders log knows her jobs
    errands: list[Errand] = [Housekeeping(store, incoming)]
    if config.stand.learn_widths:
        errands.append(Learning(store, found.boat, keeper.learnt))
    sources = chosen(config.download, found.path.parent)
    told: tuple[str, ...] = ()
    if sources:
        downloads = Downloads(config.download, sources, found.boat, found.route, found.shelters, home, partial(_where, keeper))
        errands.append(downloads)
        told = tuple(downloads.sizes())
    return Setup(
        home=home, keeper=keeper, incoming=incoming, write=config.stand.write, longest_pass_s=config.stand.longest_pass_min * 60.0,
        hearing=hearing, errands=tuple(errands), told=told, clock=clock, steady_s=steady_s, closes=(store.close,),
        serve=partial(_serve, source, access), page_at=f"http://{access.address}:{access.port}/",
    )  # fmt: skip


def _where(keeper: Keeper) -> tuple[float, float] | None:
    return None if keeper.place is None else (keeper.place.latitude, keeper.place.longitude)


def _serve(source: KeeperSource, access: Access) -> None:
    need("watch.service.web", "page").serve(source, access)


def _listening(config: InstrumentsConfig, store: Store) -> Listening | None:
    """All the instruments of the settings, heard from now on; None when there are none."""
    if not config.placed():
        return None
    kept = store.steps(wall_clock() - STEPS_KEPT) if config.clock == "computer" else []
    return Listening(config, clock=wall_clock, kept=kept).start()


def _clocks(config: InstrumentsConfig, listening: Listening | None) -> tuple[Clock, Callable[[datetime], float]]:
    """The clock that the watch goes by, and its steady seconds at a time: the computer's, or, for a recording or a simulator, the
    instruments', which no clock can be held against, so that it never jumps."""
    if listening is None or config.clock == "computer":
        return wall_clock, lambda now: time.monotonic()
    until_s = time.monotonic() + FIRST_READING_S
    while listening.now() is None and time.monotonic() < until_s:
        time.sleep(0.1)
    first = listening.now()
    if first is None:
        listening.stop()
        raise BadInputError("[instruments]", [f'clock = "instruments", but nothing with a time in it was heard for {FIRST_READING_S:.0f} seconds'])
    return (lambda: listening.now() or first), datetime.timestamp


def settings_of(found: WatchFile) -> Settings:
    """The settings that the keeper goes by."""
    stand = found.config.stand
    return Settings(
        boat=found.boat, route=found.route, shelters=found.shelters, rig_state=stand.rig_state, ship=found.ship, hours=stand.hours,
        sea_room_nm=stand.sea_room_nm, timing=found.config.alerts.timing(), has_instruments=bool(found.config.instruments.placed()),
    )  # fmt: skip


def rig_after(boat_file: Path, state: str, lines: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """A rig state, the lines of the log since -> the state after them, and a sentence for each line that does not fit."""
    boat = read_boat(boat_file)
    try:
        base = parse_state(boat, state)
    except UnknownStateError as error:
        return state, (f"the rig as it was last told is none of this boat's: {error}",)
    return str(state_after(boat, base, lines)), misfits(boat, base, lines)


def _checked_state(found: WatchFile, rig_state: str | None) -> None:
    if rig_state is None:
        return
    try:
        parse_state(read_boat(found.boat), rig_state)
    except UnknownStateError as error:
        raise BadInputError("--rig-state", [str(error)]) from None


def _longitude(found: WatchFile, place: tuple[float, float] | None) -> float:
    return place[1] if place is not None else read_route(found.route).waypoints[0].longitude


def _in_home(home: Path, name: str) -> Path:
    return named_path(home, name)
