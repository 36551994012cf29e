"""Places on the small map: shelters, where on the track she has to turn for each, and which way lie those that are too far to draw."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime

from watch.orders.document import Orders
from watch.render.map_frame import WIDTH, Frame, Labels, Spot, bearing_deg, distance_nm, is_near, unrolled
from watch.render.page_parts import Place
from watch.render.symbols import path, tag
from watch.render.text import when

MOST_FAR = 4
POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
SAME_WAY_DEG = 12.0  # judgement: far places that lie nearly the same way are one pointer, with the nearest's name


@dataclass(frozen=True, kw_only=True)
class Turn:
    """The last good turn for a place: when, and where she is then."""

    place: Place
    when: datetime
    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What lies under the track, and what over it."""

    under: list[str] = field(default_factory=list)
    over: list[str] = field(default_factory=list)


def turn_spots(orders: Orders, places: Iterable[Place]) -> tuple[Turn, ...]:
    """Where on the track each place's last good turn is, in the order of time; one after the track's end is left out."""
    rows = {row.time: row for row in orders.steps}
    found = [(p.turn_by, rows[p.turn_by], p) for p in places if p.turn_by in rows]
    turns = [Turn(place=p, when=at, latitude_deg=r.latitude_deg, longitude_deg=r.longitude_deg) for at, r, p in found if at is not None]
    return tuple(sorted(turns, key=lambda t: t.when))


def with_places(frame: Frame, orders: Orders, places: tuple[Place, ...], labels: Labels) -> Drawn:
    """Places and turns as drawn; the place with the first turn by is named first, where there is most room."""
    drawn = Drawn()
    here = {p: frame.at(p.latitude_deg, unrolled(p.longitude_deg, orders.longitude_deg)) for p in places if is_near(orders, p)}
    for spot in here.values():
        labels.mark(spot, 7.0)
    turns = {turn.place: turn for turn in turn_spots(orders, places)}
    for turn in turns.values():
        spot = frame.at(turn.latitude_deg, unrolled(turn.longitude_deg, orders.longitude_deg))
        labels.mark(spot, 7.0)
        if turn.place in here:
            drawn.under.append(tag("path", d=path([spot, here[turn.place]]), klass="turn-way"))
        drawn.over.append(tag("circle", cx=spot[0], cy=spot[1], r=6, klass="turn"))
        drawn.over.append(tag("circle", cx=spot[0], cy=spot[1], r=1.8, klass="dot"))
        if turn.place not in here:
            drawn.over.append(labels.put(f"turn by {when(orders, turn.when)}", spot, "strong", off=10.0))
    for place in sorted(here, key=lambda p: turns[p].when if p in turns else orders.ends_at):
        x, y = here[place]
        below = f"turn by {when(orders, turns[place].when)}" if place in turns else ""
        drawn.over.append(tag("path", d=path([(x, y - 6), (x + 6, y), (x, y + 6), (x - 6, y)], close=True), klass="place"))
        drawn.over.append(labels.put(place.name, (x, y), "strong", below=below, must=bool(below)))
    drawn.over.extend(_pointers(frame, orders, [p for p in places if p not in here], labels))
    return drawn


def _pointers(frame: Frame, orders: Orders, far: list[Place], labels: Labels) -> Iterator[str]:
    """An arrow at the edge for each way in which places lie that are not drawn, with the nearest's name and distance, where there is room."""
    shown: list[float] = []
    for place in sorted(far, key=lambda p: distance_nm(orders, p)):
        bearing = bearing_deg(orders, place)
        if any(abs((bearing - other + 180.0) % 360.0 - 180.0) < SAME_WAY_DEG for other in shown):
            continue
        shown.append(bearing)
        tip = _edge(frame, bearing)
        said = labels.put(place.name, tip, "small", off=11.0, below=f"{distance_nm(orders, place):.0f} miles")
        if said:
            yield tag("path", d=_arrow(tip, bearing), klass="place") + said


def far_words(orders: Orders, places: Iterable[Place]) -> str:
    """The places that are too far to draw, the nearest first, with distance and point of the compass; empty when there are none."""
    far = sorted((p for p in places if not is_near(orders, p)), key=lambda p: distance_nm(orders, p))
    said = [f"{p.name} {distance_nm(orders, p):.0f} miles {compass(bearing_deg(orders, p))}" for p in far[:MOST_FAR]]
    more = f"; and {len(far) - MOST_FAR} more" if len(far) > MOST_FAR else ""
    return f"Too far to draw: {'; '.join(said)}{more}." if said else ""


def compass(bearing: float) -> str:
    """A bearing as one of the sixteen points.

    >>> compass(11.0), compass(12.0), compass(355.0), compass(247.5)
    ('N', 'NNE', 'N', 'WSW')
    """
    return POINTS[round(bearing / 22.5) % 16]


def _edge(frame: Frame, bearing: float) -> Spot:
    """The place near the edge of the map in a direction from its middle."""
    east, south = math.sin(math.radians(bearing)), -math.cos(math.radians(bearing))
    half_w, half_h = WIDTH / 2 - 9.0, frame.height / 2 - 22.0
    reach = min(half_w / abs(east) if east else math.inf, half_h / abs(south) if south else math.inf)
    return WIDTH / 2 + reach * east, frame.height / 2 + reach * south


def _arrow(tip: Spot, bearing: float) -> str:
    def turned(degrees_on: float, far: float) -> Spot:
        angle = math.radians(bearing + degrees_on)
        return tip[0] + far * math.sin(angle), tip[1] - far * math.cos(angle)

    return path([turned(0, 8), turned(140, 7), turned(180, 2.5), turned(220, 7)], close=True)
