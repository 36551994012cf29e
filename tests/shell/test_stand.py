"""The whole watch as a process of its own: it comes up, is killed, comes up again with what it knew, and ends in good order."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from watch.faults import BadInputError
from watch.service.rehearsal import DEMO_POSITION, rehearsal
from watch.service.stand.apart import Apart, ApartError
from watch.service.stand.setting_up import wall_clock
from watch.service.stand.watch_file import read_watch_file

ROOT = Path(__file__).resolve().parents[2]
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

    def __init__(self, folder: Path) -> None:
        self.home = folder / "home"
        self.settings = rehearsal(self.home, wall_clock())
        text = self.settings.read_text().replace("port = 8470", f"port = {free_port()}")
        self.settings.write_text(text)
        self.page = f"http://127.0.0.1:{text.split('port = ')[1].split()[0]}"
        self.manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.manager.bind(str(folder / "notify"))
        self.manager.settimeout(PATIENCE_S)
        self.environment = {**os.environ, "NOTIFY_SOCKET": str(folder / "notify")}
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *more: str) -> None:
        command = [sys.executable, "-m", "watch.cli", "stand", "--config", str(self.settings), "--home", str(self.home), *more]
        self.process = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)

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


@pytest.fixture
def watch(tmp_path: Path) -> Iterator[Watch]:
    made = Watch(tmp_path)
    yield made
    made.end()


@pytest.mark.source("notify-1")
def test_the_watch_comes_up_is_killed_comes_up_again_and_ends_in_good_order(watch: Watch):
    watch.start("--position", DEMO_POSITION)
    assert watch.told_manager() == "READY=1"
    assert watch.told_manager().startswith("WATCHDOG=1\nSTATUS=")
    assert (watch.home / "orders" / "orders.txt").read_text().startswith("NIGHT ORDERS for Kittiwake")
    found = until(lambda: (h := watch.health()) and h["last_pass"] and h, "a health file with a pass")
    assert found["awaiting"], "the rehearsal has a job to call"
    with urllib.request.urlopen(f"{watch.page}/health", timeout=20) as answer:
        assert answer.status == 200

    assert run("check", "--running", "--home", str(watch.home)).returncode in (0, 1)
    done = run("ack", "--all", "--by", "test", "--home", str(watch.home))
    assert done.returncode == 0, done.stderr
    assert "Acknowledged, and kept" in done.stdout

    assert watch.process is not None
    watch.process.send_signal(signal.SIGKILL)
    watch.process.communicate()
    watch.start()
    until(lambda: "READY=1" in watch.told_manager(), "up again")
    listed = run("ack", "--home", str(watch.home)).stdout
    assert "active, acknowledged" in listed, "what was acknowledged stays so"
    until(lambda: "skipper" in json.dumps((watch.health() or {}).get("parts", [])), "the position she had")

    watch.process.send_signal(signal.SIGTERM)
    said, _ = watch.process.communicate(timeout=PATIENCE_S)
    assert watch.process.returncode == 0, said.decode()
    assert b"Traceback" not in said
    assert "NOBODY KEEPS WATCH" in run("check", "--running", "--home", str(watch.home)).stdout


def _half(number: int) -> float:
    if number == 13:
        os.kill(os.getpid(), signal.SIGSEGV)
    if number == 99:
        time.sleep(60)
    return number / 2


def test_work_apart_that_dies_or_hangs_takes_nothing_along():
    apart: Apart[int, float] = Apart(_half)
    try:
        assert apart.run(4, 60) == 2
        with pytest.raises(ApartError, match=r"died \(signal 11\)"):
            apart.run(13, 60)
        assert apart.run(6, 60) == 3
        with pytest.raises(ApartError, match="longer than 1 seconds"):
            apart.run(99, 1)
        assert apart.run(8, 60) == 4
    finally:
        apart.close()


@pytest.mark.parametrize(("old", "new", "said"), [
    ('boat = "boat-sloop.toml"', 'boat = "nowhere.toml"', "no such boat file"),
    ('rig_state = "main: reef 1"', 'rig_state = "main: reef 9"', "reef 9"),
    ('write = ["txt"', 'write = ["docx", "txt"', "docx"),
    ("[page]", "[pages]", "not a key known here"),
    ('name = "terminal"', 'name = "Terminal 1"', "small letters"),
])  # fmt: skip
def test_a_fault_in_the_settings_is_one_sentence_with_its_place(tmp_path: Path, old: str, new: str, said: str):
    settings = rehearsal(tmp_path / "home", wall_clock())
    text = settings.read_text()
    assert old in text
    settings.write_text(text.replace(old, new))
    with pytest.raises(BadInputError) as refused:
        read_watch_file(settings)
    assert said in str(refused.value)
    assert len(refused.value.faults) == 1


def test_a_rehearsal_never_writes_over_a_folder_of_the_sailors(tmp_path: Path):
    (tmp_path / "mine").write_text("my log")
    with pytest.raises(BadInputError, match="not empty"):
        rehearsal(tmp_path, wall_clock())
    assert (tmp_path / "mine").read_text() == "my log"
