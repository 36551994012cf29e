"""(I/O) What the watch understood of a route and of forecast files, in words."""

import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.passage.earth import bearing_deg, distance_nm
from watch.passage.position import show_position
from watch.passage.route import route_length_nm
from watch.passage.route_file import read_route
from watch.when import from_np

WIDTH = 80


def route_words(path: Path) -> str:
    """A route file -> its waypoints, courses and distances, as text."""
    route = read_route(path)
    lines = [f"{route.name}: {len(route.waypoints)} waypoints by {route.kind}, {route_length_nm(route):.0f} miles in all."]
    if route.departure is not None:
        lines.append(f"Departure {route.departure:%A %d %B %Y %H:%M} UTC.")
    for a, b in zip((None, *route.waypoints), route.waypoints, strict=False):
        leg = ""
        if a is not None:
            there = (a.latitude, a.longitude, b.latitude, b.longitude)
            leg = f"  {bearing_deg(*there):03.0f} degrees true, {distance_nm(*there):.0f} miles"
        lines.append(f"  {b.name:<20} {show_position(b.latitude, b.longitude)}{leg}")
    lines += [f"Note: {note}" for note in route.notes]
    return "\n".join(lines) + "\n"


def forecast_words(paths: Sequence[Path]) -> str:
    """GRIB files -> the runs in them: fields, steps, grid, what is missing, as text."""
    return "\n".join(line for forecast in read(list(paths), None) for line in _forecast(forecast)) + "\n"


def _forecast(forecast: Forecast) -> list[str]:
    kind = "one run" if forecast.kind == "single" else "an ensemble"
    lines = [f"{forecast.centre}, run of {forecast.run:%a %d %b %Y %H:%M} UTC, {kind}, from {', '.join(forecast.files)}"]
    for name, field in forecast.fields.items():
        time, lat, lon = field["time"].values, field["latitude"].values, field["longitude"].values
        members = "" if field.sizes["member"] == 1 else f"{field.sizes['member']} members, "
        interval = "" if (field["time_from"].values == time).all() else ", over the interval before"
        known = 100.0 * float(np.isfinite(field.values).mean())
        lines.append(
            f"  {name:<14} {members}{len(time)} steps {from_np(time[0]):%d %b %H:%M} to {from_np(time[-1]):%d %b %H:%M}{interval}; "
            f"{len(lat)} x {len(lon)} points, {lat[0]:g} to {lat[-1]:g}, {lon[0]:g} to {lon[-1]:g}; {known:.0f} % known"
        )
    absent = [
        n for n in (Name.U10_MS, Name.GUST_MS, Name.PRESSURE_PA, Name.CAPE_JKG, Name.RAIN_KGM2S, Name.SEA_M) if not forecast.has(n)
    ]
    if absent:
        lines.append(f"  not in it: {', '.join(absent)}")
    for note in forecast.notes:
        lines += textwrap.wrap(f"  note: {note}", WIDTH, subsequent_indent="  ")
    return lines
