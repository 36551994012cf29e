"""Turning back in steady terms, and in general: equal time, point of no return, last turn, and the windows in which a turn is good.

says: a turn at a time is good when its chance is at least the asked-for one; the last good turn is the turn-by time.
why: the choice that cannot be taken back late. example: 5 kn on, 4 kn back, 20 h until the weather is at the shelter, 2 h in hand: turn by
8 h. source: worked examples of dead reckoning (sources equal-time-1, no-return-1, last-turn-1); the general form is a plain scan, since
the time back need not grow with every mile on: every window is reported.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.when import runs

Floats = NDArray[np.float64]


def equal_time_nm(between_nm: float, on_kn: float, back_kn: float) -> float:
    """Miles from the place left, of so many between two places, at which going on and going back take the same time, in steady speeds
    over the ground [kn]. Source: equal-time-1.

    >>> round(equal_time_nm(843.0, 118.0, 177.0), 1)
    505.8
    """
    _positive(between_nm=between_nm, on_kn=on_kn, back_kn=back_kn)
    return between_nm * back_kn / (on_kn + back_kn)


def no_return_h(endurance_h: float, out_kn: float, back_kn: float) -> float:
    """Hours out after which she can no longer be back within so many hours in all, in steady speeds [kn]. Source: no-return-1.

    >>> round(no_return_h(10.0, 50.0, 150.0) * 50.0)
    375
    """
    _positive(endurance_h=endurance_h, out_kn=out_kn, back_kn=back_kn)
    return endurance_h * back_kn / (out_kn + back_kn)


def last_turn_h(weather_h: float, in_hand_h: float, out_kn: float, back_kn: float) -> float:
    """Hours until the last turn for a place left now, so that she is back in_hand_h before the weather is there at weather_h [h]; below
    0 when it is too late already. Source: last-turn-1.

    >>> last_turn_h(20.0, 2.0, 5.0, 4.0)
    8.0
    """
    _positive(out_kn=out_kn, back_kn=back_kn)
    return (weather_h - in_hand_h) / (1.0 + out_kn / back_kn)


def _positive(**numbers: float) -> None:
    for name, value in numbers.items():
        if not 0.0 < value < np.inf:
            raise ValueError(f"{name} = {value}: a number above 0")


@dataclass(frozen=True, kw_only=True)
class Good:
    """Turns from index first to index last, both included, that have the asked-for chance; least: the lowest of them."""

    first: int
    last: int
    least: float


def good_turns(chance: Floats, asked: float) -> tuple[Good, ...]:
    """The chance of each turn in order of time (H), and the one asked for -> every stretch of good turns. An unknown chance is none.

    >>> [(g.first, g.last) for g in good_turns(np.array([0.95, 0.9, 0.5, 0.92, np.nan]), 0.9)]
    [(0, 1), (3, 3)]
    """
    good = chance >= asked - 1e-9  # False for NaN
    return tuple(
        Good(first=run.first, last=run.last - 1, least=float(chance[run.first : run.last].min())) for run in runs(good) if run.value
    )
