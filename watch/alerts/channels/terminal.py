"""(I/O) The terminal, or a device file: a bell and the text."""

import sys
from pathlib import Path
from typing import TextIO

from watch.alerts.book import Call
from watch.alerts.channels.channel import Answer, Failed, Sent, in_words
from watch.alerts.situation import Priority
from watch.alerts.words import headline, in_full
from watch.when import ShipTime

BELLS = {Priority.CAUTION: 0, Priority.WARNING: 1, Priority.ALARM: 3, Priority.EMERGENCY_ALARM: 7}


class TerminalChannel:
    """Writes each call in lines, with bells before it when it sounds. stream: where to, standard error when None."""

    def __init__(self, name: str, ship: ShipTime, *, device: Path | None = None, stream: TextIO | None = None):
        self.name, self._ship, self._device, self._stream = name, ship, device, stream

    def send(self, call: Call, timeout_s: float) -> Answer:
        bells = "\a" * BELLS[call.priority] if call.sounds else ""
        body = in_full(call, self._ship).replace("\n", "\n    ")
        text = f"{bells}{headline(call, self._ship)}\n    {body}\n"
        try:
            if self._device is not None:
                with self._device.open("w", encoding="utf-8", errors="replace") as device:
                    device.write(text)
            else:
                stream = self._stream or sys.stderr
                stream.write(text)
                stream.flush()
        except (OSError, ValueError) as error:  # ValueError: the terminal was closed
            return Failed(in_words(error, timeout_s))
        return Sent()

    def close(self) -> None:
        """Nothing to close."""
