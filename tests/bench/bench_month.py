"""A simulated month of the watch with real passes: is its memory flat? Run: python -m tests.bench.bench_month [DAYS] [PASSES_A_DAY].

A new run of the invented front comes into the inbox every six hours, passes are made in the process apart, rules looked at every minute,
the page drawn every hour. Prints the memory of both processes by day, and the slope over the last two thirds.
"""

import resource
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from tests.watchkeeping import BOAT, HandPost
from watch.ready import ready
from watch.render.page import render_page
from watch.render.page_parts import page_alerts
from watch.service.rehearsal import DEMO_NOW, later_by
from watch.service.stand.apart import Apart
from watch.service.stand.given_out import give_out
from watch.service.stand.health import page_health
from watch.service.stand.incoming import Incoming
from watch.service.stand.keeper import Keeper
from watch.service.stand.passing import Outcome, PassInputs, make_pass
from watch.service.stand.reckoning import Place
from watch.service.stand.rigged import Rigged
from watch.service.stand.setting_up import rig_after
from watch.service.stand.store_memory import StoreMemory
from watch.service.stand.vitals import Settings
from watch.service.store.store import Store
from watch.when import parse_utc

START = parse_utc("2026-06-01T12:00Z")


def resident_mb(pid: int | str = "self") -> float:
    """The resident memory of a process now [MB]."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 31
    a_day = int(sys.argv[2]) if len(sys.argv) > 2 else 24
    with tempfile.TemporaryDirectory() as folder:
        _live(Path(folder), days, timedelta(days=1) / a_day)


def _live(home: Path, days: int, every: timedelta) -> None:
    now, steady_s, began = START, 0.0, time.perf_counter()
    store = Store.open(home / "watch.db", now)
    memory, post, apart = StoreMemory(store, now), HandPost(), Apart[PassInputs, Outcome](make_pass)
    rigged = Rigged(memory, "", lambda state, lines: rig_after(BOAT, state, lines), "main: reef 1")
    settings = Settings(boat=BOAT, route=_undated(home), shelters=(ready("config", "shelters-north-atlantic.toml"),))
    keeper = Keeper(settings, memory, post, rigged, now=now, steady_s=steady_s)
    incoming = Incoming(inbox=home / "inbox", kept=home)
    used, passes, made = [], 0, 0
    for day in range(days):
        for minute in range(1440):
            now += timedelta(minutes=1)
            steady_s += 60.0
            keeper.look(now, steady_s)
            if (day * 1440 + minute) % 360 == 0:
                keeper.heard(Place(at=now, latitude=36.5, longitude=-52.0, source="gps"))
                _new_run(home / "inbox", now)
                incoming.look(now)
                incoming.look(now + timedelta(seconds=10))
            if minute % (every / timedelta(minutes=1)) == 0:
                outcome = apart.run(keeper.inputs(now, incoming.gribs(now)), 600)
                keeper.passed(outcome, now)
                passes, made = passes + 1, made + (outcome.orders is not None)
                if outcome.orders is not None:
                    give_out(outcome.orders, home / "orders", ("txt", "json", "html"))
                    render_page(outcome.orders, now=now, health=page_health(keeper.vitals(now), []), alerts=page_alerts(keeper.book))
                for alert in keeper.book.alerts:
                    if alert.state.awaits:
                        keeper.acknowledge(alert.name, alert.revision, "skipper", "bench", now)
        store.prune(now)
        incoming.tidy(now)
        post.calls.clear()
        child = apart._process
        used.append((resident_mb(), resident_mb(child.pid) if child is not None and child.pid else 0.0))
        if day % 3 == 2 or day == days - 1:
            print(f"day {day + 1:>3}: watch {used[-1][0]:.0f} MB, process apart {used[-1][1]:.0f} MB, store {store.size_bytes() / 1e6:.1f} MB, "
                  f"{passes} passes ({made} with orders), {time.perf_counter() - began:.0f} s", flush=True)
    late = np.array(used[len(used) // 3 :])
    slope = np.polyfit(np.arange(len(late)), late[:, 0], 1)[0] if len(late) > 2 else float("nan")
    print(f"growth of the watch over the last two thirds: {slope:+.3f} MB a day; most {late[:, 0].max():.0f}, least {late[:, 0].min():.0f} MB")
    apart.close()


def _undated(home: Path) -> Path:
    text = ready("config", "passage-bermuda-horta.toml").read_text(encoding="utf-8")
    route = home / "passage.toml"
    route.write_text("\n".join(line for line in text.splitlines() if not line.startswith("departure")), encoding="utf-8")
    return route


def _new_run(inbox: Path, now: datetime) -> None:
    inbox.mkdir(exist_ok=True)
    later = now.replace(minute=0) - DEMO_NOW
    (inbox / f"run-{now:%Y%m%d%H}.grib2").write_bytes(later_by(ready("fixtures", "kittiwake-2026051612.grib2"), later))


if __name__ == "__main__":
    main()
