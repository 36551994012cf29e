"""A rehearsal stood as a process of its own, for the tests that watch it from outside."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from watch.service.rehearsal import rehearsal
from watch.service.stand.setting_up import wall_clock

ROOT = Path(__file__).resolve().parents[1]
PATIENCE_S = 120.0  # a slow machine may take so long; a quick one needs fifteen seconds


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "watch.cli", *words], cwd=ROOT, capture_output=True, text=True, check=False, timeout=PATIENCE_S)


def until(holds: Callable[[], Any], what: str) -> Any:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        found = holds()
        if found:
            return found
        time.sleep(0.3)
    raise AssertionError(f"in {PATIENCE_S:.0f} s never: {what}")


class Watch:
    """A rehearsal stood in a process of its own, with a service manager's socket beside it."""

    def __init__(self, folder: Path, *, dated: datetime | None = None) -> None:
        """dated: when the rehearsal's own evening is to be; else this evening."""
        self.home = folder / "home"
        self.settings = rehearsal(self.home, dated or wall_clock())
        text = self.settings.read_text().replace("port = 8470", f"port = {free_port()}")
        self.settings.write_text(text)
        self.page = f"http://127.0.0.1:{text.split('port = ')[1].split()[0]}"
        self.manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.manager.bind(str(folder / "notify"))
        self.manager.settimeout(PATIENCE_S)
        self.environment = {**os.environ, "NOTIFY_SOCKET": str(folder / "notify")}
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *more: str, said: Path | None = None) -> None:
        """said: a file for what it prints, when that may be much."""
        command = [sys.executable, "-m", "watch.cli", "stand", "--config", str(self.settings), "--home", str(self.home), *more]
        out = subprocess.PIPE if said is None else said.open("wb")
        self.process = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=out, stderr=subprocess.STDOUT)
        if said is not None:
            out.close()  # type: ignore[union-attr]

    def told_manager(self) -> str:
        return self.manager.recv(4096).decode()

    def health(self) -> dict[str, Any] | None:
        try:
            found: dict[str, Any] = json.loads((self.home / "health.json").read_text())
        except (OSError, ValueError):
            return None
        return found

    def end(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
        if self.process is not None:
            self.process.communicate()
        self.manager.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
