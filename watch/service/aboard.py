"""The scenarios as they are met aboard: at the height that her limits mean, at the angle to her course, in what light."""

from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.boat.model import BoatFile
from watch.orders.met import Met
from watch.orders.met import height_factor as height_factor
from watch.orders.weights import Aims
from watch.passage.light import Light, Need, light_along
from watch.units import ms_to_kn, wrap_180
from watch.when import ShipTime, Times

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Steps:
    """How she goes: time, latitude, longitude at T + 1 marks; course and speed through each of T steps."""

    time: Times
    latitude: Floats
    longitude: Floats
    course_deg: Floats
    boat_kn: Floats

    def part(self, first: int, last: int) -> "Steps":
        """Steps first <= i < last, with the marks round them."""
        marks, steps = slice(first, last + 1), slice(first, last)
        return Steps(time=self.time[marks], latitude=self.latitude[marks], longitude=self.longitude[marks],
                     course_deg=self.course_deg[steps], boat_kn=self.boat_kn[steps])  # fmt: skip


def met_of(boat: BoatFile, steps: Steps, scenarios: xr.Dataset) -> Met:
    """Scenarios at 10 m -> as the boat's own limits mean them: height, knots, angle to her course, light."""
    factor = height_factor(boat)
    series = {name: scenarios[name].values for name in ("mean_ms", "gust_ms", "low_ms", "from_deg", "sea_m", "steepness")}
    day, moon = through_each_step(light_along(steps.time, steps.latitude, steps.longitude))
    return Met(
        time=steps.time,
        weight=scenarios["weight"].values,
        mean_kn=ms_to_kn(series["mean_ms"]) * factor,
        gust_kn=ms_to_kn(series["gust_ms"]) * factor,
        low_kn=ms_to_kn(series["low_ms"]) * factor,
        angle_deg=np.abs(wrap_180(series["from_deg"] - steps.course_deg)),
        sea_m=series["sea_m"],
        steepness=series["steepness"],
        boat_kn=steps.boat_kn,
        day=day,
        moon=moon,
    )


def through_each_step(light: Light) -> tuple[Bools, Bools]:
    """(T), (T): light enough by day, and by day or moon, from the beginning of each step to its end."""
    day, moon = light.enough(Need.DAY), light.enough(Need.MOON)
    return day[:-1] & day[1:], moon[:-1] & moon[1:]


def asleep(met: Met, aims: Aims, ship: ShipTime) -> Bools:
    """(T): her sleeping hours, by ship's time."""
    minutes = (met.time[:-1].astype("datetime64[m]").astype(np.int64) + ship.offset_minutes) % 1440
    begins, ends = _minutes(aims.sleep_from), _minutes(aims.sleep_to)
    inside: Bools = (minutes >= begins) & (minutes < ends) if begins < ends else (minutes >= begins) | (minutes < ends)
    return inside


def _minutes(clock: str) -> int:
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)
