"""Each possible weather at a place of its own: for boats that are blown where the wind goes, and so are somewhere else in each.

As watch.weather.anywhere, but without squalls.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.weather.anywhere import Anywhere, Run
from watch.weather.gust_scatter import scattered
from watch.weather.scenarios import NM_PER_DEG
from watch.weather.widened import widened
from watch.when import to_np

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class OwnWind:
    """(C, S) at 10 m, each at its own place: u, v towards east and north [m/s] in the middle of the hour, gust [m/s]; NaN unknown."""

    u_ms: Floats32
    v_ms: Floats32
    gust_ms: Floats32


def own_wind(weathers: Anywhere, hour: Ints, latitude: Floats, longitude: Floats) -> OwnWind:
    """Whole hours (C) and places (C, S) [deg], a column for each weather -> the wind that each has there."""
    out = {name: np.full(latitude.shape, np.nan, dtype=np.float32) for name in ("u", "v", "gust")}
    look, factor = weathers.looked(hour)
    for run in weathers.runs:
        _of_run(weathers, run, look, latitude, longitude, out)
    u, v, gust = (out[name] * factor[:, None] for name in ("u", "v", "gust"))
    return OwnWind(u_ms=u, v_ms=v, gust_ms=gust)


def _of_run(
    weathers: Anywhere, run: Run, hour: Ints, latitude: Floats, longitude: Floats, out: dict[str, Floats32]
) -> None:  # fmt: skip
    scenario, member = (np.concatenate([getattr(g, n) for g in run.groups]) for n in ("scenarios", "members"))
    count = [len(g.scenarios) for g in run.groups]
    east, north, shift = (np.repeat([getattr(g, n) for g in run.groups], count) for n in ("east", "north", "shift"))
    start_h = float((weathers.hours[0] - to_np(run.drawn.forecast.run)) / np.timedelta64(1, "h"))
    lead_h = start_h + hour[:, None].astype(float)
    place = weathers.widening.at(weathers.widening.place_nm, lead_h) / NM_PER_DEG
    here_lat, here_lon = latitude[:, scenario], longitude[:, scenario]
    lat = np.clip(here_lat + north * place, -89.0, 89.0)
    lon = here_lon + east * place / np.cos(np.radians(np.clip(here_lat, -80.0, 80.0)))
    wind = run.fields["mean"][0][1]
    on = wind.inside(lat, lon).reshape(lat.shape)
    lat, lon = np.where(on, lat, here_lat).ravel(), np.where(on, lon, here_lon).ravel()
    late = np.round(shift * weathers.widening.at(weathers.widening.timing_h, lead_h)).astype(np.int64)
    at = run.kept(hour[:, None], late).ravel()
    members = np.broadcast_to(member, here_lat.shape).ravel()
    spots = wind.spots(lat, lon)
    raw = {name: np.full(here_lat.shape, np.nan, dtype=np.float32) for name in ("mean", "u", "v", "gust")}
    for name in raw:
        if name in run.fields:
            blocks = run.fields[name][0][1]
            where = spots if blocks.on_grid_of(wind) else blocks.spots(lat, lon)
            raw[name] = blocks.at_members(at, members, where).reshape(here_lat.shape)
    z = np.concatenate([g.z for g in run.groups]).T if run.drawn.single else None
    mean, gust, u, v = widened(raw, z, lead_h, weathers.widening)
    gust = scattered(mean, gust, run.scatter_of(hour, scenario))
    out["u"][:, scenario], out["v"][:, scenario], out["gust"][:, scenario] = u, v, gust
