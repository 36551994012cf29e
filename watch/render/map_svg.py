"""The track on a small map that needs no network: graticule, track with her place hour by hour, shelters, a scale. It is no chart."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from watch.orders.document import Orders
from watch.render.margins import Marked, marked
from watch.render.page_parts import Place
from watch.render.symbols import number, path, tag

WIDTH, LEAST_HEIGHT, MOST_HEIGHT, EDGE = 360, 150, 420, 26
GRIDS_DEG = (1 / 6, 0.25, 0.5, 1, 2, 5, 10, 20)
SCALES_NM = (5, 10, 20, 50, 100, 200, 500, 1000)
FAR_NM = 600.0  # a shelter beyond this is named, not drawn: the track would shrink to a dot


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A plate in true proportion at its middle latitude. Longitudes are counted on from the track's first, so 180 is no seam."""

    west: float
    south: float
    px_per_deg: float
    squeeze: float
    height: float

    def at(self, latitude: float, longitude: float) -> tuple[float, float]:
        x = EDGE + (longitude - self.west) * self.squeeze * self.px_per_deg
        return x, self.height - EDGE - (latitude - self.south) * self.px_per_deg

    @property
    def px_per_nm(self) -> float:
        return self.px_per_deg / 60.0


def unrolled(longitude: float, near: float) -> float:
    """A longitude -> the same meridian within half a turn of `near`.

    >>> unrolled(-179.0, 179.0)
    181.0
    """
    return near + (longitude - near + 180.0) % 360.0 - 180.0


def map_svg(orders: Orders, places: tuple[Place, ...] = ()) -> str:
    """Orders and places -> an <svg> for inside a page, classes only."""
    steps = marked(orders)
    near = orders.longitude_deg
    spots = [(m.row.latitude_deg, unrolled(m.row.longitude_deg, near)) for m in steps]
    drawn = [(p, unrolled(p.longitude_deg, near)) for p in places if _near(orders, p)]
    frame = _frame(spots + [(p.latitude_deg, lon) for p, lon in drawn])
    inside = [
        tag("title", f"The track of {orders.boat}"), tag("desc", describe(orders, steps)), _graticule(frame), _scale(frame),
        _track(frame, steps, spots), _hours(frame, orders, steps, spots),
        *(_place(frame, p, lon) for p, lon in drawn),
    ]  # fmt: skip
    return (
        f'<svg class="map" role="img" aria-label="Map of the track ahead; no chart" viewBox="0 0 {WIDTH} {number(frame.height)}" '
        f'xmlns="http://www.w3.org/2000/svg">{"".join(inside)}</svg>'
    )


def describe(orders: Orders, steps: tuple[Marked, ...]) -> str:
    end = steps[-1].row
    return (
        f"From {orders.latitude_deg:.2f}, {orders.longitude_deg:.2f} to {end.latitude_deg:.2f}, {end.longitude_deg:.2f} at "
        f"{orders.ship_time.day_clock(end.time)}."
    )


def _near(orders: Orders, place: Place) -> bool:
    north = (place.latitude_deg - orders.latitude_deg) * 60.0
    east = (unrolled(place.longitude_deg, orders.longitude_deg) - orders.longitude_deg) * 60.0
    return math.hypot(north, east * math.cos(math.radians(orders.latitude_deg))) <= FAR_NM


def _frame(spots: list[tuple[float, float]]) -> Frame:
    south, north = min(s[0] for s in spots), max(s[0] for s in spots)
    west, east = min(s[1] for s in spots), max(s[1] for s in spots)
    squeeze = max(0.05, math.cos(math.radians((south + north) / 2)))
    wide, high = max((east - west) * squeeze, 0.1), max(north - south, 0.1)
    per_deg = min((WIDTH - 2 * EDGE) / wide, (MOST_HEIGHT - 2 * EDGE) / high)
    height = max(LEAST_HEIGHT, high * per_deg + 2 * EDGE)
    spare_lon = ((WIDTH - 2 * EDGE) / per_deg / squeeze - (east - west)) / 2
    spare_lat = ((height - 2 * EDGE) / per_deg - (north - south)) / 2
    return Frame(west=west - spare_lon, south=south - spare_lat, px_per_deg=per_deg, squeeze=squeeze, height=height)


def _graticule(frame: Frame) -> str:
    step = next((g for g in GRIDS_DEG if g * frame.px_per_deg >= 56), GRIDS_DEG[-1])
    parts = [tag("rect", x=0, y=0, width=WIDTH, height=frame.height, klass="sea")]
    reach_lon = WIDTH / frame.px_per_deg / frame.squeeze
    for lat in _lines(frame.south - EDGE / frame.px_per_deg, frame.height / frame.px_per_deg, step):
        y = frame.at(lat, frame.west)[1]
        parts.append(tag("path", d=path([(0, y), (WIDTH, y)]), klass="grid"))
        if 24 < y < frame.height - 14:
            parts.append(tag("text", degrees(lat, "N", "S"), x=3, y=y - 3, klass="small halo"))
    for lon in _lines(frame.west - EDGE / frame.px_per_deg / frame.squeeze, reach_lon, step):
        x = frame.at(frame.south, lon)[0]
        parts.append(tag("path", d=path([(x, 0), (x, frame.height)]), klass="grid"))
        if 50 < x < WIDTH - 24:
            parts.append(tag("text", degrees((lon + 180) % 360 - 180, "E", "W"), x=x, y=12, klass="small mid halo"))
    return "".join(parts)


def _lines(first: float, reach: float, step: float) -> Iterator[float]:
    k = math.ceil(first / step)
    while k * step <= first + reach:
        yield k * step
        k += 1


def degrees(value: float, plus: str, minus: str) -> str:
    """A meridian or parallel in degrees and minutes.

    >>> degrees(-51.5, "E", "W"), degrees(36.0, "N", "S")
    ('51°30′W', '36°N')
    """
    minutes = round(abs(value) * 60)
    whole, rest = divmod(minutes, 60)
    return f"{whole}°{f'{rest:02d}′' if rest else ''}{minus if value < 0 else plus}"


def _scale(frame: Frame) -> str:
    miles = max((s for s in SCALES_NM if s * frame.px_per_nm <= 110), default=SCALES_NM[0])
    x1, y = WIDTH - 12.0, frame.height - 10
    x0 = x1 - miles * frame.px_per_nm
    bar = tag("path", d=path([(x0, y - 4), (x0, y), (x1, y), (x1, y - 4)]), klass="scale-bar")
    return bar + tag("text", f"{miles} miles", x=(x0 + x1) / 2, y=y - 6, klass="mid small halo")


def _track(frame: Frame, steps: tuple[Marked, ...], spots: list[tuple[float, float]]) -> str:
    """The track, coloured by the margin to her limits there."""
    parts = [tag("path", d=path([frame.at(*s) for s in spots[::3]]), klass="track-edge")]
    edges = [0, *(k for k in range(1, len(steps)) if steps[k].level != steps[k - 1].level), len(steps) - 1]
    for a, b in pairwise(edges):
        points = [frame.at(*s) for s in [*spots[a:b:3], spots[b]]]
        parts.append(tag("path", d=path(points), klass=f"track line-{steps[a].level}"))
    return "".join(parts)


def _hours(frame: Frame, orders: Orders, steps: tuple[Marked, ...], spots: list[tuple[float, float]]) -> str:
    """A dot every hour, a ring and its time every six, her place now."""
    parts, last = [], None
    for m, spot in zip(steps, spots, strict=True):
        local = orders.ship_time.local(m.row.time)
        if local.minute:
            continue
        x, y = frame.at(*spot)
        six = local.hour % 6 == 0
        parts.append(tag("circle", cx=x, cy=y, r=4 if six else 1.8, klass="ring" if six else "dot"))
        if six and (last is None or math.dist(last, (x, y)) > 30):
            parts.append(tag("text", _label(local), x=x + 7, y=y + 15, klass="halo small"))
            last = (x, y)
    x, y = frame.at(*spots[0])
    parts.append(tag("path", d=path([(x, y - 8), (x + 6, y + 6), (x - 6, y + 6)], close=True), klass="she"))
    parts.append(tag("text", "now", x=x, y=y - 11, klass="mid halo strong"))
    return "".join(parts)


def _label(local: datetime) -> str:
    return f"{local:%a} 0" if local.hour == 0 else f"{local.hour}"


def _place(frame: Frame, place: Place, longitude: float) -> str:
    x, y = frame.at(place.latitude_deg, longitude)
    anchor = "end" if x > WIDTH * 0.7 else ""
    mark = tag("path", d=path([(x, y - 6), (x + 6, y), (x, y + 6), (x - 6, y)], close=True), klass="place")
    return mark + tag("text", place.name, x=x + (-9 if anchor else 9), y=y + 4, klass=f"halo strong {anchor}".strip())
