"""How is she rigged? As it was told at the start, then by every line of the log since; and which jobs were done since a time."""

from collections.abc import Callable, Sequence
from datetime import datetime

from watch.instruments.log_line import Kind, LogEntry, read_line
from watch.service.stand.memory import LogWords, Memory

StateAfter = Callable[[str, LogEntry], str]
"""A rig state as text and an entry of the log -> the rig state after it, the same when the entry says nothing of the rig. Raises
ValueError with a sentence when the entry names a job or a state that the boat does not have."""

BASE = "rig_base"


class Rigged:
    """Follows the log, always from the state last told outright: a line put right later counts as if it had been right at once.

    said: what could not be understood, "" when all was.
    """

    def __init__(self, memory: Memory, usual: str, after: StateAfter, told: str | None = None) -> None:
        """told: what the sailor said at this start, which counts over what was kept; usual: when nothing was ever said."""
        self._memory, self._after = memory, after
        kept = memory.get(BASE)
        if told is not None or not isinstance(kept, dict):
            lines = memory.log_lines(0) if told is not None else []
            kept = {"state": usual if told is None else told, "line": max((line.id for line in lines), default=0)}
            memory.put(BASE, kept)
        self._base, self._from = str(kept["state"]), int(str(kept["line"]))
        self._lines: Sequence[LogWords] | None = None
        self.state, self.said = self._base, ""
        self._done: list[tuple[str, datetime]] = []
        self.look()

    def look(self) -> bool:
        """Reads the log -> whether the rig is another than at the last look. Raises what the store raises."""
        lines = self._memory.log_lines(self._from)
        if lines == self._lines:
            return False
        before, self._lines = self.state, lines
        self.state, self.said, self._done = self._base, "", []
        for words in lines:
            self._follow(words)
        return self.state != before

    def _follow(self, words: LogWords) -> None:
        try:
            entry = read_line(words.line)
            self.state = self._after(self.state, entry)
        except ValueError as error:
            self.said = f"a line of the log is not understood: “{words.line[:60]}” ({error})"
            return
        if entry.kind is Kind.JOB:
            self._done.append((entry.what, entry.end))

    def done_since(self, since: datetime | None) -> frozenset[str]:
        """The jobs done since a time; all since the state was last told outright when there is none."""
        return frozenset(job for job, at in self._done if since is None or at >= since)
