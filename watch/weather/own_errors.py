"""The widths of a forecast's errors, taught by the passage itself: what was forecast for where she was, beside what she measured there."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.weather.errors import Widening
from watch.weather.scenarios import strengthened

Floats = NDArray[np.float64]

# All judgement (source own-widths-1).
LEAST_TIMES, MOST_TIMES = 1.0, 2.0  # of the table: a few quiet days prove no forecast good, one bad front none useless
TABLE_COUNTS = 20.0  # as many spells of her own weigh as much as the table
SPELL_H = 6.0  # readings nearer in time than this tell of one and the same error
LEAST_SPELLS = 4  # with fewer nothing is said
FARTHEST = 3.0  # an error of more standard deviations than this counts as this: squalls are another rule's business
READING_MS, READING_SHARE = 0.5, 0.06  # turbulence, anemometer, place: of a mean over ten minutes to an hour
WIND_MOVES_KN = 25.0  # how fast weather goes by, so that a wrong place is a wrong time


@dataclass(frozen=True, kw_only=True)
class OwnWidths:
    """widening: to be used. times: its strength, timing and place over those of the table. seen_times: root mean square of her own errors
    over what the table says, NaN when too few. spells: how many spells of six hours that rests on."""

    widening: Widening
    times: float
    seen_times: float
    spells: int

    @property
    def words(self) -> str:
        """One sentence for the sailor."""
        if np.isnan(self.seen_times):
            return f"Too little of her own record to judge the forecast by ({self.spells} spells of six hours): widths as in the table."
        return (
            f"Over {self.spells} spells of six hours the forecast was {self.seen_times:.1f} times as far off as the table says: "
            f"errors are taken {self.times:.1f} times as wide."
        )


def own_widths(
    when_h: ArrayLike, lead_h: ArrayLike, forecast_ms: ArrayLike, observed_ms: ArrayLike, *,
    change_ms_h: ArrayLike = 0.0, table: Widening | None = None,
) -> OwnWidths:  # fmt: skip
    """Pairs (N): when [h, any zero], how far ahead it was forecast [h], mean wind forecast and observed at 10 m [m/s], how fast the forecast
    wind changed then [m/s an hour] -> the widths to use.

    says: where the forecasts of this passage were farther off than the table has it, the scenarios are spread wider; where they were
    nearer, the table stands.
    why: no table knows this ocean, this model and this week; but a few days prove little, so the table keeps its say.
    example: 20 spells with errors twice the table's: the square is (20 x 1 + 20 x 4) / 40 = 2.5, widths 1.6 times.
    source: own-widths-1, judgement; the mean of squares of a normal error with a conjugate prior (scaled inverse chi-square) of 20 spells.
    Never less than the table and never more than 2 times it: narrower was tried, and the strongest gusts of three hours fell short oftener
    (tests/bench/bench_own_widths.py). Strength, timing and place are widened alike: one series of wind cannot tell
    them apart. What is not known (NaN) is left out. A lasting error to one side widens too; it is not taken off here.

    >>> h = np.arange(0.0, 120.0, 6.0)
    >>> found = own_widths(h, 0 * h + 24.0, 0 * h + 10.0, 10.0 + 2.0 * expected_ms(24.0, 10.0, 0.0, Widening()) * (-1.0) ** np.arange(20))
    >>> round(found.times**2, 3), found.spells
    (2.5, 20)
    """
    table = table or Widening()
    when, lead, forecast, observed, change = np.broadcast_arrays(
        *(np.asarray(x, dtype=float) for x in (when_h, lead_h, forecast_ms, observed_ms, change_ms_h))
    )
    known = np.isfinite(when + lead + forecast + observed + change)
    off = (observed - forecast)[known] / expected_ms(lead[known], forecast[known], change[known], table)
    squares = np.minimum(np.abs(off), FARTHEST) ** 2
    _, spell = np.unique(np.floor(when[known] / SPELL_H), return_inverse=True)
    count = np.bincount(spell)
    spells = len(count)
    if spells < LEAST_SPELLS:
        return OwnWidths(widening=table, times=1.0, seen_times=float("nan"), spells=spells)
    mean_square = float(np.mean(np.bincount(spell, weights=squares) / count))
    square = (TABLE_COUNTS + spells * mean_square) / (TABLE_COUNTS + spells)
    times = float(np.clip(np.sqrt(square), LEAST_TIMES, MOST_TIMES))
    return OwnWidths(widening=scaled(table, times), times=times, seen_times=float(np.sqrt(mean_square)), spells=spells)


def expected_ms(lead_h: ArrayLike, forecast_ms: ArrayLike, change_ms_h: ArrayLike, table: Widening) -> Floats:
    """Standard deviation [m/s] of a reading about the forecast as the table has it: strength, and timing and place where the wind changes,
    and the reading itself.

    >>> round(float(expected_ms(24.0, 10.0, 0.0, Widening())), 2)
    1.52
    """
    lead, forecast = np.asarray(lead_h, dtype=float), np.asarray(forecast_ms, dtype=float)
    strength = strengthened(forecast, 1.0, lead, table) - forecast
    late_h = np.hypot(table.at(table.timing_h, lead), table.at(table.place_nm, lead) / WIND_MOVES_KN)
    reading = np.maximum(READING_MS, READING_SHARE * forecast)
    return np.asarray(np.sqrt(strength**2 + (np.asarray(change_ms_h, dtype=float) * late_h) ** 2 + reading**2))


def scaled(table: Widening, times: float) -> Widening:
    """The table with strength, timing and place so many times as wide; gusts and sea as they are.

    >>> scaled(Widening(), 2.0).timing_h[0] == 2.0 * Widening().timing_h[0]
    True
    """
    strength, timing, place = (tuple(times * width for width in row) for row in (table.strength_ms, table.timing_h, table.place_nm))
    share = times * table.strength_share
    return replace(table, strength_ms=strength, strength_share=share, timing_h=timing, place_nm=place)
