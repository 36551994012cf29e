"""The house chart, held to: imports only downward, nothing but the agreed top level, no clock in the pure rows."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROWS = {
    "units": 1, "when": 1, "faults": 1, "ready": 1,
    "boat": 2, "passage": 2, "forecast": 2,
    "weather": 3, "orders": 4, "instruments": 5, "alerts": 6, "render": 7, "service": 8,
    "commands": 9, "cli": 10, "__main__": 11, "__init__": 0,
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "watch", "config", "tests", "fixtures"}
MODULES = sorted((ROOT / "watch").rglob("*.py"))


def room(path: Path) -> str:
    first = path.relative_to(ROOT / "watch").parts[0]
    return first.removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            names = [node.module or ""] if node.module != "watch" else [f"watch.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("watch.")}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_imports_only_from_its_own_room_and_rows_above(path: Path) -> None:
    own = room(path)
    for other in imported_rooms(path) - {own}:
        assert other in ROWS, f"{other} is not on the house chart"
        assert ROWS[other] < ROWS[own], f"{path.name} (row {ROWS[own]}) may not import {other} (row {ROWS[other]})"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_only_modules_marked_io_touch_files_network_or_the_clock(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    first_line = (ast.get_docstring(tree) or "").split("\n")[0]
    assert first_line, f"{path.name} says nothing about itself"
    if "(I/O)" in first_line:
        return
    text = path.read_text(encoding="utf-8")
    for word in ("open(", "datetime.now(", "time.time(", "requests.", "socket.", "sqlite3.", ".read_text(", ".read_bytes("):
        assert word not in text, f"{path.name} uses {word} but its first docstring line does not say (I/O)"


def test_the_top_level_is_the_agreed_one() -> None:
    seen = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    extra = seen - TOP_LEVEL - {"build", "dist"}
    assert not {e for e in extra if not e.endswith(".egg-info")}
