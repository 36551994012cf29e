"""One ten-minute step from the readings in it, and a row of such steps; its wind at the anemometer's height or at 10 m."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from watch.instruments.averages import (
    ENOUGH,
    STEP_S,
    WIND_BIN_S,
    Chosen,
    GustKind,
    Preferences,
    WindWay,
    choose,
    direction_of,
    doubts_in,
    largest_gust,
    mean_of,
    step_direction,
    step_mean,
    true_heading,
)
from watch.instruments.readings import Doubt, Quantity
from watch.instruments.streams import Key, Stream, nearest
from watch.instruments.winds import best_wind, winds_of
from watch.units import Floats
from watch.when import Times

Q = Quantity


class WindHeight(StrEnum):
    """Where the wind of a series holds."""

    ANEMOMETER = "anemometer"
    TEN_METRES = "ten_metres"


@dataclass(frozen=True, kw_only=True)
class Step:
    """What was observed from `start_s` [s since 1970, UTC] for ten minutes; NaN where there was too little. Angles [deg true]."""

    start_s: float
    mean_ms: float = math.nan
    from_deg: float = math.nan
    gust_ms: float = math.nan
    gust_kind: GustKind = GustKind.NONE
    largest_ms: float = math.nan  # largest single reading, however little there was: at least this
    wind_way: WindWay = WindWay.NONE
    wind_source: str = ""
    wind_coverage: float = 0.0
    apparent_mean_ms: float = math.nan
    apparent_gust_ms: float = math.nan
    pressure_pa: float = math.nan
    pressure_coverage: float = 0.0
    latitude_deg: float = math.nan  # the last fix of the step
    longitude_deg: float = math.nan
    ground_speed_ms: float = math.nan
    ground_course_deg: float = math.nan
    water_speed_ms: float = math.nan
    heading_deg: float = math.nan
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ObservedSteps:
    """n ten-minute steps in a row, aligned to the grid; every array of shape (n,), NaN where there was too little.

    start: datetime64[s] UTC, the beginning of each step; it lasts ten minutes. mean_ms: scalar mean of the true wind; from_deg:
    direction of its mean vector [deg true]; gust_ms: as gust_kind says; largest_ms: largest single reading, however little there
    was. height: where mean, gust and largest hold; apparent wind always is the anemometer's. latitude, longitude: the last fix of
    the step. coverage: part of the step [1]. pressure_pa: as the instrument gives it. doubts: gravest first, for each step.
    """

    start: Times
    mean_ms: Floats
    from_deg: Floats
    gust_ms: Floats
    gust_kind: tuple[GustKind, ...]
    largest_ms: Floats
    wind_way: tuple[WindWay, ...]
    wind_source: tuple[str, ...]
    wind_coverage: Floats
    apparent_mean_ms: Floats
    apparent_gust_ms: Floats
    pressure_pa: Floats
    pressure_coverage: Floats
    latitude_deg: Floats
    longitude_deg: Floats
    ground_speed_ms: Floats
    ground_course_deg: Floats
    water_speed_ms: Floats
    heading_deg: Floats
    doubts: tuple[tuple[Doubt, ...], ...]
    height: WindHeight = WindHeight.ANEMOMETER

    @classmethod
    def of(cls, steps: Iterable[Step]) -> "ObservedSteps":
        """Steps in a row -> the series."""
        rows = list(steps)
        columns: dict[str, NDArray[np.floating] | tuple[object, ...]] = {}
        for column in fields(Step):
            values = [getattr(row, column.name) for row in rows]
            columns[column.name] = np.array(values, float) if column.type is float else tuple(values)
        start_s = np.asarray(columns.pop("start_s"), float)
        return cls(start=start_s.astype(np.int64).astype("datetime64[s]"), **columns)  # type: ignore[arg-type]

    def to_ten_metres(self, factor: float) -> "ObservedSteps":
        """The wind brought from the anemometer's height to 10 m; factor = wind at 10 m / wind at the anemometer [1].

        One factor for mean and gust: gusts change less with height, so a gust brought down is a little too small, one brought up
        a little too large (a few per cent; judgement).
        """
        return self._scaled(factor, WindHeight.ANEMOMETER, WindHeight.TEN_METRES)

    def to_anemometer(self, factor: float) -> "ObservedSteps":
        """The reverse, with the same factor (wind at 10 m / wind at the anemometer)."""
        return self._scaled(1.0 / factor, WindHeight.TEN_METRES, WindHeight.ANEMOMETER)

    def _scaled(self, factor: float, at: WindHeight, to: WindHeight) -> "ObservedSteps":
        if self.height is not at:
            raise ValueError(f"this wind holds at {self.height} already")
        if not 0.2 <= factor <= 5.0:
            raise ValueError(f"a factor of {factor:g} between two heights is none: expected about 0.7 to 1.3")
        scaled = {name: getattr(self, name) * factor for name in ("mean_ms", "gust_ms", "largest_ms")}
        return replace(self, height=to, **scaled)


def step_of(window: Mapping[Key, Stream], start_s: float, preferences: Preferences, variation_deg: float) -> Step:
    """Judged streams that hold a step's readings (and those of seconds before it) -> the step. variation_deg: east positive,
    NaN when not known. Nothing is made up: what has less than two thirds of its time covered is NaN."""
    def pick(quantity: Quantity) -> Chosen | None:
        return choose(window, quantity, start_s, preferences)

    wind, part = best_wind(winds_of(window, start_s, preferences, variation_deg), start_s)
    inside = (wind.seconds >= start_s) & (wind.seconds < start_s + STEP_S)
    enough = part >= ENOUGH and wind.grade > 0
    gust_ms, gust_kind = largest_gust(wind.seconds, wind.speed_ms, start_s) if enough else (math.nan, GustKind.NONE)
    apparent, pressure = pick(Q.APPARENT_WIND_MS), pick(Q.PRESSURE_PA)
    apparent_gust_ms = math.nan
    if apparent is not None and apparent.grade > 0:
        apparent_gust_ms, _ = largest_gust(apparent.stream.seconds, apparent.stream.values, start_s)
    latitude_deg, longitude_deg = last_fix(window, start_s, preferences)
    return Step(
        start_s=start_s,
        mean_ms=step_mean(wind.seconds, wind.speed_ms, start_s, WIND_BIN_S) if enough else math.nan,
        from_deg=step_direction(wind.seconds, wind.speed_ms, wind.from_deg, start_s, WIND_BIN_S) if enough else math.nan,
        gust_ms=gust_ms,
        gust_kind=gust_kind,
        largest_ms=float(wind.speed_ms[inside].max()) if inside.any() else math.nan,
        wind_way=wind.way,
        wind_source=wind.source,
        wind_coverage=part,
        apparent_mean_ms=mean_of(apparent, start_s),
        apparent_gust_ms=apparent_gust_ms,
        pressure_pa=mean_of(pressure, start_s),
        pressure_coverage=pressure.coverage if pressure else 0.0,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        ground_speed_ms=mean_of(pick(Q.GROUND_SPEED_MS), start_s),
        ground_course_deg=direction_of(pick(Q.GROUND_COURSE_DEG), start_s),
        water_speed_ms=mean_of(pick(Q.WATER_SPEED_MS), start_s),
        heading_deg=direction_of(true_heading(window, start_s, preferences, variation_deg), start_s),
        doubts=doubts_in(window, start_s),
    )


def last_fix(window: Mapping[Key, Stream], start_s: float, preferences: Preferences) -> tuple[float, float]:
    """Latitude and longitude [deg] of the last usable fix of the step's best receiver; NaN without one."""
    latitude = choose(window, Q.LATITUDE_DEG, start_s, preferences)
    if latitude is None:
        return math.nan, math.nan
    inside = latitude.stream.between(start_s, start_s + STEP_S)
    partner = window.get((Q.LONGITUDE_DEG, latitude.stream.source))
    if partner is None:
        return math.nan, math.nan
    longitude_deg = float(nearest(inside.seconds[-1:], partner.seconds, partner.values, 0.001)[0])
    return (float(inside.values[-1]), longitude_deg) if not math.isnan(longitude_deg) else (math.nan, math.nan)
