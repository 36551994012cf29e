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
    """The wind the track is sailed in: at mark i, for positions (B), bilinear in space and linear in time; NaN off the forecast.

    Made once for many small questions: the same numbers as `sample.plain_wind` (a test holds it to them), with the members brought
    together first and only the bare arithmetic left for each step.
    """
    fields = [forecast.fields[name] for name in (Name.U10_MS, Name.V10_MS)]
    u, v = middle(*(np.asarray(f.values, dtype=float) for f in fields))
    grid = np.stack([u, v])
    south, west = fields[0]["latitude"].values.astype(float), fields[0]["longitude"].values.astype(float)
    own = fields[0]["time"].values.astype("datetime64[s]")
    first = np.clip(np.searchsorted(own, time, side="right") - 1, 0, max(len(own) - 2, 0))
    after = np.minimum(first + 1, len(own) - 1)
    width = np.maximum((own[after] - own[first]).astype(float), 1.0)
    share = (time - own[first]).astype(float) / width
    known = (time >= own[0]) & (time <= own[-1])

    def wind(i: int, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        if not known[i]:
            unknown = np.full(np.shape(latitude), np.nan)
            return unknown, unknown
        turned = west[0] + (longitude - west[0]) % 360.0
        a, b = grid[:, first[i]], grid[:, after[i]]
        corners = _corners(south, latitude), _corners(west, turned)
        at_first = _bilinear(a, *corners)
        both = at_first if share[i] == 0.0 else at_first + (_bilinear(b, *corners) - at_first) * share[i]
        off = (latitude < south[0]) | (latitude > south[-1]) | (turned > west[-1])
        return np.where(off, np.nan, both[0]), np.where(off, np.nan, both[1])

    return wind


Corners = tuple[NDArray[np.intp], NDArray[np.intp], Floats]


def _corners(axis: Floats, at: Floats) -> Corners:
    """The two lines of a rising axis round each place, and the share of the second; on a line both are that line."""
    low = np.clip(np.searchsorted(axis, at, side="right") - 1, 0, max(len(axis) - 2, 0))
    high = np.minimum(low + 1, len(axis) - 1)
    share = np.where(high > low, (at - axis[low]) / np.where(high > low, axis[high] - axis[low], 1.0), 0.0)
    return np.where(share >= 1.0, high, low), np.where(share <= 0.0, low, high), share


def _bilinear(grid: Floats, rows: Corners, columns: Corners) -> Floats:
    """(2, latitude, longitude) -> (2, B)."""
    (south, north, up), (west, east, over) = rows, columns
    low = grid[:, south, west] * (1.0 - over) + grid[:, south, east] * over
    high = grid[:, north, west] * (1.0 - over) + grid[:, north, east] * over
    mixed: Floats = low * (1.0 - up) + high * up
    return mixed


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


def waves_along(forecasts: Sequence[Forecast], where: Where) -> tuple[Floats, Floats, Floats] | None:
    """Height [m], period [s] and direction the waves come from [deg] along the track (T); None when no run has all three."""
    wanted = (Name.SEA_M, Name.PERIOD_S, Name.WAVE_FROM_DEG)
    having = sorted((f for f in forecasts if f.has(*wanted)), key=lambda f: f.run, reverse=True)
    if not having:
        return None
    at = (where.time, where.latitude, where.longitude)
    height, period = (sample.at(having[0].fields[n], *at)[0] for n in wanted[:2])
    return height, period, sample.angle_at(having[0].fields[Name.WAVE_FROM_DEG], *at)[0]


def _mean_of(forecasts: Sequence[Forecast], name: Name, where: Where) -> Floats:
    """Mean over members of the newest run that has the field."""
    having = sorted((f for f in forecasts if f.has(name)), key=lambda f: f.run, reverse=True)
    if not having:
        return np.full(len(where.time), np.nan)
    if name is Name.GUST_MS:
        members = sample.strong_gust(having[0], where.time, where.latitude, where.longitude)
    else:
        members = sample.at(having[0].fields[name], where.time, where.latitude, where.longitude)
    mean: Floats = members.mean(axis=0)
    return mean
