"""The track on the sheet for the chart table: land in grey, shelters, where to turn for them, which way the far ones lie. No chart."""

import textwrap
from typing import Any

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.ticker import FuncFormatter

from watch.orders.document import Orders
from watch.passage.land import Land
from watch.render.coast import Box, Floats, coast
from watch.render.map_frame import Labels, Spot, frame_of, is_near, unrolled
from watch.render.map_places import far_words, turn_spots
from watch.render.map_svg import degrees
from watch.render.page_parts import Place, places_of
from watch.render.text import when

PLATE = (0.12, 0.09, 0.46)  # left, bottom and width on the sheet
POINTS_PER_INCH = 72.0
PRINTED_DOTS = 700  # across the plate: finer than this is not seen on paper


def draw_track(axes: Any, orders: Orders, places: tuple[Place, ...], land: Land | None) -> None:
    """Everything of the track's plate; places: besides the shelters of the orders."""
    places = (*places_of(orders), *places)
    _plate(axes)
    box = _shown(axes, orders, places)
    if land is not None:
        _land(axes, land, box)
    words = _Words(axes)
    hours = _line(axes, orders, words)
    _places(axes, orders, places, words)
    for name, lon, lat in hours:
        words.put((name,), lon, lat)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: degrees((v + 180) % 360 - 180, "E", "W")))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: degrees(v, "N", "S")))
    axes.locator_params(nbins=5)
    axes.grid(color="0.85", linewidth=0.5)
    axes.tick_params(labelsize=7, length=2)
    title = "The track, a dot every hour, ship's time. No chart"
    axes.set_title(f"{title}: {'land is not drawn.' if land is None else 'land to half a mile.'}", fontsize=8, loc="left")


def _plate(axes: Any) -> None:
    left, bottom, width = PLATE
    axes.set_position([left, bottom, width, axes.get_position().height - 0.075])


def _shown(axes: Any, orders: Orders, places: tuple[Place, ...]) -> Box:
    """The box that is drawn: that of the small map, made as high or as wide as the plate is."""
    frame = frame_of(orders, places)
    box = frame.box
    size = axes.figure.get_size_inches() * (axes.get_position().width, axes.get_position().height)
    high, wide = box.north - box.south, (box.east - box.west) * frame.squeeze
    per_inch = max(high / size[1], wide / size[0])
    more_lat, more_lon = (per_inch * size[1] - high) / 2, (per_inch * size[0] - wide) / 2 / frame.squeeze
    axes.set_ylim(box.south - more_lat, box.north + more_lat)
    axes.set_xlim(box.west - more_lon, box.east + more_lon)
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    return Box(south=max(float(south), -90.0), north=min(float(north), 90.0), west=float(west), east=float(east))


def _land(axes: Any, land: Land, box: Box) -> None:
    step = (box.east - box.west) / PRINTED_DOTS
    found = coast(land, box, (step, step))
    if found.land:
        axes.add_patch(PathPatch(_outline(found.land), facecolor="0.8", edgecolor="0.2", linewidth=0.5, zorder=0.5))
    if found.unknown:
        axes.add_patch(PathPatch(_outline(found.unknown), facecolor="none", edgecolor="0.5", hatch="....", linewidth=0, zorder=0.5))


def _outline(rings: tuple[Floats, ...]) -> Outline:
    corners = [np.vstack((ring, ring[:1]))[:, ::-1] for ring in rings]
    codes = [[Outline.MOVETO] + [Outline.LINETO] * (len(c) - 2) + [Outline.CLOSEPOLY] for c in corners]
    return Outline(np.vstack(corners), np.concatenate(codes))


class _Words:
    """Texts on the plate, in points from its upper left corner, each where it lies on no other."""

    def __init__(self, axes: Any):
        self.axes = axes
        size = axes.figure.get_size_inches() * (axes.get_position().width, axes.get_position().height) * POINTS_PER_INCH
        self.labels = Labels(width=float(size[0]), height=float(size[1]), letter=4.6, line=9.5)

    def at(self, lon: float, lat: float) -> Spot:
        (west, east), (south, north) = self.axes.get_xlim(), self.axes.get_ylim()
        return (lon - west) / (east - west) * self.labels.width, (north - lat) / (north - south) * self.labels.height

    def put(self, lines: tuple[str, ...], lon: float, lat: float, off: float = 6.0, *, must: bool = False, **style: Any) -> None:
        found = self.labels.find(lines, self.at(lon, lat), off=off, must=must)
        if found is not None:
            spot = (found[0] / self.labels.width, 1.0 - found[1] / self.labels.height)
            paper = {"boxstyle": "square,pad=0.05", "facecolor": "1", "edgecolor": "none", "alpha": 0.7}
            text = "\n".join(lines)
            self.axes.text(*spot, text, transform=self.axes.transAxes, va="top", fontsize=7, linespacing=1.15, bbox=paper, **style)


def _line(axes: Any, orders: Orders, words: _Words) -> list[tuple[str, float, float]]:
    """The track with a dot every hour; gives back the names of its six-hour rings, to be put where there is room at the end."""
    rows, near = orders.steps, orders.longitude_deg
    lat, lon = np.array([r.latitude_deg for r in rows]), np.array([unrolled(r.longitude_deg, near) for r in rows])
    axes.plot(lon, lat, color="0", linewidth=1.2)
    named = []
    for k, row in enumerate(rows):
        local = orders.ship_time.local(row.time)
        words.labels.mark(words.at(float(lon[k]), float(lat[k])), 2.5)
        if local.minute:
            continue
        six = local.hour % 6 == 0
        axes.plot(lon[k], lat[k], "o", markersize=4.5 if six else 1.8, markerfacecolor="1" if six else "0", color="0", markeredgewidth=0.8)
        if six:
            named.append((f"{local:%a} {local.hour}", float(lon[k]), float(lat[k])))
    axes.plot(lon[0], lat[0], "^", color="0", markersize=8)
    words.labels.mark(words.at(float(lon[0]), float(lat[0])), 6.0)
    return named


def _places(axes: Any, orders: Orders, places: tuple[Place, ...], words: _Words) -> None:
    near = orders.longitude_deg
    turns = {turn.place: turn for turn in turn_spots(orders, places)}
    here = [p for p in places if is_near(orders, p)]
    for turn in turns.values():
        x, y = unrolled(turn.longitude_deg, near), turn.latitude_deg
        words.labels.mark(words.at(x, y), 6.0)
        if turn.place in here:
            axes.plot([x, unrolled(turn.place.longitude_deg, near)], [y, turn.place.latitude_deg], ":", color="0", linewidth=0.8)
        else:
            words.put((f"turn by {when(orders, turn.when)}",), x, y, 7.0, fontweight="bold")
        axes.plot(x, y, "o", color="0", markersize=8, markerfacecolor="1", markeredgewidth=1.6)
        axes.plot(x, y, ".", color="0", markersize=3)
    for place in here:
        words.labels.mark(words.at(unrolled(place.longitude_deg, near), place.latitude_deg), 4.0)
    for place in sorted(here, key=lambda p: turns[p].when if p in turns else orders.ends_at):
        spot = (unrolled(place.longitude_deg, near), place.latitude_deg)
        axes.plot(*spot, "D", color="0", markersize=4)
        said = (place.name, f"turn by {when(orders, turns[place].when)}") if place in turns else (place.name,)
        words.put(said, *spot, must=place in turns, fontweight="bold" if place in turns else "normal")
    far = far_words(orders, places)
    if far:
        axes.text(0.0, -0.1, "\n".join(textwrap.wrap(far, 72, max_lines=2, placeholder=" ...")), transform=axes.transAxes, fontsize=6.5, va="top")
