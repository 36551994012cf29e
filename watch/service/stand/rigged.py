"""How is she rigged? As it was told at the start, then by every line of the log; and which jobs were done since a time."""

from collections.abc import Callable
from datetime import datetime, timedelta

from watch.instruments.log_line import Kind, LogEntry, read_line
from watch.service.stand.memory import LogWords, Memory

StateAfter = Callable[[str, LogEntry], str]
"""A rig state as text and an entry of the log -> the rig state after it; unchanged when the entry says nothing of the rig."""

REMEMBERED = timedelta(days=3)  # jobs done longer ago are of no order any more
LAST_LINE, STATE, DONE = "log_line_seen", "rig_state", "jobs_done"


class Rigged:
    """Follows the log. A line that cannot be understood is said (`said`) and changes nothing."""

    def __init__(self, memory: Memory, usual: str, after: StateAfter, now: datetime, told: str | None = None) -> None:
        """told: what the sailor said at this start, which counts over what was kept; usual: when nothing was ever said."""
        self._memory, self._after = memory, after
        kept = memory.get(STATE)
        self._seen = int(str(memory.get(LAST_LINE, 0)))
        done = memory.get(DONE, [])
        self._done = [(str(job), datetime.fromisoformat(str(at))) for job, at in done] if isinstance(done, list) else []
        self.state = told if told is not None else str(kept) if isinstance(kept, str) else usual
        self.said = ""
        if told is not None:
            memory.put(STATE, told)
        self.look(now)

    def look(self, now: datetime) -> bool:
        """Reads the lines that are new -> whether the rig is another. Raises what the store raises."""
        lines = self._memory.log_lines(self._seen)
        before = self.state
        for words in lines:
            self._follow(words)
        if lines:
            self._done = [(job, at) for job, at in self._done if now - at < REMEMBERED]
            self._memory.put(STATE, self.state)
            self._memory.put(DONE, [[job, at.isoformat()] for job, at in self._done])
            self._memory.put(LAST_LINE, self._seen)
        return self.state != before

    def _follow(self, words: LogWords) -> None:
        self._seen = max(self._seen, words.id)
        try:
            entry = read_line(words.line)
            self.state = self._after(self.state, entry)
        except ValueError as error:
            self.said = f"a line of the log is not understood: “{words.line[:60]}” ({error})"
            return
        self.said = ""
        if entry.kind is Kind.JOB:
            self._done.append((entry.what, entry.end))

    def done_since(self, since: datetime | None) -> frozenset[str]:
        """The jobs done since a time; all that are remembered when there is none."""
        return frozenset(job for job, at in self._done if since is None or at >= since)
