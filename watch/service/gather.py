"""(I/O) Reads what a pass is asked from: route, forecasts, position. Only the box that the passage needs is kept of a forecast."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np

from watch.boat.model import BoatFile
from watch.boat.rig import RigState
from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.grib import read
from watch.forecast.guarded import read_guarded
from watch.orders.weights import Aims
from watch.passage.land import load_land
from watch.passage.position import parse_position as read_position
from watch.passage.route import HIGHEST_DEG, Route
from watch.passage.route_file import read_route
from watch.passage.shelters import Shelter
from watch.passage.shelters_file import read_shelters
from watch.service.one_pass import Asked
from watch.when import ShipTime

MARGIN_NM = 200.0  # round the route: for scenarios that look some way off, and for running off


def gather(
    boat: BoatFile,
    state: RigState,
    route_path: Path,
    gribs: Sequence[Path],
    now: datetime,
    position: str | None,
    ship: ShipTime | None,
    hours: float | None,
    shelter_paths: Sequence[Path] = (),
    sea_room_nm: float | None = None,
    *,
    tried: bool = False,
) -> Asked:
    """Files and options -> Asked. Land is only read with shelters, or when sea room is asked for. Raises BadInputError.

    tried: the GRIB was read in a process apart when it came in, so that no file of it can stop this one dead.
    """
    route = read_route(route_path)
    place = parse_place(position) if position is not None else None
    if place is None and route.departure is not None and route.departure < now:
        raise BadInputError(
            "--position",
            [f'missing: she left at {route.departure:%Y-%m-%d %H:%M} UTC, so say where she is, like "36 30.0 N, 52 00.0 W"'],
        )
    found = read_shelters(shelter_paths).shelters
    box = box_of(route, place, found)
    forecasts = read(list(gribs), box) if tried else read_guarded(list(gribs), box)
    asks_land = bool(found) or sea_room_nm is not None
    return Asked(
        boat=boat,
        route=route,
        forecasts=tuple(forecasts),
        now=now,
        state=state,
        ship=ship,
        latitude=None if place is None else place[0],
        longitude=None if place is None else place[1],
        hours=hours,
        shelters=found,
        land=load_land(box.south, box.north, box.west, box.east) if asks_land else None,
        sea_room=sea_room_nm is not None,
        aims=Aims() if sea_room_nm is None else Aims(sea_room_nm=sea_room_nm),
    )


def parse_position(text: str) -> tuple[float, float]:
    """'36 30.0 N, 52 00.0 W' or '36.5, -52.0' -> degrees. Raises BadInputError."""
    try:
        return read_position(text)
    except ValueError as error:
        raise BadInputError("--position", [str(error)]) from None


def parse_place(text: str) -> tuple[float, float]:
    """The same for where she is: a degree off the poles at the least, and the longitude from -180 to 180. Raises BadInputError.

    >>> parse_place("36.5, 300")
    (36.5, -60.0)
    """
    latitude, longitude = parse_position(text)
    if abs(latitude) > HIGHEST_DEG:
        raise BadInputError("--position", [f'"{text[:40]}" lies within a degree of a pole, where no course can be worked out here'])
    return latitude, longitude if -180.0 <= longitude <= 180.0 else (longitude + 180.0) % 360.0 - 180.0


def box_of(route: Route, place: tuple[float, float] | None, shelters: Sequence[Shelter] = ()) -> Box:
    """The box round the route, where she is and the shelters, with a margin."""
    sought = [(s.latitude, s.longitude) for s in shelters]
    points = sought + [(w.latitude, w.longitude) for w in route.waypoints] + ([place] if place else [])
    return Box.around(np.array([p[0] for p in points]), np.array([p[1] for p in points]), miles=MARGIN_NM)


def forecasts_of(paths: Sequence[Path]) -> tuple[Forecast, ...]:
    """GRIB files -> all they hold."""
    return read_guarded(list(paths), None)
