"""What speaks for a front at each instant of a series: turn, change of wind, trough, change of air, gusts. No decisions here."""

from dataclasses import dataclass

import numpy as np

from watch.units import Floats, wrap_180
from watch.weather.glass import tide_hpa
from watch.weather.series import Indexes, WeatherSeries, Windows

MEAN_H = 3.0  # winds before and after are means over so many hours
GLASS_H = 5.0  # slopes of the glass reach so far before and after
AIR_BEFORE_H, AIR_AFTER_H = 2.0, 5.0  # temperature may fall hours after the wind has shifted
DAYS_COMPARED = 3  # the same hours of so many days before and after give the day's own change of temperature


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """One row a candidate: the shift lies between instants first and last. NaN where a signal cannot be read.

    turn_deg: + veers, - backs. change_kn: size of the vector change of wind. trough_hpa3h: how much the glass's pace changes for
    the better, per three hours. air_c: change of temperature and dew point, averaged (of the one, where the other is missing),
    the day's own course taken off. gust_jump_kn: strongest after less strongest before. own_turn_deg: change of her own heading.
    """

    first: Indexes
    last: Indexes
    before_kn: Floats
    before_deg: Floats
    after_kn: Floats
    after_deg: Floats
    turn_deg: Floats
    change_kn: Floats
    steadiness: Floats
    trough_hpa3h: Floats
    air_c: Floats
    temperature_c: Floats
    gust_jump_kn: Floats
    own_turn_deg: Floats


def own_instants(series: WeatherSeries, own_step_h: float) -> WeatherSeries:
    """A series interpolated to ten minutes -> only the instants that a forecast of this step [h] has itself, counted from
    midnight UTC.

    Between its own instants a forecast says nothing of the shape of a shift: interpolation would turn a front into a slow veer.
    """
    off = series.hours / own_step_h
    keep = np.abs(off - np.round(off)) < 1e-6
    return series.at(keep)


def candidates(hours: Floats, longest_h: float) -> tuple[Indexes, Indexes]:
    """Pairs (first, last) of instants between which a shift may lie: every single step, and wider pairs up to longest_h apart.

    A single step longer than twice longest_h is a gap, and no candidate.
    """
    count = hours.size
    pairs_first, pairs_last = [], []
    width = 1
    while width < count:
        first = np.arange(count - width)
        span = hours[width:] - hours[:-width]
        near = span <= (longest_h if width > 1 else 2.0 * longest_h) + 1e-6
        if not near.any():
            break
        pairs_first.append(first[near])
        pairs_last.append(first[near] + width)
        width = max(width + 1, int(width * 1.5))
    if not pairs_first:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    return np.concatenate(pairs_first), np.concatenate(pairs_last)


def gather(series: WeatherSeries, first: Indexes, last: Indexes, latitude_deg: Floats, longitude_deg: Floats | None) -> Evidence:
    """All signals for all candidates; latitude and longitude per instant (n,)."""
    windows = Windows(series.hours)
    start, end = series.hours[first], series.hours[last]
    step = np.maximum(end - start, 1e-6)
    wind, bearing = np.asarray(series.wind_kn, dtype=float), np.radians(np.asarray(series.from_deg, dtype=float))
    before = (start - MEAN_H, start)
    after = (end, end + MEAN_H)
    toward = np.where(wind == 0.0, 0.0, wind * np.exp(1j * np.where(wind == 0.0, 0.0, bearing)))
    vec_b, vec_a = (windows.mean(toward.real, *w) + 1j * windows.mean(toward.imag, *w) for w in (before, after))
    mean_b, mean_a = windows.mean(wind, *before), windows.mean(wind, *after)
    with np.errstate(divide="ignore", invalid="ignore"):
        steadiness = np.minimum(np.abs(vec_b) / mean_b, np.abs(vec_a) / mean_a)
    peak = series.squall_peak_kn()
    return Evidence(
        first=first, last=last, before_kn=mean_b, after_kn=mean_a,
        before_deg=np.degrees(np.angle(vec_b)) % 360.0, after_deg=np.degrees(np.angle(vec_a)) % 360.0,
        turn_deg=wrap_180(np.degrees(np.angle(vec_a)) - np.degrees(np.angle(vec_b))), change_kn=np.abs(vec_a - vec_b),
        steadiness=steadiness, trough_hpa3h=_trough(series, windows, start, end, step, latitude_deg, longitude_deg),
        **_air(series, windows, start, end), gust_jump_kn=windows.peak(peak, *after) - windows.peak(peak, *before),
        own_turn_deg=_own_turn(series, windows, start, end),
    )


def _trough(
    series: WeatherSeries, windows: Windows, start: Floats, end: Floats, step: Floats, latitude: Floats, longitude: Floats | None
) -> Floats:
    if series.pressure_hpa is None:
        return np.full(start.shape, np.nan)
    pressure = np.asarray(series.pressure_hpa, dtype=float)
    if longitude is not None:
        pressure = pressure - tide_hpa(series.time, latitude, longitude)
    reach = np.maximum(GLASS_H, step)
    fall = windows.slope(pressure, start - reach, np.minimum(start + 1.0, end), 2.0)
    rise = windows.slope(pressure, np.maximum(end - 1.0, start), end + reach, 2.0)
    return 3.0 * (rise - fall)


def _air(series: WeatherSeries, windows: Windows, start: Floats, end: Floats) -> dict[str, Floats]:
    changes = []
    for values in (series.temperature_c, series.dew_point_c):
        given = np.full(series.hours.shape, np.nan) if values is None else np.asarray(values, dtype=float)
        changes.append(_change_beyond_the_day(given, windows, start, end))
    temperature, dew_point = changes
    both = 0.5 * (temperature + dew_point)
    return {"air_c": np.where(np.isnan(both), temperature, both), "temperature_c": temperature}


def _change_beyond_the_day(values: Floats, windows: Windows, start: Floats, end: Floats) -> Floats:
    """After less before, less the median of the same difference on the days around (nothing off when there are none)."""
    def change(shift_h: float) -> Floats:
        after = windows.mean(values, end + shift_h, end + AIR_AFTER_H + shift_h)
        return after - windows.mean(values, start - AIR_BEFORE_H + shift_h, start + shift_h)

    days = [day for day in range(-DAYS_COMPARED, DAYS_COMPARED + 1) if day]
    usual = np.stack([change(24.0 * day) for day in days])
    known = ~np.isnan(usual).all(axis=0)
    daily = np.zeros(start.shape)
    daily[known] = np.nanmedian(usual[:, known], axis=0)
    return change(0.0) - daily


def _own_turn(series: WeatherSeries, windows: Windows, start: Floats, end: Floats) -> Floats:
    if series.heading_deg is None:
        return np.zeros(start.shape)
    heading = np.radians(np.asarray(series.heading_deg, dtype=float))
    spans = ((start - 0.5, start), (end, end + 0.5))
    old, new = (np.arctan2(windows.mean(np.sin(heading), *w), windows.mean(np.cos(heading), *w)) for w in spans)
    turn: Floats = np.nan_to_num(wrap_180(np.degrees(new - old)))
    return turn
