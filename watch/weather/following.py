"""Waves from astern: when she may be picked up and run away with, and how often the waves meet her. A caution, made for ships."""

from enum import IntFlag

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.units import Floats, wrap_180
from watch.weather.sea import wavelength_m

# source following-1
SURF_FACTOR_KN = 1.8
FOLLOWING_FROM_DEG = 135.0
LONG_WAVE_SHARE, HIGH_WAVE_SHARE = 0.8, 0.04  # of the boat's length
GROUPS_FROM, GROUPS_TO = 1.8, 3.0  # encounter period over wave period


class Caution(IntFlag):
    """What a following sea may do. UNKNOWN is set when anything needed is missing."""

    NONE = 0
    SURF_RIDING = 1
    HIGH_WAVE_GROUPS = 2
    UNKNOWN = 4


def encounter_deg(heading_deg: ArrayLike, waves_from_deg: ArrayLike) -> Floats:
    """Heading and direction the waves come from [deg true] -> angle of encounter [deg, 0..180]: 0 from ahead, 180 from astern.

    >>> float(encounter_deg(90.0, 270.0)), float(encounter_deg(350.0, 20.0))
    (180.0, 30.0)
    """
    return np.abs(wrap_180(np.asarray(waves_from_deg, dtype=float) - np.asarray(heading_deg, dtype=float)))


def encounter_period_s(period_s: ArrayLike, boat_kn: ArrayLike, encounter: ArrayLike) -> Floats:
    """Wave period [s], speed [kn], angle of encounter [deg] -> time between crests as she meets them [s]; infinite when she keeps
    pace.

    Source: following-1: 3 T^2 / (3 T + V cos alpha), its sign taken away when she overtakes the waves.

    >>> float(encounter_period_s(8.0, 8.0, 0.0)), float(encounter_period_s(8.0, 8.0, 180.0))
    (6.0, 12.0)
    """
    period = np.asarray(period_s, dtype=float)
    below = 3.0 * period + np.asarray(boat_kn, dtype=float) * np.cos(np.radians(np.asarray(encounter, dtype=float)))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.abs(below) > 1e-9, np.abs(3.0 * period**2 / below), np.where(np.isnan(below), np.nan, np.inf))


def surf_riding_from_kn(length_m: float, encounter: ArrayLike) -> Floats:
    """Boat's length [m], angle of encounter [deg] -> speed above which surf-riding and broaching are to be feared [kn]; infinite
    when the waves are not from 45 degrees either side of astern. Source: following-1.

    >>> round(float(surf_riding_from_kn(11.0, 180.0)), 3), float(surf_riding_from_kn(11.0, 135.0))
    (5.97, inf)
    """
    angle = np.asarray(encounter, dtype=float)
    astern = np.cos(np.radians(180.0 - angle))
    speed = np.where(angle > FOLLOWING_FROM_DEG, SURF_FACTOR_KN * np.sqrt(length_m) / np.where(astern > 0.0, astern, 1.0), np.inf)
    return np.where(np.isnan(angle), np.nan, speed)


def following_sea(
    boat_kn: ArrayLike, heading_deg: ArrayLike, waves_from_deg: ArrayLike, period_s: ArrayLike, height_m: ArrayLike, length_m:
    float
) -> NDArray[np.int8]:
    """Speed [kn], heading, waves from [deg true], period [s], significant height [m], boat's length [m] -> flags of `Caution`,
    same shape.

    says: at this speed, with these waves astern, she may surf and broach; or the high waves will come at her in groups.
    why: running is the easiest course until it is the worst; speed is what the sailor can change.
    example: 11 m, waves dead astern: surf-riding to be feared above 6.0 kn.
    source: following-1, made for ships: for a yacht, whose sailors know she surfs and may want her to, it is a caution only and
    never a limit. The waves must be long (0.8 of her) and high (0.04 of her) for either flag, as the guidance has it for groups;
    for surf-riding that is judgement, so that ripples raise no alarm. Missing values set UNKNOWN.

    >>> Caution(int(following_sea(7.0, 90.0, 270.0, 8.0, 3.0, 11.0))).name
    'SURF_RIDING'
    """
    speed, heading, waves, period, height = np.broadcast_arrays(
        *(np.asarray(x, dtype=float) for x in (boat_kn, heading_deg, waves_from_deg, period_s, height_m))
    )
    angle = encounter_deg(heading, waves)
    big = (wavelength_m(period) > LONG_WAVE_SHARE * length_m) & (height > HIGH_WAVE_SHARE * length_m)
    surfing = big & (speed > surf_riding_from_kn(length_m, angle))
    ratio = encounter_period_s(period, speed, angle) / np.where(period > 0.0, period, np.nan)
    groups = big & (angle > FOLLOWING_FROM_DEG) & (ratio >= GROUPS_FROM) & (ratio <= GROUPS_TO)
    missing = np.isnan(speed + angle + period + height)
    flags = surfing * int(Caution.SURF_RIDING) + groups * int(Caution.HIGH_WAVE_GROUPS)
    return np.where(missing, int(Caution.UNKNOWN), flags).astype(np.int8)
