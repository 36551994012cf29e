"""(I/O) The watch's memory: one SQLite file that outlives loss of power, full disks and killed processes. Starts fast: `ack` uses it."""

from watch.service.store.calls import AckWanted, EventKept
from watch.service.store.forecasts import ForecastKnown
from watch.service.store.logbook import LogLine
from watch.service.store.passes import PassKept
from watch.service.store.readings import Position
from watch.service.store.store import Store

__all__ = ["AckWanted", "EventKept", "ForecastKnown", "LogLine", "PassKept", "Position", "Store"]
