"""A full disk, a disk that can only be read, no place at all: a sentence, nothing lost that was known, and the watch goes on reading."""

import os
import resource
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.service.stores import NOON, after, answer_of, lines_of, verdict, zero_page
from watch.service.store import Store
from watch.service.store.refused import NotKeptError

FULL = "the disk is full: make room on it"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of four megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if shutil.which("mount") is None or subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)], capture_output=True, check=False
    ).returncode:  # fmt: skip
        pytest.skip("no small disk can be mounted here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder: Path) -> Path:
    filler = folder / "filler"
    with open(filler, "wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            pass
    return filler


def begun(path: Path, lines: int = 20) -> set[str]:
    with Store.open(path, NOON) as store:
        for k in range(lines):
            store.add_log(f"line {k} {'reef ' * 20}", after(k), "skipper")
    return set(lines_of(path))


def test_a_disk_that_fills_up_costs_nothing_that_was_kept(small_disk: Path) -> None:
    path = small_disk / "watch.db"
    told = begun(path)
    with Store.open(path, NOON) as store:
        filler = fill(small_disk)
        refused = ""
        for k in range(2000):
            try:
                store.add_log(f"more {k}", after(k), "skipper")
            except NotKeptError as error:
                refused = str(error)
                break
            told.add(f"more {k}")
        assert refused == f"{path}: this could not be done: {FULL}"
        assert {line.line for line in store.log_lines()} == told
        with pytest.raises(NotKeptError, match=FULL):
            store.ask_ack("job.reef_3", "skipper", NOON)
        filler.unlink()
        assert store.ask_ack("job.reef_3", "skipper", NOON) == 1, "room was made: it goes on"
    assert set(lines_of(path)) == told
    assert verdict(path) == "ok"


def test_the_next_start_on_a_full_disk_can_read_and_writes_once_there_is_room(small_disk: Path) -> None:
    path = small_disk / "watch.db"
    told = begun(path)
    filler = fill(small_disk)
    with Store.open(path, NOON) as store:
        if store.keeps:
            pytest.fail("the disk was not full")
        assert store.said == (f"Nothing can be kept in {path}: {FULL}. What was known before can still be read.",)
        assert {line.line for line in store.log_lines()} == told
        with pytest.raises(NotKeptError, match=FULL):
            store.add_log("x", NOON, "skipper")
        filler.unlink()
        store.add_log("there is room", NOON, "skipper")
        assert store.keeps
    assert set(lines_of(path)) == told | {"there is room"}


def test_who_only_reads_sees_what_others_write_once_there_is_room(small_disk: Path) -> None:
    path = small_disk / "watch.db"
    told = begun(path)
    filler = fill(small_disk)
    with Store.open(path, NOON) as page:
        assert not page.keeps
        filler.unlink()
        with Store.open(path, NOON) as daemon:
            daemon.add_log("there is room", NOON, "skipper")
            assert {line.line for line in page.log_lines()} == told | {"there is room"}
            assert page.keeps


def test_what_was_not_yet_in_the_file_is_read_on_a_full_disk_too(small_disk: Path, tmp_path: Path) -> None:
    """After a loss of power what was written last lies beside the file."""
    with Store.open(tmp_path / "first.db", NOON) as store:
        for k in range(10):
            store.add_log(f"line {k}", after(k), "skipper")
        for end in ("", "-wal"):
            shutil.copyfile(tmp_path / f"first.db{end}", small_disk / f"watch.db{end}")
    fill(small_disk)
    with Store.open(small_disk / "watch.db", NOON) as store:
        assert [line.line for line in store.log_lines()] == [f"line {k}" for k in range(10)]
        assert not store.keeps


def test_a_damaged_file_on_a_full_disk_is_read_as_far_as_it_goes_and_mended_once_there_is_room(small_disk: Path) -> None:
    path = small_disk / "watch.db"
    told = begun(path, 100)
    zero_page(path, 1)
    filler = fill(small_disk)
    with Store.open(path, NOON) as store:
        assert store.said[0].startswith(f"Nothing can be kept in {path}: it is damaged, and the disk is full")
        assert {line.line for line in store.log_lines()} == told
        assert sorted(p.name for p in small_disk.iterdir()) == ["filler", "watch.db"]
        filler.unlink()
        store.add_log("there is room", NOON, "skipper")
        assert "The watch's memory was damaged. Saved from it: 100 lines of the log." in store.said[1]
    assert set(lines_of(path)) == told | {"there is room"}


def test_a_file_that_may_not_grow_is_told_and_nothing_is_lost(tmp_path: Path) -> None:
    """The same where no disk can be mounted: the system refuses to let any file grow."""
    path = tmp_path / "watch.db"
    told = begun(path)

    def grows(pipe: int) -> None:
        with Store.open(path, NOON) as store:
            most = path.with_name("watch.db-wal").stat().st_size + 30_000
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, resource.RLIM_INFINITY))
            try:
                for k in range(1000):
                    store.add_log(f"more {k}", after(k), "skipper")
                    os.write(pipe, f"more {k}\n".encode())
            except NotKeptError as error:
                os.write(pipe, f"{error}\n".encode())
            assert len(store.log_lines()) > 20
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
            store.add_log("it goes on", NOON, "skipper")

    *more, sentence = answer_of(grows).splitlines()
    assert sentence.startswith(f"{path}: this could not be done: the disk")
    assert set(lines_of(path)) == told | set(more) | {"it goes on"}


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user may look into."""
    with tempfile.TemporaryDirectory() as name:
        os.chmod(name, 0o755)
        yield Path(name)


def as_anybody() -> None:
    """The superuser may write everywhere: become somebody else."""
    if os.getuid() == 0:
        os.setgroups([])
        os.setresgid(65534, 65534, 65534)
        os.setresuid(65534, 65534, 65534)


@pytest.mark.parametrize("left_open", [False, True])
def test_where_nothing_may_be_written_it_can_be_read(open_folder: Path, left_open: bool) -> None:
    path = open_folder / "watch.db"
    told = begun(path)
    daemon = Store.open(path, NOON) if left_open else None
    for file in (open_folder, *open_folder.iterdir()):
        os.chmod(file, 0o555 if file.is_dir() else 0o444)

    def reads(pipe: int) -> None:
        as_anybody()
        with Store.open(path, NOON) as store:
            try:
                store.add_log("x", NOON, "skipper")
            except NotKeptError as error:
                os.write(pipe, f"{error}\n".encode())
            os.write(pipe, "\n".join([*store.said, *(line.line for line in store.log_lines())]).encode())

    refused, said, *lines = answer_of(reads).splitlines()
    why = "it can only be read here: give a folder you may write to"
    assert refused == f"{path}: this could not be done: {why}"
    assert said == f"Nothing can be kept in {path}: {why}. What was known before can still be read."
    assert set(lines) == told
    if daemon is not None:
        daemon.close()


def test_without_any_place_the_watch_still_starts(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file where the folder should be")
    with Store.open(tmp_path / "home" / "watch.db", NOON) as store:
        assert not store.keeps
        assert store.said[0].startswith("Nothing can be kept in ")
        assert (store.log_lines(), store.acks_wanted(), store.book(), store.latest_orders()) == ([], [], None, None)
        with pytest.raises(NotKeptError, match="give a folder you may write to"):
            store.add_log("x", NOON, "skipper")


def test_a_writer_that_does_not_let_go_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sqlite3

    from watch.service.store import opening

    monkeypatch.setattr(opening, "BUSY_S", 0.05)
    path = tmp_path / "watch.db"
    with Store.open(path, NOON) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(NotKeptError, match="another process works on it and does not let go"):
            store.add_log("x", NOON, "skipper")
        assert store.log_lines() == []
        other.execute("ROLLBACK")
        other.close()
        assert store.add_log("x", NOON, "skipper") == 1
