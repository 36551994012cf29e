"""The forecast as it stands along the track, at 10 m: what anyone can check against the file, and the wind her track is sailed in."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from watch.forecast.contract import Forecast, Name
from watch.units import ms_to_kn, wind_from_deg
from watch.weather import sample
from watch.weather.look import Where
from watch.weather.scenarios import usable
from watch.when import Times

Floats = NDArray[np.float64]
Wind = Callable[[int, Floats, Floats], tuple[Floats, Floats]]


def middle(u_ms: Floats, v_ms: Floats) -> tuple[Floats, Floats]:
    """Members' components (member, ...) -> one wind (...): the mean direction with the mean of the speeds, so that members who
    disagree do not make a calm."""
    if u_ms.shape[0] == 1:
        return u_ms[0], v_ms[0]
    u, v = u_ms.mean(axis=0), v_ms.mean(axis=0)
    length, speed = np.hypot(u, v), np.hypot(u_ms, v_ms).mean(axis=0)
    stretch = np.where(length > 0, speed / np.where(length > 0, length, 1.0), 1.0)
    return u * stretch, v * stretch


def central_wind(forecast: Forecast, time: Times) -> Wind:
    """The wind the track is sailed in: at mark i, for positions (B)."""

    def wind(i: int, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        at = np.full(np.shape(latitude), time[i])
        return middle(*sample.plain_wind(forecast, at, latitude, longitude))

    return wind


def plain_along(forecasts: Sequence[Forecast], where: Where) -> dict[str, Floats]:
    """mean_kn, gust_kn, from_deg, pressure_hpa, sea_m (T) at 10 m: plain interpolation, nothing added; NaN where there is none."""
    newest = usable(forecasts)[0]
    u, v = middle(*sample.plain_wind(newest, where.time, where.latitude, where.longitude))
    return {
        "mean_kn": ms_to_kn(np.hypot(u, v)),
        "gust_kn": ms_to_kn(_mean_of(forecasts, Name.GUST_MS, where)),
        "from_deg": wind_from_deg(u, v),
        "pressure_hpa": _mean_of(forecasts, Name.PRESSURE_PA, where) / 100.0,
        "sea_m": _mean_of(forecasts, Name.SEA_M, where),
    }


def _mean_of(forecasts: Sequence[Forecast], name: Name, where: Where) -> Floats:
    """Mean over members of the newest run that has the field."""
    having = sorted((f for f in forecasts if f.has(name)), key=lambda f: f.run, reverse=True)
    if not having:
        return np.full(len(where.time), np.nan)
    if name is Name.GUST_MS:
        return np.asarray(sample.strong_gust(having[0], where.time, where.latitude, where.longitude), dtype=float).mean(axis=0)
    return np.asarray(sample.at(having[0].fields[name], where.time, where.latitude, where.longitude), dtype=float).mean(axis=0)
