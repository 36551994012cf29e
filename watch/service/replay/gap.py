"""How much of the gap between acting by thresholds and perfect foresight the orders close, and how sure that is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from watch.service.replay.tally import Tally

Floats = NDArray[np.float64]

REDRAWN = 2000
INTERVAL = (0.025, 0.975)


@dataclass(frozen=True, kw_only=True)
class Gap:
    """share: (reactive - ours) / (reactive - foresight), summed over the passages; NaN when there is no gap to close. low, high: the
    middle 95 in 100 of the shares of as many passages drawn again from these, with return (source bootstrap-1)."""

    share: float
    low: float
    high: float


def gap_closed(results: Sequence[Mapping[str, Tally]], what: str) -> Gap:
    """Tallies by policy of each passage, and a field of them -> Gap. The draws are the same every time.

    >>> from dataclasses import replace
    >>> from watch.service.replay.tally import NOTHING
    >>> by = {"reactive": 10.0, "ours": 3.0, "foresight": 2.0}
    >>> one = {name: replace(NOTHING, hard_hours=hours) for name, hours in by.items()}
    >>> gap_closed([one, one], "hard_hours")
    Gap(share=0.875, low=0.875, high=0.875)
    """
    reactive, ours, foresight = (np.array([float(getattr(r[name], what)) for r in results]) for name in ("reactive", "ours", "foresight"))
    closed, whole = reactive - ours, reactive - foresight
    drawn = np.random.default_rng(2026).integers(0, len(results), (REDRAWN, len(results)))
    again = _ratio(closed[drawn].sum(axis=1), whole[drawn].sum(axis=1))
    known = again[np.isfinite(again)]
    low, high = np.quantile(known, INTERVAL).tolist() if len(known) else (float("nan"), float("nan"))
    share = _ratio(closed.sum(keepdims=True), whole.sum(keepdims=True))
    return Gap(share=float(share[0]), low=low, high=high)


def _ratio(part: Floats, whole: Floats) -> Floats:
    """part / whole, NaN where there is no whole worth the name."""
    shares: Floats = np.divide(part, whole, out=np.full(part.shape, np.nan), where=whole > 0.0)
    return shares
