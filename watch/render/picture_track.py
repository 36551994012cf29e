"""The track on the sheet for the chart table: land in grey, shelters, where to turn for them, which way the far ones lie. No chart."""

from typing import Any

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.ticker import FuncFormatter

from watch.orders.document import Orders
from watch.passage.land import Land
from watch.render.coast import Box, Floats, coast
from watch.render.map_frame import distance_nm, frame_of, is_near, unrolled
from watch.render.map_places import turn_spots
from watch.render.map_svg import degrees
from watch.render.page_parts import Place, places_of
from watch.render.text import when

PLATE = (0.12, 0.085, 0.46)  # left, bottom and width on the sheet
PRINTED_DOTS = 700  # across the plate: finer than this is not seen on paper


def draw_track(axes: Any, orders: Orders, places: tuple[Place, ...], land: Land | None) -> None:
    """Everything of the track's plate; places: besides the shelters of the orders."""
    places = (*places_of(orders), *places)
    _plate(axes)
    box = _shown(axes, orders, places)
    if land is not None:
        _land(axes, land, box)
    _line(axes, orders)
    _places(axes, orders, places)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: degrees((v + 180) % 360 - 180, "E", "W")))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: degrees(v, "N", "S")))
    axes.locator_params(nbins=5)
    axes.grid(color="0.85", linewidth=0.5)
    axes.tick_params(labelsize=7, length=2)
    title = "The track, a dot every hour, ship's time. No chart"
    axes.set_title(f"{title}: {'land is not drawn.' if land is None else 'land to half a mile.'}", fontsize=8, loc="left")


def _plate(axes: Any) -> None:
    left, bottom, width = PLATE
    axes.set_position([left, bottom, width, axes.get_position().height - 0.06])


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


def _line(axes: Any, orders: Orders) -> None:
    rows, near = orders.steps, orders.longitude_deg
    lat, lon = np.array([r.latitude_deg for r in rows]), np.array([unrolled(r.longitude_deg, near) for r in rows])
    axes.plot(lon, lat, color="0", linewidth=1.2)
    for k, row in enumerate(rows):
        local = orders.ship_time.local(row.time)
        if local.minute:
            continue
        six = local.hour % 6 == 0
        axes.plot(lon[k], lat[k], "o", markersize=4.5 if six else 1.8, markerfacecolor="1" if six else "0", color="0", markeredgewidth=0.8)
        if local.hour in (0, 12):
            axes.annotate(f"{local:%a} {local.hour}", (lon[k], lat[k]), (4, -9), textcoords="offset points", fontsize=7, annotation_clip=True)
    axes.plot(lon[0], lat[0], "^", color="0", markersize=8)


def _places(axes: Any, orders: Orders, places: tuple[Place, ...]) -> None:
    near, paper = orders.longitude_deg, {"boxstyle": "square,pad=0.1", "facecolor": "1", "edgecolor": "none", "alpha": 0.8}
    for turn in turn_spots(orders, places):
        x, y = unrolled(turn.longitude_deg, near), turn.latitude_deg
        if is_near(orders, turn.place):
            axes.plot([x, unrolled(turn.place.longitude_deg, near)], [y, turn.place.latitude_deg], ":", color="0", linewidth=0.8)
        axes.plot(x, y, "o", color="0", markersize=8, markerfacecolor="1", markeredgewidth=1.6)
        axes.plot(x, y, ".", color="0", markersize=3)
        axes.annotate(f"turn by {when(orders, turn.when)}", (x, y), (7, 6), textcoords="offset points", fontsize=7.5, fontweight="bold")
    for place in (p for p in places if is_near(orders, p)):
        spot = (unrolled(place.longitude_deg, near), place.latitude_deg)
        axes.plot(*spot, "D", color="0", markersize=4)
        axes.annotate(place.name, spot, (5, 4), textcoords="offset points", fontsize=7, bbox=paper)
    far = sorted((distance_nm(orders, p), p.name) for p in places if not is_near(orders, p))
    if far:
        said = f"Not drawn: {'; '.join(f'{name} {miles:.0f} miles' for miles, name in far[:4])}{'; ...' if len(far) > 4 else ''}"
        axes.text(0.0, -0.09, said, transform=axes.transAxes, fontsize=6.5, wrap=True)
