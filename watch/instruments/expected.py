"""What was forecast along the track that she sailed, on ten-minute steps, ready to be held against what was observed."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import xarray as xr

from watch.instruments.align import Pair
from watch.instruments.averages import STEP_S
from watch.instruments.readings import DoubtKind
from watch.instruments.steps import ObservedSteps
from watch.instruments.widths import Widths, inflation
from watch.orders.met import quantile
from watch.units import Floats
from watch.when import STEPS_PER_HOUR, Times, floor_step, from_np, to_np

# Doubts with which a reading is usable but its step counts for little, and by how much (judgement).
DOUBTED = (DoubtKind.JUMP, DoubtKind.UNITS_DISAGREE, DoubtKind.INSTRUMENTS_DISAGREE, DoubtKind.CLOCK)
DOUBTED_TRUST = 0.25


@dataclass(frozen=True, kw_only=True)
class Expected:
    """The forecast at 10 m along the track, on N ten-minute steps from some hours before the first observation to some hours after
    the last (six both ways serve best: without them a shift of that size cannot be seen).

    time (N): start of each step, rising, on the ten-minute grid. mean_ms, pressure_pa (S, N): plainly interpolated mean wind and sea
    level pressure of each scenario; weight (S). plain_mean_ms, plain_pressure_pa (N): the forecast as it stands. labels (S): the run
    of each scenario. timing_width_h: the forecast's own width of timing at its present lead. Missing is NaN.
    """

    time: Times
    mean_ms: Floats
    pressure_pa: Floats
    weight: Floats
    plain_mean_ms: Floats
    plain_pressure_pa: Floats
    labels: tuple[str, ...]
    timing_width_h: float

    @classmethod
    def of(cls, scenarios: xr.Dataset, *, timing_width_h: float, plain_mean_ms: Floats | None = None,
           plain_pressure_pa: Floats | None = None) -> "Expected":
        """Scenarios (of `make_scenarios`, along the track sailed and on) -> Expected. Without the plain forecast, the median of the
        scenarios stands for it, which blurs a front whose time differs among them."""
        mean, glass, weight = (scenarios[name].values for name in ("low_ms", "pressure_pa", "weight"))
        return cls(
            time=scenarios["time"].values.astype("datetime64[s]"), mean_ms=mean, pressure_pa=glass, weight=weight,
            plain_mean_ms=quantile(mean, weight, 0.5) if plain_mean_ms is None else plain_mean_ms,
            plain_pressure_pa=quantile(glass, weight, 0.5) if plain_pressure_pa is None else plain_pressure_pa,
            labels=tuple(str(label) for label in scenarios["label"].values), timing_width_h=timing_width_h,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Window:
    """Observed and expected on one grid of n steps up to `end`; the forecast with `margin` steps more on either side.

    mean_ms, pressure_pa (n): observed, by a running median; trust (n): by age and doubt; doubtful (n). forecast_ms, forecast_pa
    (S + 1, margin + n + margin): the scenarios and, last, the plain forecast.
    """

    end: datetime
    margin: int
    mean_ms: Floats
    pressure_pa: Floats
    trust: Floats
    doubtful: Floats
    forecast_ms: Floats
    forecast_pa: Floats
    widths: Widths

    @property
    def steps(self) -> int:
        return len(self.mean_ms)

    def known_h(self, values: Floats, last_h: float) -> float:
        """Hours of the last last_h hours [h] in which a series is known."""
        return float(np.isfinite(values[max(0, self.steps - round(last_h * STEPS_PER_HOUR)) :]).sum()) / STEPS_PER_HOUR

    def age_h(self, values: Floats) -> float:
        """Hours from the end of the last known step to the end of the window; infinite without one."""
        known = np.flatnonzero(np.isfinite(values))
        return (self.steps - 1 - int(known[-1])) / STEPS_PER_HOUR if known.size else float("inf")

    def wind(self, *, factor_width: float | None = None, bias_width: float | None = None) -> Pair:
        w = self.widths
        width = np.maximum(w.wind_ms, w.wind_share * np.nan_to_num(self.mean_ms)) * np.sqrt(inflation(w.wind_memory_h))
        return Pair(observed=self.mean_ms, forecast=self.forecast_ms, before=self.margin, trust=self.trust, width=width,
                    factor_width=w.ratio_share if factor_width is None else factor_width,
                    bias_width=w.wind_bias_ms if bias_width is None else bias_width)

    def glass(self, *, factor_width: float | None = None) -> Pair:
        w = self.widths
        width = np.full(self.steps, w.pressure_pa * np.sqrt(inflation(w.pressure_memory_h)))
        return Pair(observed=self.pressure_pa, forecast=self.forecast_pa, before=self.margin, trust=self.trust, width=width,
                    factor_width=w.glass_share if factor_width is None else factor_width, bias_width=w.glass_bias_pa, centred=True)


def window_of(observed: ObservedSteps, expected: Expected, now: datetime, widths: Widths) -> Window:
    """Observed steps (of any length, gaps allowed) and expected -> both on the grid of the last hours before now."""
    end, n, margin = floor_step(now), round(widths.window_h * STEPS_PER_HOUR), round(widths.lag_most_h * STEPS_PER_HOUR)
    grid = to_np(end) + np.arange(-n, 0) * np.timedelta64(int(STEP_S), "s")
    wide = to_np(end) + np.arange(-n - margin, margin) * np.timedelta64(int(STEP_S), "s")
    doubted = np.array([any(doubt.kind in DOUBTED for doubt in doubts) for doubts in observed.doubts], dtype=float)
    doubtful = np.nan_to_num(_on(grid, observed.start, doubted))
    age_h = np.arange(n, 0, -1) / STEPS_PER_HOUR
    return Window(
        end=from_np(to_np(end)), margin=margin, widths=widths,
        mean_ms=running_median(_on(grid, observed.start, observed.mean_ms), widths.smooth_steps),
        pressure_pa=running_median(_on(grid, observed.start, observed.pressure_pa), widths.smooth_steps),
        trust=np.exp(-age_h / widths.forget_h) * np.where(doubtful > 0, DOUBTED_TRUST, 1.0), doubtful=doubtful,
        forecast_ms=_on(wide, expected.time, np.vstack([expected.mean_ms, expected.plain_mean_ms[None]])),
        forecast_pa=_on(wide, expected.time, np.vstack([expected.pressure_pa, expected.plain_pressure_pa[None]])),
    )  # fmt: skip


def running_median(values: Floats, steps: int) -> Floats:
    """(n) -> (n): the median of `steps` (odd) values round each; near the ends of the last (first) so many, so that what stands out
    there for less than half of them does not count yet. What was missing stays missing; a lasting rise keeps its edge.

    >>> running_median(np.array([8.0, 8.0, 20.0, 8.0, 9.0, np.nan]), 3).tolist()
    [8.0, 8.0, 8.0, 9.0, 8.5, nan]
    """
    half = steps // 2
    out = np.full(len(values), np.nan)
    for i in np.flatnonzero(np.isfinite(values)).tolist():
        first: int = max(0, min(i - half, len(values) - steps))
        near = values[first : first + steps]
        out[i] = np.median(near[np.isfinite(near)])
    return out


def _on(grid: Times, time: Times, values: Floats) -> Floats:
    """(..., m) at rising times -> (..., n) on the grid, NaN where there is none at that very time."""
    values = np.asarray(values, dtype=float)
    if len(time) == 0:
        return np.full((*values.shape[:-1], len(grid)), np.nan)
    own = np.asarray(time, dtype="datetime64[s]")
    at = np.clip(np.searchsorted(own, grid), 0, len(own) - 1)
    found: Floats = np.where(own[at] == grid, values[..., at], np.nan)
    return found
