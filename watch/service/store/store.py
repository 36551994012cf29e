"""(I/O) The watch's memory in one file: forecasts, passes, alerts, the log, the track, settings."""

from watch.service.store.calls import Calls
from watch.service.store.forecasts import Forecasts
from watch.service.store.logbook import Logbook
from watch.service.store.passes import Passes
from watch.service.store.readings import Readings
from watch.service.store.settings import Settings
from watch.service.store.upkeep import Upkeep


class Store(Forecasts, Passes, Calls, Logbook, Readings, Settings, Upkeep):
    """All of it. Every method is one transaction; times go in aware and come out in UTC; see Memory for what it withstands.

    >>> import tempfile
    >>> from datetime import datetime
    >>> from pathlib import Path
    >>> noon = datetime.fromisoformat("2026-05-16T12:00Z")
    >>> with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "watch.db", noon) as store:
    ...     number = store.add_log("2026-05-16T12:00Z rig main: reef 1", noon, "skipper")
    ...     [line.line for line in store.log_lines()]
    ['2026-05-16T12:00Z rig main: reef 1']
    """
