"""Small seas for the stories of shelter: weather told by hour, place and member becomes a forecast, a track and a question."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.boat.boat_file import read_boat
from watch.boat.model import BoatFile
from watch.boat.rig import Rig, parse_state, rig_from
from watch.forecast.contract import Forecast, Name
from watch.orders.carriages import carriage_of
from watch.orders.shelter import Ask
from watch.orders.weights import Aims, Weights
from watch.passage.land import Land
from watch.passage.route import Route, Waypoint
from watch.passage.shelters import Entrance, Shelter
from watch.passage.track import Track, sail
from watch.units import kn_to_ms
from watch.weather.anywhere import anywhere
from watch.weather.plain import central_wind
from watch.when import STEPS_PER_HOUR, grid, parse_utc

ROOT = Path(__file__).resolve().parents[2]
NOON = parse_utc("2026-05-16T12:00Z")
Floats = NDArray[np.float64]
# hour (T, 1, 1), latitude (1, Y, 1), longitude (1, 1, X), member -> from_deg, mean_kn, gust_kn, sea_m
Weather = Callable[[Floats, Floats, Floats, int], tuple[Floats | float, Floats | float, Floats | float, Floats | float]]


@cache
def boat(name: str = "sloop") -> BoatFile:
    return read_boat(ROOT / "config" / f"boat-{name}.toml")


def forecast(weather: Weather, *, hours: int = 60, members: int = 5, step_h: int = 1, start: datetime = NOON,
             box: tuple[float, float, float, float] = (30.0, 45.0, -60.0, -40.0)) -> Forecast:  # fmt: skip
    """A forecast that has this weather in it, on a grid of one degree."""
    hour = np.arange(0, hours + 1, step_h, dtype=float)
    lat, lon = np.arange(box[0], box[1] + 0.5), np.arange(box[2], box[3] + 0.5)
    time = grid(start, 6 * hours)[:: 6 * step_h]
    shape = (members, len(hour), len(lat), len(lon))
    out = {n: np.empty(shape) for n in ("from", "mean", "gust", "sea")}
    for k in range(members):
        told = weather(hour[:, None, None], lat[None, :, None], lon[None, None, :], k)
        for name, values in zip(out, told, strict=True):
            out[name][k] = values
    angle = np.radians(out["from"])
    speed = kn_to_ms(out["mean"])
    data = {Name.U10_MS: -speed * np.sin(angle), Name.V10_MS: -speed * np.cos(angle), Name.GUST_MS: kn_to_ms(out["gust"]),
            Name.SEA_M: out["sea"]}  # fmt: skip
    coords = {"member": np.arange(members), "time": time, "time_from": ("time", time), "latitude": lat, "longitude": lon}
    dims = ("member", "time", "latitude", "longitude")
    fields = {n: xr.DataArray(v.astype(np.float32), dims=dims, coords=coords) for n, v in data.items()}
    kind = "ensemble" if members > 1 else "single"
    return Forecast(run=start.astimezone(UTC), centre="invented", kind=kind, fields=fields, files=("invented",))


def route(*places: tuple[float, float]) -> Route:
    return Route(name="invented", waypoints=tuple(Waypoint(name=f"W{k}", latitude=a, longitude=b) for k, (a, b) in enumerate(places)))


EASY = Entrance(mean_kn=90, sea_m=19, daylight=False, bar=False, minutes=0)


def shelter(name: str, latitude: float, longitude: float, *, entrance: Entrance = EASY, **facts: object) -> Shelter:
    """A shelter that is good in everything but for the facts given."""
    plain: dict[str, object] = {"kind": "lee", "open_to_wind": (), "open_to_swell": ()}
    return Shelter(name=name, latitude=latitude, longitude=longitude, entrance=entrance, **{**plain, **facts})  # type: ignore[arg-type]


def question(
    found: Forecast, shelters: Sequence[Shelter], way: Route, *, state: str = "main: reef 1, genoa: half", boat_name: str = "sloop",
    land: Land | None = None, aims: Aims | None = None, hours: int | None = None,
) -> Ask:  # fmt: skip
    """What judge_shelters wants, with her first rig state carried all the way."""
    own = boat(boat_name)
    rig = rig_from(own, parse_state(own, state))
    last = found.fields[Name.U10_MS]["time"].values[-1]
    count = hours if hours is not None else int((last - grid(found.run, 0)[0]) / np.timedelta64(1, "h"))
    time = grid(found.run, count * STEPS_PER_HOUR)
    wind = central_wind(found, time)
    return Ask(
        rig=rig, aims=aims or Aims(stay_hours=6), weights=Weights(), track=_track(way, rig, count, found), wind=wind,
        carried=np.zeros(count * STEPS_PER_HOUR, dtype=np.int64), weathers=anywhere([found], time[::STEPS_PER_HOUR]),
        height_factor=1.0, shelters=tuple(shelters), land=land,
    )  # fmt: skip


def _track(way: Route, rig: Rig, hours: int, found: Forecast) -> Track:
    steps = hours * STEPS_PER_HOUR
    carried = np.zeros(steps, dtype=np.int64)
    return sail(way, found.run, carried, (carriage_of(rig, 0),), central_wind(found, grid(found.run, steps))).boat(0)
