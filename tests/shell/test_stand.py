"""The whole watch as a process of its own: it comes up, is killed, comes up again with what it knew, and ends in good order."""

import json
import os
import signal
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.standing import PATIENCE_S, Watch, run, until
from watch.faults import BadInputError
from watch.service.rehearsal import DEMO_POSITION, rehearsal
from watch.service.stand.apart import Apart, ApartError
from watch.service.stand.setting_up import wall_clock
from watch.service.stand.watch_file import read_watch_file


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
