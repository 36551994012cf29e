"""What the store reads out of the bytes of a file by itself, against the published file format, and against SQLite reading the same."""

import sqlite3
from pathlib import Path

import pytest

from tests.service.stores import NOON, after
from watch.service.store import Store
from watch.service.store.carve import carve, values_of
from watch.service.store.schema import APPLICATION


@pytest.mark.source("sqlite-format-1")
@pytest.mark.parametrize(("record", "values"), [
    (bytes([2, 0]), [None]),
    (bytes([2, 1, 0xFF]), [-1]),  # one byte, two's complement
    (bytes([2, 2, 0x01, 0x00]), [256]),  # big-endian
    (bytes([2, 3, 0x80, 0x00, 0x00]), [-(2**23)]),
    (bytes([2, 4, 0x7F, 0xFF, 0xFF, 0xFF]), [2**31 - 1]),
    (bytes([2, 5, 0, 0, 0, 0, 1, 0]), [256]),  # kind 5 is six bytes, not five
    (bytes([2, 6, 0x80, 0, 0, 0, 0, 0, 0, 0]), [-(2**63)]),
    (bytes([3, 8, 9]), [0, 1]),  # no bytes at all
    (bytes([2, 13]), [""]),
    (bytes([3, 13 + 2 * 3, 0]) + "ä☂".encode()[:3], None),  # three bytes of a text that has two letters of two and three bytes: torn
    (bytes([3, 0x81, 0x0D]) + b"x" * 64, ["x" * 64]),  # (141 - 13) / 2 letters; a varint of two bytes
])  # fmt: skip
def test_a_record_is_read_as_the_format_says(record: bytes, values: list[object] | None) -> None:
    if values is None:
        with pytest.raises(ValueError):
            values_of(record)
    else:
        assert values_of(record) == values


@pytest.mark.source("sqlite-format-1")
def test_the_bytes_give_what_sqlite_gives(tmp_path: Path) -> None:
    path = tmp_path / "watch.db"
    with Store.open(path, NOON) as store:
        for k in range(150):
            number = store.add_log("reef " * (k % 40), after(k), "skipper" * (k % 2))
            wish = store.ask_ack(f"job.reef_{k}", "skipper", after(k), revision=[None, 0, 1, 300, 70_000][k % 5])
            if k % 3 == 0:
                store.correct_log(number, "corrected")
                store.ack_taken([wish], after(k), "followed")
    found: dict[str, dict[int, dict[str, object]]] = {"log_line": {}, "ack": {}}
    for table, row in carve(path):
        found[table].setdefault(row["id"], row)
    db = sqlite3.connect(path)
    db.row_factory = sqlite3.Row
    for table, rows in found.items():
        assert [dict(row) for row in db.execute(f"SELECT * FROM {table} ORDER BY id")] == [
            {name: row[name] for name in ("id", *(n for n in row if n != "id"))} for _, row in sorted(rows.items())
        ]
    db.close()


@pytest.mark.source("sqlite-format-1")
def test_the_file_says_whose_it_is(tmp_path: Path) -> None:
    """The header: the name of the format at 0, both versions 2 for a log written ahead at 18, the user's version at 60, whose it is at 68."""
    Store.open(tmp_path / "watch.db", NOON).close()
    header = (tmp_path / "watch.db").read_bytes()[:100]
    assert header[:16] == b"SQLite format 3\0"
    assert header[18:20] == b"\2\2"
    assert int.from_bytes(header[60:64], "big") == 2
    assert int.from_bytes(header[68:72], "big") == APPLICATION
    assert APPLICATION.to_bytes(4, "big") == b"NORD"
