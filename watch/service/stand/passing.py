"""(I/O) One pass from the sailor's files as they are now: what the daemon asks of the process that does the work, and what comes back.

Nothing here raises for what a person or a forecast did wrong: a pass that cannot be made says why, and the watch goes on with the last.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from watch.boat.boat_file import read_boat
from watch.boat.model import BoatFile
from watch.boat.rig import RigState, UnknownStateError, parse_state
from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.grib import read
from watch.instruments.series import Observed
from watch.orders.document import Orders
from watch.orders.weights import Aims
from watch.passage.land import Land, load_land
from watch.passage.route_file import read_route
from watch.passage.shelters_file import read_shelters
from watch.service.area import whole_degrees
from watch.service.gather import box_of
from watch.service.observing import GlassForecast
from watch.service.one_pass import Asked, Pass, one_pass
from watch.weather.errors import Widening
from watch.weather.own_errors import OwnWidths
from watch.when import ShipTime

LOG = logging.getLogger("nightorders")
NO_SHELTERS = "Shelter, holding on and running off are not judged in these orders"
NO_INSTRUMENTS = "What her instruments say is not reckoned with in these orders"
NEITHER = "Neither shelters nor what her instruments say are reckoned with in these orders"


@dataclass(frozen=True, kw_only=True)
class PassInputs:
    """What a pass is made from: the sailor's files, the forecasts on board, where she is (None: not known, at the route's start)."""

    boat: Path
    route: Path
    shelters: tuple[Path, ...]
    gribs: tuple[Path, ...]
    now: datetime
    rig_state: str
    latitude: float | None
    longitude: float | None
    ship: ShipTime | None = None
    hours: float | None = None
    sea_room_nm: float | None = None
    observed: Observed | None = None
    widths: OwnWidths | None = None


@dataclass(frozen=True, kw_only=True)
class KnownRun:
    """A run that was read: from which files, whose, and when it starts."""

    files: tuple[str, ...]
    centre: str
    run: datetime
    kind: str


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a pass. orders: None when none could be made, and why says so. runs: what the files hold, as far as they were
    read. unread: a sentence for each file that could not be. faults: what the orders break of their own rules. spared: what had to be left
    out of the orders for a fault in the program, as a sentence; else ""."""

    orders: Orders | None
    why: str = ""
    runs: tuple[KnownRun, ...] = ()
    unread: tuple[tuple[str, str], ...] = ()
    faults: tuple[str, ...] = ()
    spared: str = ""
    glass_forecast: GlassForecast | None = None


@dataclass
class Passer:
    """Makes passes, one after the other; keeps what it read last, as long as the files are the same."""

    _forecasts: tuple[tuple[object, ...], list[Forecast], list[tuple[str, str]]] | None = field(default=None, repr=False)
    _land: tuple[Box, Land | None] | None = field(default=None, repr=False)

    def make(self, inputs: PassInputs) -> Outcome:
        """Inputs -> what became of them."""
        runs: tuple[KnownRun, ...] = ()
        unread: tuple[tuple[str, str], ...] = ()
        try:
            boat = read_boat(inputs.boat)
            route = read_route(inputs.route)
            place = None if inputs.latitude is None or inputs.longitude is None else (inputs.latitude, inputs.longitude)
            if place is None and route.departure is not None and route.departure < inputs.now:
                return Outcome(orders=None, why="where she is is not known: no position from the instruments, none was given")
            shelters = read_shelters(inputs.shelters).shelters
            box = box_of(route, None, shelters) if place is None else whole_degrees(box_of(route, place, shelters))
            if not inputs.gribs:
                return Outcome(orders=None, why="there is no forecast on board: nothing has come into the inbox")
            forecasts, failed = self._read(inputs.gribs, box)
            unread = tuple(failed)
            runs = tuple(_known(f) for f in forecasts)
            if not forecasts:
                return Outcome(orders=None, why="no forecast on board can be read", runs=runs, unread=unread)
            asks_land = bool(shelters) or inputs.sea_room_nm is not None
            asked = Asked(
                boat=boat, route=route, forecasts=tuple(forecasts), now=inputs.now, state=_state(boat, inputs.rig_state),
                ship=inputs.ship, latitude=inputs.latitude, longitude=inputs.longitude, hours=inputs.hours, shelters=shelters,
                land=self._land_in(box) if asks_land else None, sea_room=inputs.sea_room_nm is not None,
                aims=Aims() if inputs.sea_room_nm is None else Aims(sea_room_nm=inputs.sea_room_nm), observed=inputs.observed,
                widening=Widening() if inputs.widths is None else inputs.widths.widening,
                taught=() if inputs.widths is None else (inputs.widths.words,),
            )  # fmt: skip
            made, spared = spared_pass(asked)
        except BadInputError as error:
            return Outcome(orders=None, why="; ".join(str(error).splitlines()), runs=runs, unread=unread)
        glass = None if made.against is None else made.against.glass_forecast
        return Outcome(orders=made.orders, runs=runs, unread=unread, faults=made.faults, spared=spared, glass_forecast=glass)

    def _read(self, paths: tuple[Path, ...], box: Box) -> tuple[list[Forecast], list[tuple[str, str]]]:
        """The forecasts of all files that can be read, and a sentence for each that cannot; read anew only when a file is another."""
        key = (box, *((path, *_stamp(path)) for path in paths))
        if self._forecasts is not None and self._forecasts[0] == key:
            return self._forecasts[1], self._forecasts[2]
        left, failed = list(paths), []
        forecasts: list[Forecast] = []
        while left:
            try:
                forecasts = list(read(left, box))
                break
            except BadInputError as error:
                guilty = [path for path in left if error.source.startswith(str(path))] or left
                failed += [(str(path), "; ".join(str(error).splitlines())) for path in guilty]
                left = [path for path in left if path not in guilty]
        self._forecasts = key, forecasts, failed
        return forecasts, failed

    def _land_in(self, box: Box) -> Land | None:
        if self._land is None or self._land[0] != box:
            self._land = box, load_land(box.south, box.north, box.west, box.east)
        return self._land[1]


def spared_pass(asked: Asked, make: Callable[[Asked], Pass] = one_pass) -> tuple[Pass, str]:
    """Asked -> the pass and "". Where a fault in the program ends it, the pass without the part at fault and a sentence that says so, which
    is in the orders too: orders with a part left out are better than none. Raises BadInputError, and the fault when nothing helps."""
    try:
        return make(asked), ""
    except BadInputError:
        raise
    except Exception as error:
        LOG.exception("a pass")
        without = {"shelters": (), "sea_room": False}
        for words, changes in ((NO_SHELTERS, without), (NO_INSTRUMENTS, {"observed": None}), (NEITHER, {**without, "observed": None})):
            try:
                made = make(replace(asked, **changes))
            except BadInputError:
                raise
            except Exception as again:  # noqa: BLE001  the first is logged; what is tried is to get orders at all
                LOG.error("nor without: %s", again)
                continue
            said = f"{words}: a fault in the program ({type(error).__name__}: {error})."
            return replace(made, orders=replace(made.orders, missing=(said, *made.orders.missing))), said
        raise


def _state(boat: BoatFile, text: str) -> RigState:
    try:
        return parse_state(boat, text)
    except UnknownStateError as error:
        raise BadInputError("the rig as it was last told", [f"{error}; say how it is with: nightorders log rig ..."]) from None


def _stamp(path: Path) -> tuple[int, int]:
    """Size and time of change of a file; a file that is gone has none."""
    try:
        status = path.stat()
    except OSError:
        return -1, -1
    return status.st_size, status.st_mtime_ns


def _known(forecast: Forecast) -> KnownRun:
    return KnownRun(files=forecast.files, centre=forecast.centre, run=forecast.run, kind=forecast.kind)


_PASSER = Passer()


def make_pass(inputs: PassInputs) -> Outcome:
    """Inputs -> what became of them, by this process's own passer."""
    return _PASSER.make(inputs)
