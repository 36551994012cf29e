"""A real Chromium from the system, and a server for it; the tests are skipped, aloud, where there is none."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from watch.service.web import Source, make_app
from watch.service.web_access import Access

CHROMIUM = next((p for p in (Path("/usr/bin/chromium"), Path("/usr/bin/chromium-browser")) if p.exists()), None)
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run",
]  # fmt: skip


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright: the page is not tried in a real browser")
    if CHROMIUM is None:
        pytest.skip("no /usr/bin/chromium: the page is not tried in a real browser (Debian: apt-get install chromium)")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium: Any) -> Iterator[Callable[..., Any]]:
    """A new page of the browser; afterwards nothing may have been said on its console, and no error thrown."""
    said: list[str] = []
    contexts = []

    def open_page(width: int = 390, height: int = 844, expects: tuple[str, ...] = (), **more: Any) -> Any:
        context = chromium.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(5000)
        page.on("console", lambda m: said.append(m.text) if not any(e in m.text for e in expects) else None)
        page.on("pageerror", lambda e: said.append(str(e)))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert said == []


@pytest.fixture
def served() -> Iterator[Callable[..., str]]:
    """Serves a source at a free loopback port; gives the address, and a way to stop it."""
    running: list[tuple[uvicorn.Server, threading.Thread]] = []

    def begin(source: Source, **access: Any) -> str:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = int(free.getsockname()[1])
        app = make_app(source, Access(port=port, **access))
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="off", ws="none"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        running.append((server, thread))
        for _ in range(500):
            if server.started:
                return f"http://127.0.0.1:{port}"
            time.sleep(0.01)
        raise RuntimeError("the server did not start")

    def stop() -> None:
        for server, thread in running:
            server.should_exit = server.force_exit = True
            thread.join(5)
        running.clear()

    begin.stop = stop  # type: ignore[attr-defined]
    yield begin
    stop()
