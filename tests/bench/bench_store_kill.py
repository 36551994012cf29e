"""Kills the writer of a store thousands of times and counts what was lost; then tells how large and how quick a month's store is.

Usage: python -m tests.bench.bench_store_kill [kills]
"""

import random
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from tests.service.stores import NOON, after, verdict
from tests.service.test_store_kill import kill_at_random, missing_of, until_the_first_word_s
from watch.service.store import Store
from watch.service.store.opening import is_sound

AT_A_TIME = 500


def kills(count: int) -> int:
    """Kills a writer so often, in files of their own after every AT_A_TIME; the number of things lost."""
    told_of = spoke_of = lost = 0
    with tempfile.TemporaryDirectory() as folder:
        longest_s = 2.0 * until_the_first_word_s(Path(folder) / "watch.db")
    for begun in range(0, count, AT_A_TIME):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "watch.db"
            told, spoke = kill_at_random(path, min(AT_A_TIME, count - begun), random.Random(begun), longest_s)
            missing = missing_of(path, told)
            told_of, spoke_of, lost = told_of + len(told), spoke_of + spoke, lost + len(missing)
            print(f"{begun + AT_A_TIME} kills, {spoke_of} while it wrote; {told_of} things told of, {lost} lost; file: {verdict(path)}", flush=True)
    return lost


def month() -> None:
    """Thirty days of passes each ten minutes, with the demo's orders."""
    from tests.page_demo import demo_orders

    orders = demo_orders()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "watch.db"
        with Store.open(path, NOON) as store:
            began = time.perf_counter()
            for k in range(30 * 144):
                store.keep_pass(orders, after(10 * k), after(10 * k + 10), "made")
            each_ms = (time.perf_counter() - began) / (30 * 144) * 1000.0
            began = time.perf_counter()
            for k in range(200):
                store.add_log("put in the second reef 22 min", after(k), "skipper")
            log_ms = (time.perf_counter() - began) / 200 * 1000.0
            print(f"a month of passes: {store.size_bytes() / 1e6:.0f} MB, {each_ms:.1f} ms each; a line of the log {log_ms:.1f} ms")
            began = time.perf_counter()
            store.prune(NOON + timedelta(days=45))
            print(f"thinned and looked through in {time.perf_counter() - began:.1f} s")
        began = time.perf_counter()
        Store.open(path, NOON).close()
        print(f"opened and closed in {(time.perf_counter() - began) * 1000.0:.1f} ms")
        with Store.open(path, NOON) as store:
            began = time.perf_counter()
            assert store._read(lambda db: is_sound(db, path))
            print(f"looked through once after a start of the computer: {time.perf_counter() - began:.1f} s")
            began = time.perf_counter()
            store.latest_orders()
            print(f"latest orders read in {(time.perf_counter() - began) * 1000.0:.1f} ms")


if __name__ == "__main__":
    lost = kills(int(sys.argv[1]) if len(sys.argv) > 1 else 3000)
    month()
    sys.exit(1 if lost else 0)
