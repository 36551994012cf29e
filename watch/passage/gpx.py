"""GPX 1.0 and 1.1: names, positions and descriptions of waypoints only, with the line of each; nothing in the file can make it big."""

import re
from dataclasses import dataclass, field
from typing import NoReturn
from xml.parsers import expat

from watch.faults import Fault
from watch.passage.route import HIGHEST_DEG, Waypoint

MOST_POINTS = 5000
MOST_DEPTH = 100
MOST_NAME = 100
MOST_DESCRIPTION = 4000
MOST_FAULTS = 20
SPACE = "topografix.com/gpx/1/"  # in the namespaces of GPX 1.0 and 1.1, as different writers have them
POINTS = {"rtept": "route", "trkpt": "track", "wpt": "waypoints"}
_NUMBER = re.compile(r"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?\s*")


class GpxError(ValueError):
    """This is no GPX that can be used; the sentence says why."""


@dataclass
class Point:
    """One point as it stands in the file."""

    line: int
    latitude: str | None
    longitude: str | None
    name: str = ""
    description: str = ""


@dataclass
class Found:
    """One route, one track, or all the waypoints of a file."""

    kind: str
    name: str = ""
    points: list[Point] = field(default_factory=list)


def read_gpx(data: bytes) -> tuple[list[Found], str]:
    """The bytes of a GPX file -> its routes, tracks and waypoints with points in them, as they come, and its own name.

    A document type, and with it every entity that could grow, is refused before it is read. Raises GpxError with a sentence.
    """
    reader = _Reader()
    try:
        reader.parser.Parse(data, True)
    except expat.ExpatError as error:
        reason = expat.ErrorString(error.code)
        raise GpxError(f"is not XML that can be read: {reason} at line {error.lineno}") from None
    except GpxError:
        raise
    except (LookupError, ValueError):
        raise GpxError("is in a text encoding not known here: save it as UTF-8") from None
    waypoints = [reader.waypoints] if reader.waypoints.points else []
    return [f for f in reader.found if f.points] + waypoints, reader.name


class _Reader:
    """Takes in the elements of one file as the parser meets them."""

    def __init__(self) -> None:
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.path: list[str] = []
        self.found: list[Found] = []
        self.waypoints = Found("waypoints")
        self.name = ""
        self.count = 0
        self.words = ""

    def _doctype(self, *_: object) -> NoReturn:
        raise GpxError("declares a document type, which no GPX file needs and a harmful one may use: it is not read")

    def _start(self, full_name: str, attributes: dict[str, str]) -> None:
        space, _, tag = full_name.rpartition(" ")
        tag = tag if not space or SPACE in space.lower() else f"other {tag}"
        if not self.path and tag != "gpx":
            raise GpxError("is XML but not GPX: its first element must be <gpx>")
        self.path.append(tag)
        if len(self.path) > MOST_DEPTH:
            raise GpxError(f"has elements more than {MOST_DEPTH} deep, which no GPX file has")
        self.words = ""
        if tag in ("rte", "trk"):
            self.found.append(Found("route" if tag == "rte" else "track"))
        elif tag in POINTS:
            self._point(tag, attributes)

    def _point(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > MOST_POINTS:
            raise GpxError(
                f"has more than {MOST_POINTS} points, which is a log and no route: make a route of its turning points"
            )
        holder = self.waypoints if tag == "wpt" else self.found[-1] if self.found else None
        if holder is not None and holder.kind == POINTS[tag]:
            holder.points.append(Point(self.parser.CurrentLineNumber, attributes.get("lat"), attributes.get("lon")))

    def _text(self, words: str) -> None:
        most = {"name": MOST_NAME, "desc": MOST_DESCRIPTION}.get(self.path[-1], 0) if self.path else 0
        if len(self.words) < most:
            self.words += words

    def _end(self, _: str) -> None:
        tag = self.path.pop()
        if tag == "desc" and self.path[-1] == "wpt" and self.waypoints.points:
            self.waypoints.points[-1].description = self.words[:MOST_DESCRIPTION]
        if tag != "name" or not self.path:
            return
        name, parent = " ".join(self.words.split())[:MOST_NAME], self.path[-1]
        if parent in ("rte", "trk"):
            self.found[-1].name = name
        elif parent == "metadata" or (parent == "gpx" and not self.name):
            self.name = name
        elif parent in POINTS:
            holder = self.waypoints if parent == "wpt" else self.found[-1] if self.found else None
            if holder is not None and holder.points:
                holder.points[-1].name = name


def choose(found: list[Found]) -> tuple[Found | None, tuple[str, ...]]:
    """Routes before tracks before waypoints, the first of its kind; and a note on what was not taken."""
    if not found:
        return None, ()
    order = ["route", "track", "waypoints"]
    chosen = min(found, key=lambda f: order.index(f.kind))
    left = [f for f in found if f is not chosen]
    if not left:
        return chosen, ()
    names = ", ".join(_called(f, "a") for f in left[:5]) + (f" and {len(left) - 5} more" if len(left) > 5 else "")
    return chosen, (f"the file has more than one way to sail: {_called(chosen, 'the first')} is taken; left out: {names}",)


def _called(found: Found, article: str) -> str:
    if found.kind == "waypoints":
        return "its waypoints"
    return f'the {found.kind} "{found.name}"' if found.name else f"{article} {found.kind}"


def waypoints_of(found: Found) -> tuple[list[Waypoint], list[Fault]]:
    """Points -> waypoints, and a fault for each number that is no position; of many the first 20 and how many more."""
    waypoints, faults = [], []
    for number, point in enumerate(found.points, start=1):
        latitude, wrong_lat = _degrees(point, "lat", point.latitude, HIGHEST_DEG, "a latitude from -89 to 89, like 32.3083")
        longitude, wrong_lon = _degrees(point, "lon", point.longitude, 180.0, "a longitude from -180 to 180, like -64.67")
        faults += [w for w in (wrong_lat, wrong_lon) if w is not None]
        if wrong_lat is None and wrong_lon is None:
            waypoints.append(Waypoint(name=point.name or f"waypoint {number}", latitude=latitude, longitude=longitude))
    if len(faults) > MOST_FAULTS:
        faults = [*faults[:MOST_FAULTS], Fault("", None, f"and {len(faults) - MOST_FAULTS} more positions like these")]
    return waypoints, faults


def _degrees(point: Point, what: str, text: str | None, most: float, expected: str) -> tuple[float, Fault | None]:
    place = f"line {point.line} {what}"
    if text is None:
        return 0.0, Fault(place, None, f"missing; {expected}")
    if not _NUMBER.fullmatch(text) or not abs(float(text)) <= most:
        return 0.0, Fault(place, f'"{text[:40]}"', expected)
    return float(text), None
