"""How she goes in the forecast wind: the bridge from boat, route and forecast to her track."""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from watch.boat.rig import Rig
from watch.orders.carriages import carriage_of
from watch.passage.carriage import Carriage
from watch.passage.track import Track, sail
from watch.weather.plain import Wind, central_wind
from watch.weather.scenarios import usable
from watch.when import grid

if TYPE_CHECKING:
    from watch.service.one_pass import Asked

Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Going:
    """What her track is made from."""

    asked: "Asked"
    rig: Rig
    start: datetime
    steps: int

    @cached_property
    def carriages(self) -> tuple[Carriage, ...]:
        """One for each rig state."""
        return tuple(carriage_of(self.rig, i) for i in range(len(self.rig.states)))

    @cached_property
    def wind(self) -> Wind:
        """The wind the track is sailed in, the members brought together once for every try."""
        return central_wind(usable(self.asked.forecasts)[0], grid(self.start, self.steps))


def sail_along(going: Going, carried: Ints) -> Track:
    """Her track when these rig states (T) are carried."""
    asked = going.asked
    route = asked.route
    if asked.latitude is not None and asked.longitude is not None:
        route = route.from_position(asked.latitude, asked.longitude)
    return sail(route, going.start, carried, going.carriages, going.wind).boat(0)


def distance_apart_nm(a: Track, b: Track) -> float:
    """The farthest that two tracks are apart at the same time [nm]."""
    north = a.latitude - b.latitude
    east = ((a.longitude - b.longitude + 180.0) % 360.0 - 180.0) * np.cos(np.radians(a.latitude))
    return float(60.0 * np.hypot(north, east).max())
