"""(I/O) What the watch understood of a route, of forecast files and of shelters, in words."""

import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np

from watch.forecast.contract import Forecast, Name
from watch.forecast.freshness import words as freshness_words
from watch.forecast.grib import read
from watch.forecast.trial import read_apart
from watch.forecast.twin import compare_with_cfgrib
from watch.passage.earth import bearing_deg, distance_nm
from watch.passage.land import ABOUT, NOT_KNOWN, load_land
from watch.passage.position import show_position
from watch.passage.route import route_length_nm
from watch.passage.route_file import read_route
from watch.passage.shelters import Shelter
from watch.passage.shelters_file import read_shelters
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


def forecast_words(paths: Sequence[Path], now: datetime) -> str:
    """GRIB files -> the runs in them: fields, steps, grid, age, what is missing, and whether a second reader agrees, as text."""
    read_apart(paths)
    lines = [line for forecast in read(list(paths), None) for line in _forecast(forecast, now)]
    for path in paths:
        found = compare_with_cfgrib(path)
        said = "read a second way, by cfgrib: every value agrees." if not found else "READ A SECOND WAY, by cfgrib, it differs; do not trust it:"
        lines += [f"{path.name}: {said}", *(f"  {difference}" for difference in found)]
    return "\n".join(lines) + "\n"


def _forecast(forecast: Forecast, now: datetime) -> list[str]:
    kind = "one run" if forecast.kind == "single" else "an ensemble"
    lines = [f"{forecast.centre}, run of {forecast.run:%a %d %b %Y %H:%M} UTC, {kind}, from {', '.join(forecast.files)}"]
    lines.append(f"  {freshness_words(forecast.centre, forecast.run, now)}")
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


def shelter_words(paths: Sequence[Path]) -> str:
    """Shelters files -> each shelter in words, and whether the mask of land has its place in the water."""
    read = read_shelters(paths)
    lat, lon = (np.array([getattr(s, n) for s in read.shelters]) for n in ("latitude", "longitude"))
    land = load_land(float(lat.min()) - 0.1, float(lat.max()) + 0.1, -180.0, 180.0)
    ashore = [False] * len(lat) if land is None else land.on_land(lat, lon).tolist()
    lines = [f"Note: {note}" for note in (*read.notes, NOT_KNOWN if land is None else f"{ABOUT}.")]
    for shelter, on_land in zip(read.shelters, ashore, strict=True):
        lines.append(_shelter(shelter))
        if on_land:
            lines.append("  ITS PLACE IS ON LAND in that mask: give a place off the entrance, in open water.")
    return "\n".join(line for given in lines for line in textwrap.wrap(given, WIDTH, subsequent_indent="  ")) + "\n"


def _shelter(s: Shelter) -> str:
    e = s.entrance
    gust = "" if e.gust_kn is None else f", gusts {e.gust_kn:g} kn"
    shut = "" if not e.shut_to else f", never in wind from {_sectors(e.shut_to)}"
    wind = "to no wind" if not s.open_to_wind else f"to wind from {_sectors(s.open_to_wind)} above {s.open_wind_kn:g} kn"
    swell = "to no swell" if not s.open_to_swell else f"to swell from {_sectors(s.open_to_swell)} above {s.swell_m:g} m"
    holds = "" if s.hold_gust_kn is None else f" Holds in gusts to {s.hold_gust_kn:g} kn."
    light, bar = ", by day only" if e.daylight else "", ", over a bar" if e.bar else ""
    return (
        f"{s.name}, {s.kind}, {show_position(s.latitude, s.longitude)}: open {wind}, {swell}.{holds} "
        f"Entrance: mean {e.mean_kn:g} kn{gust}, sea {e.sea_m:g} m{shut}{light}{bar}, {e.minutes:g} min."
    )


def _sectors(sectors: Sequence[tuple[float, float]]) -> str:
    return " and ".join(f"{a:03.0f} to {b:03.0f}" for a, b in sectors)
