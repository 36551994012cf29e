"""The glass: how fast it rises or falls, in the published words, and what of that is her own movement or the daily tide."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from watch.units import Floats
from watch.when import Times

TENDENCY_H = 3.0
BERGERON_HPA = 24.0  # in 24 h at 60 degrees: source bomb-1
# Largest change [hPa] that still has the word: source glass-1.
SLOWLY_TO_HPA, PLAIN_TO_HPA, QUICKLY_TO_HPA = 1.5, 3.5, 6.0
# Judgement: "definitely" rising or falling now [hPa in the last hour]; "more slowly" (change in the last hour over the first).
NOW_HPA_PER_H, MORE_SLOWLY_SHARE = 0.3, 0.5
TIDE_HPA, TIDE_PHASE_DEG = 1.16, 158.0  # the twelve-hour tide at the equator: source tide-1


class Pace(StrEnum):
    """How much the pressure changed in three hours, in the words of the UK's coastal reports."""

    STEADY = "steady"
    SLOWLY = "slowly"
    PLAIN = ""
    QUICKLY = "quickly"
    VERY_RAPIDLY = "very rapidly"
    UNKNOWN = "unknown"


@dataclass(frozen=True, kw_only=True)
class Tendency:
    """Change of pressure over the last three hours [hPa] (NaN when unknown), its pace, and the words for a person."""

    change_hpa: float
    pace: Pace
    words: str


def changes_hpa(time: Times, pressure_hpa: ArrayLike, over_h: float = TENDENCY_H, max_gap_h: float = TENDENCY_H) -> Floats:
    """Pressure now less pressure over_h hours [h] ago, at each instant.

    time: increasing datetime64, shape (n,), any steps. pressure_hpa [hPa], shape (..., n), NaN where missing. -> [hPa], same
    shape. The earlier pressure is read between its two neighbouring readings, which may be at most max_gap_h apart; else the
    change is NaN, and so it is in the first over_h hours: a gap is not a steady glass. Several series have a gap where any of
    them has one at that time.

    >>> time = np.datetime64("2026-05-14T00:00", "s") + np.arange(4) * np.timedelta64(3600, "s")
    >>> changes_hpa(time, [1010.0, 1009.5, 1008.0, 1006.0]).tolist()
    [nan, nan, nan, -4.0]
    """
    pressure = np.asarray(pressure_hpa, dtype=float)
    hours = _hours(time)
    if pressure.shape[-1:] != hours.shape:
        raise ValueError("time and pressure_hpa must have the same number of instants")
    known = ~np.isnan(pressure.reshape(-1, hours.size)).any(axis=0) if pressure.size else np.zeros(hours.size, dtype=bool)
    out = np.full(pressure.shape, np.nan)
    at, readings = hours[known], pressure[..., known]
    if at.size == 0:
        return out
    then = hours - over_h
    right = np.clip(np.searchsorted(at, then - 1e-9), 0, at.size - 1)
    left = np.where(np.abs(at[right] - then) < 1e-9, right, np.maximum(right - 1, 0))
    inside = (at[left] <= then + 1e-9) & (at[right] >= then - 1e-9) & (at[right] - at[left] <= max_gap_h + 1e-9)
    width = np.where(right > left, at[right] - at[left], 1.0)
    share = np.clip((then - at[left]) / width, 0.0, 1.0)
    earlier = readings[..., left] * (1.0 - share) + readings[..., right] * share
    return np.where(inside, pressure - earlier, out)


def pace_of(change_hpa: float) -> Pace:
    """Change over three hours [hPa] -> its pace. The change is rounded to the glass's tenth first, halves away from zero. Source:
    glass-1.

    >>> pace_of(-1.5).value, pace_of(-1.6).value, pace_of(3.6).value, pace_of(6.1).value, pace_of(0.04).value
    ('slowly', '', 'quickly', 'very rapidly', 'steady')
    """
    if np.isnan(change_hpa):
        return Pace.UNKNOWN
    tenths = np.floor(abs(change_hpa) * 10.0 + 0.5 + 1e-9) / 10.0
    bounds = ((0.05, Pace.STEADY), (SLOWLY_TO_HPA, Pace.SLOWLY), (PLAIN_TO_HPA, Pace.PLAIN), (QUICKLY_TO_HPA, Pace.QUICKLY))
    return next((pace for bound, pace in bounds if tenths <= bound + 1e-9), Pace.VERY_RAPIDLY)


def tendency(time: Times, pressure_hpa: ArrayLike, max_gap_h: float = TENDENCY_H) -> Tendency:
    """The glass at the last instant of a series: time (n,), pressure_hpa (n,) [hPa] -> Tendency.

    says: rising or falling, and how fast; "now rising" when it fell (or stood) over the three hours and has turned; "more slowly"
    when the change eases from hour to hour.
    why: the pace of the glass is the oldest warning there is, and the turn marks the trough.
    example: 1010 to 1006 hPa in three hours: "falling quickly, 4.0 hPa in 3 h".
    source: glass-1 for the words; "definitely" (0.3 hPa in the last hour) and "more slowly" (half the first hour's change) are
    judgement.

    >>> time = np.datetime64("2026-05-14T00:00", "s") + np.arange(4) * np.timedelta64(3600, "s")
    >>> tendency(time, [1010.0, 1009.5, 1008.0, 1006.0]).words
    'falling quickly, 4.0 hPa in 3 h'
    """
    change, last_hour = (float(changes_hpa(time, pressure_hpa, over, max_gap_h)[-1]) for over in (TENDENCY_H, 1.0))
    pace = pace_of(change)
    if pace is Pace.UNKNOWN:
        return Tendency(change_hpa=change, pace=pace, words="pressure tendency unknown")
    two = float(changes_hpa(time, pressure_hpa, 2.0, max_gap_h)[-1])
    steps = np.array([change - two, two - last_hour, last_hour])
    return Tendency(change_hpa=change, pace=pace, words=_words(change, pace, steps))


def _words(change: float, pace: Pace, hourly: Floats) -> str:
    """hourly: changes in the first, second and third hour [hPa], NaN where unknown."""
    sense = "rising" if change > 0 else "falling"
    amount = f"{abs(change):.1f} hPa in 3 h"
    last = hourly[-1]
    turned = abs(last) >= NOW_HPA_PER_H and (pace is Pace.STEADY or last * change < 0)
    if turned:
        past = "steady" if pace is Pace.STEADY else f"{'up' if change > 0 else 'down'} {amount}"
        return f"now {'rising' if last > 0 else 'falling'}, {past}"
    if pace is Pace.STEADY:
        return "steady"
    size = hourly * np.sign(change)
    easing = bool(size[0] > size[1] > size[2] >= 0.0 and size[2] <= MORE_SLOWLY_SHARE * size[0])
    adverb = "more slowly" if easing else pace.value
    return f"{sense} {adverb}, {amount}" if adverb else f"{sense}, {amount}"


def tendency_at_fixed_place(on_board_hpa: ArrayLike, left_behind_then_hpa: ArrayLike, here_then_hpa: ArrayLike) -> Floats:
    """What the glass would have done had she stayed where she is now.

    on_board_hpa: change of her own glass over some hours [hPa]; left_behind_then_hpa and here_then_hpa: forecast (or analysed)
    pressure, both at the *start* of those hours, at the place where she was then and at the place where she is now [hPa]. ->
    [hPa], same shape.

    says: her own change, less what she gained or lost by sailing from one pressure into another.
    why: running away from a low slows the fall on her own glass and hides how fast it deepens; sailing towards it doubles it.
    example: her glass fell 2.0; she left a place that had 1008 for one that had 1010 at the time: at that place it fell 4.0.
    source: glass-2, algebra. The forecast's gradient is used, not its level, so that its bias in pressure does not matter.

    >>> float(tendency_at_fixed_place(-2.0, 1008.0, 1010.0))
    -4.0
    """
    moved = np.asarray(here_then_hpa, dtype=float) - np.asarray(left_behind_then_hpa, dtype=float)
    return np.asarray(np.asarray(on_board_hpa, dtype=float) - moved)


def explosive_fall_hpa(latitude_deg: ArrayLike) -> Floats:
    """Latitude [deg, either sign] -> fall of central pressure in 24 h that counts as explosive [hPa], same shape. Source: bomb-1.

    >>> [round(float(x), 2) for x in explosive_fall_hpa([60.0, -45.0])]
    [24.0, 19.6]
    """
    latitude = np.radians(np.abs(np.asarray(latitude_deg, dtype=float)))
    return np.asarray(BERGERON_HPA * np.sin(latitude) / np.sin(np.radians(60.0)))


def deepening(time: Times, central_pressure_hpa: ArrayLike, latitude_deg: ArrayLike, max_gap_h: float = 6.0) -> Floats:
    """Fall over the last 24 h in units of the explosive fall, at each instant; 1 or more is explosive.

    time (n,), central_pressure_hpa (n,) [hPa], latitude_deg of the centre, scalar or (n,) -> (n,) [1]; NaN while unknown; 0
    latitude -> NaN.

    says: this low deepens explosively.
    why: such lows outrun their forecasts: the next run may be windier than this one.
    example: 980 to 955 hPa in a day at 60 N: 1.04.
    source: bomb-1, for the centre of a low. A boat's own glass falls by the low's approach as well: there it is a caution only.

    >>> time = np.datetime64("2026-05-14T00:00", "s") + np.arange(5) * np.timedelta64(21600, "s")
    >>> round(float(deepening(time, [980.0, 975.0, 969.0, 961.0, 955.0], 60.0)[-1]), 2)
    1.04
    """
    fall = -changes_hpa(time, central_pressure_hpa, 24.0, max_gap_h)
    latitude = np.broadcast_to(np.asarray(latitude_deg, dtype=float), fall.shape)
    moved = changes_hpa(time, latitude, 24.0, max_gap_h)
    needed = explosive_fall_hpa(latitude - 0.5 * moved)
    return np.where(needed > 0.0, fall / np.where(needed > 0.0, needed, 1.0), np.nan)


def tide_hpa(time: Times, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Floats:
    """The twelve-hour tide of the atmosphere: high near ten, low near four by the sun. time, latitude, longitude that broadcast
    -> [hPa].

    says: this much of the pressure is the daily wave and no weather.
    why: in the trades the tide alone makes 1.6 hPa in three hours, a whole word of the scale.
    example: at the equator 1.16 hPa above the mean near 09:45 local solar time.
    source: tide-1; the mean wave, within about 0.3 hPa.

    >>> round(float(tide_hpa(np.array(["2026-05-14T09:44"], "M8[s]"), 0.0, 0.0)[0]), 2)
    1.16
    """
    seconds = np.asarray(time, dtype="datetime64[s]").astype(np.int64) % 86400
    solar_deg = seconds / 240.0 + np.asarray(longitude_deg, dtype=float)
    amplitude = TIDE_HPA * np.cos(np.radians(np.asarray(latitude_deg, dtype=float))) ** 3
    return np.asarray(amplitude * np.sin(np.radians(2.0 * solar_deg + TIDE_PHASE_DEG)))


def _hours(time: Times) -> Floats:
    stamps = np.asarray(time, dtype="datetime64[s]").astype(np.int64)
    if stamps.ndim != 1 or (np.diff(stamps) <= 0).any():
        raise ValueError("time must be one increasing series")
    return (stamps - (stamps[0] if stamps.size else 0)) / 3600.0
