"""Squalls that no forecast shows: how often a gust comes that is so far above anything a weather has in it.

says: in any hour, by day or night and in any wind, there is a small chance of a gust that much higher than the weather's own; it falls
by a factor of e for each 1.65 m/s more.
why: a forecast is smooth. What single showers do is in none of its possible weathers, and a chance counted over them alone is too low.
example: 3 m/s above the weather's own gust about once in 73 hours, 6 m/s once in 450, 10 m/s once in 5000.
source: unforecast-1, counted at one anchored station in one year. There the rate hung on the mean wind too little to be told apart from
one rate for all, and the station had no CAPE or rain to ask; so there is one rate. In other waters there may be more of them, or fewer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watch.when import STEPS_PER_HOUR

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Unforecast:
    """per_hour: how often a gust comes that is beyond_ms [m/s] or more above the weather's own. scale_ms: for each so many m/s more
    the rate falls by a factor of e. Below beyond_ms it does not rise: so little is the weathers' own scatter. The rate is that of
    spells, not of gusts: several in half a day are one."""

    per_hour: float = 0.025
    beyond_ms: float = 2.0
    scale_ms: float = 1.65

    def rate_per_hour(self, above_ms: ArrayLike) -> Floats:
        """How far above the weather's own gust [m/s] -> how often such a gust or a stronger one comes, per hour; same shape. What is
        not known counts as nothing in hand.

        >>> [round(1.0 / float(r)) for r in COUNTED.rate_per_hour([3.0, 6.0, 10.0])]
        [73, 452, 5102]
        """
        above = np.nan_to_num(np.asarray(above_ms, dtype=float), nan=self.beyond_ms)
        return np.asarray(self.per_hour * np.exp(-np.maximum(above - self.beyond_ms, 0.0) / self.scale_ms))

    def step_chance(self, above_ms: ArrayLike) -> Floats:
        """The same as the chance in one ten-minute step, 0 to 1; the steps are independent of each other.

        >>> bool((NONE.step_chance([0.0, 5.0, np.nan]) == 0.0).all())
        True
        """
        return np.asarray(-np.expm1(-self.rate_per_hour(above_ms) / STEPS_PER_HOUR))


COUNTED = Unforecast()
NONE = Unforecast(per_hour=0.0)  # the weathers as they are: nothing comes that is in none of them
