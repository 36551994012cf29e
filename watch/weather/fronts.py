"""When a front, a trough or a shift of wind passes: found in a series of observed or forecast weather."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.units import Floats
from watch.weather.front_evidence import MEAN_H, Evidence, candidates, gather, own_instants
from watch.weather.series import WeatherSeries, ramp
from watch.when import Span, from_np

# Judgement, all of it here; tuned on half a year at three stations and a year at a fourth: tests/bench/bench_fronts.py.
LONGEST_SHIFT_H = 2.0  # what takes longer is a veer, not a front (a forecast's own step may be longer)
LONGEST_STEP_H = 6.0  # a forecast stepping longer than this tells no front from a veer
APART_H = 4.0  # two passages nearer than this are one; so are two of which one lies in the other's means of before or after
# (speaks not at all, speaks fully)
TURN_DEG = (15.0, 60.0)  # 60 degrees is a published wind-shift line: source shift-1
CHANGE_KN = (5.0, 15.0)
TROUGH_HPA3H = (1.0, 4.0)
AIR_C = (1.5, 5.0)
GUST_JUMP_KN = (4.0, 14.0)
WEIGHTS = {"wind": 0.45, "trough": 0.25, "air": 0.2, "gust": 0.1}
AGAINST_SHARE = 0.6  # worth of a shift against the cyclonic sense
BLIND_SHARE = 0.75  # confidence when neither glass nor thermometer was there to ask
UNSUPPORTED_SHARE = 0.75  # confidence when they were, and neither trough nor colder air nor a settled wind speaks for it
SETTLED_KN, SETTLED_TURN_DEG, SETTLED_CHANGE_KN, SUPPORT = (4.0, 10.0), (30.0, 60.0), (8.0, 16.0), (0.0, 0.4)
BREEZE_SHARE, TACK_SHARE, TACK_DEG = 0.75, 0.5, 45.0
BREEZE_SUN_H, BREEZE_BEFORE_KN, BREEZE_AFTER_KN, BREEZE_TROUGH_HPA3H, BREEZE_AIR_C = (8.0, 17.0), 10.0, 16.0, 1.5, -3.0
LEAST_WIND, LEAST_CONFIDENCE = 0.3, 0.5
KIND_AIR_C, KIND_TROUGH_HPA3H = 1.5, 1.0
BESIDE_H, NEARLY, WIDE_COSTS_KN_H = 2.5, 0.1, 1.0  # when among nearly equal candidates
SPOKEN = 0.25  # a signal this strong is named as a reason
PEAK_BEFORE_H, PEAK_AFTER_H = 3.0, 6.0


class Kind(StrEnum):
    """What passed, as far as the signals tell."""

    COLD = "cold front"
    WARM = "warm front"
    TROUGH = "trough"
    SHIFT = "wind shift"


class Reason(StrEnum):
    """What speaks for the passage, or limits what can be said of it."""

    VEER = "the wind veers"
    BACK = "the wind backs"
    WIND_CHANGES = "the wind changes strongly"
    TROUGH = "the glass turns from falling to rising"
    COLDER = "colder or drier air follows"
    WARMER = "warmer or moister air follows"
    GUSTS = "stronger gusts follow"
    AGAINST_SENSE = "the turn is against the usual sense of fronts here"
    NO_GLASS = "no pressure to check it by"
    NO_THERMOMETER = "no temperature to check it by"


@dataclass(frozen=True, kw_only=True)
class FrontPassage:
    """One passage. Winds are means over the three hours before and after; NaN where a thing was not measured or not forecast.

    time: best single time; it lies between earliest and latest, the two instants between which the wind shifted. turn_deg: +
    veers, - backs. peak_mean_kn, peak_gust_kn: strongest from three hours before to six after. trough_hpa: how deep the glass
    dips below the line between six hours before and six after. air_c: change of temperature and dew point averaged, temperature_c
    of temperature alone, both less the day's own course. confidence: 0..1, a weighing of signals, not a frequency.
    """

    time: datetime
    earliest: datetime
    latest: datetime
    kind: Kind
    before_kn: float
    before_deg: float
    after_kn: float
    after_deg: float
    turn_deg: float
    peak_mean_kn: float
    peak_gust_kn: float
    peak_time: datetime
    trough_hpa: float
    air_c: float
    temperature_c: float
    confidence: float
    reasons: tuple[Reason, ...]

    @property
    def words(self) -> str:
        """One line for a person, without the clock time."""
        turn = f"wind {'veers' if self.turn_deg > 0 else 'backs'} {abs(self.turn_deg):.0f} deg"
        winds = f"{self.before_deg:03.0f}/{self.before_kn:.0f} to {self.after_deg:03.0f}/{self.after_kn:.0f} kn"
        return f"{self.kind.value}: {turn}, {winds}, strongest {np.ceil(self.peak_gust_kn - 1e-9):.0f} kn"


def find_passages(
    series: WeatherSeries,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike | None = None,
    own_step_h: float | None = None,
) -> list[FrontPassage]:
    """Fronts, troughs and wind shifts in a series, in order of time.

    latitude_deg, longitude_deg [deg]: of the place, or one an instant along a track; the sign of the latitude gives the sense in
    which fronts turn the wind. With a longitude the daily tide is taken off the glass, and breezes are told by the sun.
    own_step_h: the forecast's own step [h], when the series was interpolated finer; the shift is then sought between the
    forecast's own instants (of midnight UTC and its steps), where it has not been smeared, and the window of uncertainty is that
    step.

    says: a shift of wind with what belongs to it passes between these times, from this wind to that.
    why: sails set for the wind before are wrong for the wind after, and the gusts come with the change.
    example: 206/13 to 311/12 kn in two hours, the glass turning by 4.5 hPa/3 h, air 6 C colder: cold front, confidence 0.97.
    source: judgement after shift-1 (a turn of 60 degrees in the cyclonic sense), front-lag-1 (the wind may shift hours before the
    air changes: never ask for both at once) and fuzzy-shift-1 (adding up graded signals of a single station). Errs to calling: a
    signal that was not measured is left out, not counted against. Not called: a light-air wobble (little change of wind), the
    day's breeze (weak, by day, no trough), her own tack (her heading turned, nothing else), the daily tide of the glass.
    """
    own = series if own_step_h is None else own_instants(series, own_step_h)
    if own.hours.size < 2:
        return []
    latitude, longitude = _along(series, own, latitude_deg), None if longitude_deg is None else _along(series, own, longitude_deg)
    first, last = candidates(own.hours, _longest_shift_h(own, own_step_h))
    evidence = gather(own, first, last, latitude, longitude)
    sun_h = None if longitude is None else (own.hours[first] + longitude[first] / 15.0) % 24.0
    parts = _parts(evidence, np.sign(latitude)[first])
    confidence = _confidence(evidence, parts, sun_h)
    start_h, end_h = own.hours[first], own.hours[last]
    chosen = [(k, _sharpest(k, start_h, end_h, confidence, evidence)) for k in _strongest_apart(start_h, end_h, confidence)]
    return [_passage(series, own, evidence, parts, at, float(confidence[k]), float(latitude[first[at]])) for k, at in chosen]


def unseen(series: WeatherSeries, own_step_h: float | None = None) -> list[Span]:
    """Spans in which a front may have passed unseen: no wind for longer than two shifts, or two of the forecast's steps."""
    known = ~np.isnan(np.asarray(series.wind_kn, dtype=float) + np.asarray(series.from_deg, dtype=float))
    ends = [0, series.hours.size - 1] if series.hours.size else []
    marks = np.unique(np.concatenate([ends, np.flatnonzero(known)]).astype(int))
    longest = 2.0 * _longest_shift_h(series, own_step_h)
    times = np.asarray(series.time)
    wide = np.flatnonzero(np.diff(series.hours[marks]) > longest)
    return [Span(start=from_np(times[marks[i]]), end=from_np(times[marks[i + 1]])) for i in wide]


def _longest_shift_h(series: WeatherSeries, own_step_h: float | None) -> float:
    """How long a shift may take [h]: LONGEST_SHIFT_H, or one step of the series (its own, if said; else its usual one)."""
    usual = float(np.median(np.diff(series.hours))) if series.hours.size > 1 else 0.0
    return max(LONGEST_SHIFT_H, min(own_step_h or usual, LONGEST_STEP_H))


def _along(series: WeatherSeries, own: WeatherSeries, values: ArrayLike) -> Floats:
    """One value an instant of `own`, from one value or one an instant of `series`."""
    full = np.broadcast_to(np.asarray(values, dtype=float), series.hours.shape)
    return np.asarray(full[np.searchsorted(series.hours, own.hours)])


def _parts(e: Evidence, cyclonic: Floats) -> dict[str, Floats]:
    """How strongly each signal speaks, 0..1, NaN where it cannot be read; on the equator neither sense of turning is against."""
    against = (cyclonic != 0.0) & (np.sign(e.turn_deg) != cyclonic)
    wind = np.sqrt(ramp(np.abs(e.turn_deg), *TURN_DEG) * ramp(e.change_kn, *CHANGE_KN))
    return {
        "wind": wind * np.where(against, AGAINST_SHARE, 1.0),
        "trough": ramp(e.trough_hpa3h, *TROUGH_HPA3H),
        "air": ramp(np.abs(e.air_c), *AIR_C),
        "gust": ramp(e.gust_jump_kn, *GUST_JUMP_KN),
    }


def _confidence(e: Evidence, parts: dict[str, Floats], sun_h: Floats | None) -> Floats:
    heard = {name: ~np.isnan(part) for name, part in parts.items()}
    weight = sum((WEIGHTS[name] * heard[name] for name in parts), np.zeros(e.turn_deg.shape))
    total = sum((WEIGHTS[name] * np.nan_to_num(part) for name, part in parts.items()), np.zeros(e.turn_deg.shape))
    confidence = total / np.where(weight > 0.0, weight, 1.0)
    colder = np.nan_to_num(ramp(-e.air_c, *AIR_C))
    settled = ramp(np.fmin(e.before_kn, e.after_kn), *SETTLED_KN)
    settled = settled * ramp(np.abs(e.turn_deg), *SETTLED_TURN_DEG) * ramp(e.change_kn, *SETTLED_CHANGE_KN)
    support = ramp(np.nan_to_num(np.fmax(np.fmax(np.nan_to_num(parts["trough"]), colder), settled)), *SUPPORT)
    blind = ~heard["trough"] & ~heard["air"]
    share = np.where(blind, BLIND_SHARE, UNSUPPORTED_SHARE + (1.0 - UNSUPPORTED_SHARE) * support)
    share = share * np.where(_breeze(e, sun_h), BREEZE_SHARE, 1.0)
    alone = ~(np.fmax(np.nan_to_num(parts["trough"]), colder) > 0.0)
    share = share * np.where(alone & (np.abs(e.own_turn_deg) >= TACK_DEG), TACK_SHARE, 1.0)
    enough = np.nan_to_num(parts["wind"]) >= LEAST_WIND
    return np.where(enough, confidence * share, 0.0)


def _breeze(e: Evidence, sun_h: Floats | None) -> NDArray[np.bool_]:
    """A weak wind that comes in by day without a trough and without much colder, drier air."""
    if sun_h is None:
        return np.zeros(e.turn_deg.shape, dtype=bool)
    by_day = (sun_h >= BREEZE_SUN_H[0]) & (sun_h < BREEZE_SUN_H[1])
    weak = (e.before_kn < BREEZE_BEFORE_KN) & (e.after_kn < BREEZE_AFTER_KN)
    return by_day & weak & ~(e.trough_hpa3h >= BREEZE_TROUGH_HPA3H) & ~(e.air_c <= BREEZE_AIR_C)


def _strongest_apart(start_h: Floats, end_h: Floats, confidence: Floats) -> list[int]:
    """Candidates of enough confidence, the strongest of any that lie too near each other, in order of time."""
    middle = 0.5 * (start_h + end_h)
    taken: list[int] = []
    for k in np.argsort(-confidence, kind="stable").tolist():
        if not confidence[k] >= LEAST_CONFIDENCE:
            break
        clear = [start_h[k] - MEAN_H >= end_h[t] or end_h[k] + MEAN_H <= start_h[t] for t in taken]
        if all(clear) and all(abs(middle[k] - middle[t]) >= APART_H for t in taken):
            taken.append(k)
    return sorted(taken, key=lambda k: float(middle[k]))


def _sharpest(k: int, start_h: Floats, end_h: Floats, confidence: Floats, e: Evidence) -> int:
    """Of the candidates beside k that are nearly as sure, the one that divides the two winds most sharply: when it passed."""
    beside = np.abs(start_h + end_h - start_h[k] - end_h[k]) <= 2.0 * BESIDE_H
    good = beside & (confidence >= confidence[k] - NEARLY)
    sharpness = np.where(good, e.change_kn - WIDE_COSTS_KN_H * (end_h - start_h), -np.inf)
    return int(np.argmax(sharpness))


def _passage(
    series: WeatherSeries, own: WeatherSeries, e: Evidence, parts: dict[str, Floats], k: int, confidence: float, latitude: float
) -> FrontPassage:
    first, last = int(e.first[k]), int(e.last[k])
    start_h, end_h = float(own.hours[first]), float(own.hours[last])
    near = np.flatnonzero((series.hours >= start_h - PEAK_BEFORE_H) & (series.hours <= end_h + PEAK_AFTER_H))
    gusts, time = series.squall_peak_kn(), np.asarray(own.time)
    peak = int(near[np.nanargmax(gusts[near])])
    return FrontPassage(
        time=_when(own, first, last), earliest=from_np(time[first]), latest=from_np(time[last]), kind=_kind(e, k, latitude),
        before_kn=float(e.before_kn[k]), before_deg=float(e.before_deg[k]), after_kn=float(e.after_kn[k]),
        after_deg=float(e.after_deg[k]), turn_deg=float(e.turn_deg[k]),
        peak_mean_kn=float(np.nanmax(np.asarray(series.wind_kn, dtype=float)[near])), peak_gust_kn=float(gusts[peak]),
        peak_time=from_np(np.asarray(series.time)[peak]), trough_hpa=_trough_depth(series, start_h, end_h),
        air_c=float(e.air_c[k]), temperature_c=float(e.temperature_c[k]), confidence=confidence,
        reasons=_reasons(e, {name: float(part[k]) for name, part in parts.items()}, k, latitude),
    )


def _when(own: WeatherSeries, first: int, last: int) -> datetime:
    """Middle of the single step in which the wind vector changes most."""
    bearing = np.radians(np.asarray(own.from_deg, dtype=float)[first : last + 1])
    vector = np.asarray(own.wind_kn, dtype=float)[first : last + 1] * np.exp(1j * bearing)
    step = first + int(np.argmax(np.nan_to_num(np.abs(np.diff(vector)))))
    time = np.asarray(own.time, dtype="datetime64[s]")
    return from_np(time[step] + (time[step + 1] - time[step]) // 2)


def _trough_depth(series: WeatherSeries, start_h: float, end_h: float) -> float:
    if series.pressure_hpa is None:
        return float("nan")
    pressure = np.asarray(series.pressure_hpa, dtype=float)
    known = ~np.isnan(pressure)
    hours, pressure = series.hours[known], pressure[known]
    near = (hours >= start_h - PEAK_AFTER_H) & (hours <= end_h + PEAK_AFTER_H)
    hours, pressure = hours[near], pressure[near]
    if hours.size < 3 or hours[0] > start_h or hours[-1] < end_h:
        return float("nan")
    line = np.interp(hours, hours[[0, -1]], pressure[[0, -1]])
    return float(max(0.0, (line - pressure).max()))


def _kind(e: Evidence, k: int, latitude: float) -> Kind:
    air, trough = float(e.air_c[k]), float(e.trough_hpa3h[k])
    cyclonic = latitude == 0.0 or np.sign(e.turn_deg[k]) == np.sign(latitude)
    troughed = trough >= KIND_TROUGH_HPA3H
    if air <= -KIND_AIR_C and (cyclonic or troughed):
        return Kind.COLD
    if air >= KIND_AIR_C and cyclonic and not trough < 0.0:
        return Kind.WARM
    return Kind.TROUGH if troughed else Kind.SHIFT


def _reasons(e: Evidence, parts: dict[str, float], k: int, latitude: float) -> tuple[Reason, ...]:
    turn = float(e.turn_deg[k])
    told = [
        (True, Reason.VEER if turn > 0 else Reason.BACK),
        (float(ramp(e.change_kn[k], *CHANGE_KN)) >= SPOKEN, Reason.WIND_CHANGES),
        (parts["trough"] >= SPOKEN, Reason.TROUGH),
        (parts["air"] >= SPOKEN, Reason.COLDER if e.air_c[k] < 0 else Reason.WARMER),
        (parts["gust"] >= SPOKEN, Reason.GUSTS),
        (latitude != 0.0 and np.sign(turn) != np.sign(latitude), Reason.AGAINST_SENSE),
        (np.isnan(parts["trough"]), Reason.NO_GLASS),
        (np.isnan(parts["air"]), Reason.NO_THERMOMETER),
    ]
    return tuple(reason for holds, reason in told if bool(holds))
