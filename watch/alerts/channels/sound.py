"""(I/O) The loudspeaker: our own tones through whichever player the system has."""

import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from watch.alerts.book import Call
from watch.alerts.channels.channel import Answer, Failed, Sent
from watch.alerts.channels.process import run
from watch.alerts.situation import Priority
from watch.alerts.tones import seconds, wav

PLAYERS: tuple[tuple[str, ...], ...] = (("paplay",), ("aplay", "-q"), ("afplay",), ("play", "-q"))  # of the usual sound systems


def find_player() -> tuple[str, ...] | None:
    """The first player of the system that there is, None when there is none."""
    return next((player for player in PLAYERS if shutil.which(player[0])), None)


class SoundChannel:
    """Plays the tone of each call that sounds. player: a command that plays the file put behind it; None to look for one."""

    def __init__(self, name: str, *, player: Sequence[str] | None = None):
        self.name, self._player = name, player
        self._folder = tempfile.TemporaryDirectory(prefix="tones-")
        self._files = {p: Path(self._folder.name) / f"{p.name.lower()}.wav" for p in Priority if p.is_heard}
        for priority, file in self._files.items():
            file.write_bytes(wav(priority))

    def send(self, call: Call, timeout_s: float) -> Answer:
        if not call.sounds:
            return Sent()
        player = self._player or find_player()
        if player is None:
            return Failed("this machine has no player of sounds: install alsa-utils, or name one under player", retry=False)
        return run([*player, str(self._files[call.priority])], max(timeout_s, 2 * seconds(call.priority)))

    def close(self) -> None:
        self._folder.cleanup()
