"""Margin to this boat's own limits: the one thing that colours show. Never the wind's speed.

Five steps of one hue, evenly spaced in lightness (CIE L*), so that they are told apart in black and white and by every eye; beyond
the limit a hatching, and not known a pattern of its own.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from watch.orders.document import Orders, PlanSpan, StepRow

STEPS_KN = (4, 8, 12, 16)  # judgement: under four knots in hand a gust's error eats it; from sixteen on there is plenty
DAY = ("#00396a", "#21649c", "#5b90c3", "#a2bee0", "#e7eff9")  # from least to most in hand
NIGHT = ("#f9501b", "#c33f15", "#8f3012", "#5e210d", "#331200")
OVER, UNKNOWN = "over", "unknown"
WORDS = ("under 4 kn in hand", "4 to 7", "8 to 11", "12 to 15", "16 kn or more")


def level(margin_kn: float | None) -> str:
    """Knots in hand to the hard limit -> 'm0' (least) to 'm4' (most), 'over' or 'unknown'.

    >>> level(-0.1), level(0), level(3.9), level(4), level(16), level(None), level(float("nan"))
    ('over', 'm0', 'm0', 'm1', 'm4', 'unknown', 'unknown')
    """
    if margin_kn is None or margin_kn != margin_kn:
        return UNKNOWN
    if not margin_kn >= 0:
        return OVER
    return f"m{sum(margin_kn >= bound for bound in STEPS_KN)}"


@dataclass(frozen=True, kw_only=True)
class Marked:
    """A ten-minute step with the limits of what is then carried. hard_kn and working_kn: the least of them over that span."""

    row: StepRow
    hard_kn: int
    working_kn: int

    @property
    def margin_kn(self) -> float | None:
        return None if self.row.planning_gust_kn is None else self.hard_kn - self.row.planning_gust_kn

    @property
    def level(self) -> str:
        return level(self.margin_kn)


def marked(orders: Orders, until: datetime | None = None) -> tuple[Marked, ...]:
    """The steps of the orders, up to `until`, each with the limits of the sail plan carried in it."""
    return tuple(_marked(orders, until))


def _marked(orders: Orders, until: datetime | None) -> Iterator[Marked]:
    spans: Iterator[PlanSpan] = iter(orders.plans)
    span = next(spans)
    for row in orders.steps:
        if until is not None and row.time >= until:
            return
        while row.time >= span.end:
            span = next(spans)
        yield Marked(row=row, hard_kn=span.hard_kn, working_kn=span.working_kn)
