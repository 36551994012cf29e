"""In what: unit conversions and the published scales. SI inside, knots, hPa, metres and nautical miles for people."""

import math
from typing import overload

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

M_PER_NM = 1852.0  # international nautical mile, exact: source nm-1
KN_PER_MS = 3600.0 / M_PER_NM

# Lower bounds of forces 1 to 12 in whole knots (WMO-No. 306 code table 1100; source beaufort-1).
BEAUFORT_FROM_KN = (1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64)
# Upper bounds of sea state codes 0 to 8 in metres; a bound belongs to the lower code (WMO code table 3700; source sea-1).
SEA_STATE_TO_M = (0.0, 0.1, 0.5, 1.25, 2.5, 4.0, 6.0, 9.0, 14.0)


@overload
def ms_to_kn(speed_ms: float) -> float: ...
@overload
def ms_to_kn(speed_ms: Floats) -> Floats: ...
def ms_to_kn(speed_ms: float | Floats) -> float | Floats:
    """speed_ms [m/s] -> [kn], same shape.

    >>> round(ms_to_kn(17.2), 2)
    33.43
    """
    return speed_ms * KN_PER_MS


@overload
def kn_to_ms(speed_kn: float) -> float: ...
@overload
def kn_to_ms(speed_kn: Floats) -> Floats: ...
def kn_to_ms(speed_kn: float | Floats) -> float | Floats:
    """speed_kn [kn] -> [m/s], same shape.

    >>> round(kn_to_ms(30.0), 3)
    15.433
    """
    return speed_kn / KN_PER_MS


def beaufort(mean_kn: float) -> int | None:
    """Beaufort force of a mean wind in knots, rounded to the whole knot first; None for a missing wind. Source: beaufort-1.

    >>> beaufort(33.4), beaufort(33.6), beaufort(float("nan"))
    (7, 8, None)
    """
    if math.isnan(mean_kn):
        return None
    whole_kn = math.floor(mean_kn + 0.5)
    return sum(whole_kn >= bound for bound in BEAUFORT_FROM_KN)


def sea_state(height_m: float) -> int | None:
    """WMO sea state code 0 to 9 of a significant wave height [m]; None for a missing height. Source: sea-1.

    >>> sea_state(2.5), sea_state(2.6)
    (4, 5)
    """
    if math.isnan(height_m):
        return None
    return sum(height_m > bound for bound in SEA_STATE_TO_M)


def wrap_180(angle_deg: Floats | float) -> Floats:
    """Any angle [deg] -> the same angle in [-180, 180), same shape.

    >>> float(wrap_180(190.0)), float(wrap_180(-180.0))
    (-170.0, -180.0)
    """
    return np.asarray((np.asarray(angle_deg, dtype=float) + 180.0) % 360.0 - 180.0)


def wind_from_deg(u_ms: Floats | float, v_ms: Floats | float) -> Floats:
    """Wind components towards east and north [m/s] -> direction the wind comes from [deg true, 0..360), same shape.

    >>> float(wind_from_deg(0.0, -10.0)), float(wind_from_deg(10.0, 0.0))
    (0.0, 270.0)
    """
    degrees: Floats = np.degrees(np.arctan2(-np.asarray(u_ms, dtype=float), -np.asarray(v_ms, dtype=float))) % 360.0
    return degrees


def wind_components_ms(speed_ms: NDArray[np.floating] | float, from_deg: NDArray[np.floating] | float) -> tuple[Floats, Floats]:
    """Speed [m/s] and direction it comes from [deg true] -> components towards east and north [m/s], same shape.

    >>> [round(float(c), 6) for c in wind_components_ms(10.0, 270.0)]
    [10.0, 0.0]
    """
    angle = np.radians(np.asarray(from_deg, dtype=float))
    return -np.asarray(speed_ms) * np.sin(angle), -np.asarray(speed_ms) * np.cos(angle)


def limit_down_kn(speed_kn: float) -> int:
    """A limit for people: rounded down, the safe side.

    >>> limit_down_kn(27.9)
    27
    """
    return math.floor(speed_kn + 1e-9)


def wind_up_kn(speed_kn: float) -> int:
    """A wind for people: rounded up, the safe side.

    >>> wind_up_kn(27.1)
    28
    """
    return math.ceil(speed_kn - 1e-9)
