"""Doors where people ask: the page and what programs ask of it, the command line, the clock and the file on the watch's health."""

import asyncio
import json
import os
import random
import shutil
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

import numpy as np
from click.testing import CliRunner

from tests.bench.fuzz.door import Door, Try, hold, said
from tests.bench.fuzz.spoil import NUMBERS, TIMES, bytes_spoiled, json_spoiled, lines_spoiled, mixed
from tests.page_demo import FixedSource, alarm, demo_orders
from watch.cli import COMMANDS, main
from watch.forecast.freshness import words as freshness_words
from watch.passage.light import light_along
from watch.service.stand.clock import Clock
from watch.service.stand.health import judge
from watch.service.stand.wake import next_wake
from watch.service.web import make_app
from watch.service.web_access import Access, hash_passphrase
from watch.when import ShipTime, ceil_step, floor_step, from_np, parse_utc, to_np

ROOT = Path(__file__).resolve().parents[3]
NOON = datetime(2026, 5, 16, 12, tzinfo=UTC)
PASSPHRASE = "four words at sea"
PATHS = ("/", "/orders.json", "/mark", "/alerts.json", "/health", "/openapi.json", "/ack", "/sign-in", "/sign-out")
OURS = "host: localhost:8470\nx-nightorders: 1\ncontent-type: application/x-www-form-urlencoded"


def _requests(_: Path) -> list[bytes]:
    gets = [f"{flag} GET {path}\n{OURS}\n\n" for path in PATHS for flag in "01"]
    posts = [f"{flag} POST {path}\n{OURS}\norigin: http://localhost:8470\n\n{body}" for flag in "01" for path, body in (
        ("/ack", "alert=front.20260516&revision=3"), ("/sign-in", f"passphrase={PASSPHRASE.replace(' ', '+')}&name=x"), ("/sign-out", ""))]
    return [text.encode() for text in (*gets, *posts, f"0 GET /?q=1\n{OURS}\ncookie: nightorders=x; a=b\naccept: application/json\n\n")]


class _Browser:
    """Hands requests to the application as a server would, whatever stands in them; with a clock that runs fast, so that limits give way."""

    def __init__(self) -> None:
        kept = hash_passphrase(PASSPHRASE, b"0123456789abcdef")
        self.source = FixedSource(demo_orders(), (alarm(),))
        self.seconds = 0.0
        apps = (Access(), Access(read_hash=kept, acknowledge_hash=kept))
        self.apps = [make_app(self.source, access, self._clock) for access in apps]
        self.loop = asyncio.new_event_loop()

    def _clock(self) -> float:
        self.seconds += 3.0
        return self.seconds

    def ask(self, data: bytes) -> tuple[int, dict[bytes, bytes], bytes]:
        head, _, body = data.partition(b"\n\n")
        first, *lines = head.split(b"\n")
        words = (first + b"   ").split(b" ")
        path, _, query = words[2].partition(b"?")
        headers = [(name.strip().lower(), value.strip()) for name, _, value in (line.partition(b":") for line in lines)]
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": words[1].decode("latin-1").upper(), "scheme": "http",
            "path": unquote_to_bytes(path).decode("utf-8", "replace"), "raw_path": path, "query_string": query, "headers": headers,
            "client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 8470), "root_path": ""}
        pieces = [body[at : at + 4000] for at in range(0, len(body), 4000)] or [b""]
        return self.loop.run_until_complete(self._told(words[0], scope, pieces))

    async def _told(self, flag: bytes, scope: dict[str, Any], pieces: list[bytes]) -> tuple[int, dict[bytes, bytes], bytes]:
        told: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            if pieces:
                return {"type": "http.request", "body": pieces.pop(0), "more_body": bool(pieces)}
            await asyncio.sleep(3600)  # a client that stays: the server ends the exchange
            return {"type": "http.disconnect"}

        async def send(message: dict[str, Any]) -> None:
            told.append(message)

        await self.apps[flag == b"1"](scope, receive, send)
        body = b"".join(m.get("body", b"") for m in told)
        return told[0]["status"], dict(told[0]["headers"]), body


def _page(_: Path) -> Try:
    browser = _Browser()
    browser.loop.set_exception_handler(lambda *_: None)

    def one(data: bytes) -> str:
        browser.source.alerts = (alarm(),)
        status, headers, body = browser.ask(data)
        hold(status < 500, f"status {status}")
        hold(b"content-security-policy" in headers, "an answer without its headers of protection")
        hold(b"Traceback" not in body, "a traceback was sent")
        if status == 200 and data[:1] == b"1" and not any(word in data for word in (b"openapi", b"OPTIONS")):
            hold(b"Bermuda" not in body, "read without a passphrase")
        return f"accepted: {status}" if status < 400 else f"refused: {status} {body[:60]!r}"

    return one


FILES = {
    "BOAT": ROOT / "config" / "boat-sloop.toml", "ROUTE": ROOT / "config" / "passage-bermuda-horta.toml",
    "SHELTERS": ROOT / "config" / "shelters-azores.toml", "GRIB": ROOT / "fixtures" / "small" / "run-older.grib2",
    "BROKEN": ROOT / "fixtures" / "small" / "cut-short.grib2", "SOURCES": ROOT / "config" / "sources.toml",
    "WATCH": ROOT / "config" / "watch.toml", "README": ROOT / "README.md", "FOLDER": ROOT / "fixtures" / "small", "NONE": Path("/nonexistent"),
}
LINES = [
    "brief --boat BOAT --route ROUTE --forecast GRIB --now 2026-05-16T12:00Z --hours 12", "check --boat BOAT", "check --route ROUTE",
    "check --forecast BROKEN", "check --shelters SHELTERS", "check --config WATCH", "check --running --home home", "log --home home second;reef;in;22;min",
    "log --home home --correct 1 note;x", "log --home home --all", "log --home home --limits --boat BOAT", "ack --home home", "ack --home home 1",
    "rehearse made", "fetch --route ROUTE --boat BOAT --size-only", "fetch --box 25;N,45;N,70;W,40;W --size-only --hours 24 --sources SOURCES",
    "fetch --route ROUTE --position 36.5,-52 --members 3 --every 6 --aloft --to made --at-most 1", "passphrase --settings WATCH", "stand --config NONE",
    "why 1 --boat BOAT --route ROUTE --forecast FOLDER --position 36;30.0;N,52;00.0;W --ship-time -03:00 --rig-state main:;reef;1",
    "brief --boat BOAT --route ROUTE --forecast GRIB --before README --shelters SHELTERS --sea-room 20 --short --json",
    "replay --truth GRIB --forecast GRIB --route ROUTE --now 2026-05-16T12:00Z --workers 1", "replay --storms 1 --seed 1 --policy never --workers 1",
    "--version", "--help", "demo --short", "log --home README",
]
LEFT_OUT = {"stand": "Daemon", "replay": "_played"}  # what would take long: reached, and ended there


class ReachedError(Exception):
    """The command line was understood and everything it names read; what it asks for would begin now."""


def _ended(*_: object, **__: object) -> None:
    raise ReachedError


def _arguments(data: bytes) -> list[str]:
    """Words of a line, names of files put in; no word can lead out of the folder in which this runs."""
    words = data.decode("utf-8", "surrogateescape").replace("\0", "").replace("\n", " ").split(" ")
    kept = []
    for word in words[:60]:
        name, dash, value = word.partition("=")
        end = value if dash else name
        safe = str(FILES[end]) if end in FILES else end.replace("/", "_").replace("..", "_").replace("~", "_").replace(";", " ")
        kept.append(f"{name.replace('/', '_')}={safe}" if dash else safe)
    return [word for word in kept if word]


def _commands(folder: Path) -> Try:
    import watch.commands.fetch
    import watch.commands.replay
    import watch.service.one_pass
    import watch.service.stand.setting_up

    watch.service.one_pass.one_pass = _ended  # type: ignore[assignment]
    watch.commands.replay._played = _ended  # type: ignore[assignment]
    watch.service.stand.setting_up.set_up = _ended  # type: ignore[assignment]
    watch.commands.fetch._fetched = _ended  # type: ignore[assignment]
    import watch.commands.ack

    watch.commands.ack.WAIT_S = 0.0
    os.environ.update({"HOME": str(folder), "NIGHTORDERS_HOME": str(folder / "home")})
    runner, place = CliRunner(), folder / "here"
    count = 0

    def one(data: bytes) -> str:
        nonlocal count
        if count % 50 == 0:
            os.chdir(folder)
            shutil.rmtree(place, ignore_errors=True)
            place.mkdir()
            os.chdir(place)
        count += 1
        found = runner.invoke(main, _arguments(data))
        if found.exception is not None and not isinstance(found.exception, (SystemExit, ReachedError)):
            raise found.exception
        if isinstance(found.exception, ReachedError):
            return "accepted: reached"
        hold(found.exit_code in (0, 1, 2), f"exit code {found.exit_code}")
        if found.exit_code:
            hold(bool(found.stderr.strip()) or "NOBODY KEEPS" in found.stdout, "exit without a word")
            hold("Traceback" not in found.output, "a traceback")
            last = found.stderr.strip().split("\n")[-1]
            return "refused: health" if not last else f"refused: {last[:20]}" if last.startswith("Error:") else said(last)  # click's own words are click's
        return f"accepted: {found.stdout[:30]}"

    return one


def _words_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    words = data.split(b" ")
    at = rng.randrange(len(words))
    match rng.randrange(7):
        case 0:
            del words[at]
        case 1:
            words.insert(at, rng.choice(rng.choice(others).split(b" ")))
        case 2:
            words[at] = rng.choice(list(FILES)).encode()
        case 3:
            words[at] = rng.choice(NUMBERS + TIMES).encode()
        case 4:
            words[at] = bytes_spoiled(words[at], rng, others)
        case 5:
            words.append(rng.choice([b"--now 9999-12-31T23:59Z", b"--now 0001-01-01T00:00Z", b"--position 90,180", b"--position -90,360",
                                     b"--hours 240", b"--ship-time +14:00", b"--ship-time -14:59", b"--position nan,0", b"--box 80,-80,0,0"]))
        case _:
            words[0] = rng.choice(list(COMMANDS)).encode()
    return b" ".join(words)


def _clocks(_: Path) -> Try:
    orders = demo_orders()
    ends = (datetime(1970, 1, 1, tzinfo=UTC), NOON)

    def one(data: bytes) -> str:
        texts = data.decode("utf-8", "replace").split("\n")[:6]
        clock, good = Clock(wall=NOON, steady_s=0.0), 0
        for number, text in enumerate(texts):
            for read in (ShipTime.parse, parse_utc):
                try:
                    found: Any = read(text)
                except ValueError as error:
                    refusal = said(str(error).replace(text, "")) if text.isprintable() else "refused"
                    continue
                good += 1
                if isinstance(found, ShipTime):
                    hold(found.day_clock(NOON) != "", text)
                    continue
                hold(floor_step(found) <= found <= ceil_step(found), text)
                hold(abs((from_np(to_np(found)) - found).total_seconds()) < 1, text)
                clock = clock.looked(found, float(number))
                due, why = next_wake(orders, found)
                hold(due > found and bool(why), text)
                for run in ends:
                    said(freshness_words("kwbc", run, found))
                light = light_along(np.array([to_np(found)]), np.array([80.0]), np.array([180.0]))
                hold(light is not None, text)
        return "accepted" if good else refusal

    return one


def _health(_: Path) -> Try:
    def one(data: bytes) -> str:
        try:
            document = json.loads(data)
        except (ValueError, RecursionError):
            return "refused: torn"
        found = judge(document, NOON)
        hold(bool(found.words), "nothing said")
        return f"{'accepted' if found.well else 'refused'}: {found.words[0][:40]}"

    return one


def _health_seeds(_: Path) -> list[bytes]:
    parts = [{"name": "forecast", "well": True, "words": "fresh"}]
    return [json.dumps({"schema": 1, "written_at": text, "parts": parts, "well": True, "awaiting": ["x"]}).encode() for text in ("2026-05-16T12:00Z", *TIMES)]


def _clock_seeds(_: Path) -> list[bytes]:
    more = (["-03:00", "+14:59", "UTC"], ["2026-06-21T00:00Z", "2026-12-21T12:00+14:00"])
    return ["\n".join(texts).encode() for texts in (TIMES[:3], TIMES[3:6], TIMES[6:], *more)]


def _lines(lines: Sequence[str]) -> Callable[[Path], list[bytes]]:
    return lambda _: [line.encode() for line in lines]


DOORS = [
    Door(name="page and API", seeds=_requests, opens=_page, spoil=mixed(lines_spoiled, bytes_spoiled), weight=4),
    Door(name="command line", seeds=_lines(LINES), opens=_commands, spoil=_words_spoiled, weight=4, limit_s=20.0),
    Door(name="clocks", seeds=_clock_seeds, opens=_clocks, spoil=mixed(lines_spoiled, bytes_spoiled), weight=6),
    Door(name="health file", seeds=_health_seeds, opens=_health, spoil=mixed(json_spoiled, lines_spoiled), weight=3),
]
