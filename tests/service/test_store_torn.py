"""Files as a loss of power or a bad card leaves them: cut short anywhere, pages of zeros. Opening goes on, what is whole is there."""

import os
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.service.stores import NOON, PAGE, after, lines_of, quick_place, verdict, zero_page
from watch.service.store import Store, opening

FRAME = PAGE + 24


def image(store: Store, to: Path) -> Path:
    """The files as they lie on the disk at this moment, the store still open: what is there after a loss of power."""
    to.mkdir()
    for name in ("watch.db", "watch.db-wal"):
        shutil.copyfile(store.path.with_name(name), to / name)
    return to / "watch.db"


def text_of_line(k: int) -> str:
    return f"line {k:04d} " + "reef " * (k % 30)


@pytest.fixture(scope="module")
def quick() -> Iterator[Path]:
    with quick_place() as folder:
        yield folder


@pytest.fixture(scope="module")
def grown(quick: Path) -> tuple[Path, list[int]]:
    """A file with 40 lines in it and 40 more beside it, and how long what lies beside it was after each of these."""
    folder = quick / "grown"
    sizes = []
    with Store.open(folder / "watch.db", NOON) as store:
        for k in range(40):
            store.add_log(text_of_line(k), after(k), "skipper")
        store.checkpoint()
        for k in range(40, 80):
            store.add_log(text_of_line(k), after(k), "skipper")
            sizes.append(os.stat(folder / "watch.db-wal").st_size)
        return image(store, folder / "image"), sizes


def copied(path: Path, to: Path) -> Path:
    shutil.copytree(path.parent, to)
    return to / path.name


@pytest.mark.parametrize("seed", range(25))
def test_what_was_written_last_cut_short_anywhere_leaves_all_before(grown: tuple[Path, list[int]], tmp_path: Path, seed: int) -> None:
    path, sizes = copied(grown[0], tmp_path / "x"), grown[1]
    cut = random.Random(seed).randrange(sizes[-1])
    os.truncate(path.with_name("watch.db-wal"), cut)
    whole = 40 + sum(size <= cut for size in sizes)
    assert lines_of(path) == [text_of_line(k) for k in range(whole)]
    assert verdict(path) == "ok"


@pytest.mark.parametrize("seed", range(25))
def test_zeros_in_what_was_written_last_leave_all_before(grown: tuple[Path, list[int]], tmp_path: Path, seed: int) -> None:
    path, sizes = copied(grown[0], tmp_path / "x"), grown[1]
    at = random.Random(seed).randrange(sizes[-1] - 512)
    with open(path.with_name("watch.db-wal"), "r+b") as wal:
        wal.seek(at)
        wal.write(bytes(512))
    first_hit = 0 if at < 32 else 32 + (at - 32) // FRAME * FRAME
    lines = lines_of(path)
    assert lines == [text_of_line(k) for k in range(len(lines))], "nothing out of order, nothing made up"
    assert len(lines) >= 40 + sum(size <= first_hit for size in sizes)


def full_store(folder: Path) -> tuple[Path, set[str], set[str]]:
    """A store with everything in it over many pages, half of it not yet brought into the file: lines and acknowledged alerts."""
    lines, acks = set(), set()
    with Store.open(folder / "watch.db", NOON) as store:
        for k in range(400):
            lines.add(text_of_line(k))
            store.add_log(text_of_line(k), after(k), "skipper")
            acks.add(f"job.number_{k}_of_many")
            store.ask_ack(f"job.number_{k}_of_many", "skipper", after(k))
            if k % 4 == 0:
                store.put(f"name {k % 50}", "x" * (k % 700))
                store.add_position(after(k), 36.0 + k / 1000.0, -52.0, "GP/RMC")
                store.keep_pass(None, after(k), after(k + 10), "no forecast " * (k % 90))
            if k == 370:
                store.checkpoint()
        return image(store, folder / "image"), lines, acks


@pytest.fixture(scope="module")
def full(quick: Path) -> tuple[Path, set[str], set[str]]:
    return full_store(quick / "full")


def whole_texts(path: Path, torn: set[int], wanted: set[str]) -> set[str]:
    """Those texts that stand in a leaf page of the file that was not torn, or in a leaf page beside it. Looks at bytes only."""
    data, wal = path.read_bytes(), path.with_name("watch.db-wal").read_bytes()
    pages = [data[k : k + PAGE] for k in range(0, len(data), PAGE) if k // PAGE not in torn]
    pages += [wal[k + 24 : k + FRAME] for k in range(32, len(wal), FRAME)]
    leaves = b"".join(page for page in pages if page[:1] == b"\x0d" and len(page) == PAGE)
    return {text for text in wanted if text.encode() in leaves}


def tear_pages(path: Path, dice: random.Random) -> set[int]:
    """Some pages of the file zeroed, wholly or half."""
    count = path.stat().st_size // PAGE
    torn = set(dice.sample(range(count), dice.choice([1, 1, 2, 5, count // 3])))
    if dice.random() < 0.3:
        torn.add(0)
    with open(path, "r+b") as file:
        for page in torn:
            half = dice.choice([0, 0, PAGE // 2])
            file.seek(page * PAGE + (half if dice.random() < 0.5 else 0))
            file.write(bytes(PAGE - half))
    return torn


def cut_short(path: Path, dice: random.Random) -> set[int]:
    """The file ends anywhere."""
    size = path.stat().st_size
    cut = dice.choice([0, 1, 99, 4095, 4097, dice.randrange(size), dice.randrange(size)])
    os.truncate(path, cut)
    return set(range(cut // PAGE, size // PAGE))


@pytest.mark.parametrize("tear", [tear_pages, cut_short])
@pytest.mark.parametrize("seed", range(20))
def test_every_line_and_acknowledgement_in_a_whole_page_is_saved(
    full: tuple[Path, set[str], set[str]], tmp_path: Path, seed: int, tear: Callable[[Path, random.Random], set[int]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path, lines, acks = copied(full[0], tmp_path / "x"), full[1], full[2]
    torn = tear(path, random.Random(seed))
    if seed % 2:  # the computer was started anew; else the file is damaged under a watch that stands
        monkeypatch.setattr(opening, "BOOT", tmp_path / "boot_id")
        (tmp_path / "boot_id").write_text("another start")
    there_lines, there_acks = whole_texts(path, torn, lines), whole_texts(path, torn, acks)
    with Store.open(path, after(900)) as store:
        got_lines, got_acks = {one.line for one in store.log_lines()}, {one.alert for one in store.acks(NOON)}
        store.passes(NOON), store.track(NOON), store.events(NOON), store.forecasts(), store.get("name 1"), store.book()
        number = store.add_log("and the watch goes on", after(901), "skipper")
        if not seed % 2:
            store.prune(after(901))
        said = " ".join(store.said)
    assert there_lines <= got_lines
    assert there_acks <= got_acks
    assert got_lines <= lines
    assert got_acks <= acks
    if got_lines != lines or got_acks != acks:
        assert "damaged" in said
        assert len([p for p in path.parent.iterdir() if ".damaged-20260517T0300" in p.name and not p.name.endswith("-wal")]) == 1
    assert verdict(path) == "ok", "whatever was damaged, it is mended now"
    with Store.open(path, after(950)) as store:
        assert store.said == (), "the next start has nothing to say"
        assert {(one.id, one.line) for one in store.log_lines()} >= {(number, "and the watch goes on")}
        assert len(store.log_lines()) == len(got_lines) + 1


@pytest.mark.parametrize("seed", range(10))
def test_power_lost_while_it_is_brought_into_the_file_costs_nothing(
    full: tuple[Path, set[str], set[str]], tmp_path: Path, seed: int
) -> None:
    """Then any page that also lies beside the file, whole, can be half written in it, and the file can be longer than it was."""
    path, lines, acks = copied(full[0], tmp_path / "x"), full[1], full[2]
    wal, dice = path.with_name("watch.db-wal").read_bytes(), random.Random(seed)
    beside = sorted({int.from_bytes(wal[at : at + 4], "big") for at in range(32, len(wal), FRAME)})
    assert len(beside) > 5
    with open(path, "r+b") as file:
        for page in dice.sample(beside, dice.randrange(1, len(beside))):
            file.seek((page - 1) * PAGE + dice.choice([0, 512, 2048]))
            file.write(dice.randbytes(dice.choice([512, 2048])))
    with Store.open(path, NOON) as store:
        assert {one.line for one in store.log_lines()} == lines
        assert {one.alert for one in store.acks(NOON)} == acks
        store.prune(NOON)
        assert store.said == ()
    assert verdict(path) == "ok"


def test_what_lies_beside_an_empty_file_is_not_thrown_away(tmp_path: Path, full: tuple[Path, set[str], set[str]]) -> None:
    path = copied(full[0], tmp_path / "x")
    path.unlink()
    with Store.open(path, NOON) as store:
        assert text_of_line(399) in {one.line for one in store.log_lines()}
        assert "damaged" in store.said[0]


@pytest.mark.parametrize("content", [b"not a database at all", b"SQLite format 3\0" + bytes(4080), bytes(2048), b"GRIB" * 3000])
def test_a_file_that_is_none_is_put_aside_with_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "watch.db"
    path.write_bytes(content)
    with Store.open(path, NOON) as store:
        assert store.said == (
            "The watch's memory was damaged. Nothing could be saved from it. What else was lost, if anything, is not known. "
            "The damaged file is kept as watch.db.damaged-20260516T120000Z.",
        )
        store.add_log("a new beginning", NOON, "skipper")
    assert (tmp_path / "watch.db.damaged-20260516T120000Z").read_bytes() == content
    assert lines_of(path) == ["a new beginning"]


def test_a_loss_in_the_middle_is_counted(tmp_path: Path) -> None:
    path = tmp_path / "watch.db"
    with Store.open(path, NOON) as store:
        for k in range(300):
            store.add_log(text_of_line(k), after(k), "skipper")
    db = sqlite3.connect(path)
    ((page,),) = db.execute("SELECT pageno FROM dbstat WHERE name = 'log_line' AND pagetype = 'leaf' ORDER BY pageno LIMIT 1 OFFSET 3")
    ((cells,),) = db.execute("SELECT ncell FROM dbstat WHERE pageno = ?", (page,))
    db.close()
    zero_page(path, page)
    with Store.open(path, NOON) as store:
        assert len(store.log_lines()) == 300 - cells
        assert f"Lost for certain: {cells} lines of the log." in store.said[0]


def test_a_repair_killed_half_way_is_ended_by_the_next_start(tmp_path: Path, full: tuple[Path, set[str], set[str]]) -> None:
    """Every place at which files are moved, by stopping there."""
    for stop in range(5):
        path = copied(full[0], tmp_path / str(stop))
        torn = path.read_bytes().index(text_of_line(59).encode()) // PAGE
        zero_page(path, torn + 1)
        moves = 0

        def stopping(move: Callable[..., None], stop: int = stop) -> Callable[..., None]:
            def moved(*names: object) -> None:
                nonlocal moves
                moves += 1
                if moves > stop:
                    raise KeyboardInterrupt
                move(*names)
            return moved

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(os, "replace", stopping(os.replace))
            patch.setattr(os, "rename", stopping(os.rename))
            patch.setattr(opening, "BOOT", tmp_path)  # every opening is thorough
            if stop < 4:
                with pytest.raises(KeyboardInterrupt):
                    Store.open(path, NOON)
            else:
                Store.open(path, NOON).close()
        with Store.open(path, after(1)) as store:
            saved = {one.line for one in store.log_lines()}
        assert saved == whole_texts(full[0], {torn}, full[1]), f"stopped after {stop} moves"
        assert text_of_line(59) not in saved
        assert not [p for p in path.parent.iterdir() if "salvaged" in p.name]
