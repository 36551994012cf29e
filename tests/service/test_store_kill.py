"""A process killed at any moment loses nothing that a method had returned for, and the next start goes through."""

import os
import random
import select
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.service.stores import NOON, after, all_of, in_child, quick_place, verdict
from watch.service.store import Store

KILLS = 320
LONGEST_BEGINNING_S = 30.0


def write_without_end(path: Path, pipe: int, name: str, dice: random.Random) -> None:
    """Opens the store and writes until it is killed; tells of each thing only after the method that keeps it has returned."""
    with Store.open(path, NOON) as store:
        for k in range(1_000_000):
            number = store.add_log(f"{name} line {k}", after(k), "child")
            os.write(pipe, f"log {number} {name} line {k}\n".encode())
            wish = store.ask_ack(f"job.{name}_{k}", "child", after(k))
            os.write(pipe, f"ack {wish} job.{name}_{k}\n".encode())
            if dice.random() < 0.2:
                store.ack_taken([wish], after(k))
                os.write(pipe, f"taken {wish} x\n".encode())
            if dice.random() < 0.2:
                store.put("last", {"by": name, "k": k})
            if dice.random() < 0.1:
                store.prune(NOON)  # brings what was written last into the file


def until_the_first_word_s(path: Path) -> float:
    """How long a child takes here from its beginning to the first thing it tells of; the shortest of five."""
    took_s = []
    for _ in range(5):
        began_s = time.monotonic()
        child, pipe = in_child(lambda out: write_without_end(path, out, "first", random.Random(1)))
        os.read(pipe, 1)
        took_s.append(time.monotonic() - began_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(pipe)
    return min(took_s)


def kill_at_random(path: Path, kills: int, dice: random.Random, longest_s: float) -> tuple[list[tuple[str, int, str]], int]:
    """Lets so many children write one after the other, and kills each; all that they told of, and how many had told of something."""
    told: list[tuple[str, int, str]] = []
    spoke = 0
    for kill in range(kills):
        seed = dice.random()
        child, pipe = in_child(lambda out, k=kill, s=seed: write_without_end(path, out, f"k{k}", random.Random(s)))  # type: ignore[misc]
        if kill % 2:  # every other one is killed while it writes, however long it took to begin
            select.select([pipe], [], [], LONGEST_BEGINNING_S)
        time.sleep(dice.random() * longest_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = all_of(pipe).split("\n")[:-1]  # a line cut short was not told
        told += [(kind, int(number), text) for kind, number, text in (line.split(" ", 2) for line in lines)]
        spoke += bool(lines)
    return told, spoke


def missing_of(path: Path, told: list[tuple[str, int, str]]) -> list[tuple[str, int, str]]:
    """What was told of and is not in the store."""
    with Store.open(path, NOON) as store:
        assert store.said == (), store.said
        lines = {(line.id, line.line) for line in store.log_lines()}
        acks = {ack.id: ack for ack in store.acks(NOON)}
    missing = [one for one in told if one[0] == "log" and one[1:] not in lines]
    missing += [one for one in told if one[0] == "ack" and (one[1] not in acks or acks[one[1]].alert != one[2])]
    return missing + [one for one in told if one[0] == "taken" and (one[1] not in acks or acks[one[1]].taken_at is None)]


@pytest.fixture
def quick() -> Iterator[Path]:
    """A process that is killed leaves the same behind on a disk in memory, and the test does not wait; the bench does it on a real one."""
    with quick_place() as folder:
        yield folder


def test_nothing_told_of_is_lost_however_often_the_writer_is_killed(quick: Path) -> None:
    path = quick / "watch.db"
    longest_s = until_the_first_word_s(quick / "first" / "watch.db")
    told, spoke = kill_at_random(path, KILLS, random.Random(20260516), longest_s)
    assert spoke >= KILLS // 8, f"only {spoke} of {KILLS} were killed while they wrote: the test tests nothing"
    assert spoke < KILLS, "none was killed while it opened the store"
    assert missing_of(path, told) == []
    assert verdict(path) == "ok"
    assert [p.name for p in quick.iterdir() if "damaged" in p.name] == []


def test_killed_while_the_file_is_made_the_next_start_goes_through(quick: Path) -> None:
    dice = random.Random(7)
    longest_s = until_the_first_word_s(quick / "first" / "watch.db")
    for kill in range(40):
        path = quick / str(kill) / "watch.db"
        told, _ = kill_at_random(path, 1, dice, longest_s)
        assert missing_of(path, told) == []
        assert verdict(path) == "ok"
