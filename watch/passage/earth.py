"""The shape of the earth: distance and bearing on the WGS84 ellipsoid, exact one at a time and quick by the thousand."""

import math

import numpy as np
from geographiclib.geodesic import Geodesic
from numpy.typing import NDArray

from watch.units import M_PER_NM

Floats = NDArray[np.float64]

A_M = 6378137.0  # WGS84: source wgs84-1
F = 1.0 / 298.257223563
E2 = F * (2.0 - F)
TINY = 1e-300

_N = F / (2.0 - F)  # third flattening
_RECTIFYING_M = A_M / (1.0 + _N) * (1.0 + _N**2 / 4.0 + _N**4 / 64.0)
_MERIDIAN = (  # sin 2, 4, 6, 8 lat of the rectifying latitude; source meridian-1
    -1.5 * _N + 9.0 / 16.0 * _N**3,
    15.0 / 16.0 * _N**2 - 15.0 / 32.0 * _N**4,
    -35.0 / 48.0 * _N**3,
    315.0 / 512.0 * _N**4,
)


def distance_nm(latitude1: float, longitude1: float, latitude2: float, longitude2: float) -> float:
    """Length [nm] of the shortest line on the ellipsoid between two places in degrees.

    >>> round(distance_nm(0.0, 179.5, 0.0, -179.5), 4)  # a degree of the equator: pi a / 180
    60.1077
    """
    return float(Geodesic.WGS84.Inverse(latitude1, longitude1, latitude2, longitude2)["s12"]) / M_PER_NM


def bearing_deg(latitude1: float, longitude1: float, latitude2: float, longitude2: float) -> float:
    """Bearing [deg true, 0..360) in which the shortest line from the first place to the second sets out.

    >>> round(bearing_deg(0.0, 0.0, 0.0, -1.0), 6)
    270.0
    """
    return float(Geodesic.WGS84.Inverse(latitude1, longitude1, latitude2, longitude2)["azi1"]) % 360.0


def rhumb_nm(latitude1: float, longitude1: float, latitude2: float, longitude2: float) -> float:
    """Length [nm] of the line of constant bearing between two places in degrees, the short way round.

    >>> round(rhumb_nm(60.0, 0.0, 60.0, 10.0) / rhumb_nm(0.0, 0.0, 0.0, 10.0), 3)
    0.501
    """
    places = [np.radians(np.array([x])) for x in (latitude1, longitude1, latitude2, longitude2)]
    return float(quick_rhumb_m(*places)[0]) / M_PER_NM


def rhumb_bearing_deg(latitude1: float, longitude1: float, latitude2: float, longitude2: float) -> float:
    """Bearing [deg true, 0..360) of the line of constant bearing, the short way round.

    >>> rhumb_bearing_deg(60.0, 170.0, 60.0, -170.0)
    90.0
    """
    north = isometric(np.radians(latitude2)) - isometric(np.radians(latitude1))
    east = wrap_rad(np.radians(longitude2 - longitude1))
    return math.degrees(math.atan2(float(east), float(north))) % 360.0


def radii_m(sin_latitude: Floats) -> tuple[Floats, Floats]:
    """Sine of the latitude -> radii of curvature [m] along the meridian and across it, same shape.

    >>> [round(float(r)) for r in radii_m(np.array(0.0))]
    [6335439, 6378137]
    """
    w = 1.0 - E2 * sin_latitude * sin_latitude
    across = A_M / np.sqrt(w)
    return across * (1.0 - E2) / w, across


def wrap_rad(angle: Floats) -> Floats:
    """Any angle [rad] -> the same in [-pi, pi), same shape."""
    return np.asarray((angle + math.pi) % math.tau - math.pi)


def isometric(latitude: Floats) -> Floats:
    """Latitude [rad], short of the poles -> isometric latitude [rad], in which a rhumb line is straight. Source: meridian-1."""
    sine = np.sin(latitude)
    e = math.sqrt(E2)
    return np.asarray(np.arctanh(sine) - e * np.arctanh(e * sine))


def meridian_m(latitude: Floats) -> Floats:
    """Latitude [rad] -> distance from the equator along the meridian [m], to well under a metre. Source: meridian-1."""
    series = sum(c * np.sin(2.0 * (i + 1) * latitude) for i, c in enumerate(_MERIDIAN))
    return np.asarray(_RECTIFYING_M * (latitude + series))


def quick_rhumb_m(latitude1: Floats, longitude1: Floats, latitude2: Floats, longitude2: Floats) -> Floats:
    """Lengths [m] of lines of constant bearing between places in radians, the short way round, same shape."""
    d_iso = isometric(latitude2) - isometric(latitude1)
    d_north = meridian_m(latitude2) - meridian_m(latitude1)
    across = radii_m(np.sin(0.5 * (latitude1 + latitude2)))[1] * np.cos(0.5 * (latitude1 + latitude2))
    flat = np.abs(d_iso) < 1e-6
    east_m = wrap_rad(longitude2 - longitude1) * np.where(flat, across, d_north / np.where(flat, 1.0, d_iso))
    return np.asarray(np.hypot(d_north, east_m))


def quick_distance_m(latitude1: Floats, longitude1: Floats, latitude2: Floats, longitude2: Floats) -> Floats:
    """Lengths [m] of the shortest lines between places in radians, same shape, to about 0.002 %; not for nearly opposite places.

    Source: lambert-1 (Lambert's formula for long lines, on reduced latitudes).
    """
    b1, b2 = np.arctan((1.0 - F) * np.tan(latitude1)), np.arctan((1.0 - F) * np.tan(latitude2))
    p, q = 0.5 * (b1 + b2), 0.5 * (b2 - b1)
    half = np.sin(0.5 * (longitude2 - longitude1))
    sin2q = np.sin(q) ** 2
    hav = np.minimum(sin2q + np.cos(b1) * np.cos(b2) * half * half, 1.0)
    angle = 2.0 * np.arcsin(np.sqrt(hav))
    sine = np.sin(angle)
    x = (angle - sine) * np.sin(p) ** 2 * (1.0 - sin2q) / np.maximum(1.0 - hav, TINY)
    y = (angle + sine) * np.cos(p) ** 2 * sin2q / np.maximum(hav, TINY)
    return np.asarray(A_M * (angle - 0.5 * F * (x + y)))


def unit(latitude_deg: float, longitude_deg: float) -> Floats:
    """A place in degrees -> unit vector (3) on the sphere."""
    lat, lon = math.radians(latitude_deg), math.radians(longitude_deg)
    return np.array([math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)])


def on_arc(a: Floats, b: Floats, p: Floats) -> Floats:
    """The point (unit vector) of the great-circle arc from a to b, shorter than half a turn, that is nearest to p.

    >>> on_arc(unit(0, 0), unit(0, 20), unit(5, 10)).round(6).tolist() == unit(0, 10).round(6).tolist()
    True
    """
    normal = np.cross(a, b)
    length = float(np.linalg.norm(normal))
    if length > 1e-12:
        normal /= length
        foot = p - float(p @ normal) * normal
        size = float(np.linalg.norm(foot))
        if size > 1e-12:
            foot /= size
            if float(np.cross(a, foot) @ normal) >= 0.0 and float(np.cross(foot, b) @ normal) >= 0.0:
                return np.asarray(foot)
    return a if float(p @ a) >= float(p @ b) else b
