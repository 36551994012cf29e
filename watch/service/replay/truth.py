"""The weather that then really happens, step by step aboard; and series along a track turned into forecasts as the watch reads them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.forecast.contract import Forecast, Name
from watch.service.aboard import Steps
from watch.units import wind_components_ms, wind_from_deg
from watch.weather import sample
from watch.weather.plain import middle
from watch.weather.sea import sea_from_wind, steepness
from watch.weather.wind import gust_factor
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, Times, to_np

Floats = NDArray[np.float64]

STEP_NP = np.timedelta64(STEP_MINUTES * 60, "s")
MOVES_KN = 25.0  # judgement: how fast the weather of a series moves east
GRID_DEG = 0.5
ROUND_DEG = 3.0  # how far the small grid of a series reaches round its track: further than any scenario looks aside


class Along(Protocol):
    """Weather along a track at rising instants (n): time, datetime64[s]; mean and gust [m/s], direction it comes from [deg], pressure
    [Pa], significant wave height [m], CAPE [J/kg], position [deg]. What there is none of is NaN throughout.

    As truth: ten minutes apart, mean over the ten minutes to each instant, gust the highest in them. As a forecast: instants.
    """

    @property
    def time(self) -> Times: ...
    @property
    def mean_ms(self) -> Floats: ...
    @property
    def gust_ms(self) -> Floats: ...
    @property
    def from_deg(self) -> Floats: ...
    @property
    def pressure_pa(self) -> Floats: ...
    @property
    def sea_m(self) -> Floats: ...
    @property
    def cape_jkg(self) -> Floats: ...
    @property
    def lat_deg(self) -> Floats: ...
    @property
    def lon_deg(self) -> Floats: ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Series:
    """Weather along a track: see `Along`."""

    time: Times
    mean_ms: Floats
    gust_ms: Floats
    from_deg: Floats
    pressure_pa: Floats
    sea_m: Floats
    cape_jkg: Floats
    lat_deg: Floats
    lon_deg: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """T ten-minute steps at 10 m as they were: mean_ms through each step and gust_ms the highest in it, from_deg, pressure_pa, sea_m,
    steepness, all (T), NaN where not known. way: where she is, and on which course, at what speed; the same whatever is carried."""

    label: str
    way: Steps
    mean_ms: Floats
    gust_ms: Floats
    from_deg: Floats
    pressure_pa: Floats
    sea_m: Floats
    steepness: Floats

    @property
    def steps(self) -> int:
        return len(self.mean_ms)

    def known_steps(self) -> int:
        """For how many steps from the first on wind and gust are known."""
        known = np.isfinite(self.mean_ms) & np.isfinite(self.gust_ms)
        return self.steps if known.all() else int(np.argmin(known))

    def cut(self, steps: int) -> "Truth":
        """The first so many steps."""
        series = {name: getattr(self, name)[:steps] for name in ("mean_ms", "gust_ms", "from_deg", "pressure_pa", "sea_m", "steepness")}
        return Truth(label=self.label, way=self.way.part(0, steps), **series)

    def scenarios(self) -> xr.Dataset:
        """The truth as the only scenario, as `watch.weather.scenarios` gives them (only what a boat meets)."""
        series = {"mean_ms": self.mean_ms, "gust_ms": self.gust_ms, "low_ms": self.mean_ms, "from_deg": self.from_deg,
                  "sea_m": self.sea_m, "steepness": self.steepness}  # fmt: skip
        data = {name: (("scenario", "time"), values[None]) for name, values in series.items()}
        return xr.Dataset(data, coords={"weight": ("scenario", np.ones(1))})


def truth_of(series: Along, label: str, *, course_deg: float | None = None, boat_kn: float | None = None) -> Truth:
    """A ten-minute series aboard of n instants -> the n - 1 steps between them. course_deg, boat_kn: given for a series from one
    place, else taken from the positions. Where the series has no sea it is raised from its wind over open water (a published method).

    Raises ValueError when the instants are not ten minutes apart.
    """
    if len(series.time) < 2 or (np.diff(series.time) != STEP_NP).any():
        raise ValueError("a truth needs a series with an instant every ten minutes")
    sea_m, period_s = _raised(series.time, series.mean_ms, series.from_deg)
    sea_m = np.where(np.isfinite(series.sea_m), series.sea_m, sea_m)
    return Truth(
        label=label, way=way_along(series.time, series.lat_deg, series.lon_deg, course_deg, boat_kn), mean_ms=series.mean_ms[1:],
        gust_ms=np.fmax(series.gust_ms, series.mean_ms)[1:] + 0.0 * series.gust_ms[1:], from_deg=series.from_deg[1:],
        pressure_pa=series.pressure_pa[1:], sea_m=sea_m[1:], steepness=steepness(sea_m, period_s)[1:],
    )  # fmt: skip


def way_along(time: Times, lat_deg: Floats, lon_deg: Floats, course_deg: float | None, boat_kn: float | None) -> Steps:
    """Positions at marks -> how she goes between them: course and speed from one mark to the next, unless they are given."""
    north = np.diff(lat_deg) * 60.0
    east = ((np.diff(lon_deg) + 180.0) % 360.0 - 180.0) * 60.0 * np.cos(np.radians(0.5 * (lat_deg[1:] + lat_deg[:-1])))
    course = np.degrees(np.arctan2(east, north)) % 360.0 if course_deg is None else np.full(len(north), course_deg)
    speed = np.hypot(north, east) * STEPS_PER_HOUR if boat_kn is None else np.full(len(north), boat_kn)
    return Steps(time=time, latitude=lat_deg, longitude=lon_deg, course_deg=course, boat_kn=speed)


def truth_along(forecasts: Sequence[Forecast], way: Steps, label: str) -> Truth:
    """Later runs, or analyses, along a way -> the truth: each step from the newest run made before it (its shortest lead time), else
    from the oldest there is. Mean and direction plain, in the middle of the step; gust the strongest of the step, or the mean by a published factor."""
    time, lat, lon = way.time[:-1], way.latitude[:-1], way.longitude[:-1]
    found = {name: np.full(len(time), np.nan) for name in ("u", "v", "gust", "pressure", "sea", "period")}
    for run in sorted(forecasts, key=lambda f: f.run):
        after = (time >= to_np(run.run)) | ~np.isfinite(found["u"])
        for name, values in _looked_up(run, time, lat, lon).items():
            found[name] = np.where(after & np.isfinite(values), values, found[name])
    mean, from_deg = np.hypot(found["u"], found["v"]), wind_from_deg(found["u"], found["v"])
    gust = np.where(np.isfinite(found["gust"]), np.fmax(found["gust"], mean), mean * gust_factor())
    raised_m, raised_s = _raised(time, mean, from_deg)
    sea = np.where(np.isfinite(found["sea"]), found["sea"], raised_m)
    period = np.where(np.isfinite(found["period"]) & np.isfinite(found["sea"]), found["period"], raised_s)
    return Truth(label=label, way=way, mean_ms=mean, gust_ms=gust, from_deg=from_deg, pressure_pa=found["pressure"], sea_m=sea,
                 steepness=steepness(sea, period))  # fmt: skip


def _looked_up(run: Forecast, time: Times, lat: Floats, lon: Floats) -> dict[str, Floats]:
    """One run's values along a way (T) each; NaN where it has none."""
    u, v = middle(*sample.plain_wind(run, time + STEP_NP // 2, lat, lon))
    found = {"u": u, "v": v, "gust": sample.strong_gust(run, time, lat, lon).mean(axis=0)}
    for key, name in (("pressure", Name.PRESSURE_PA), ("sea", Name.SEA_M), ("period", Name.PERIOD_S)):
        if run.has(name):
            found[key] = sample.at(run.fields[name], time, lat, lon).mean(axis=0)
    return found


def _raised(time: Times, mean_ms: Floats, from_deg: Floats) -> tuple[Floats, Floats]:
    """The sea that this wind raises over open water, worked hourly: height [m] and period [s], (n) each."""
    firsts = np.arange(0, len(time), STEPS_PER_HOUR)
    strongest = np.maximum.reduceat(mean_ms, firsts)
    raised = sea_from_wind(time[firsts], strongest, from_deg[firsts])
    steps = np.arange(len(time)) / STEPS_PER_HOUR
    at = np.arange(len(firsts), dtype=float)
    return np.interp(steps, at, raised.height_m), np.interp(steps, at, raised.period_s)


def series_forecast(series: Along, run: datetime, *, centre: str = "made up") -> Forecast:
    """A forecast along a track -> a Forecast on a small grid round it, so that scenarios and night are made of it just as of a file.

    The weather moves east at MOVES_KN: what comes to her in an hour is now so far to the west, and weather looked for in the wrong
    place is weather at the wrong time; from north to south it is alike. Off the ends of the series they hold. What the series has none
    of (NaN throughout) is not in it.

    >>> from watch.when import parse_utc
    >>> two, t = np.ones(2), np.array(["2026-05-14T00:00", "2026-05-14T03:00"], dtype="datetime64[s]")
    >>> one = Series(time=t, mean_ms=9.0 * two, gust_ms=12.0 * two, from_deg=270.0 * two, pressure_pa=101300.0 * two,
    ...     sea_m=2.0 * two, cape_jkg=np.nan * two, lat_deg=36.0 * two, lon_deg=-52.0 * two)
    >>> made = series_forecast(one, parse_utc("2026-05-14T00:00Z"))
    >>> made.has(Name.U10_MS, Name.SEA_M), made.has(Name.CAPE_JKG)
    (True, False)
    """
    lat = np.array([series.lat_deg.min() - ROUND_DEG, series.lat_deg.max() + ROUND_DEG])
    middle = float(np.round(np.mean([series.lon_deg.min(), series.lon_deg.max()])))
    reach = float(np.ceil(np.abs(series.lon_deg - middle).max() + ROUND_DEG))
    lon = middle + np.arange(-reach, reach + GRID_DEG / 2, GRID_DEG)
    time = np.asarray(series.time).astype("datetime64[s]")
    u, v = wind_components_ms(series.mean_ms, series.from_deg)
    had = {Name.U10_MS: (u, "m s-1"), Name.V10_MS: (v, "m s-1"), Name.GUST_MS: (series.gust_ms, "m s-1"),
           Name.PRESSURE_PA: (series.pressure_pa, "Pa"), Name.SEA_M: (series.sea_m, "m"),
           Name.CAPE_JKG: (series.cape_jkg, "J kg-1")}  # fmt: skip
    comes_s = _comes_s(series, time, lon)
    coords = {"member": [0], "time": time, "time_from": ("time", time), "latitude": lat, "longitude": lon}
    fields = {}
    for name, (values, unit) in had.items():
        if np.isfinite(values).any():
            moved = np.interp(comes_s, time.astype(np.int64), values).astype(np.float32)
            grid = np.broadcast_to(moved[None, :, None, :], (1, len(time), 2, len(lon)))
            fields[name] = xr.DataArray(grid, dims=("member", "time", "latitude", "longitude"), coords=coords, name=str(name),
                                        attrs={"units": unit, "statistic": "instant", "guise": "made up"})  # fmt: skip
    return Forecast(run=run, centre=centre, kind="single", fields=fields, files=(f"{centre} {run:%Y-%m-%d %H:%M}Z",))


def _comes_s(series: Along, time: Times, lon: Floats) -> Floats:
    """(time, longitude) [s since 1970]: when the weather that is at a longitude at a time is at the track."""
    east_nm = (lon[None, :] - series.lon_deg[:, None]) * 60.0 * np.cos(np.radians(series.lat_deg))[:, None]
    return np.asarray(time.astype(np.int64)[:, None] - 3600.0 * east_nm / MOVES_KN)
