"""Small GRIB files for tests, made with ecCodes' samples: any field, step, member, grid and scan order, one fault at a time."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import eccodes
import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
# GRIB2: discipline, category, number, type and value of the first surface. GRIB1: table, number, type of level, level.
NUMBERS = {
    "10u": (0, 2, 2, 103, 10), "10v": (0, 2, 3, 103, 10), "u sfc": (0, 2, 2, 1, 0), "v sfc": (0, 2, 3, 1, 0),
    "speed": (0, 2, 1, 103, 10), "from": (0, 2, 0, 103, 10), "gust": (0, 2, 22, 1, 0), "gust 10": (0, 2, 22, 103, 10),
    "prmsl": (0, 3, 1, 101, 0), "msl": (0, 3, 0, 101, 0), "cape": (0, 7, 6, 1, 0), "mucape": (0, 7, 6, 17, None),
    "tp": (0, 1, 8, 1, 0), "prate": (0, 1, 7, 1, 0), "tprate": (0, 1, 52, 1, 0), "2t": (0, 0, 0, 103, 2), "2d": (0, 0, 6, 103, 2),
    "swh": (10, 0, 3, 1, 0), "shts": (10, 0, 8, 1, 0), "pp1d": (10, 0, 34, 1, 0), "mwd": (10, 0, 14, 1, 0),
    "t850": (0, 0, 0, 100, 85000), "u850": (0, 2, 2, 100, 85000), "v850": (0, 2, 3, 100, 85000), "u500": (0, 2, 2, 100, 50000),
    "t300": (0, 0, 0, 100, 30000), "ice": (10, 2, 0, 1, 0),
}
NUMBERS_1 = {"10u": (128, 165, 1, 0), "10v": (128, 166, 1, 0), "tp": (128, 228, 1, 0), "10fg": (128, 49, 1, 0),
             "10fg6": (128, 123, 1, 0), "10fg3": (228, 28, 1, 0), "msl": (128, 151, 1, 0)}
STATISTICS = {"avg": 0, "accum": 1, "max": 2}


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Points from south to north and west to east; how they are laid into the message is a matter of its own."""

    south: float = 30.0
    north: float = 34.0
    west: float = -60.0
    east: float = -55.0
    rows: int = 5
    columns: int = 6
    i_negative: bool = False
    j_positive: bool = False
    j_consecutive: bool = False
    alternate: bool = False

    @property
    def latitude(self) -> Values:
        return np.linspace(self.south, self.north, self.rows)

    @property
    def longitude(self) -> Values:
        return np.linspace(self.west, self.east, self.columns)

    def plane(self, seed: int = 0, low: float = 0.0, high: float = 20.0) -> Values:
        """Random values [rows from south, columns from west]."""
        return np.random.default_rng(seed).uniform(low, high, (self.rows, self.columns))

    def in_scan_order(self, plane: Values) -> Values:
        """Point by point, as the flags of the standard tell it (code table 3.4)."""
        rows = list(range(self.rows)) if self.j_positive else list(range(self.rows))[::-1]
        columns = list(range(self.columns))[::-1] if self.i_negative else list(range(self.columns))
        slow, fast = (columns, rows) if self.j_consecutive else (rows, columns)
        taken = []
        for number, outer in enumerate(slow):
            for inner in fast[::-1] if self.alternate and number % 2 else fast:
                taken.append(plane[inner, outer] if self.j_consecutive else plane[outer, inner])
        return np.array(taken)

    def keys(self) -> dict[str, Any]:
        west, east = self.west, self.east
        ends = (self.south, self.north) if self.j_positive else (self.north, self.south)
        sides = (east, west) if self.i_negative else (west, east)
        return {
            "Ni": self.columns, "Nj": self.rows, "iScansNegatively": int(self.i_negative), "jScansPositively": int(self.j_positive),
            "jPointsAreConsecutive": int(self.j_consecutive), "alternativeRowScanning": int(self.alternate),
            "latitudeOfFirstGridPointInDegrees": ends[0], "latitudeOfLastGridPointInDegrees": ends[1],
            "longitudeOfFirstGridPointInDegrees": sides[0], "longitudeOfLastGridPointInDegrees": sides[1],
            "iDirectionIncrementInDegrees": (east - west) / (self.columns - 1),
            "jDirectionIncrementInDegrees": (self.north - self.south) / (self.rows - 1),
        }


PLAIN = Grid()


@dataclass(frozen=True, kw_only=True)
class Message:
    """One field. step: hours, or (from, to) with a statistic. member: None for a single run. more: any further keys, set last."""

    what: str
    values: Values | float = 5.0
    grid: Grid = PLAIN
    step: int | tuple[int, int] = 6
    statistic: str | None = None
    member: int | None = None
    run: str = "20260514 0000"
    centre: str = "kwbc"
    edition: int = 2
    bits: int = 24
    packing: str | None = None
    missing: bool = False  # NaN is written as missing, with a bitmap
    step_unit: str = "h"
    more: tuple[tuple[str, Any], ...] = ()

    def bytes(self) -> bytes:
        handle = eccodes.codes_grib_new_from_samples(f"regular_ll_sfc_grib{self.edition}")
        try:
            for key, value in self._keys():
                eccodes.codes_set_missing(handle, key) if value is None else eccodes.codes_set(handle, key, value)
            values = np.full((self.grid.rows, self.grid.columns), self.values) if np.ndim(self.values) == 0 else self.values
            flat = self.grid.in_scan_order(np.asarray(values, dtype=float))
            if self.missing:
                eccodes.codes_set(handle, "bitmapPresent", 1)
                eccodes.codes_set(handle, "missingValue", 9999.0)
                flat = np.where(np.isnan(flat), 9999.0, flat)
            eccodes.codes_set_values(handle, flat)
            if self.packing:
                eccodes.codes_set(handle, "packingType", self.packing)
            for key, value in self.more:
                eccodes.codes_set(handle, key, value)
            return bytes(eccodes.codes_get_message(handle))
        finally:
            eccodes.codes_release(handle)

    def _keys(self) -> Iterator[tuple[str, Any]]:
        day, clock = self.run.split()
        yield from {"centre": self.centre, "dataDate": int(day), "dataTime": int(clock)}.items()
        yield from self._parameter() if self.edition == 2 else self._parameter_1()
        read_only = {"alternativeRowScanning"} if self.edition == 1 else set()
        yield from ((key, value) for key, value in self.grid.keys().items() if key not in read_only)
        yield "bitsPerValue", self.bits

    def _parameter(self) -> Iterator[tuple[str, Any]]:
        ranged, member = self.statistic is not None, self.member is not None
        yield "productDefinitionTemplateNumber", {(False, False): 0, (True, False): 8, (False, True): 1, (True, True): 11}[ranged, member]
        discipline, category, number, surface, level = NUMBERS[self.what]
        yield from {"discipline": discipline, "parameterCategory": category, "parameterNumber": number,
                    "typeOfFirstFixedSurface": surface}.items()
        yield "scaleFactorOfFirstFixedSurface", None if level is None else 0
        yield "scaledValueOfFirstFixedSurface", level
        if member:
            yield from {"typeOfEnsembleForecast": 3 if self.member else 1, "perturbationNumber": self.member,
                        "numberOfForecastsInEnsemble": 31}.items()
        first, last = self.step if isinstance(self.step, tuple) else (self.step, self.step)
        yield "stepUnits", self.step_unit
        if ranged:
            yield from {"typeOfStatisticalProcessing": STATISTICS[str(self.statistic)], "startStep": first, "endStep": last}.items()
        else:
            yield "endStep", last

    def _parameter_1(self) -> Iterator[tuple[str, Any]]:
        table, number, level_type, level = NUMBERS_1[self.what]
        yield from {"table2Version": table, "indicatorOfParameter": number, "indicatorOfTypeOfLevel": level_type, "level": level}.items()
        first, last = self.step if isinstance(self.step, tuple) else (self.step, self.step)
        one = first == last
        yield from {"unitOfTimeRange": 1, "timeRangeIndicator": 0 if one else 2, "P1": first, "P2": 0 if one else last}.items()


def wind(**keys: Any) -> list[Message]:
    """Both components at 10 m."""
    return [Message(what="10u", **keys), Message(what="10v", **keys)]


def write(folder: Path, messages: Sequence[Message], name: str = "made.grib2") -> Path:
    """The messages in one file, in order."""
    path = folder / name
    path.write_bytes(b"".join(message.bytes() for message in messages))
    return path


def ensemble(members: int, messages: Sequence[Message]) -> list[Message]:
    """The same messages for members 0 (the control) to `members` - 1, with values that differ."""
    return [replace(message, member=member, values=np.asarray(message.values) + member) for member in range(members)
            for message in messages]
