"""(I/O) A command of the sailor's own: a lamp, a siren, a radio."""

from collections.abc import Sequence

from watch.alerts.book import Call
from watch.alerts.channels.channel import Answer
from watch.alerts.channels.process import run
from watch.alerts.words import headline, in_full, one_line
from watch.when import ShipTime


class CommandChannel:
    """Runs a command for each call: no shell, the text on its standard input, the rest in NIGHTORDERS_... variables."""

    def __init__(self, name: str, ship: ShipTime, *, command: Sequence[str]):
        self.name, self._ship, self._command = name, ship, tuple(command)

    def send(self, call: Call, timeout_s: float) -> Answer:
        text = f"{headline(call, self._ship)}\n{in_full(call, self._ship)}\n"
        return run(self._command, timeout_s, text=text, variables=variables(call))

    def close(self) -> None:
        """Nothing to close."""


def variables(call: Call) -> dict[str, str]:
    """A call -> the variables its command finds."""
    due = "" if call.due is None else call.due.isoformat()
    return {f"NIGHTORDERS_{key}": one_line(value) for key, value in {
        "ALERT": call.alert, "NUMBER": str(call.number), "PRIORITY": call.priority.words, "STATE": call.state.value,
        "REASON": call.reason.value, "REPEAT": str(call.repeat), "SOUNDS": "yes" if call.sounds else "no", "TITLE": call.title,
        "DUE": due, "AT": call.at.isoformat(),
    }.items()}
