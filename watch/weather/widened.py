"""A run's wind by the hour made into that of its scenarios: stronger or weaker."""

import numpy as np
from numpy.typing import NDArray

from watch.weather.errors import Widening
from watch.weather.scenarios import GUST, STRENGTH, strengthened
from watch.weather.wind import gust_factor

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]


def widened(
    raw: dict[str, Floats32], z: Floats | None, lead_h: Floats, widening: Widening
) -> tuple[Floats32, Floats32, Floats32, Floats32]:  # fmt: skip
    """Mean, u, v and gust as a run has them -> mean, gust, u, v of scenarios, any one shape; z: (7, ...) draws of a single run, to be made
    stronger or weaker by; None for members, which stand as they are. Gusts by a published factor where there are none."""
    mean, u, v, gust = raw["mean"], raw["u"], raw["v"], raw["gust"]
    factor = np.float32(gust_factor() - 1.0)
    excess = np.where(np.isfinite(gust), np.fmax(gust - mean, np.float32(0.0)), mean * factor)
    if z is None:
        return mean, mean + excess, u, v
    low = np.hypot(u, v)
    grown = strengthened(low, z[STRENGTH], lead_h, widening) / np.where(low > 0.0, low, np.float32(1.0))
    mean = strengthened(mean, z[STRENGTH], lead_h, widening)
    excess = excess * np.maximum(1.0 + widening.gust_share * z[GUST], 0.0).astype(np.float32)
    return mean, mean + excess, u * grown, v * grown
