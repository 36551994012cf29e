"""Is it going as forecast? Early or late, stronger or weaker, sharper: observed steps against the scenarios along the track sailed."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np

from watch.instruments.align import Alignment, align, misfits, shifted_by
from watch.instruments.expected import Expected, Window, window_of
from watch.instruments.filtered import Followed, follow
from watch.instruments.steps import ObservedSteps, WindHeight
from watch.instruments.told import at_a_glance, told
from watch.instruments.weighing import effective_size, weigh_gently
from watch.instruments.widths import Widths, inflation
from watch.units import Floats
from watch.when import STEPS_PER_HOUR

LEAST_OF_BLOCK = 3  # known steps of an hour, for its mean (judgement)
SLIGHTEST_MS = 0.5  # winds below it count as this in a ratio
SHARP_H = 3.0  # a sharp rise is looked for so far back
SHARP_MS, SHARP_RATIO = 2.5, 1.5  # more in an hour than forecast, and times as much (judgement)


class Caveat(StrEnum):
    """Why the comparison is not possible, or not whole; the value is what the sailor reads."""

    NO_FORECAST = "there is no forecast for the hours observed"
    TOO_FEW = "there are fewer than three hours of readings of wind or glass"
    TOO_OLD = "the last readings of wind and glass are more than an hour old"
    DOUBTFUL = "the instruments are in doubt or disagree for most of the time"
    NO_WIND = "no wind observed: how strong it is cannot be told, and the timing rests on the glass alone"
    NO_GLASS = "no glass observed: the timing rests on the wind alone"
    FLAT = "nothing has come yet that would tell early from late"
    LIGHT = "too little wind so far to tell strong from weak"
    FAR_OFF = "the weather is further from the forecast than this comparison reaches: trust the sky and the glass before these orders"
    FEW_WEATHERS = "few of the possible weathers are like what was observed; the others are kept, at less weight"


@dataclass(frozen=True, kw_only=True)
class Update:
    """What the observations say of the forecast, at `as_of`.

    hours_early: how early the weather is on the forecast as it stands (late: negative) and its standard deviation [h]; strength:
    observed mean wind over forecast [1] and its standard deviation; sharper: steepest rise of the wind in an hour over the forecast's
    [1], NaN unless it is much more. weights (S): of the scenarios, ess: how many they are worth. rest_early_h, rest_strength: what
    remains to be shifted and multiplied once the weights have done their part. calmer_supported: whether the readings support less
    wind than planned for. trusted: whether anything may be changed by this; reasons: what is lacking. glance: the
    words in short, "" when it goes as forecast. NaN: not known.
    """

    as_of: datetime
    hours_early: float
    hours_early_sd: float
    strength: float
    strength_sd: float
    sharper: float
    weights: Floats
    labels: tuple[str, ...]
    ess: float
    rest_early_h: float
    rest_strength: float
    calmer_supported: bool
    trusted: bool
    reasons: tuple[Caveat, ...]
    words: str
    glance: str = ""


def compare(observed: ObservedSteps, expected: Expected, now: datetime, widths: Widths | None = None) -> Update:
    """Observed steps at 10 m, what was forecast, now -> Update. Raises ValueError when the wind does not hold at 10 m.

    says: how many hours early or late, how much stronger or weaker, and whether it comes more sharply.
    why: a forecast that runs two hours late puts the foredeck work into the dark.
    example: a fall of the glass and a rise of the wind forecast for 18:00 begin at 16:00: about 2 h early.
    source: alignment-1 for the timing, kalman-1 for the strength, reweighting-1 for the weights; observed-widths-1 for all widths.
    """
    if observed.height is not WindHeight.TEN_METRES:
        raise ValueError("the observed wind must be brought to 10 m first: ObservedSteps.to_ten_metres")
    w = widths or Widths()
    window = window_of(observed, expected, now, w)
    stop = _cannot(window)
    if stop is not None:
        return _none(window, expected, stop)
    prior_h = max(w.lag_floor_h, expected.timing_width_h)
    found = align((window.wind(), window.glass()), lag_width_h=prior_h, most_h=w.lag_most_h)
    if not np.isfinite(found.lag_h[-1]):
        return _none(window, expected, Caveat.NO_FORECAST)
    ratio = ratios(window, found)
    weights, held = reweighed(window, expected)
    strength = float(np.exp(ratio.value[-1]))
    strength_sd = strength * float(np.sqrt(ratio.variance[-1]))
    early, early_sd = -float(found.lag_h[-1]), float(found.lag_sd_h[-1])
    wind_known = window.age_h(window.mean_ms) <= w.oldest_h
    reasons = _caveats(window, found, prior_h, strength_sd, held)
    sharp = sharper(window, float(found.lag_h[-1]))
    said = (early, early_sd, strength, strength_sd, sharp, Caveat.FLAT not in reasons, wind_known and Caveat.LIGHT not in reasons)
    rest_lag, rest_log = _left(found.lag_h[:-1], weights, -early), _left(ratio.value[:-1], weights, float(ratio.value[-1]))
    return Update(
        as_of=window.end, hours_early=early, hours_early_sd=early_sd, strength=strength if wind_known else float("nan"),
        strength_sd=strength_sd if wind_known else float("nan"), sharper=sharp, weights=weights, labels=expected.labels,
        ess=effective_size(weights), rest_early_h=-rest_lag, rest_strength=float(np.exp(rest_log)) if wind_known else 1.0,
        calmer_supported=_calmer(window, early, early_sd, strength, strength_sd), trusted=True, reasons=reasons,
        words=told(*said, [str(reason) for reason in reasons]), glance=at_a_glance(*said, Caveat.FAR_OFF in reasons),
    )  # fmt: skip


def ratios(window: Window, found: Alignment) -> Followed:
    """Window and alignment -> logarithm of observed over forecast mean wind once aligned, for each of the S + 1 forecasts: hour by
    hour through the scalar filter, so that it forgets. Source: kalman-1."""
    w, series = window.widths, len(found.lag_h)
    lag = np.nan_to_num(found.lag_h)
    wanted = np.stack([shifted_by(window.forecast_ms[k : k + 1], window.margin, window.steps, lag[k : k + 1])[0, 0] for k in range(series)])
    both = np.isfinite(wanted) & np.isfinite(window.mean_ms)[None]
    hour = STEPS_PER_HOUR
    count = both.reshape(series, -1, hour).sum(axis=2)
    over = np.maximum(count, 1)
    seen = np.where(both, window.mean_ms[None], 0.0).reshape(series, -1, hour).sum(axis=2) / over
    fore = np.where(both, wanted, 0.0).reshape(series, -1, hour).sum(axis=2) / over
    usable = (count >= LEAST_OF_BLOCK) & (fore >= w.light_ms)
    log_fore = np.log(np.maximum(fore, SLIGHTEST_MS))
    slope = np.gradient(np.where(usable, log_fore, np.nan), axis=1) if fore.shape[1] > 1 else np.zeros(fore.shape)
    noise = (np.maximum(w.wind_ms, w.wind_share * fore) / np.maximum(fore, SLIGHTEST_MS)) ** 2 * max(1.0, inflation(w.wind_memory_h) / hour)
    noise = noise / (np.maximum(count, 1) / hour) + (np.nan_to_num(slope) * np.nan_to_num(found.lag_sd_h)[:, None]) ** 2
    doubt = 1.0 + 3.0 * window.doubtful.reshape(-1, hour).mean(axis=1)
    reading = np.where(usable, np.log(np.maximum(seen, SLIGHTEST_MS)) - log_fore, np.nan)
    belief = Followed(value=np.zeros(series), variance=np.full(series, w.ratio_share**2))
    for block in range(reading.shape[1]):
        belief = follow(belief, reading[:, block], noise[:, block] * doubt[block], w.drift_share**2)
    return belief


def reweighed(window: Window, expected: Expected) -> tuple[Floats, bool]:
    """Window and expected -> weights (S), and whether the least effective size held them back. The distance is that of the unshifted
    scenario, in standard deviations inflated for correlated readings; the glass's constant error is its own."""
    zero, fixed = np.zeros(1), 1e-6
    square = misfits(window.wind(factor_width=fixed, bias_width=fixed), zero)[:-1, 0]
    square = square + misfits(window.glass(factor_width=fixed), zero)[:-1, 0]
    distance = np.where(np.isfinite(square), np.sqrt(window.widths.weight_share * np.where(np.isfinite(square), square, 0.0)), np.nan)
    return weigh_gently(distance, expected.weight, window.widths.size_share * effective_size(expected.weight))


def sharper(window: Window, lag_h: float) -> float:
    """Steepest rise of the observed wind within an hour in the last hours over the steepest of the plain forecast about then; NaN
    unless it is much more: half as much again, and 2.5 m/s."""
    back, hour = round(SHARP_H * STEPS_PER_HOUR), STEPS_PER_HOUR
    wanted = shifted_by(window.forecast_ms[-1:], window.margin, window.steps, np.array([lag_h]))[0, 0]
    seen, fore = (_steepest(series[-back - hour :], hour) for series in (window.mean_ms, wanted))
    if not seen - fore >= SHARP_MS or not seen >= SHARP_RATIO * fore:
        return float("nan")
    return seen / max(fore, 1.0)


def _steepest(series: Floats, hour: int) -> float:
    """The largest rise [m/s] in an hour; NaN when there is none to see; never below 0."""
    rise = series[hour:] - series[:-hour]
    return max(0.0, float(rise[np.isfinite(rise)].max())) if np.isfinite(rise).any() else float("nan")


def _left(values: Floats, weights: Floats, plain: float) -> float:
    """The weighted mean of what each scenario still lacks; that of the plain forecast where no scenario can be compared."""
    known = np.isfinite(values)
    total = float(weights[known].sum())
    return float(weights[known] @ values[known]) / total if total > 0 else plain


def _cannot(window: Window) -> Caveat | None:
    """Why nothing can be compared; None when something can."""
    w = window.widths
    seen = (window.mean_ms, window.pressure_pa)
    if not any(window.known_h(series, w.window_h) >= w.least_h for series in seen):
        return Caveat.TOO_FEW
    if not any(window.age_h(series) <= w.oldest_h and window.known_h(series, w.window_h) >= w.least_h for series in seen):
        return Caveat.TOO_OLD
    if window.doubtful[-round(w.support_h * STEPS_PER_HOUR) :].mean() > 0.5:
        return Caveat.DOUBTFUL
    return None


def _caveats(window: Window, found: Alignment, prior_h: float, strength_sd: float, held: bool) -> tuple[Caveat, ...]:
    w = window.widths
    wind, glass = (window.age_h(series) <= w.oldest_h for series in (window.mean_ms, window.pressure_pa))
    lag = abs(float(found.lag_h[-1]))
    found_flat = not float(found.lag_sd_h[-1]) <= 0.8 * min(prior_h, w.lag_most_h / np.sqrt(3.0))
    steps = found.steps / min(inflation(w.wind_memory_h), inflation(w.pressure_memory_h))
    told_of = {
        Caveat.NO_WIND: not wind,
        Caveat.NO_GLASS: not glass,
        Caveat.FLAT: found_flat,
        Caveat.LIGHT: wind and not strength_sd <= 0.8 * w.ratio_share,
        Caveat.FAR_OFF: lag >= w.lag_most_h - 0.2 or float(found.misfit[-1]) > 9.0 * max(1.0, steps),
        Caveat.FEW_WEATHERS: held,
    }
    return tuple(caveat for caveat, true in told_of.items() if true)


def _calmer(window: Window, early: float, early_sd: float, strength: float, strength_sd: float) -> bool:
    """Whether less wind than planned for is supported: wind known nearly all of the stated hours, and the difference beyond doubt."""
    w = window.widths
    enough = window.known_h(window.mean_ms, w.support_h) >= 0.9 * w.support_h
    return enough and (strength + 1.64 * strength_sd < 1.0 or abs(early) > 2.0 * early_sd)


def _none(window: Window, expected: Expected, why: Caveat) -> Update:
    nan = float("nan")
    return Update(
        as_of=window.end, hours_early=nan, hours_early_sd=nan, strength=nan, strength_sd=nan, sharper=nan, weights=expected.weight,
        labels=expected.labels, ess=effective_size(expected.weight), rest_early_h=0.0, rest_strength=1.0, calmer_supported=False,
        trusted=False, reasons=(why,),
        words=f"Observed and forecast cannot be compared: {why}. The orders rest on the forecast alone.",
    )  # fmt: skip
