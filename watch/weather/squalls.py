"""Squalls: found in observed wind, and how likely a forecast makes them, step by step down to what the file has."""

from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.units import Floats, kn_to_ms
from watch.weather.series import ramp
from watch.weather.wind import gust_factor
from watch.when import Times, from_np

# The definition: source squall-1.
RISE_MS, REACH_MS, LASTS_MIN = 8.0, 11.0, 1.0
RISE_WITHIN_MIN = 20.0  # judgement: "sudden", for means over ten minutes
CALM_AFTER_SHARE = 0.5  # judgement: over when half the rise is gone
# Judgement: hourly reports cannot show the minute: the strongest rises this much above the last two hours, to this.
REPORT_RISE_MS, REPORT_REACH_MS, REPORT_WITHIN_MIN = 8.0, float(kn_to_ms(33.0)), 125.0
CONVECTIVE_FACTOR = 0.6  # of the shear between 850 and 950 hPa: source squall-2
# Judgement: 925 stands lower than 950 is high, the shear to it is stretched to a hundred hectopascals.
SHEAR_STRETCH = 100.0 / 75.0
ALOFT_OVER_10M = 1.3  # judgement: the wind at 950 hPa over that at 10 m, where the forecast has no wind at 925 hPa

# Judgement, every ramp (nothing at, all at) and every ceiling of the likelihood, in one place.
CAPE_JKG = (250.0, 1500.0)
CAPE_ALONE_JKG = (300.0, 2500.0)
RAIN_MMH = (0.2, 4.0)
SHOWER_MMH = (1.0, 5.0)  # with strong shear and no CAPE: only rain as heavy as showers are, or every warm front would be a squall
WMAXSHEAR_M2S2 = (300.0, 1000.0)  # 500 and more go with severe wind in a published climate of soundings: source squall-3
DEEP_SHEAR_MS = (12.0, 25.0)  # strong shear from 18 m/s: source squall-4
GUST_RATIO = (1.4, 2.0)
CEILING = {
    "aloft": 0.9, "shear and rain": 0.6, "cape and rain": 0.8, "dry cape": 0.35, "cape alone": 0.5,
    "gustiness": 0.4, "rain alone": 0.25,
}
# Gusts of squalls at fronts, in reports, were 1.05 times the mean plus the rise in the middle (half of them 1.03 to 1.13): source squall-5.
# Far from fronts the bare rise is kept.
FRONT_GUST = 1.05
LEAST_MEAN_MS = 3.0  # below it the ratio of gust to mean says nothing
WORDS = ((0.1, "squalls not expected"), (0.3, "squalls possible"), (0.5, "squalls a real chance"), (np.inf, "squalls likely"))


class Basis(IntEnum):
    """What the likelihood rests on, best first; the lowest ones say least."""

    WINDS_ALOFT = 1
    CAPE_AND_RAIN = 2
    CAPE_ONLY = 3
    GUSTINESS = 4
    UNKNOWN = 5


BASIS_WORDS = {
    Basis.WINDS_ALOFT: "from CAPE, the winds aloft and rain, where given",
    Basis.CAPE_AND_RAIN: "from CAPE and rain; no winds aloft, so the shear is unknown",
    Basis.CAPE_ONLY: "from CAPE alone: no rain, no winds aloft; squalls of windy, moist days are missed",
    Basis.GUSTINESS: "from gusts and rain without CAPE; a weak guess",
    Basis.UNKNOWN: "this forecast cannot tell of squalls: keep a look-out",
}


class SeenAs(StrEnum):
    """How a squall was seen."""

    WIND = "rise of the wind itself"
    REPORT = "jump of the hourly reports"


@dataclass(frozen=True, kw_only=True)
class Squall:
    """One observed squall: start, when strongest, rise and peak [m/s], minutes until half the rise was gone (NaN if never)."""

    start: datetime
    peak_time: datetime
    rise_ms: float
    peak_ms: float
    lasted_min: float
    seen_as: SeenAs


@dataclass(frozen=True, kw_only=True)
class SquallInputs:
    """What a forecast has at some places and times; arrays that broadcast with wind_ms, None for what it does not have, NaN for
    gaps.

    wind_ms, gust_ms: 10 m mean and gust [m/s]. gust_has_convection: the gust field already has its convective part (ECMWF 10fg
    has, GFS GUST has not): nothing is added to it then. cape_jkg [J/kg], rain_mmh [mm/h, kg m-2 h-1]. u10 ... v500 [m/s].
    cold_front: chance that a squall comes with a cold front that is near, 0 where none is: see watch.weather.near_fronts.
    """

    wind_ms: ArrayLike
    gust_has_convection: bool
    gust_ms: ArrayLike | None = None
    cape_jkg: ArrayLike | None = None
    rain_mmh: ArrayLike | None = None
    u10_ms: ArrayLike | None = None
    v10_ms: ArrayLike | None = None
    u925_ms: ArrayLike | None = None
    v925_ms: ArrayLike | None = None
    u850_ms: ArrayLike | None = None
    v850_ms: ArrayLike | None = None
    u500_ms: ArrayLike | None = None
    v500_ms: ArrayLike | None = None
    cold_front: ArrayLike | None = None


FIELDS = ("gust_ms", "cape_jkg", "rain_mmh", "u10_ms", "v10_ms", "u925_ms", "v925_ms", "u850_ms", "v850_ms", "u500_ms", "v500_ms")


@dataclass(frozen=True, kw_only=True)
class SquallOutlook:
    """Same shape each. likelihood: 0..1, a graded judgement, no measured frequency; NaN where the forecast cannot tell.
    of_the_air: the same without the squalls of fronts. gust_ms: what a squall would bring if one came [m/s]. basis: values of `Basis`."""

    likelihood: Floats
    of_the_air: Floats
    gust_ms: Floats
    basis: NDArray[np.int8]

    def words_at(self, index: int | tuple[int, ...]) -> str:
        """Words for one place and time: how likely, and from what that is known."""
        basis = Basis(int(self.basis[index]))
        said = squall_words(float(self.likelihood[index]))
        if basis is not Basis.UNKNOWN:
            return f"{said} ({BASIS_WORDS[basis]})"
        known = not np.isnan(self.likelihood[index])
        return f"{said} (a cold front passes; beyond that, {BASIS_WORDS[basis]})" if known else BASIS_WORDS[basis]


def squall_words(likelihood: float) -> str:
    """Likelihood 0..1 -> words.

    >>> squall_words(0.05), squall_words(0.6), squall_words(float("nan"))
    ('squalls not expected', 'squalls likely', 'cannot tell of squalls')
    """
    if np.isnan(likelihood):
        return "cannot tell of squalls"
    return next(words for below, words in WORDS if likelihood < below)


def observed_squalls(time: Times, wind_ms: ArrayLike, rise_within_min: float = RISE_WITHIN_MIN) -> list[Squall]:
    """time (n,) increasing, wind_ms (n,): wind [m/s], means over one to ten minutes, NaN where missing -> squalls in order of
    time.

    says: the wind rose by 8 m/s or more to 11 m/s or more within twenty minutes.
    why: that is a squall by definition, and where one was there are others.
    example: 4.9 to 30.5 m/s between two ten-minute means.
    source: squall-1, for a rise that lasts a minute; a ten-minute mean that rises so much had many such minutes, so it errs to
    missing weak and short squalls. "Within twenty minutes" is judgement.

    >>> t = np.datetime64("2026-05-14T00:00", "s") + np.arange(4) * np.timedelta64(600, "s")
    >>> [s.rise_ms for s in observed_squalls(t, [5.0, 14.0, 15.0, 6.0])]
    [10.0]
    """
    return _rises(time, np.asarray(wind_ms, dtype=float), RISE_MS, REACH_MS, rise_within_min, SeenAs.WIND)


def reported_squalls(time: Times, wind_ms: ArrayLike, gust_ms: ArrayLike | None) -> list[Squall]:
    """Hourly reports of mean wind and gust [m/s], (n,) -> jumps of the stronger of the two that look like squalls, in order of
    time.

    says: within two hours the strongest wind in the reports rose by 8 m/s or more to 33 kn or more, above all of those two hours.
    why: an hourly report cannot show a squall's minute, but its gust betrays it.
    example: 20 kn without gust, an hour later 39 kn in the gusts.
    source: squall-1 for the rise; the rest is judgement. It also calls the onset of a gale that comes within an hour or two.
    """
    wind = np.asarray(wind_ms, dtype=float)
    peak = wind if gust_ms is None else np.fmax(wind, np.asarray(gust_ms, dtype=float))
    return _rises(time, peak, REPORT_RISE_MS, REPORT_REACH_MS, REPORT_WITHIN_MIN, SeenAs.REPORT)


def _rises(time: Times, wind: Floats, rise_ms: float, reach_ms: float, within_min: float, seen_as: SeenAs) -> list[Squall]:
    stamps = np.asarray(time, dtype="datetime64[s]")
    if stamps.shape != wind.shape or (np.diff(stamps) <= np.timedelta64(0, "s")).any():
        raise ValueError("time must be one increasing series with one wind an instant")
    known = ~np.isnan(wind)
    stamps, wind = stamps[known], wind[known]
    minutes = stamps.astype(np.int64) / 60.0
    found: list[Squall] = []
    i = 0
    while i < wind.size:
        start = int(np.searchsorted(minutes, minutes[i] - within_min - 1e-6))
        before = wind[start:i]
        # the wind itself: above the lull just before; reports: above all just before, as a gust that comes and goes is no rise
        base = float(before.min() if seen_as is SeenAs.WIND else before.max()) if before.size else np.inf
        if not (wind[i] >= reach_ms and wind[i] - base >= rise_ms):
            i += 1
            continue
        squall, i = _follow(stamps, minutes, wind, start + int(before.argmin()), i, base, seen_as)
        found.append(squall)
    return found


def _follow(
    stamps: Times, minutes: Floats, wind: Floats, lull: int, i: int, base: float, seen_as: SeenAs
) -> tuple[Squall, int]:
    """The squall that has begun by instant i: how far it rises and when half the rise is gone; and the first instant after it."""
    best = i
    over = i + 1
    while over < wind.size and wind[over] > base + CALM_AFTER_SHARE * (wind[best] - base):
        best = over if wind[over] > wind[best] and minutes[over] - minutes[i] <= 60.0 else best
        over += 1
    ended = over < wind.size
    return Squall(
        start=from_np(stamps[lull]), peak_time=from_np(stamps[best]), rise_ms=float(wind[best] - base), peak_ms=float(wind[best]),
        lasted_min=float(minutes[over] - minutes[lull]) if ended else float("nan"), seen_as=seen_as,
    ), over


def squall_outlook(inputs: SquallInputs) -> SquallOutlook:
    """What a forecast says of squalls, at each place and time.

    says: how likely a squall is, from what that is known, and what gust it would bring.
    why: the mean wind of a model, and often its gust, has no squall in it; the squall finds the sail plan that the mean wind
    allowed.
    example: CAPE 1000 J/kg and 20 m/s of deep shear with rain: likely; no CAPE, 25 m/s of shear and 4 mm/h: still a real chance.
    source: gust: source squall-2 (0.6 of the shear below 850 hPa, where the gust has no convective part yet), and by definition
    (squall-1) never less than the mean wind plus 8 m/s, nor than 11 m/s. Likelihood: judgement after squall-3 (CAPE with shear)
    and squall-4 (severe wind with little CAPE and much shear, so that CAPE alone never closes the question). Steps, at each point
    by what is known there: winds aloft with CAPE and rain; CAPE and rain; CAPE; gust over mean, or rain; cannot tell. Near a cold
    front it is at least what such fronts bring: the same squall line, so the larger of the two.
    """
    wind = np.asarray(inputs.wind_ms, dtype=float)
    given = [np.nan if getattr(inputs, n) is None else np.asarray(getattr(inputs, n), dtype=float) for n in FIELDS]
    front = np.asarray(0.0 if inputs.cold_front is None else inputs.cold_front, dtype=float)
    wind, front, *rest = np.broadcast_arrays(wind, front, *given)
    f = dict(zip(FIELDS, rest, strict=True))
    deep = np.hypot(f["u500_ms"] - f["u10_ms"], f["v500_ms"] - f["v10_ms"])
    steps = _steps(wind, f, deep)
    likelihood, basis = np.full(wind.shape, np.nan), np.full(wind.shape, int(Basis.UNKNOWN), dtype=np.int8)
    for step in reversed(steps):
        here = ~np.isnan(steps[step])
        likelihood, basis = np.where(here, steps[step], likelihood), np.where(here, int(step), basis).astype(np.int8)
    by_front = np.where(front > 0.0, np.fmax(likelihood, front), likelihood)
    return SquallOutlook(likelihood=by_front, of_the_air=likelihood, gust_ms=_squall_gust_ms(wind, f, inputs.gust_has_convection), basis=basis)


def front_gust_ms(wind_ms: ArrayLike) -> Floats:
    """Mean wind [m/s] -> gust of a squall that comes with a cold front [m/s], same shape; never less than any squall has by definition.

    >>> float(front_gust_ms(12.0))
    21.0
    """
    return np.asarray(np.maximum(FRONT_GUST * (np.asarray(wind_ms) + RISE_MS), REACH_MS))


def _steps(wind: Floats, f: dict[str, Floats], deep_shear: Floats) -> dict[Basis, Floats]:
    """Likelihood by each step, NaN where its fields are missing. None falls when CAPE, rain, shear or gustiness rises."""
    cape, rain = ramp(f["cape_jkg"], *CAPE_JKG), ramp(f["rain_mmh"], *RAIN_MMH)
    with_shear = CEILING["aloft"] * ramp(wmaxshear_m2s2(f["cape_jkg"], deep_shear), *WMAXSHEAR_M2S2)
    sheared_rain = CEILING["shear and rain"] * ramp(deep_shear, *DEEP_SHEAR_MS) * ramp(f["rain_mmh"], *SHOWER_MMH)
    moist = cape * (CEILING["dry cape"] + (CEILING["cape and rain"] - CEILING["dry cape"]) * rain)
    alone = CEILING["cape alone"] * ramp(f["cape_jkg"], *CAPE_ALONE_JKG)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(wind >= LEAST_MEAN_MS, f["gust_ms"] / wind, np.where(np.isnan(f["gust_ms"] + wind), np.nan, 1.0))
    gusty = CEILING["gustiness"] * np.sqrt(ramp(ratio, *GUST_RATIO) * np.where(np.isnan(rain), 1.0, rain))
    aloft = np.fmax(np.fmax(with_shear, sheared_rain), np.fmax(moist, np.where(np.isnan(rain), alone, np.nan)))
    return {
        Basis.WINDS_ALOFT: np.where(np.isnan(deep_shear + f["cape_jkg"]), np.nan, aloft),
        Basis.CAPE_AND_RAIN: moist,
        Basis.CAPE_ONLY: alone,
        Basis.GUSTINESS: np.fmax(gusty, np.fmax(sheared_rain, CEILING["rain alone"] * rain)),
    }


def wmaxshear_m2s2(cape_jkg: ArrayLike, deep_shear_ms: ArrayLike) -> Floats:
    """CAPE [J/kg] (below 0 counts as 0), shear from 10 m to 500 hPa, a stand-in for 6 km [m/s] -> WMAXSHEAR [m2/s2].

    Source: squall-3.

    >>> round(float(wmaxshear_m2s2(1000.0, 20.0)), 1)
    894.4
    """
    cape = np.maximum(np.asarray(cape_jkg, dtype=float), 0.0)  # np.maximum keeps NaN
    return np.asarray(np.sqrt(2.0 * cape) * np.asarray(deep_shear_ms, dtype=float))


def convective_term_ms(inputs_850: tuple[Floats, Floats], lower: tuple[Floats, Floats], lower_is_925: ArrayLike) -> Floats:
    """Wind at 850 hPa and at a lower level, (u, v) [m/s] -> what convection adds to a gust [m/s]: 0.6 of the rise of speed, never
    below 0.

    Made for 950 hPa; the shear to 925 hPa is stretched by 100/75. Source: squall-2.

    >>> flat = np.zeros(1)
    >>> float(convective_term_ms((np.array([25.0]), flat), (np.array([15.0]), flat), False)[0])
    6.0
    """
    rise = np.hypot(*inputs_850) - np.hypot(*lower)
    return np.asarray(CONVECTIVE_FACTOR * np.maximum(rise * np.where(lower_is_925, SHEAR_STRETCH, 1.0), 0.0))


def _squall_gust_ms(wind: Floats, f: dict[str, Floats], gust_has_convection: bool) -> Floats:
    """The forecast's own gust, or the mean with its turbulent and its convective part, whichever is more: a gust field that mixes wind
    down from aloft already holds part of the second, so that the two are not added."""
    gust = np.fmax(f["gust_ms"], wind)
    if not gust_has_convection:
        has_925 = ~np.isnan(f["u925_ms"] + f["v925_ms"])
        aloft = [np.where(has_925, f[c + "925_ms"], ALOFT_OVER_10M * f[c + "10_ms"]) for c in "uv"]
        term = np.nan_to_num(convective_term_ms((f["u850_ms"], f["v850_ms"]), (aloft[0], aloft[1]), has_925))
        gust = np.fmax(gust, wind * gust_factor() + term)
    return np.where(np.isnan(wind), np.nan, np.maximum(np.maximum(gust, wind + RISE_MS), REACH_MS))
