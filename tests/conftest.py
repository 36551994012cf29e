"""Shared by all tests: the book of sources, the folder of real forecast files, and the rule that a source must exist."""

import os
import shutil
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SOURCES = tomllib.loads((ROOT / "tests" / "sources.toml").read_text(encoding="utf-8"))
KINDS = {"published", "measured", "independent-program", "worked-by-hand", "common-practice", "judgement"}


MEMORY, ROOM_BYTES = Path("/dev/shm"), 4 << 30


def pytest_configure() -> None:
    """Scratch folders lie in memory where there is plenty of it: much of the time the tests only wait for the disk to say that it has written.

    What a disk does when the power goes no test here can tell; tests/bench/bench_store_kill.py kills writers on a real one.
    """
    if MEMORY.is_dir() and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ROOM_BYTES:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        marks = [mark.args[0] for mark in item.iter_markers("source")]
        for name in marks:
            if name not in SOURCES:
                raise pytest.UsageError(f"{item.nodeid} names source {name!r}, which tests/sources.toml does not have")
        if "published" in Path(str(item.fspath)).parts and not marks:
            raise pytest.UsageError(f"{item.nodeid} is in tests/published but names no source")


@pytest.fixture(scope="session")
def sources() -> dict[str, dict[str, str]]:
    return SOURCES


@pytest.fixture(scope="session")
def real_data() -> Path:
    """The folder of real forecast files beside the project; tests that use it are skipped, aloud, when it is not there."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("no folder of real forecast files beside the project")
    return folder
