"""(I/O) Forecasts as they come: what is in the inbox and whole, and what of it is worth reading."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from watch.faults import BadInputError
from watch.forecast.inbox import InboxLook, Seen, Verdict, look, tidy
from watch.forecast.trial import read_apart
from watch.service.stand.passing import KnownRun

OLDER_KEPT = timedelta(hours=36)  # judgement: runs older than the newest by more are not read again


@dataclass
class Inbox:
    """The inbox, looked into again and again. Nothing in it is changed or removed."""

    folder: Path
    cache: Path
    trial_s: float = 300.0
    ready: tuple[Path, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    settled: bool = False  # every file there has been looked into, or found not to be whole
    _seen: Mapping[str, Seen] = field(default_factory=dict)

    def look(self, now: datetime) -> bool:
        """-> whether what is ready is other than at the last look. Raises BadInputError when the folder cannot be read."""
        self.folder.mkdir(parents=True, exist_ok=True)
        found: InboxLook = look(self.folder, self._seen, now, cache=self.cache, is_readable=self._fault_in)
        self._seen = found.seen
        before, self.ready = self.ready, tuple(path for ready in found.ready for path in ready.paths)
        self.refused = found.refused
        self.settled = all(state.verdict is not Verdict.NEW for state in found.seen.values())
        return self.ready != before

    def _fault_in(self, path: Path) -> str | None:
        try:
            read_apart([path], seconds=self.trial_s)
        except BadInputError as error:
            return str(error)
        return None

    def tidy(self) -> None:
        tidy(self.cache, self._seen)


def worth_reading(paths: Sequence[Path], runs: Sequence[KnownRun]) -> tuple[Path, ...]:
    """The files that are ready, and what earlier passes found in them -> those to read: all that are not known to hold old runs only.

    >>> worth_reading([Path("new.grb")], ())
    (PosixPath('new.grb'),)
    """
    newest: dict[str, datetime] = {}
    for known in runs:
        for name in known.files:
            newest[name] = max(known.run, newest.get(name, known.run))
    if not newest:
        return tuple(paths)
    oldest = max(newest.values()) - OLDER_KEPT
    return tuple(path for path in paths if newest.get(str(path), newest.get(path.name, oldest)) >= oldest)
