"""A store of an older version is brought up with all that is in it; one of a newer version, or of another program, is left alone."""

import math
import os
import sqlite3
from pathlib import Path

import pytest

from tests.page_demo import demo_orders
from tests.service.stores import NOON, all_of, in_child, verdict, zero_page
from watch.faults import BadInputError
from watch.render.as_json import as_json
from watch.service.store import Store
from watch.service.store.schema import VERSION


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "watch.db"


def version_1(path: Path) -> None:
    path.parent.mkdir(exist_ok=True)
    db = sqlite3.connect(path)
    script = (Path(__file__).parent / "version-1.sql").read_text(encoding="utf-8")
    db.executescript(script.replace("@ORDERS@", as_json(demo_orders()).replace("'", "''")))
    db.close()


def check_brought_up(store: Store) -> None:
    assert [line.line for line in store.log_lines()] == [
        "2026-05-16T12:00Z rig main: reef 1, genoa: half", "2026-05-16T18:40Z put in the second reef 22 min",
    ]  # fmt: skip
    assert [(a.alert, a.revision, a.where) for a in store.acks_wanted()] == [("front.20260517", None, "")]
    assert store.latest_orders() == demo_orders()
    assert store.get("volume") == 0.8
    book = store.book()
    assert book is not None
    assert book.next_number == 7
    assert [f.centre for f in store.forecasts()] == ["kwbc"]
    assert [p.latitude_deg for p in store.track(NOON)] == [36.5]
    (step,) = store.steps(NOON)
    assert step.mean_ms == 9.5
    assert math.isnan(step.pressure_pa)


def test_a_store_of_version_1_is_brought_up_with_all_that_is_in_it(path: Path) -> None:
    version_1(path)
    with Store.open(path, NOON) as store:
        assert store.said == ()
        check_brought_up(store)
        store.correct_log(1, "2026-05-16T12:00Z rig main: reef 1, genoa: rolled away")
    with Store.open(path, NOON) as store:
        assert store.log_lines()[0].line.endswith("rolled away")
    assert sqlite3.connect(path).execute("PRAGMA user_version").fetchone() == (VERSION,)


def test_a_damaged_store_of_version_1_is_saved_and_brought_up(path: Path) -> None:
    version_1(path)
    db = sqlite3.connect(path)
    ((root,),) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'position_at'")
    db.close()
    zero_page(path, root)
    with Store.open(path, NOON) as store:
        check_brought_up(store)
        assert "damaged" in store.said[0]
    assert verdict(path) == "ok"


def test_bringing_up_a_version_is_all_or_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from watch.service.store import opening, schema

    version_1(path)
    broken = (schema.MIGRATIONS[0], (*schema.MIGRATIONS[1], lambda db: os.kill(os.getpid(), 9)))

    def dies(pipe: int) -> None:
        schema.MIGRATIONS = broken
        opening.open_file(path)

    child, pipe = in_child(dies)
    all_of(pipe)
    assert os.waitpid(child, 0)[1] == 9
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    db.close()
    with Store.open(path, NOON) as store:
        check_brought_up(store)


def test_a_newer_version_is_refused_in_one_sentence_and_left_alone(path: Path) -> None:
    Store.open(path, NOON).close()
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {VERSION + 1}")
    db.close()
    before = path.read_bytes()
    with pytest.raises(BadInputError) as refused:
        Store.open(path, NOON)
    assert str(refused.value) == (
        f"{path}: is of version {VERSION + 1}, and this program knows versions up to {VERSION}; use the newer program again, or name another "
        "file"
    )
    assert path.read_bytes() == before
    assert sorted(p.name for p in path.parent.iterdir()) == ["watch.db"]


def test_another_programs_file_and_a_folder_are_refused_and_left_alone(path: Path) -> None:
    path.parent.mkdir()
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE photos (id INTEGER)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(BadInputError, match="is the file of another program; name another one for the watch"):
        Store.open(path, NOON)
    assert path.read_bytes() == before
    with pytest.raises(BadInputError, match="is a folder; name a file in it"):
        Store.open(path.parent, NOON)
