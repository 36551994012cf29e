"""What the instruments said, carried into the weathers anywhere: for shelter, holding on and running off the same as along the track."""

from dataclasses import dataclass, fields

import numpy as np

from watch.instruments.ahead import factors, sources
from watch.instruments.compare import Update
from watch.instruments.widths import Widths
from watch.orders.met import quantile
from watch.units import Floats
from watch.weather.anywhere import Anywhere, Floats32, Ints, Weather
from watch.when import STEPS_PER_HOUR, to_np


def learnt_anywhere(update: Update, weathers: Anywhere, planning_share: float, widths: Widths | None = None) -> Anywhere:
    """Update and the weathers anywhere -> the weathers with it, as `watch.instruments.ahead.apply` has them along a track, hour by hour.

    How it differs: the weather of an early or late hour is that of the place itself, not of where she will then be on her track, which is
    some miles off; the shift is by whole hours; of an hour the larger factor counts. An update that is not trusted changes nothing.
    source: observed-widths-1, as apply; apply is its slow twin in the tests.
    """
    w = widths or Widths()
    if not update.trusted:
        return weathers
    same = len(update.weights) == len(weathers.weight)
    early_h, strength = (update.rest_early_h, update.rest_strength) if same else (update.hours_early, update.strength)
    hours = len(weathers.hours) - 1
    ten = np.timedelta64(60 // STEPS_PER_HOUR, "m")
    steps = weathers.hours[0] + np.arange(hours * STEPS_PER_HOUR) * ten
    lead_h = (steps - to_np(update.as_of)) / np.timedelta64(3600, "s")
    middle = sources(lead_h, early_h, w)[STEPS_PER_HOUR // 2 :: STEPS_PER_HOUR]
    return Learnt(
        **{f.name: getattr(weathers, f.name) for f in fields(Anywhere) if f.name != "weight"},
        weight=np.array(update.weights) if same else weathers.weight, weight_before=weathers.weight, look=middle // STEPS_PER_HOUR,
        factor=factors(lead_h, strength, w).reshape(hours, STEPS_PER_HOUR).max(axis=1), planning_share=planning_share,
        calmer_share=w.calmer_share_supported if update.calmer_supported else w.calmer_share,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Learnt(Anywhere):
    """The weathers with an update. look (H): the hour whose weather comes in each hour; factor (H): on the wind; calmer_share: by how much
    the planning value (planning_share of the weathers stay below) may fall below that without update, when they weighed weight_before (S)."""

    weight_before: Floats
    look: Ints
    factor: Floats
    calmer_share: float
    planning_share: float

    def looked(self, hour: Ints) -> tuple[Ints, Floats32]:
        """As of Anywhere; an hour outside the marks, where nothing is known anyway, comes as it stands."""
        on = (hour >= 0) & (hour < len(self.look))
        row = np.where(on, hour, 0)
        return np.where(on, self.look[row], hour), np.where(on, self.factor[row], 1.0).astype(np.float32)

    def waves_from_deg(self, hour: Ints, latitude: Floats, longitude: Floats) -> Floats:
        moved, own = (super(Learnt, self).waves_from_deg(h, latitude, longitude) for h in (self.looked(hour)[0], hour))
        return np.where(np.isnan(moved), own, moved)

    def at(self, hour: Ints, latitude: Floats, longitude: Floats) -> Weather:
        before = super().at(hour, latitude, longitude)
        look, factor = self.looked(hour)
        other = np.flatnonzero(look != hour)
        moved = super().at(look[other], latitude[other], longitude[other]) if len(other) else None
        out = {f.name: _moved(getattr(before, f.name), other, None if moved is None else getattr(moved, f.name)) for f in fields(Weather)}
        for name in ("mean_ms", "gust_ms", "u_ms", "v_ms"):
            out[name] = out[name] * factor[:, None]
        out["sea_m"] = out["sea_m"] * np.maximum(factor, np.float32(1.0))[:, None]
        for name in ("mean_ms", "gust_ms", "sea_m"):
            out[name] = out[name] * self._lift(getattr(before, name), out[name])[:, None]
        out["gust_ms"] = np.maximum(out["gust_ms"], out["mean_ms"])
        return Weather(**out)

    def _lift(self, before: Floats32, after: Floats32) -> Floats32:
        """(C): the factor that keeps the planning value from falling too far."""
        was = quantile(before.T.astype(float), self.weight_before, self.planning_share)
        now = quantile(after.T.astype(float), self.weight, self.planning_share)
        least = (1.0 - self.calmer_share) * was
        lift = np.where(now < least, least / np.where(now > 0.0, now, 1.0), 1.0)
        return np.where(np.isfinite(lift), lift, 1.0).astype(np.float32)


def _moved(own: Floats32, other: Ints, found: Floats32 | None) -> Floats32:
    """(C, S) with the rows `other` from elsewhere; what was unknown stays so, and where that is unknown a row keeps its own."""
    if found is None:
        return own
    out = own.copy()
    out[other] = np.where(np.isnan(own[other]) | np.isnan(found), own[other], found)
    return out
