"""A series of weather at one place or along one track, and what is read off it: window means, slopes, peaks. Gaps stay gaps."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.units import Floats
from watch.when import Times

Indexes = NDArray[np.intp]
PARTS = ("wind_kn", "from_deg", "gust_kn", "pressure_hpa", "temperature_c", "dew_point_c", "heading_deg")


@dataclass(frozen=True, kw_only=True)
class WeatherSeries:
    """Weather at increasing instants, any steps: all arrays have the shape of time, (n,); NaN where missing, None where there is
    none.

    time: datetime64, UTC. wind_kn: mean wind [kn]. from_deg: where it comes from [degrees true]. gust_kn [kn]. pressure_hpa
    [hPa]. temperature_c, dew_point_c [degrees C]. heading_deg: the boat's own heading [degrees true], to tell her tacks from wind
    shifts.
    """

    time: Times
    wind_kn: Floats
    from_deg: Floats
    gust_kn: Floats | None = None
    pressure_hpa: Floats | None = None
    temperature_c: Floats | None = None
    dew_point_c: Floats | None = None
    heading_deg: Floats | None = None

    def __post_init__(self) -> None:
        stamps = np.asarray(self.time, dtype="datetime64[s]")
        if stamps.ndim != 1 or (np.diff(stamps) <= np.timedelta64(0, "s")).any():
            raise ValueError("time must be one increasing series: an instant out of order would make a shift of nothing")
        for name in PARTS:
            values = getattr(self, name)
            if values is not None and np.shape(values) != stamps.shape:
                raise ValueError(f"{name} must have one value an instant: {np.shape(values)} instead of {stamps.shape}")

    @property
    def hours(self) -> Floats:
        """Hours since 1970, shape (n,)."""
        return np.asarray(np.asarray(self.time, dtype="datetime64[s]").astype(np.int64) / 3600.0)

    def at(self, keep: NDArray[np.bool_]) -> "WeatherSeries":
        """The same series at the kept instants only."""
        cut: dict[str, Any] = {n: None if getattr(self, n) is None else np.asarray(getattr(self, n))[keep] for n in PARTS}
        return WeatherSeries(time=np.asarray(self.time)[keep], **cut)

    def squall_peak_kn(self) -> Floats:
        """The stronger of gust and mean at each instant [kn], shape (n,): a report without a gust had none worth reporting."""
        wind = np.asarray(self.wind_kn, dtype=float)
        return wind if self.gust_kn is None else np.fmax(np.asarray(self.gust_kn, dtype=float), wind)


class Windows:
    """Sums over windows of an irregular series, by running totals; every window is [from, to], both ends in, given in hours.

    >>> w = Windows(np.array([0.0, 1.0, 2.0, 3.0]))
    >>> w.mean(np.array([1.0, 2.0, np.nan, 6.0]), np.array([0.0, 2.0]), np.array([1.0, 3.0])).tolist()
    [1.5, 6.0]
    """

    def __init__(self, hours: Floats):
        self.hours = np.asarray(hours, dtype=float)

    def edges(self, start: Floats, end: Floats) -> tuple[Indexes, Indexes]:
        """First index in, first index after, of each window."""
        return np.searchsorted(self.hours, start - 1e-6), np.searchsorted(self.hours, end + 1e-6)

    def _sum(self, values: Floats, first: Indexes, last: Indexes) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(np.where(np.isnan(values), 0.0, values))])
        return np.asarray(total[np.maximum(last, first)] - total[first])

    def count(self, values: Floats, start: Floats, end: Floats) -> Floats:
        """How many values are there in each window."""
        return self._sum((~np.isnan(values)).astype(float), *self.edges(start, end))

    def mean(self, values: Floats, start: Floats, end: Floats) -> Floats:
        """Mean of each window, NaN where it holds no value."""
        edges = self.edges(start, end)
        count = self._sum((~np.isnan(values)).astype(float), *edges)
        return np.where(count > 0, self._sum(values, *edges) / np.maximum(count, 1.0), np.nan)

    def slope(self, values: Floats, start: Floats, end: Floats, least_span_h: float) -> Floats:
        """Least-squares slope a hour in each window; NaN with fewer than two values or with values too close together to tell."""
        edges = self.edges(start, end)
        here = np.where(np.isnan(values), np.nan, self.hours - self.hours[:1])
        n = np.maximum(self._sum((~np.isnan(values)).astype(float), *edges), 1.0)
        level = np.nanmean(values) if (~np.isnan(values)).any() else 0.0
        sx, sy = self._sum(here, *edges), self._sum(values - level, *edges)
        sxx, sxy = self._sum(here * here, *edges), self._sum(here * (values - level), *edges)
        spread = sxx / n - (sx / n) ** 2
        enough = spread >= least_span_h**2 / 4.0 - 1e-6  # two values that far apart have just this variance
        return np.where(enough, (sxy / n - sx * sy / n**2) / np.where(enough, spread, 1.0), np.nan)

    def peak(self, values: Floats, start: Floats, end: Floats) -> Floats:
        """Largest value in each window, NaN where it holds none."""
        first, last = self.edges(start, end)
        out = np.full(first.shape, np.nan)
        for i, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
            part = values[a:b]
            part = part[~np.isnan(part)]
            if part.size:
                out[i] = part.max()
        return out


def ramp(value: ArrayLike, nothing_at: float, all_at: float) -> Floats:
    """0 up to nothing_at, 1 from all_at, linear between (all_at may be the smaller); NaN stays NaN.

    >>> ramp([0.0, 15.0, 40.0], 10.0, 20.0).tolist()
    [0.0, 0.5, 1.0]
    """
    x = np.asarray(value, dtype=float)
    return np.asarray(np.clip((x - nothing_at) / (all_at - nothing_at), 0.0, 1.0))
