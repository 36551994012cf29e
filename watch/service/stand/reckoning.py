"""Where is she? By her instruments; else reckoned on along the standing orders from the last place known, which is said."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from watch.orders.document import Orders
from watch.when import to_np

FRESH = timedelta(minutes=20)  # judgement: a fix so old is where she is
LONGEST = timedelta(hours=48)  # judgement: beyond this a reckoned place is a guess
BY_HAND = "the skipper"  # source of a place that was given, not received


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where she was at a time [deg], and who says so: a receiver, or the skipper."""

    at: datetime
    latitude: float
    longitude: float
    source: str


def place_now(known: Place | None, orders: Orders | None, now: datetime) -> Place | None:
    """The last place known, the standing orders, now -> where she is taken to be; None when nobody can say.

    A fresh place is taken as it is. An older one goes on by what the orders say she has gone since then, if they were made from
    it; else it stays where it was, however wrong, since the orders that come out of it say how old it is.
    """
    if known is None or now - known.at <= FRESH:
        return known
    if orders is None or not orders.steps or now - known.at > LONGEST:
        return known
    times = np.array([to_np(step.time) for step in orders.steps]).astype(np.int64)
    if not times[0] <= to_np(now).astype(np.int64) <= times[-1] or known.at > now:
        return known
    latitude = np.interp(to_np(now).astype(np.int64), times, [step.latitude_deg for step in orders.steps])
    unwrapped = np.unwrap([step.longitude_deg for step in orders.steps], period=360.0)
    longitude = (np.interp(to_np(now).astype(np.int64), times, unwrapped) + 180.0) % 360.0 - 180.0
    return Place(at=known.at, latitude=float(latitude), longitude=float(longitude), source=f"reckoned from {known.source}")
