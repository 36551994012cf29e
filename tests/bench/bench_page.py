"""How long the page takes to be made, served and seen: the first screen in a real Chromium, on a phone's screen (prints milliseconds).

    python -m tests.bench.bench_page

The server runs in this process, so its work is in the times. Each case is loaded nine times in a fresh context, caches empty; printed
are the middle and the worst. `first screen`: from the request until the next job is painted (the browser's own first contentful paint);
`slow phone`: the same with the browser's processor four times slower. The target is under a second (issue 8).
"""

import gc
import socket
import statistics
import threading
import time
from collections.abc import Callable
from typing import Any

import uvicorn

from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.page_demo import FixedSource, alarm, among_islands, demo_orders, not_good_enough
from watch.orders.document import Orders
from watch.render.page import render_page
from watch.service.map_land import land_of_map
from watch.service.web import Latest, make_app
from watch.service.web_access import Access

TIMES = 9
PAINT = "performance.getEntriesByName('first-contentful-paint').map(e => e.startTime)[0]"


class WithLand(FixedSource):
    """All that a page can hold: land, shelters, what changed, two calls."""

    def latest(self) -> Latest:
        shown = super().latest()
        return Latest(
            now=shown.now, orders=shown.orders, health=shown.health, alerts=shown.alerts, previous=not_good_enough(),
            land=land_of_map(among_islands()),
        )  # fmt: skip


def middle_and_worst(run: Callable[[], float]) -> str:
    gc.collect()
    taken = [run() for _ in range(TIMES)]
    return f"{statistics.median(taken):7.0f} {max(taken):7.0f}"


def timed(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000.0


def main() -> None:
    orders: Orders = among_islands()
    before = not_good_enough()
    reading = timed(lambda: land_of_map(orders))
    land = land_of_map(orders)
    html = render_page(orders, now=orders.made_at, land=land, previous=before)
    bare = render_page(demo_orders(), now=orders.made_at)
    print(f"weight: {len(html.encode()) / 1000:.0f} kB with coast and shelters, {len(bare.encode()) / 1000:.0f} kB without")
    print(f"land read once: {reading:.0f} ms")
    print("                     middle   worst  ms")
    print("made             ", middle_and_worst(lambda: timed(lambda: render_page(orders, now=orders.made_at, land=land, previous=before))))
    print_browser()


def print_browser() -> None:
    from playwright.sync_api import sync_playwright

    if CHROMIUM is None:
        print("no Chromium: the first screen is not measured")
        return
    address, server = _serve()
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        for name, slower in (("first screen     ", 1), ("slow phone       ", 4)):
            print(name, middle_and_worst(lambda slower=slower: _first_paint(browser, address, slower)))  # type: ignore[misc]
        browser.close()
    server.should_exit = True


def _serve() -> tuple[str, uvicorn.Server]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    app = make_app(WithLand(among_islands(), (alarm(), alarm(name="b"))), Access(port=port))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="off", ws="none"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    return f"http://127.0.0.1:{port}", server


def _first_paint(browser: Any, address: str, slower: int) -> float:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    if slower > 1:
        context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slower})
    page.goto(address)
    assert page.is_visible(".job-next h2")
    while (painted := page.evaluate(PAINT)) is None:
        page.wait_for_timeout(20)
    context.close()
    return float(painted)


if __name__ == "__main__":
    main()
