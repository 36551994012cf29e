"""What the instruments said, carried into the scenarios ahead: weighed, shifted and made stronger, less so the further ahead."""

import numpy as np
import xarray as xr

from watch.instruments.compare import Update
from watch.instruments.widths import Widths
from watch.orders.met import quantile
from watch.orders.weights import Aims
from watch.units import Floats
from watch.when import STEPS_PER_HOUR, to_np

WINDS = ("mean_ms", "low_ms", "gust_ms")
SEAS = ("sea_m", "steepness")  # made higher with a stronger wind, never lower with a weaker one
HELD = ("mean_ms", "gust_ms", "sea_m")  # whose planning value may not fall far below that without update


def apply(update: Update, scenarios: xr.Dataset, widths: Widths | None = None, planning_share: float | None = None) -> xr.Dataset:
    """Update and Scenarios ahead (scenario, time) -> Scenarios of the same shape; the first is left as it is.

    says: the weather ahead as the instruments would have it: sooner or later, stronger or weaker, and which weathers are likelier.
    why: what is two hours early now will be early tonight, but what it does in two days nobody knows: the correction fades.
    example: 2 h early now is 44 min early twelve hours ahead, 16 min after a day.
    source: observed-widths-1, all judgement.

    What is unknown stays unknown. The planning value of mean wind, gust and sea (which planning_share of the weathers stay below)
    never falls by more than widths.calmer_share below that without update (calmer_share_supported where the readings support it).
    An update that is not trusted changes nothing but attrs["notes"]. attrs["observed"]: the update in words.
    """
    w = widths or Widths()
    share = Aims().planning_share if planning_share is None else planning_share
    out = scenarios.copy(deep=True)
    out.attrs["observed"] = update.words
    if not update.trusted:
        out.attrs["notes"] = (*scenarios.attrs.get("notes", ()), update.words)
        return out
    same = tuple(str(label) for label in scenarios["label"].values) == update.labels
    early_h, strength = (update.rest_early_h, update.rest_strength) if same else (update.hours_early, update.strength)
    if same:
        out["weight"] = ("scenario", np.array(update.weights))
    lead_h = (scenarios["time"].values.astype("datetime64[s]") - to_np(update.as_of)) / np.timedelta64(3600, "s")
    index = sources(lead_h, early_h, w)
    factor = factors(lead_h, strength, w)
    for name in (str(n) for n in scenarios.data_vars):
        if scenarios[name].dims == ("scenario", "time"):
            out[name] = (("scenario", "time"), _moved(scenarios[name].values, index))
    for name in WINDS:
        out[name] = out[name] * factor[None, :]
    for name in SEAS:
        out[name] = out[name] * np.maximum(factor, 1.0)[None, :]
    _not_much_calmer(out, scenarios, share, w.calmer_share_supported if update.calmer_supported else w.calmer_share)
    return out


def sources(lead_h: Floats, early_h: float, widths: Widths) -> np.ndarray:
    """Lead times (T) [h], hours early -> for each step, the step whose weather comes then (T); never backwards in time. Off the ends
    the first and the last step hold.

    >>> sources(np.arange(4) / 6.0, 1.0 / 6.0, Widths()).tolist()
    [1, 2, 3, 3]
    """
    bounded = float(np.clip(np.nan_to_num(early_h), -widths.lag_most_h, widths.lag_most_h))
    steps = np.arange(len(lead_h))
    shift = bounded * np.exp(-np.maximum(lead_h, 0.0) / widths.lag_fades_h) * STEPS_PER_HOUR
    index = np.clip(np.round(steps + shift), 0, max(len(steps) - 1, 0)).astype(np.int64)
    return np.maximum.accumulate(index) if index.size else index


def factors(lead_h: Floats, strength: float, widths: Widths) -> Floats:
    """Lead times (T) [h], observed over forecast -> factor on the wind (T), within bounds, fading to one.

    >>> factors(np.array([0.0, 6.0, 1000.0]), 1.2, Widths()).round(3).tolist()
    [1.2, 1.069, 1.0]
    """
    bounded = float(np.clip(strength, widths.factor_least, widths.factor_most)) if np.isfinite(strength) else 1.0
    return np.asarray(np.exp(np.log(bounded) * np.exp(-np.maximum(lead_h, 0.0) / widths.factor_fades_h)))


def _moved(values: Floats, index: np.ndarray) -> Floats:
    """(S, T) by the source of each step; what was unknown stays so, and where the source is unknown the step keeps its own."""
    moved = values[:, index]
    return np.where(np.isnan(values), np.nan, np.where(np.isnan(moved), values, moved))


def _not_much_calmer(out: xr.Dataset, before: xr.Dataset, planning_share: float, calmer_share: float) -> None:
    """Lifts the steps whose planning value fell too far, all scenarios by one factor; a gust stays at least its mean."""
    for name in HELD:
        was = quantile(before[name].values, before["weight"].values, planning_share)
        now = quantile(out[name].values, out["weight"].values, planning_share)
        least = (1.0 - calmer_share) * was
        lift = np.where(now < least, least / np.where(now > 0, now, 1.0), 1.0)
        out[name] = out[name] * np.where(np.isfinite(lift), lift, 1.0)[None, :]
        if name == "sea_m":
            out["steepness"] = out["steepness"] * np.where(np.isfinite(lift), lift, 1.0)[None, :]
    out["gust_ms"] = np.maximum(out["gust_ms"], out["mean_ms"])
