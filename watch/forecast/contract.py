"""The `Forecast` contract: what every forecast looks like once it is read, whatever file it came in."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

import xarray as xr

PARTLY = "the forecast covers only a part of the area asked for"  # begins a note; it matters only to a track that leaves that part


class Name(StrEnum):
    """The fields that the watch knows, each with its unit in the name. Arrays are float32, missing is NaN and stays NaN."""

    U10_MS = "u10_ms"  # wind towards east at 10 m
    V10_MS = "v10_ms"  # wind towards north at 10 m
    GUST_MS = "gust_ms"  # instantaneous, or the maximum over (time_from, time]
    PRESSURE_PA = "pressure_pa"  # mean sea level
    CAPE_JKG = "cape_jkg"
    RAIN_KGM2S = "rain_kgm2s"  # mean rate over (time_from, time]; 1 kg m-2 is 1 mm
    T2M_K = "t2m_k"
    D2M_K = "d2m_k"  # dew point at 2 m
    SEA_M = "sea_m"  # significant wave height of wind waves and swell together
    PERIOD_S = "period_s"  # peak (or primary) period
    WAVE_FROM_DEG = "wave_from_deg"
    T850_K = "t850_k"
    Q850_KGKG = "q850_kgkg"
    R850_PCT = "r850_pct"
    U925_MS = "u925_ms"
    V925_MS = "v925_ms"
    U850_MS = "u850_ms"
    V850_MS = "v850_ms"
    U500_MS = "u500_ms"
    V500_MS = "v500_ms"


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """One run of one model over one box.

    fields: Name -> DataArray with dims (member, time, latitude, longitude), float32, SI unit in attrs["units"]. Each field keeps
    its own grid and its own times: nothing is regridded. The two components of one wind share all their coordinates. attrs also
    has "statistic" (instant, maximum or mean) and "guise" (name and level in the file). Coordinates of each:
      member: int, 0 for a single run or a control, the same in all fields; a member that lacks a field at a time is NaN there;
      time: datetime64[s], UTC, valid time, strictly increasing, irregular steps allowed;
      time_from(time): datetime64[s], start of the interval of a maximum, mean or accumulation; equal to time when instantaneous;
      latitude: float, strictly increasing; longitude: float, strictly increasing and unwrapped (it may pass 180 or 360), width
      at most 360 degrees; a grid that goes round the world repeats its first column at + 360 so that there is no seam.
    run: base time, aware UTC. centre: the issuing centre's short name as the file has it. kind: "ensemble" when there is more
    than one member, else "single" (a control run alone is a single run). files: names of the files it came from. notes: sentences
    for the sailor on what was skipped, odd or missing.
    """

    run: datetime
    centre: str
    kind: str
    fields: Mapping[Name, xr.DataArray]
    files: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())

    def has(self, *names: Name) -> bool:
        """True when every one of these fields is there."""
        return all(name in self.fields for name in names)
