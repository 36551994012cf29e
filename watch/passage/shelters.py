"""Shelters: a place, what wind and swell it is open to, when its entrance can be taken, and what it is worth once in."""

from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, AwareDatetime, BeforeValidator, Field

from watch.faults import Fault, Strict
from watch.passage.land import arc_nm
from watch.passage.position import parse_latitude, parse_longitude
from watch.passage.route import HIGHEST_DEG
from watch.when import dated

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME_PLACE_NM = 0.1
MOST_SHELTERS = 200


def _latitude(value: Any) -> Any:
    return parse_latitude(value) if isinstance(value, str) else value


def _longitude(value: Any) -> Any:
    return parse_longitude(value) if isinstance(value, str) else value


class Kind(StrEnum):
    HARBOUR = "harbour"
    ANCHORAGE = "anchorage"
    LEE = "lee"


Bearing = Annotated[float, Field(ge=0, le=360)]
Sectors = Annotated[tuple[Annotated[tuple[Bearing, Bearing], Field(strict=False)], ...], Field(strict=False, max_length=8)]
Instant = Annotated[AwareDatetime, AfterValidator(dated)]
Spans = Annotated[tuple[Annotated[tuple[Instant, Instant], Field(strict=False)], ...], Field(strict=False, max_length=60)]
OPEN_AT = (
    "a list of times between which a bar or lock can be passed by your own tide table, each from and to with Z and without quotes, like "
    "[[2026-05-18T04:00:00Z, 2026-05-18T07:30:00Z]]"
)
SECTORS = "a list of sectors that wind or swell comes from, each from and to in degrees true, clockwise; [] for none"


class Entrance(Strict):
    """What must hold while she goes in."""

    mean_kn: float = Field(gt=0, le=100, description="a number in knots: the mean wind it is not taken above", examples=[25])
    gust_kn: float | None = Field(
        default=None, gt=0, le=150, description="a number in knots: the gust it is not taken above", examples=[35]
    )
    sea_m: float = Field(gt=0, le=20, description="a number in metres: the sea off it above which it is not taken", examples=[3])
    shut_to: Sectors = Field(default=(), description=SECTORS, examples=[[[200, 260]]])
    daylight: bool = Field(description="true when it is taken only by day, else false", examples=[True])
    bar: bool = Field(description="true when there is a bar, else false", examples=[False])
    open_at: Spans | None = Field(default=None, description=OPEN_AT)
    minutes: float = Field(default=60, ge=0, le=360, description="minutes from that position until she lies safe", examples=[60])


class Shelter(Strict):
    """One shelter. Its position is off the entrance, in open water, where the last miles by the chart begin."""

    name: str = Field(min_length=1, max_length=60, description="a name", examples=["Horta"])
    kind: Kind = Field(strict=False, description='"harbour", "anchorage" or "lee" (the lee of an island)', examples=["harbour"])
    latitude: Annotated[float, BeforeValidator(_latitude)] = Field(
        ge=-HIGHEST_DEG, le=HIGHEST_DEG, allow_inf_nan=False, examples=["38 31.5 N"],
        description="a latitude from -89 to 89 in degrees (south negative) or degrees and minutes",
    )  # fmt: skip
    longitude: Annotated[float, BeforeValidator(_longitude)] = Field(
        ge=-180, le=180, allow_inf_nan=False, examples=["28 36.5 W"],
        description="a longitude from -180 to 180 in degrees (west negative) or degrees and minutes",
    )  # fmt: skip
    open_to_wind: Sectors = Field(description=SECTORS, examples=[[[20, 110]]])
    open_wind_kn: float | None = Field(
        default=None, gt=0, le=100, description="a number in knots: the mean wind out of an open sector it is no shelter above",
        examples=[20],
    )  # fmt: skip
    open_to_swell: Sectors = Field(description=SECTORS, examples=[[[20, 80]]])
    swell_m: float | None = Field(
        default=None, gt=0, le=20, description="a number in metres: the sea outside out of an open sector it is no shelter above",
        examples=[2],
    )  # fmt: skip
    hold_gust_kn: float | None = Field(
        default=None, gt=0, le=200, description="a number in knots: the gust from any side it is not trusted to hold above",
        examples=[60],
    )  # fmt: skip
    holding: str = Field(default="", max_length=300, description="how an anchor holds, or where she lies, in words", examples=["sand"])
    notes: str = Field(default="", max_length=600, description="anything else, in words", examples=["lit"])
    entrance: Entrance = Field(description="an [entrance] table of its own")


class SheltersFile(Strict):
    """Everything a shelters file holds."""

    shelter: Annotated[tuple[Shelter, ...], Field(strict=False, min_length=1, max_length=MOST_SHELTERS)] = Field(
        description=f"one [[shelter]] or more, {MOST_SHELTERS} at the most"
    )


def contradictions(shelters: Sequence[Shelter]) -> list[Fault]:
    """What is wrong with shelters together, and with the parts of one beside each other."""
    faults = []
    for i, s in enumerate(shelters):
        for sectors, limit, place, words in (
            (s.open_to_wind, s.open_wind_kn, "open_wind_kn", "the mean wind out of an open sector it is no shelter above, like 20"),
            (s.open_to_swell, s.swell_m, "swell_m", "the sea outside out of an open sector it is no shelter above, like 2"),
        ):
            if sectors and limit is None:
                faults.append(Fault(f"shelter[{i}].{place}", None, f"missing; it is open to some sectors, so say {words}"))
        if s.entrance.gust_kn is not None and s.entrance.gust_kn < s.entrance.mean_kn:
            faults.append(Fault(f"shelter[{i}].entrance.gust_kn", f"{s.entrance.gust_kn:g}", "not below mean_kn: no gust is"))
        for k, (first, last) in enumerate(s.entrance.open_at or ()):
            if last <= first:
                faults.append(Fault(f"shelter[{i}].entrance.open_at[{k}]", None, "ends before it begins; write the earlier time first"))
        for j, other in enumerate(shelters[:i]):
            if other.name == s.name:
                faults.append(Fault(f"shelter[{i}].name", f'"{s.name}"', f"another name; shelter[{j}] has it already"))
            elif _apart_nm(s, other) < SAME_PLACE_NM:
                faults.append(Fault(f"shelter[{i}]", None, f"the place of {other.name}: write the two as one"))
    return faults


def _apart_nm(a: Shelter, b: Shelter) -> float:
    return float(arc_nm(*(np.array(x) for x in (a.latitude, a.longitude, b.latitude, b.longitude))))


def in_sectors(from_deg: Floats, sectors: Sequence[tuple[float, float]]) -> Flags:
    """Directions that wind or swell comes from [deg] -> whether they are in any sector, both ends included; same shape.

    A direction that is not known is in every sector there is. A sector runs clockwise, through north if need be; one whose ends are the
    same, or 0 and 360, is the whole round.

    >>> in_sectors(np.array([350.0, 20.0, 180.0, np.nan]), [(340.0, 30.0)]).tolist()
    [True, True, False, True]
    """
    angle = np.asarray(from_deg, dtype=float)
    inside = np.zeros(angle.shape, dtype=bool)
    for first, last in sectors:
        width = (last - first) % 360.0 or 360.0
        inside |= ~((angle - first) % 360.0 > width + 1e-9)
    return inside
