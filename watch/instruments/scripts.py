"""What a simulator plays, from weather along a track: invented truth, or a forecast that is made to come early or late, strong or weak."""

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

import numpy as np
from geographiclib.geodesic import Geodesic

from watch.forecast.contract import Forecast
from watch.instruments.simulate import Script, made_good
from watch.passage.route import Route
from watch.units import M_PER_NM, Floats, kn_to_ms
from watch.weather.look import Where
from watch.weather.plain import plain_along
from watch.weather.scenarios import usable
from watch.weather.wind import at_height, gust_factor
from watch.when import STEPS_PER_HOUR, Times, floor_step, grid


def along_route(route: Route, steps: int, speed_kn: float) -> tuple[Floats, Floats]:
    """Places (steps + 1) [deg] ten minutes apart along the route's great circles at one speed; at the end of it she lies still.

    >>> from watch.passage.route import Waypoint
    >>> east = Route(name="east", waypoints=(Waypoint(name="A", latitude=0.0, longitude=0.0), Waypoint(name="B", latitude=0.0, longitude=1.0)))
    >>> [round(float(x), 3) for x in along_route(east, 3, 60.0)[1]]
    [0.0, 0.166, 0.333, 0.499]
    """
    sailed_m = np.arange(steps + 1) * (speed_kn / STEPS_PER_HOUR) * M_PER_NM
    legs = [Geodesic.WGS84.InverseLine(a.latitude, a.longitude, b.latitude, b.longitude) for a, b in pairwise(route.waypoints)]
    begins_m = np.concatenate([[0.0], np.cumsum([leg.s13 for leg in legs])])
    places = []
    for metres in np.minimum(sailed_m, begins_m[-1]):
        leg = min(int(np.searchsorted(begins_m, metres, side="right")) - 1, len(legs) - 1)
        found = legs[leg].Position(float(metres - begins_m[leg]))
        places.append((found["lat2"], found["lon2"]))
    return np.array([p[0] for p in places]), np.array([p[1] for p in places])


def script_from_forecast(forecasts: Sequence[Forecast], route: Route, start: datetime, hours: float, *, speed_kn: float = 6.0,
                         height_m: float = 10.0, early_h: float = 0.0, strength: float = 1.0) -> Script:  # fmt: skip
    """The plain forecast along a route as if it were the truth, early_h hours before its time and its wind `strength` times as strong.

    height_m: of the anemometer. Gusts are the forecast's, or the mean wind times the published factor where it has none. Raises
    ValueError when the forecast has no wind anywhere on the way.
    """
    steps = max(1, round(hours * STEPS_PER_HOUR))
    latitude, longitude = along_route(route, steps, speed_kn)
    time = grid(floor_step(start), steps)
    look: Times = time + np.timedelta64(round(early_h * 3600.0), "s")
    plain: dict[str, Floats] = {}
    for run in usable(forecasts):
        own = plain_along([run], Where(time=look, latitude=latitude, longitude=longitude))
        plain = {name: np.where(np.isfinite(plain[name]), plain[name], values) if plain else values for name, values in own.items()}
    if not plain or not np.isfinite(plain["mean_kn"]).any():
        raise ValueError("the forecast has no wind on that track in those hours")
    mean = kn_to_ms(plain["mean_kn"][:-1])
    gust = np.where(np.isfinite(plain["gust_kn"][:-1]), kn_to_ms(plain["gust_kn"][:-1]), mean * gust_factor())
    return _script(floor_step(start), mean * strength, gust * strength, plain["from_deg"][:-1], 100.0 * plain["pressure_hpa"], latitude,
                   longitude, height_m)


def script_from_series(start: datetime, mean_ms: Floats, gust_ms: Floats, from_deg: Floats, pressure_pa: Floats, latitude_deg: Floats,
                       longitude_deg: Floats, *, height_m: float = 10.0) -> Script:  # fmt: skip
    """n + 1 values at ten-minute marks from start on, means and gusts over the ten minutes before each, at 10 m -> the script."""
    return _script(start, mean_ms[1:], gust_ms[1:], from_deg[1:], pressure_pa, latitude_deg, longitude_deg, height_m)


def _script(start: datetime, mean_ms: Floats, gust_ms: Floats, from_deg: Floats, pressure_pa: Floats, latitude: Floats, longitude: Floats,
            height_m: float) -> Script:  # fmt: skip
    still = np.zeros(mean_ms.size)
    plain = Script(start=start, mean_ms=at_height(mean_ms, height_m), gust_ms=at_height(gust_ms, height_m), from_deg=from_deg,
                   heading_deg=still, pressure_pa=pressure_pa, latitude_deg=latitude, longitude_deg=longitude)
    heading = np.array([made_good(plain, step)[1] for step in range(mean_ms.size)])
    return Script(start=start, mean_ms=plain.mean_ms, gust_ms=plain.gust_ms, from_deg=from_deg, heading_deg=heading, pressure_pa=pressure_pa,
                  latitude_deg=latitude, longitude_deg=longitude)


