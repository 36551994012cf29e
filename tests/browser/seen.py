"""What the tests of the page in a browser share: sizes of screens, a page as a file, and the rules of accessibility."""

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

PHONE, DESKTOP = (390, 844), (1280, 900)
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def a_file(folder: Path, html: str) -> str:
    path = folder / "page.html"
    path.write_text(html, encoding="utf-8")
    return path.as_uri()


def broken_rules(page: Any) -> list[str]:
    """What axe-core finds, as 'rule: element'."""
    found = find_spec("axe_playwright_python")
    if found is None or found.origin is None:
        pytest.skip("no axe-core: accessibility is not checked")
    if not page.evaluate("typeof axe !== 'undefined'"):
        page.evaluate((Path(found.origin).parent / "axe.min.js").read_text(encoding="utf-8"))
    result = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", RULES)
    assert len(result["passes"]) > 15, "axe-core looked at something"
    return [f"{v['id']}: {n['html'][:120]} {n['failureSummary']}" for v in result["violations"] for n in v["nodes"]]
