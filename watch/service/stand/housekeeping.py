"""(I/O) What has to be tidied now and then, so that the watch can be left alone for weeks."""

import sqlite3
from dataclasses import dataclass
from datetime import datetime, timedelta

from watch.faults import BadInputError
from watch.service.stand.incoming import Inbox
from watch.service.store.store import Store


@dataclass(frozen=True)
class Housekeeping:
    """Thins out old passes and readings, and removes unpacked copies that nobody uses."""

    store: Store
    inbox: Inbox
    name: str = "housekeeping"
    every: timedelta = timedelta(hours=1)

    def run(self, now: datetime) -> tuple[str, bool]:
        """-> a sentence when it failed, else ""; it never asks for a pass."""
        try:
            self.store.prune(now)
            self.inbox.tidy()
        except (BadInputError, OSError, sqlite3.Error) as error:
            return f"old records could not be tidied away: {error}", False
        return "", False
