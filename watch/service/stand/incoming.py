"""(I/O) Forecasts as they come: what lies in the inbox is taken, tried and kept; what was fetched is kept beside it; old ones go."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from watch.faults import BadInputError
from watch.forecast.inbox import Seen
from watch.forecast.intake import drop, kept_forecasts, look_in, packed_to_drop
from watch.forecast.kept import AHEAD, Kept, to_drop

OLDER_READ = timedelta(hours=36)  # judgement: runs older than the newest by more are kept, but not read again
SETTLE_EVERY_S = 1.0
REFUSED_TOLD = timedelta(hours=6)  # judgement: so long the sailor is told of a file that is no use


@dataclass
class Incoming:
    """The inbox and the kept forecasts, looked at again and again; what is kept is known from the folder alone, also after a kill."""

    inbox: Path
    kept: Path
    settled: bool = False  # nothing waits to be looked into
    _seen: Mapping[str, Seen] = field(default_factory=dict)
    _refused: list[tuple[datetime, str]] = field(default_factory=list)

    def look(self, now: datetime) -> bool:
        """-> whether a forecast has come. Raises BadInputError when the inbox cannot be looked into."""
        self.inbox.mkdir(parents=True, exist_ok=True)
        found = look_in(self.inbox, self.kept, now, self._seen)
        self._seen, self.settled = found.seen, not found.more and not found.waiting
        self._refused += [(now, turned.sentence) for turned in found.refused]
        self._refused = [(at, words) for at, words in self._refused if abs(now - at) < REFUSED_TOLD]
        return bool(found.taken)

    def settle(self, longest_s: float) -> bool:
        """Looks again and again until nothing waits to be looked into, for so long at most -> whether that was reached. What goes wrong is
        left to the looks that follow, which say it."""
        end = time.monotonic() + longest_s
        while not self.settled and time.monotonic() < end:
            try:
                self.look(datetime.now(UTC))
            except (BadInputError, OSError):
                return False
            if not self.settled:
                time.sleep(SETTLE_EVERY_S)
        return self.settled

    def refused(self) -> str:
        """What came in and is no use, in words; "" when there was nothing such for six hours."""
        return "; ".join(dict.fromkeys(words for _, words in self._refused))

    def gribs(self, now: datetime) -> tuple[Path, ...]:
        """The files to be read for a pass."""
        return worth_reading(kept_forecasts(self.kept), now)

    def tidy(self, now: datetime) -> None:
        """Old runs go."""
        drop(to_drop(kept_forecasts(self.kept), now))
        for path in packed_to_drop(self.kept, now):
            path.unlink(missing_ok=True)


def worth_reading(kept: Sequence[Kept], now: datetime) -> tuple[Path, ...]:
    """What is kept, now -> the files whose runs are within 36 hours of the newest. A run dated well ahead of now may be a bad clock's:
    it is read, but makes no other old."""
    believable = [one.run for one in kept if one.run <= now + AHEAD]
    oldest = max(believable) - OLDER_READ if believable else None
    return tuple(path for one in kept if oldest is None or one.run >= oldest for path in one.paths or (one.path,))
