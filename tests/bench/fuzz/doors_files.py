"""Doors through which files come: routes, settings of all kinds, the log, the orders as JSON, the store."""

import os
import random
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.bench.fuzz.door import Door, Try, hold, refused, said
from tests.bench.fuzz.spoil import bytes_spoiled, json_spoiled, lines_spoiled, mixed, pages_spoiled, xml_spoiled
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.boat.understood import understood
from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.contract import Name
from watch.forecast.download import read_sources
from watch.forecast.sources import candidate_runs, plan, steps_of
from watch.instruments.log_line import read_line, write_line
from watch.instruments.logged import misfits, state_told, understand
from watch.orders.differences import differences
from watch.passage.route import route_length_nm
from watch.passage.route_file import read_route
from watch.passage.shelters_file import read_shelters
from watch.render.as_json import as_json
from watch.render.from_json import from_json
from watch.render.understood import route_words, shelter_words
from watch.service.stand.watch_file import read_watch_file
from watch.service.store import opening
from watch.service.store.store import Store
from watch.when import FIRST_YEAR, LAST_YEAR

ROOT = Path(__file__).resolve().parents[3]
CONFIG = ROOT / "config"
NOON = datetime(2026, 5, 16, 12, tzinfo=UTC)
GPX = b"""<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1"><metadata><name>East</name></metadata>
<wpt lat="38.53" lon="-28.62"><name>Invented Bay</name><desc>kind = "anchorage"
open_to_wind = [[135, 225]]
open_wind_kn = 25
open_to_swell = []
entrance = { mean_kn = 25, gust_kn = 35, sea_m = 3, daylight = true, bar = false, open_at = [[2026-05-18T04:00:00Z, 2026-05-18T07:30:00Z]] }</desc></wpt>
<rte><name>Out</name><rtept lat="32.3" lon="-64.7"><name>start</name></rtept><rtept lat="38.5" lon="-28.7"/></rte>
<trk><name>log</name><trkseg><trkpt lat="1" lon="179.5"/><trkpt lat="1.5" lon="-179.5"/></trkseg></trk></gpx>
"""


def _reader(file_name: str, read: Callable[[Path], object]) -> Callable[[Path], Try]:
    def opens(folder: Path) -> Try:
        path = folder / file_name

        def one(data: bytes) -> str:
            path.write_bytes(data)
            try:
                read(path)
            except BadInputError as error:
                return refused(error)
            return "accepted"

        return one

    return opens


def _config(*names: str) -> Callable[[Path], list[bytes]]:
    return lambda _: [(CONFIG / name).read_bytes() for name in names]


def _boat(path: Path) -> None:
    boat = read_boat(path)
    hold(len(understood(boat)) < 1_000_000, "a boat told at endless length")
    parse_state(boat, "")


def _route(path: Path) -> None:
    route = read_route(path)
    hold(route_length_nm(route) > 0, "a route of no length")
    route_words(path)


def _shelters(path: Path) -> None:
    read_shelters([path])
    shelter_words([path])


def _sources(path: Path) -> None:
    for source in read_sources(path).values():
        for run in candidate_runs(source, NOON)[:1]:
            steps = steps_of(source, run)[:2]
            wanted = [name for name in Name if any(name in file.fields for file in source.file)]
            if steps and wanted:
                try:
                    hold(bool(plan(source, run, Box(30, 40, -60, -50), steps, wanted, members=2).requests), "an empty plan")
                except ValueError as error:
                    said(str(error))


def _watch_seeds(folder: Path) -> list[bytes]:
    for path in CONFIG.iterdir():
        shutil.copy(path, folder / path.name)
    plain = (CONFIG / "watch.toml").read_bytes()
    return [plain, plain.replace(b"\n# ", b"\n")]


def _log(_: Path) -> Try:
    boat = read_boat(CONFIG / "boat-sloop.toml")
    state = parse_state(boat, "")

    def one(data: bytes) -> str:
        text = data.decode("utf-8", "surrogateescape")
        for now in (NOON, datetime(FIRST_YEAR, 1, 1, tzinfo=UTC), datetime(LAST_YEAR, 12, 31, 23, 59, tzinfo=UTC)):
            try:
                found = understand(text, now, boat, state)
            except ValueError as error:
                outcome = said(str(error))
                continue
            line = write_line(found.entry)
            hold(write_line(read_line(line)) == line, line)
            said(found.says)
            state_told(boat, [line], NOON)
            misfits(boat, state, [line])
            outcome = f"accepted: {found.entry.kind} {found.says[:30]}"
        return outcome

    return one


def _orders(_: Path) -> Try:
    from tests.page_demo import demo_orders

    present = demo_orders()

    def one(data: bytes) -> str:
        try:
            orders = from_json(data.decode("utf-8", "replace"))
        except BadInputError as error:
            return refused(error)
        hold(as_json(from_json(as_json(orders))) == as_json(orders), "not the same when written and read again")
        return f"accepted: {len(differences(orders, present))} differences"

    return one


def _orders_seeds(_: Path) -> list[bytes]:
    from dataclasses import replace

    from tests.page_demo import blind_for_hours, demo_orders, not_good_enough, with_shelter

    return [as_json(replace(o, steps=o.steps[60:64])).encode() for o in (demo_orders(), blind_for_hours(), not_good_enough(), with_shelter())]


def _store_seeds(folder: Path) -> list[bytes]:
    path = folder / "seed.db"
    with Store.open(path, NOON) as store:
        for number in range(60):
            at = NOON + timedelta(minutes=number)
            store.add_log(f"{at:%Y-%m-%dT%H:%MZ} note number {number} {'x' * (number % 40)}", at, "skipper")
            store.add_position(at, 36.0 + number / 100, -52.0, "invented")
        store.put("boat_file", "boat.toml")
        store.ask_ack("front.20260516", "skipper", NOON, revision=2, where="page")
        store.checkpoint()
    return [path.read_bytes()]


def _store(folder: Path) -> Try:
    def one(data: bytes) -> str:
        shutil.rmtree(folder / "kept", ignore_errors=True)
        (folder / "kept").mkdir()
        path = folder / "kept" / "watch.db"
        path.write_bytes(data)
        try:
            with Store.open(path, NOON) as store:
                lines, _, _ = store.log_lines(), store.track(NOON), store.steps(NOON)
                store.book(), store.latest_orders(), store.passes(NOON), store.acks_wanted(), store.events(NOON), store.forecasts()
                store.get("boat_file")
                number = store.add_log("2026-05-16T12:00Z note it goes on", NOON, "skipper")
                hold(any(line.id == number for line in store.log_lines()), "a line of the log was not kept")
                store.look_through()
                told = store.said
            aside = [p for p in (folder / "kept").iterdir() if p != path and p.suffix not in (".lock",) and p.is_file()]
            if lines == [] and data and not told:
                hold(b"note number" not in data, "log lines were there, are gone, and nothing was said")
            if any("damaged" in words for words in told):
                hold(any(_mostly(data, p.read_bytes()) for p in aside), "the damaged file was not kept")
            for words in told:
                said(words)
            return f"accepted: {len(lines)} lines" if not told else said(told[0].replace(str(folder), ""))
        except BadInputError as error:
            return refused(error)
        finally:
            _close_kept()

    return one


def _mostly(data: bytes, kept: bytes) -> bool:
    """Whether kept is data, but for what opening a file may itself have written: its header, and one page of settings."""
    changed = sum(data[at : at + 4096] != kept[at : min(at + 4096, len(data))] for at in range(0, len(data), 4096))
    return len(kept) >= len(data) and changed <= 3


def _close_kept() -> None:
    for handle in opening._KEPT_OPEN.values():
        os.close(handle)
    opening._KEPT_OPEN.clear()


def _log_seeds(_: Path) -> list[bytes]:
    return [line.encode() for line in (
        "2026-05-16T18:40Z put in the second reef 22 min wind 26 gusts 34 sea 2.5; the reef line jammed", "storm jib up 22 min",
        "2026-05-16T12:00Z rig main: reef 1, genoa: half", "wind 28 gusts 37 sea 3", "note swell from the north west", "second reef",
        "0001-01-01T00:00+14:00 second reef in 20 min", "9999-12-31T23:59:59-12:00 note x", "rig storm jib: set")]


def _gpx_shelters(rng_data: bytes, rng: random.Random, others: object) -> bytes:
    return lines_spoiled(rng_data, rng, [GPX])


DOORS = [
    Door(name="route as GPX", seeds=lambda _: [GPX], opens=_reader("route.gpx", _route), spoil=mixed(xml_spoiled, xml_spoiled, bytes_spoiled), weight=8),
    Door(name="shelters as GPX", seeds=lambda _: [GPX], opens=_reader("shelters.gpx", _shelters), spoil=mixed(xml_spoiled, _gpx_shelters), weight=6),
    Door(name="route as TOML", seeds=_config("passage-bermuda-horta.toml"), opens=_reader("route.toml", _route), spoil=lines_spoiled, weight=6),
    Door(name="boat as TOML", seeds=_config("boat-sloop.toml", "boat-cutter.toml"), opens=_reader("boat.toml", _boat), spoil=lines_spoiled, weight=6),
    Door(name="shelters as TOML", seeds=_config("shelters-azores.toml"), opens=_reader("shelters.toml", _shelters), spoil=lines_spoiled, weight=6),
    Door(name="settings of the watch", seeds=_watch_seeds, opens=_reader("watch.toml", lambda p: read_watch_file(p).in_words()), spoil=lines_spoiled, weight=3),
    Door(name="sources of forecasts", seeds=_config("sources.toml"), opens=_reader("sources.toml", _sources), spoil=lines_spoiled, weight=5),
    Door(name="lines for the log", seeds=_log_seeds, opens=_log, spoil=mixed(lines_spoiled, bytes_spoiled), weight=8),
    Door(name="orders as JSON", seeds=_orders_seeds, opens=_orders, spoil=mixed(json_spoiled, json_spoiled, lines_spoiled), weight=5, longest=1 << 18),
    Door(name="file of the store", seeds=_store_seeds, opens=_store, spoil=pages_spoiled, weight=3, limit_s=10, longest=1 << 18),
]
