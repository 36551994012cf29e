"""How much of the time ahead is the night, what is done in it, and how the light goes."""

from datetime import datetime, timedelta
from itertools import pairwise

from watch.orders.document import JobOrder, Orders

LEAST_HOURS, AFTER_NIGHT_HOURS, MOST_HOURS = 18, 4, 40  # judgement: how much of the time ahead is "the night"
SKY = {"day": "day", "civil": "dusk", "nautical": "deep", "astronomical": "dark", "night": "dark"}


def night_end(orders: Orders) -> datetime:
    """Where the picture ends: some hours after the dark, never less than most of a day, never past the forecast."""
    first = orders.steps[0].time
    end = first + timedelta(hours=LEAST_HOURS)
    if orders.night is not None:
        end = max(end, orders.night.dark_to + timedelta(hours=AFTER_NIGHT_HOURS))
    return min(end, first + timedelta(hours=MOST_HOURS), orders.ends_at)


def shown_jobs(orders: Orders) -> tuple[JobOrder, ...]:
    """The jobs that begin before the picture ends."""
    return tuple(job for job in orders.jobs if job.start < night_end(orders))


def light_changes(orders: Orders) -> tuple[tuple[datetime, datetime, str], ...]:
    """Stretches of the same light: (from, to, 'day' | 'dusk' | 'deep' | 'dark' | 'unknown'), for what follows the light."""
    edges: list[tuple[datetime, str]] = []
    for row in orders.steps:
        sky = SKY.get(row.light, "unknown")
        if not edges or edges[-1][1] != sky:
            edges.append((row.time, sky))
    ends = [*edges, (orders.ends_at, "")]
    return tuple((a, b, sky) for (a, sky), (b, _) in pairwise(ends))
