"""Several processes and threads in one store at once, also while it is mended; and how it is begun and ended."""

import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.service.stores import NOON, after, all_of, in_child, lines_of, verdict, zero_page
from watch.service.store import Store


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "watch.db"


def write_many(path: Path, name: str, pipe: int) -> None:
    with Store.open(path, NOON) as store:
        for k in range(60):
            os.write(pipe, f"{store.add_log(f'{name} {k}', after(k), name)}\n".encode())
            store.put(name, k)


def test_three_processes_and_four_threads_write_at_once_while_others_read(path: Path) -> None:
    children = [in_child(lambda pipe, n=name: write_many(path, n, pipe)) for name in ("daemon", "page", "log")]  # type: ignore[misc]
    with Store.open(path, NOON) as store:
        threads = [threading.Thread(target=lambda n=n: [store.ask_ack(f"job.n{n}_{k}", "page", after(k)) for k in range(30)]) for n in range(4)]
        for thread in threads:
            thread.start()
        seen = [len(store.log_lines()) for _ in range(20)]
        for thread in threads:
            thread.join()
        numbers = [int(number) for child, pipe in children for number in all_of(pipe).split()]
        assert {os.waitpid(child, 0)[1] for child, _ in children} == {0}
        assert seen == sorted(seen), "what was read once stays"
        assert len(set(numbers)) == 180
        assert {line.id for line in store.log_lines()} == set(numbers)
        assert len({a.alert for a in store.acks(NOON)}) == 120
        assert [store.get(name) for name in ("daemon", "page", "log")] == [59, 59, 59]
    assert verdict(path) == "ok"


def test_a_reader_is_not_held_up_by_a_writer_and_sees_whole_changes(path: Path) -> None:
    with Store.open(path, NOON) as store, Store.open(path, NOON) as other:
        store.add_log("before", NOON, "skipper")
        writing = sqlite3.connect(path, isolation_level=None)
        writing.execute("BEGIN IMMEDIATE")
        writing.execute("INSERT INTO log_line (at, by, line) SELECT at, by, 'not yet' FROM log_line")
        assert [line.line for line in other.log_lines()] == ["before"]
        writing.execute("COMMIT")
        writing.close()
        assert [line.line for line in other.log_lines()] == ["before", "not yet"]


def test_who_has_a_damaged_file_open_goes_on_in_the_new_one(path: Path) -> None:
    """One process mends the file; what another one then writes must not go into the one put aside."""
    daemon, command = Store.open(path, NOON), Store.open(path, NOON)
    with daemon, command:
        for k in range(200):
            daemon.add_log(f"line {k}", after(k), "skipper")
        daemon.checkpoint()
        db = sqlite3.connect(path)
        ((leaf,),) = db.execute("SELECT max(pageno) FROM dbstat WHERE name = 'log_line' AND pagetype = 'leaf'")
        db.close()
        zero_page(path, leaf)
        elsewhere("with Store.open(path, now) as store:\n    store.look_through()\n    assert 'damaged' in store.said[0]", path)
        wish = command.ask_ack("job.reef_3", "skipper", after(301))
        number = daemon.add_log("after the repair", after(302), "skipper")
    with Store.open(path, after(303)) as store:
        assert [a.id for a in store.acks_wanted()] == [wish]
        assert number in {line.id for line in store.log_lines()}
        assert 0 < len(store.log_lines()) < 201
    assert verdict(path) == "ok"
    assert len([p for p in path.parent.iterdir() if "damaged" in p.name and not p.name.endswith("-wal")]) == 1


def elsewhere(code: str, path: Path) -> None:
    """Runs code in a process of its own, with a path and a time."""
    root = Path(__file__).resolve().parents[2]
    head = (
        "from datetime import UTC, datetime; from pathlib import Path; from watch.service.store import Store\n"
        f"path, now = Path({str(path)!r}), datetime(2026, 5, 16, 17, tzinfo=UTC)\n"
    )
    subprocess.run([sys.executable, "-c", head + code], check=True, cwd=root, env={**os.environ, "PYTHONPATH": str(root)}, timeout=60)


def test_only_the_newest_files_put_aside_are_kept(path: Path) -> None:
    for k in range(5):
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"no database, number %d" % k)
        Store.open(path, after(k)).close()
    with Store.open(path, after(9)) as store:
        store.prune(after(9))
        assert store.size_bytes() >= path.stat().st_size + 3 * 20
    assert sorted(p.name for p in path.parent.iterdir() if "damaged" in p.name) == [f"watch.db.damaged-20260516T120{k}00Z" for k in (2, 3, 4)]


def test_a_closed_store_says_so(path: Path) -> None:
    store = Store.open(path, NOON)
    store.close()
    store.close()
    with pytest.raises(ValueError, match="the store is closed"):
        store.log_lines()
    with pytest.raises(ValueError, match="the store is closed"):
        store.add_log("x", NOON, "skipper")


def test_it_starts_without_what_starts_slowly(path: Path) -> None:
    """For a command of one line on a small computer: neither arrays nor models are imported to acknowledge or to write the log."""
    elsewhere(
        "with Store.open(path, now) as store:\n"
        "    store.add_log('x', now, 'skipper'); store.ask_ack('job.x', 'skipper', now); store.log_lines(); store.acks_wanted()\n"
        "import sys; slow = {'numpy', 'pydantic', 'xarray', 'click', 'watch.orders.document'} & set(sys.modules)\nassert not slow, slow\n",
        path,
    )
    assert lines_of(path) == ["x"]
