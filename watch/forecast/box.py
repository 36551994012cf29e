"""The piece of sea that a forecast is wanted for: a box of latitude and longitude that may cross the antimeridian."""

import math
from dataclasses import dataclass

import numpy as np

from watch.units import Floats

MILES_PER_DEGREE = 60.0  # a minute of latitude is a nautical mile, near enough for a margin


@dataclass(frozen=True)
class Box:
    """South, north [deg, -90..90], west, east [deg, -360..360].

    It runs eastward from west to east, so 170 to -170 crosses the antimeridian. West equal to east is refused (write -180 to 180
    for the whole round). Raises ValueError with what is wrong.

    >>> Box(30.0, 45.0, 170.0, -170.0).width_deg
    20.0
    """

    south: float
    north: float
    west: float
    east: float

    def __post_init__(self) -> None:
        if not -90.0 <= self.south < self.north <= 90.0:
            raise ValueError(f"a box needs -90 <= south < north <= 90, not {self.south} and {self.north}")
        if not (abs(self.west) <= 360.0 and abs(self.east) <= 360.0 and self.west != self.east):
            raise ValueError(f"a box needs a west and an east between -360 and 360 that differ, not {self.west} and {self.east}")

    @property
    def width_deg(self) -> float:
        """Degrees of longitude from west, eastward, to east; 360 for the whole round."""
        return (self.east - self.west) % 360.0 or 360.0

    @classmethod
    def around(cls, latitude: Floats | float, longitude: Floats | float, *, miles: float = 0.0) -> "Box":
        """The smallest box round points [deg, any shape] with a margin [nm]: the widest gap between longitudes is left outside.

        >>> Box.around(np.array([-10.0, -12.0]), np.array([179.0, -178.0]), miles=60.0)
        Box(south=-13.0, north=-9.0, west=177.97..., east=-176.97...)
        """
        lat = np.asarray(latitude, dtype=float).ravel()
        lon = np.unique(np.asarray(longitude, dtype=float) % 360.0)
        if not (lat.size and np.isfinite(lat).all() and np.isfinite(lon).all()):
            raise ValueError("a box needs at least one position, and every position known")
        gaps = np.diff(lon, append=lon[0] + 360.0)
        widest = int(np.argmax(gaps))
        west, width = float(lon[(widest + 1) % lon.size]), 360.0 - float(gaps[widest])
        return _box(float(lat.min()), float(lat.max()), west, width, max(miles, 0.01))

    def grown(self, miles: float) -> "Box":
        """The box with a margin [nm, 0 or more] on every side, wider in degrees of longitude the higher the latitude.

        >>> Box(0.0, 60.0, 0.0, 10.0).grown(60.0)
        Box(south=-1.0, north=61.0, west=-2.06..., east=12.06...)
        """
        if miles < 0.0:
            raise ValueError("a margin is 0 or more nautical miles")
        return self if miles == 0.0 else _box(self.south, self.north, self.west, self.width_deg, miles)

    def contains(self, latitude: Floats | float, longitude: Floats | float) -> np.ndarray:
        """True where a position [deg, any shape] lies in the box or on its edge; False for a missing one.

        >>> bool(Box(30.0, 45.0, 170.0, -170.0).contains(40.0, 180.0))
        True
        """
        lat, lon = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
        inside: np.ndarray = (lat >= self.south) & (lat <= self.north) & ((lon - self.west) % 360.0 <= self.width_deg)
        return inside


def _box(south: float, north: float, west: float, width: float, miles: float) -> Box:
    low, high = max(-90.0, south - miles / MILES_PER_DEGREE), min(90.0, north + miles / MILES_PER_DEGREE)
    narrowest = math.cos(math.radians(max(abs(low), abs(high))))
    side = miles / MILES_PER_DEGREE / narrowest if narrowest > 1e-6 else 360.0
    if width + 2 * side >= 360.0:
        return Box(low, high, -180.0, 180.0)
    start = (west - side + 180.0) % 360.0 - 180.0
    end = (start + width + 2 * side + 180.0) % 360.0 - 180.0
    return Box(low, high, start, end)
