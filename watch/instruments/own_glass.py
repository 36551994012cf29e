"""Her own glass: how fast it changes, what of that is her own movement, and whether it falls beyond what was forecast."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from watch.units import Floats
from watch.weather.glass import TENDENCY_H, Pace, changes_hpa, pace_of, tendency, tendency_at_fixed_place
from watch.when import Times

# Judgement: fall in three hours beyond forecast [hPa] that is told, and that is grave. A forecast pressure and a glass wander apart by
# some half a hectopascal in three hours without any meaning.
BEYOND_HPA, FAR_BEYOND_HPA = 1.5, 3.0
LATEST_H = 0.5  # the last reading may be so old


class Beyond(IntEnum):
    """How the glass stands to the forecast, mildest first: the order is the severity."""

    UNKNOWN = 0
    AS_FORECAST = 1
    HIGHER = 2  # it falls less, or rises more, than forecast
    FALLS_BEYOND = 3
    FALLS_FAR_BEYOND = 4


@dataclass(frozen=True, kw_only=True)
class OwnGlass:
    """The glass at the last step. Changes over three hours [hPa], NaN when not known: on_board as read, fixed_place as it would have
    been had she stayed where she is now, forecast on board along her track, forecast_fixed where she is now, beyond: on_board less
    forecast (negative: it fell further). pace: of the fixed place, or on board where that is not known."""

    on_board_hpa: float
    fixed_place_hpa: float
    forecast_hpa: float
    forecast_fixed_hpa: float
    beyond_hpa: float
    pace: Pace
    finding: Beyond
    words: str


def own_glass(time: Times, own_hpa: Floats, forecast_hpa: Floats, here_then_hpa: float) -> OwnGlass:
    """Her own glass and the forecast's along the track she sailed -> the finding at the last step.

    time (n): ten-minute steps up to now; own_hpa, forecast_hpa (n) [hPa], NaN where missing; here_then_hpa: forecast pressure three
    hours before the last step at the place where she is now. The level of the glass does not matter, only its change.

    says: the three-hour change in the published words; corrected for her own movement; and a fall beyond forecast, with numbers.
    why: sailing away from a low hides how fast it deepens, and a fall beyond forecast means a deeper or nearer low than planned for.
    example: it fell 4.2 hPa where 1.9 was forecast: 2.3 beyond.
    source: glass-1, glass-2; the bounds of 1.5 and 3.0 hPa are judgement (source glass-beyond-1).
    """
    time, own, forecast = np.asarray(time), np.asarray(own_hpa, dtype=float), np.asarray(forecast_hpa, dtype=float)
    latest = np.flatnonzero(np.isfinite(own))
    nan = float("nan")
    if latest.size == 0 or (time[-1] - time[latest[-1]]) / np.timedelta64(60, "m") > LATEST_H:
        return OwnGlass(on_board_hpa=nan, fixed_place_hpa=nan, forecast_hpa=nan, forecast_fixed_hpa=nan, beyond_hpa=nan,
                        pace=Pace.UNKNOWN, finding=Beyond.UNKNOWN, words="The glass is not known: no readings of it in the last half hour.")
    upto = slice(0, int(latest[-1]) + 1)
    time, own, forecast = time[upto], own[upto], forecast[upto]
    on_board = float(changes_hpa(time, own, TENDENCY_H, 1.0)[-1])
    expected = float(changes_hpa(time, forecast, TENDENCY_H)[-1])
    left = float(forecast[-1] - expected)  # forecast pressure three hours ago, where she was then
    fixed = float(tendency_at_fixed_place(on_board, left, here_then_hpa))
    beyond = on_board - expected
    finding = _finding(beyond)
    pace = pace_of(on_board if np.isnan(fixed) else fixed)
    said = tendency(time, own, 1.0).words
    return OwnGlass(on_board_hpa=on_board, fixed_place_hpa=fixed, forecast_hpa=expected, beyond_hpa=beyond, pace=pace, finding=finding,
                    forecast_fixed_hpa=float(forecast[-1] - here_then_hpa), words=_words(said, on_board, fixed, expected, beyond, finding))


def _finding(beyond_hpa: float) -> Beyond:
    if np.isnan(beyond_hpa):
        return Beyond.UNKNOWN
    for bound, finding in ((FAR_BEYOND_HPA, Beyond.FALLS_FAR_BEYOND), (BEYOND_HPA, Beyond.FALLS_BEYOND)):
        if beyond_hpa <= -bound + 1e-9:
            return finding
    return Beyond.HIGHER if beyond_hpa >= BEYOND_HPA - 1e-9 else Beyond.AS_FORECAST


def _words(said: str, on_board: float, fixed: float, expected: float, beyond: float, finding: Beyond) -> str:
    words = f"The glass: {said}."
    if np.isnan(on_board):
        return f"{words} Three hours of readings are needed."
    if not np.isnan(fixed) and abs(fixed - on_board) >= 0.3:
        pace = pace_of(fixed)
        sense = "steady" if pace is Pace.STEADY else f"{'rising' if fixed > 0 else 'falling'} {pace.value}".strip()
        words += f" Had she stayed where she is it would be {sense}: {change_words(fixed)} in 3 h."
    if finding is Beyond.UNKNOWN:
        return f"{words} What was forecast here is not known."
    forecast = f"forecast {change_words(expected)}"
    if finding is Beyond.AS_FORECAST:
        return f"{words} About as forecast ({forecast})."
    if finding is Beyond.HIGHER:
        return f"{words} That is {beyond:.1f} hPa higher than forecast ({forecast})."
    far = " far" if finding is Beyond.FALLS_FAR_BEYOND else ""
    return (f"{words} That is {-beyond:.1f} hPa{far} beyond forecast ({forecast}): the low is deeper, nearer or sooner than these "
            "orders plan for.")


def change_words(change_hpa: float) -> str:
    """A change for people.

    >>> change_words(-4.23), change_words(0.5), change_words(0.01)
    ('down 4.2 hPa', 'up 0.5 hPa', 'no change')
    """
    if abs(change_hpa) < 0.05:
        return "no change"
    return f"{'up' if change_hpa > 0 else 'down'} {abs(change_hpa):.1f} hPa"
