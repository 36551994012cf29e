"""(I/O) Reads shelters from a TOML file, or from the waypoints of a GPX file with the same facts in their descriptions.

In GPX each waypoint that is a shelter has the facts of a [[shelter]] table, but for name and position, as TOML in its <desc>, where other
programs leave them alone: `kind = "anchorage"`, then a line for each, and `entrance = { mean_kn = 25, ... }`. A waypoint whose description
is empty is no shelter and is left out; one with a description that is not such facts is a fault, so that no shelter is lost unseen.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from watch.faults import BadInputError, Fault, faults_of
from watch.passage.gpx import GpxError, Point, read_gpx
from watch.passage.shelters import Shelter, SheltersFile, contradictions

MOST_BYTES = 2_000_000


@dataclass(frozen=True, kw_only=True)
class SheltersRead:
    """The shelters of one or more files, and sentences on what was left out."""

    shelters: tuple[Shelter, ...]
    notes: tuple[str, ...] = ()


def read_shelters(paths: Sequence[Path]) -> SheltersRead:
    """.toml and .gpx files -> shelters. Raises BadInputError with every fault of a file, each with its place and a good value."""
    found: list[Shelter] = []
    notes: list[str] = []
    for path in paths:
        one = _read(path)
        found += one.shelters
        notes += one.notes
    faults = contradictions(found) if len(paths) > 1 else []
    if faults:
        raise BadInputError(", ".join(str(p) for p in paths), faults)
    return SheltersRead(shelters=tuple(found), notes=tuple(notes))


def _read(path: Path) -> SheltersRead:
    ending = path.suffix.lower()
    if ending not in (".gpx", ".toml"):
        raise BadInputError(path, ["a shelters file ends in .toml or .gpx; this name does not"])
    data = _bytes(path)
    if ending == ".gpx":
        read = _from_gpx(path, data)
    else:
        read = SheltersRead(shelters=_valid(path, _toml(path, data)))
    faults = contradictions(read.shelters)
    if faults:
        raise BadInputError(path, faults)
    return read


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadInputError(path, [f"is larger than {MOST_BYTES // 1_000_000} MB, which no shelters file is; is it the right file?"])
        return path.read_bytes()
    except FileNotFoundError:
        raise BadInputError(path, ["no such shelters file; give the path of one, or start from an example in config/"]) from None
    except OSError as error:
        raise BadInputError(path, [f"this shelters file cannot be read: {error.strerror}"]) from None


def _toml(path: Path, data: bytes) -> dict[str, object]:
    try:
        return tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError:
        raise BadInputError(path, ["this shelters file is not text in UTF-8"]) from None
    except (ValueError, RecursionError) as error:
        reason = "tables nested too deep" if isinstance(error, RecursionError) else str(error)
        raise BadInputError(path, [f"is not TOML: {reason}"]) from None


def _valid(path: Path, content: dict[str, object]) -> tuple[Shelter, ...]:
    try:
        return SheltersFile.model_validate(content).shelter
    except ValidationError as error:
        raise BadInputError(path, faults_of(error, SheltersFile)) from None


def _from_gpx(path: Path, data: bytes) -> SheltersRead:
    try:
        found, _ = read_gpx(data)
    except GpxError as error:
        raise BadInputError(path, [str(error)]) from None
    points = [p for f in found if f.kind == "waypoints" for p in f.points]
    told = [p for p in points if p.description.strip()]
    if not told:
        raise BadInputError(path, ['has no waypoint with the facts of a shelter in its <desc>, like: kind = "anchorage"'])
    shelters, faults = [], []
    for point in told:
        shelter, wrong = _of_point(point)
        faults += wrong
        shelters += [shelter] if shelter is not None else []
    if faults:
        raise BadInputError(path, faults)
    left = len(points) - len(told)
    notes = (f"{path.name}: {left} waypoint{'s' if left > 1 else ''} without a description left out",) if left else ()
    return SheltersRead(shelters=tuple(shelters), notes=notes)


def _of_point(point: Point) -> tuple[Shelter | None, list[Fault]]:
    place = f"line {point.line}"
    try:
        facts = tomllib.loads(point.description)
    except (ValueError, RecursionError) as error:
        return None, [Fault(f"{place} desc", None, f'is not the facts of a shelter, like kind = "anchorage": {error}')]
    own = {"name": point.name, "latitude": _number(point.latitude), "longitude": _number(point.longitude)}
    twice = [name for name in own if name in facts]
    if twice:
        return None, [Fault(f"{place} desc", None, f"{twice[0]} stands in the waypoint itself; take it out of the description")]
    try:
        return Shelter.model_validate({**facts, **own}), []
    except ValidationError as error:
        return None, [Fault(f"{place} {f.place}", f.found, f.expected) for f in faults_of(error, Shelter)]


def _number(text: str | None) -> float | str | None:
    try:
        return None if text is None else float(text)
    except ValueError:
        return text
