"""The track on a small map that needs no network: land, graticule, track with her place hour by hour, shelters, a scale. It is no chart."""

import math
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise

from watch.orders.document import Orders
from watch.passage.land import Land
from watch.render.coast import Floats, coast
from watch.render.map_frame import WIDTH, Frame, Labels, Spot, frame_of, unrolled
from watch.render.map_places import turn_spots, with_places
from watch.render.margins import Marked, marked
from watch.render.page_parts import Place, places_of
from watch.render.symbols import number, path, tag

GRIDS_DEG = (1 / 6, 0.25, 0.5, 1, 2, 5, 10, 20)
SCALES_NM = (5, 10, 20, 50, 100, 200, 500, 1000)
NO_LAND = "No chart: land is not drawn, nor any danger."
WITH_LAND = "No chart: land from a mask of half a mile; no rocks, shoals or small islets."


def map_svg(orders: Orders, places: tuple[Place, ...] = (), land: Land | None = None) -> str:
    """Orders, other places than their shelters, and the land if it is known -> an <svg> for inside a page, classes only."""
    steps = marked(orders)
    near = orders.longitude_deg
    places = (*places_of(orders), *places)
    frame = frame_of(orders, places)
    spots = [frame.at(m.row.latitude_deg, unrolled(m.row.longitude_deg, near)) for m in steps]
    labels = Labels(height=frame.height)
    for spot in spots[::3]:
        labels.mark(spot, 4.0)
    scale = _scale(frame, labels)
    she = _she(spots[0], labels)
    named = with_places(frame, orders, places, labels)
    hours = list(_hours(orders, steps, spots, labels))
    inside = [
        tag("title", f"The track of {orders.boat}"), tag("desc", describe(orders, steps, places)),
        tag("rect", x=0, y=0, width=WIDTH, height=frame.height, klass="sea"), _land(frame, land), _graticule(frame, labels),
        *named.under, _track(steps, spots), *hours, *named.over, she, scale,
    ]  # fmt: skip
    return (
        f'<svg class="map" role="img" aria-label="Map of the track ahead; no chart" viewBox="0 0 {WIDTH} {number(frame.height)}" '
        f'xmlns="http://www.w3.org/2000/svg">{"".join(inside)}</svg>'
    )


def describe(orders: Orders, steps: tuple[Marked, ...], places: tuple[Place, ...] = ()) -> str:
    """What the map shows, in a sentence or two."""
    end = steps[-1].row
    turns = turn_spots(orders, places)
    said = "".join(f" Turn for {t.place.name} by {orders.ship_time.day_clock(t.when)}." for t in turns)
    return (
        f"From {orders.latitude_deg:.2f}, {orders.longitude_deg:.2f} to {end.latitude_deg:.2f}, {end.longitude_deg:.2f} at "
        f"{orders.ship_time.day_clock(end.time)}.{said}"
    )


def _land(frame: Frame, land: Land | None) -> str:
    """The land, and dots where there is none known; without any mask nothing is drawn, and the page says so."""
    if land is None:
        return ""
    found = coast(land, frame.box, frame.step_deg)
    parts = [_area(frame, rings, klass) for rings, klass in ((found.land, "land"), (found.unknown, "land-unknown")) if rings]
    return "".join(parts)


def _area(frame: Frame, rings: tuple[Floats, ...], klass: str) -> str:
    """Rings as one path in tenths of a dot, each corner counted from the last: about five letters a corner."""
    said = []
    for ring in rings:
        points = [tuple(round(v * 10) for v in frame.at(lat, lon)) for lat, lon in ring.tolist()]
        first, *rest = points
        moves = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise([first, *rest])]
        said.append(f"M{_tenth(first[0])} {_tenth(first[1])}l" + " ".join(f"{_tenth(x)} {_tenth(y)}" for x, y in moves) + "z")
    return tag("path", d="".join(said), fill_rule="evenodd", klass=klass)


def _tenth(value: int) -> str:
    return number(value / 10)


def _graticule(frame: Frame, labels: Labels) -> str:
    step = next((g for g in GRIDS_DEG if g * frame.px_per_deg >= 56), GRIDS_DEG[-1])
    box, parts = frame.box, []
    for lat in _lines(box.south, box.north, step):
        y = frame.at(lat, frame.west)[1]
        parts.append(tag("path", d=path([(0, y), (WIDTH, y)]), klass="grid"))
        if 24 < y < frame.height - 14:
            parts.append(labels.put(degrees(lat, "N", "S"), (-6.0, y - 7), "small"))
    for lon in _lines(box.west, box.east, step):
        x = frame.at(frame.south, lon)[0]
        parts.append(tag("path", d=path([(x, 0), (x, frame.height)]), klass="grid"))
        if 50 < x < WIDTH - 30:
            parts.append(labels.put(degrees((lon + 180) % 360 - 180, "E", "W"), (x - 7, 9.0), "small"))
    return "".join(parts)


def _lines(first: float, last: float, step: float) -> Iterator[float]:
    k = math.ceil(first / step)
    while k * step <= last:
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


def _scale(frame: Frame, labels: Labels) -> str:
    miles = max((s for s in SCALES_NM if s * frame.px_per_nm <= 110), default=SCALES_NM[0])
    x1, y = WIDTH - 12.0, frame.height - 10
    x0 = x1 - miles * frame.px_per_nm
    bar = tag("path", d=path([(x0, y - 4), (x0, y), (x1, y), (x1, y - 4)]), klass="scale-bar")
    labels.taken.append((x0 - 4, y - 20, x1 + 4, y + 4))
    return bar + tag("text", f"{miles} miles", x=(x0 + x1) / 2, y=y - 6, klass="mid small halo")


def _track(steps: tuple[Marked, ...], spots: list[Spot]) -> str:
    """The track, coloured by the margin to her limits there."""
    parts = [tag("path", d=path(spots[::3]), klass="track-edge")]
    edges = [0, *(k for k in range(1, len(steps)) if steps[k].level != steps[k - 1].level), len(steps) - 1]
    for a, b in pairwise(edges):
        parts.append(tag("path", d=path([*spots[a:b:3], spots[b]]), klass=f"track line-{steps[a].level}"))
    return "".join(parts)


def _hours(orders: Orders, steps: tuple[Marked, ...], spots: list[Spot], labels: Labels) -> Iterator[str]:
    """A dot every hour, a ring and its time every six; the later the time, the sooner it gives way to other words."""
    for m, spot in zip(steps, spots, strict=True):
        local = orders.ship_time.local(m.row.time)
        if local.minute:
            continue
        six = local.hour % 6 == 0
        yield tag("circle", cx=spot[0], cy=spot[1], r=4 if six else 1.8, klass="ring" if six else "dot")
        if six:
            yield labels.put(_label(local), spot, "small", off=8.0)


def _label(local: datetime) -> str:
    return f"{local:%a} 0" if local.hour == 0 else f"{local.hour}"


def _she(spot: Spot, labels: Labels) -> str:
    """Her place now."""
    x, y = spot
    labels.mark(spot, 9.0)
    mark = tag("path", d=path([(x, y - 8), (x + 6, y + 6), (x - 6, y + 6)], close=True), klass="she")
    return mark + labels.put("now", spot, "strong", off=10.0, must=True)
