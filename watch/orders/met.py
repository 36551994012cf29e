"""What the boat meets: the scenarios as her own anemometer and helm would have them, in the units of her limits."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import BoatFile, Light
from watch.weather.wind import at_height
from watch.when import Times

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Met:
    """S scenarios by T ten-minute steps. Missing is NaN and never calm.

    time (T + 1): marks; step i lasts from mark i to mark i + 1. weight (S): adds to one. mean_kn, gust_kn (S, T): true wind at the
    height of the limits, the stronger end of each step. low_kn (S, T): the plainly interpolated mean, for being under-canvassed.
    angle_deg (S, T): unsigned angle between her course and where the wind comes from. sea_m, steepness (S, T). boat_kn (T): her speed.
    day, moon (T): light enough by day; moonlit. dark (T): neither.
    """

    time: Times
    weight: Floats
    mean_kn: Floats
    gust_kn: Floats
    low_kn: Floats
    angle_deg: Floats
    sea_m: Floats
    steepness: Floats
    boat_kn: Floats
    day: Bools
    moon: Bools

    @cached_property
    def median_low_kn(self) -> Floats:
        """(T): the median of the plainly interpolated mean wind."""
        return quantile(self.low_kn, self.weight, 0.5)

    @cached_property
    def median_angle_deg(self) -> Floats:
        """(T): the median angle between course and wind."""
        return quantile(self.angle_deg, self.weight, 0.5)

    @property
    def steps(self) -> int:
        return int(self.mean_kn.shape[1])

    @property
    def dark(self) -> Bools:
        return ~self.day

    def light_enough(self, light: Light) -> Bools:
        """(T): whether each step has the light a job needs."""
        if light is Light.NONE:
            return np.ones(self.steps, dtype=bool)
        return self.day if light is Light.DAY else self.day | self.moon

    def known(self) -> Bools:
        """(S, T): whether wind and gust are known."""
        return np.isfinite(self.mean_kn) & np.isfinite(self.gust_kn)

    def changed(self, *, wind_factor: float = 1.0, later_steps: int = 0) -> "Met":
        """The same night with all wind times a factor, or all weather later (earlier when negative); the ends are held."""
        index = np.clip(np.arange(self.steps) - later_steps, 0, self.steps - 1)
        series = {name: getattr(self, name)[:, index] for name in ("mean_kn", "gust_kn", "low_kn", "angle_deg", "sea_m", "steepness")}
        for name in ("mean_kn", "gust_kn", "low_kn"):
            series[name] = series[name] * wind_factor
        return replace(self, **series)

    def known_steps(self) -> int:
        """For how many steps from the first on the weather is known in some scenario."""
        known = self.known().any(axis=0)
        return self.steps if known.all() else int(np.argmin(known))

    def cut(self, steps: int) -> "Met":
        """The first so many steps."""
        series = {name: getattr(self, name)[:, :steps] for name in ("mean_kn", "gust_kn", "low_kn", "angle_deg", "sea_m", "steepness")}
        return replace(
            self,
            time=self.time[: steps + 1],
            boat_kn=self.boat_kn[:steps],
            day=self.day[:steps],
            moon=self.moon[:steps],
            **series,
        )


def height_factor(boat: BoatFile) -> float:
    """From the wind at 10 m to the wind at the height that the boat's limits mean."""
    return 1.0 if boat.boat.limits_at == "10 m" else float(at_height(1.0, boat.boat.anemometer_height_m))


def share(met: Met, true: Bools) -> Floats:
    """(S, T) of True and False -> the weight of the scenarios where it is True (T)."""
    total: Floats = met.weight @ true
    return total


def quantile(values: Floats, weight: Floats, share_below: float) -> Floats:
    """(S, T), weights (S) -> the least value that this share of the weight does not exceed (T). NaN sorts last: unknown is high."""
    order = np.argsort(values, axis=0)
    ranked = np.take_along_axis(values, order, axis=0)
    total = np.cumsum(weight[order], axis=0)
    index = np.argmax(total >= share_below * total[-1] - 1e-12, axis=0)
    picked: Floats = np.take_along_axis(ranked, index[None, :], axis=0)[0]
    return picked


def quantile_of_known(values: Floats, weight: Floats, share: float) -> Floats:
    """(L, S), NaN where not known, weights (S) -> the least value that this share of the known weight does not exceed (L); NaN for none.

    >>> quantile_of_known(np.array([[3.0, 1.0, np.nan]]), np.array([0.25, 0.25, 0.5]), 0.5).tolist()
    [1.0]
    """
    order = np.argsort(values, axis=1)
    ranked = np.take_along_axis(values, order, axis=1)
    total = np.cumsum(np.where(np.isfinite(ranked), weight[order], 0.0), axis=1)
    index = np.argmax(total >= share * total[:, -1:] - 1e-12, axis=1)
    return np.where(total[:, -1] > 0.0, ranked[np.arange(len(values)), index], np.nan)


