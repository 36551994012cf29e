"""(I/O) Reads a route from a GPX or TOML file: all its faults at once, or a route that can be sailed."""

from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationError

from watch.faults import BadInputError, Strict, faults_of
from watch.files import read_bytes, toml_of
from watch.passage.gpx import MOST_POINTS, GpxError, choose, read_gpx, waypoints_of
from watch.passage.position import parse_latitude, parse_longitude
from watch.passage.route import HIGHEST_DEG, Kind, Route, Waypoint, leg_faults, without_repeats
from watch.when import dated, parse_utc

MOST_BYTES = 8_000_000


def _latitude(value: Any) -> Any:
    return parse_latitude(value) if isinstance(value, str) else value


def _longitude(value: Any) -> Any:
    return parse_longitude(value) if isinstance(value, str) else value


def _departure(value: Any) -> Any:
    if isinstance(value, str):
        return parse_utc(value)
    if isinstance(value, datetime):
        return dated(value)
    if isinstance(value, (date, time)):
        raise ValueError(f"{value.isoformat()} is no date and time: write it like 2026-05-14T12:00Z")
    return value


class WaypointEntry(Strict):
    """A [[waypoint]] of a passage file."""

    name: str = Field(default="", max_length=100, description="a name", examples=["off the south-west of Faial"])
    latitude: Annotated[float, BeforeValidator(_latitude)] = Field(
        ge=-HIGHEST_DEG, le=HIGHEST_DEG, allow_inf_nan=False, examples=["32 18.5 N"],
        description="a latitude from -89 to 89 in degrees (south negative) or degrees and minutes",
    )  # fmt: skip
    longitude: Annotated[float, BeforeValidator(_longitude)] = Field(
        ge=-180, le=180, allow_inf_nan=False, examples=["64 40.2 W"],
        description="a longitude from -180 to 180 in degrees (west negative) or degrees and minutes",
    )  # fmt: skip


class PassageEntry(Strict):
    """The [passage] table of a passage file."""

    name: str = Field(min_length=1, max_length=100, description="a name", examples=["Bermuda to Horta"])
    kind: Kind = Field(
        default="great circle", description='how the legs run, "great circle" or "rhumb line"', examples=["great circle"]
    )
    departure: Annotated[datetime | None, BeforeValidator(_departure)] = Field(
        default=None, description="the time of departure with its offset from UTC", examples=["2026-05-14T12:00Z"]
    )


class PassageFile(Strict):
    """Everything a passage file holds."""

    passage: PassageEntry = Field(description="a [passage] table")
    waypoint: Annotated[tuple[WaypointEntry, ...], Field(strict=False, max_length=MOST_POINTS)] = Field(
        default=(), description=f"[[waypoint]] tables, {MOST_POINTS} at the most"
    )


def read_route(path: Path) -> Route:
    """A .gpx or .toml file -> Route. Raises BadInputError with every fault found, each with its place and a good value.

    GPX: its first route, else its first track, else its waypoints in their order; great circles; no departure. Points in the
    place of the one before are dropped. What was chosen or dropped stands in the route's notes.
    """
    ending = path.suffix.lower()
    if ending not in (".gpx", ".toml"):
        raise BadInputError(path, ["a route file ends in .gpx or .toml; this name does not"])
    data = read_bytes(path, "route file", MOST_BYTES)
    return _from_gpx(path, data) if ending == ".gpx" else _from_toml(path, data)


def _from_gpx(path: Path, data: bytes) -> Route:
    try:
        found, file_name = read_gpx(data)
    except GpxError as error:
        raise BadInputError(path, [str(error)]) from None
    chosen, notes = choose(found)
    if chosen is None:
        raise BadInputError(path, ["has no route, track or waypoints in it"])
    waypoints, faults = waypoints_of(chosen)
    if faults:
        raise BadInputError(path, faults)
    return _route(path, chosen.name or file_name or path.stem, waypoints, "great circle", None, notes)


def _from_toml(path: Path, data: bytes) -> Route:
    try:
        file = PassageFile.model_validate(toml_of(path, data, "route file"))
    except ValidationError as error:
        raise BadInputError(path, faults_of(error, PassageFile)) from None
    waypoints = [
        Waypoint(name=w.name or f"waypoint {number}", latitude=w.latitude, longitude=w.longitude)
        for number, w in enumerate(file.waypoint, start=1)
    ]
    return _route(path, file.passage.name, waypoints, file.passage.kind, file.passage.departure, ())


def _route(
    path: Path, name: str, waypoints: list[Waypoint], kind: Kind, departure: datetime | None, notes: tuple[str, ...]
) -> Route:  # fmt: skip
    kept, dropped = without_repeats(waypoints)
    if len(kept) < 2:
        many = "no waypoint" if not waypoints else "one waypoint" if len(waypoints) == 1 else "all its waypoints in one place"
        raise BadInputError(path, [f"has {many}: a route needs two places or more, from where she starts to where she is bound"])
    faults = leg_faults(kept, kind)
    if faults:
        raise BadInputError(path, faults)
    return Route(name=name, waypoints=kept, kind=kind, departure=departure, notes=(*notes, *dropped))
