"""Doors through which the instruments and servers speak: NMEA 0183, Signal K, recordings, indexes, whole answers of servers."""

import logging
import random
import shutil
import socket
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import urllib3.connection

from tests.bench.fuzz.door import Door, Try, hold, refused, said
from tests.bench.fuzz.spoil import bytes_spoiled, json_spoiled, lines_spoiled, mixed
from tests.bench.fuzz_instruments import GOOD, righted, sound
from tests.shell import shore
from watch.faults import BadInputError
from watch.forecast.budget import Budget
from watch.forecast.download import Fetched, fetch
from watch.forecast.indexes import locate
from watch.forecast.sources import plan
from watch.instruments.nmea0183 import Nmea0183, own_time
from watch.instruments.recording import recorded_nmea0183, recorded_signal_k
from watch.instruments.series import MOST_READINGS, MOST_STREAMS, Observed
from watch.instruments.signal_k import SignalK
from watch.instruments.simulate import SENTENCES, Script, nmea0183_pieces, signal_k_pieces

NOON = datetime(2026, 5, 14, 12, tzinfo=UTC)
ANSWER = b"\n=====\n"
BASE = "http://shore.example"


def _script() -> Script:
    return Script(
        start=NOON, mean_ms=np.array([9.0]), gust_ms=np.array([14.0]), from_deg=np.array([355.0]), heading_deg=np.array([80.0]),
        pressure_pa=np.array([101200.0, 101100.0]), latitude_deg=np.array([-0.001, 0.001]), longitude_deg=np.array([179.999, -179.999]))


def _nmea_seeds(_: Path) -> list[bytes]:
    return GOOD + [piece for _, piece in list(nmea0183_pieces(_script(), what=tuple(SENTENCES)))[::60]]


def _signal_k_seeds(_: Path) -> list[bytes]:
    return [text.encode() for _, text in list(signal_k_pieces(_script()))[::60]]


class _Boat:
    """A store of readings whose clock jumps now and then: back, forward, to the ends of time."""

    def __init__(self) -> None:
        self.store, self.now, self.rng = Observed(keep_hours=6.0), NOON, random.Random(1)

    def take(self, readings: list) -> str:  # type: ignore[type-arg]
        sound(readings)
        self.store.add(readings, self.now)
        hold(len(self.store._columns) <= MOST_STREAMS, "too many streams")
        hold(all(len(column.values) <= MOST_READINGS for column in self.store._columns.values()), "too many readings")
        if self.rng.random() < 0.003:
            steps = self.store.steps(self.now)
            hold(not (steps.gust_ms < steps.mean_ms - 1e-9).any(), "a gust below the mean")
            hold(steps.start.size <= 36, "more steps than hours kept")
        jump = self.rng.random()
        self.now += timedelta(seconds=1) if jump < 0.995 else timedelta(hours=self.rng.uniform(-7, 7))
        return f"accepted: {', '.join(sorted({str(r.quantity) for r in readings}))}"


def _nmea(_: Path) -> Try:
    boat, reader = _Boat(), Nmea0183()

    def one(data: bytes) -> str:
        before = dict(reader.tally.counts)
        readings = reader.feed(data + b"\r\n", boat.now)
        own_time(data, boat.now)
        if readings:
            return boat.take(readings)
        return "refused: " + ", ".join(str(k) for k, v in reader.tally.counts.items() if v != before.get(k, 0))

    return one


def _signal_k(_: Path) -> Try:
    boat, reader = _Boat(), SignalK()

    def one(data: bytes) -> str:
        before = dict(reader.tally.counts)
        readings = reader.feed(data, boat.now)
        if readings:
            return boat.take(readings)
        return "refused: " + ", ".join(str(k) for k, v in reader.tally.counts.items() if v != before.get(k, 0))

    return one


def _nmea_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    fields = data.split(b",")
    if rng.random() < 0.6 and len(fields) > 1:
        fields[rng.randrange(1, len(fields))] = rng.choice([b"", b"-0", b"9999.99", b"235960", b"310299", b"A", b"N", b"\xff", b"1e9", b"nan"])
        data = b",".join(fields)
    else:
        data = bytes_spoiled(data, rng, others)
    return righted(data) if rng.random() < 0.7 else data


def _recording(folder: Path) -> Try:
    def one(data: bytes) -> str:
        path = folder / "recorded"
        path.write_bytes(data)
        words = []
        for play in (lambda: recorded_nmea0183(path), lambda: recorded_nmea0183(path, NOON), lambda: recorded_signal_k(path)):
            try:
                count = 0
                for at, _ in play():
                    hold(at.tzinfo is not None, "a naive time")
                    count += 1
                words.append(f"accepted: {min(count, 3)}")
            except BadInputError as error:
                words.append(refused(error))
        return "; ".join(words)

    return one


def _index_seeds(_: Path) -> list[bytes]:
    lines = b"".join(b"%d:%d:d=2026051412:%s:%s:3 hour fcst:\n" % (n, n * 40_000, var, level) for n, (var, level) in enumerate(
        [(b"UGRD", b"10 m above ground"), (b"VGRD", b"10 m above ground"), (b"GUST", b"surface"), (b"CAPE", b"surface")], 1))
    as_json = b'{"param": "10u", "levtype": "sfc", "step": "3", "date": "20260514", "time": "1200", "number": 1, "_offset": 5, "_length": 90}\n'
    return [b"T" + lines, b"J" + as_json * 3, b"T" + lines.replace(b"3 hour fcst", b"0-3 hour acc fcst")]


def _index(_: Path) -> Try:
    made = {b"T": plan(shore.source(BASE), shore.RUN, shore.BOX, [3], shore.WANTED).requests[0]}
    text = shore.SOURCES.format(layout="json-index", base=BASE, url="{base}/{step}", index="{base}/{step}.i")
    from watch.forecast.catalogue import parse

    as_json = text.replace('var = "UGRD", level = "10 m above ground"', 'param = "10u", levtype = "sfc"')
    for var in ("VGRD", "GUST", "CAPE", "APCP"):
        as_json = as_json.replace(f'var = "{var}", level = "10 m above ground"', f'param = "{var}", levtype = "sfc"')
        as_json = as_json.replace(f'var = "{var}", level = "surface"', f'param = "{var}", levtype = "sfc"')
    made[b"J"] = plan(parse(as_json, "s")["shore"], shore.RUN, shore.BOX, [3], shore.WANTED).requests[0]

    def one(data: bytes) -> str:
        request = made.get(data[:1], made[b"T"])
        try:
            found = locate(request, data[1:].decode("utf-8", "replace"), "http://shore.example/f.idx")
        except BadInputError as error:
            return refused(error)
        for before, after in zip(found.ranges, found.ranges[1:], strict=False):
            hold(before.last is None or after.last is None or before.last < after.first, found.ranges)
        return f"accepted: {len(found.ranges)} ranges, {len(found.missing)} missing"

    return one


def _answers_seeds(_: Path) -> list[bytes]:
    whole = b"".join(shore.message(300 + n, seed=n) for n in range(3))
    at, index = 0, b""
    for n, (var, level) in enumerate([(b"UGRD", b"10 m above ground"), (b"VGRD", b"10 m above ground"), (b"GUST", b"surface")], 1):
        index += b"%d:%d:d=2026051412:%s:%s:3 hour fcst:\n" % (n, at, var, level)
        at += 300 + n - 1
    head = b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\nETag: \"a\"\r\nLast-Modified: Thu, 14 May 2026 15:00:00 GMT\r\n\r\n"
    idx, body = head % len(index) + index, head % len(whole) + whole
    part = (b"HTTP/1.1 206 Partial\r\nContent-Range: bytes 0-600/%d\r\nContent-Length: 601\r\n\r\n" % len(whole)) + whole[:601]
    rest = b"HTTP/1.1 206 Partial\r\nContent-Range: bytes 601-%d/*\r\n\r\n" % (len(whole) - 1) + whole[601:]
    chunked = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n%x\r\n%s\r\n0\r\n\r\n" % (len(index), index)
    import gzip

    packed = gzip.compress(index)
    zipped = b"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: %d\r\n\r\n%s" % (len(packed), packed)
    busy = b"HTTP/1.1 503 Busy\r\nRetry-After: 5\r\nContent-Length: 0\r\n\r\n"
    later = b"HTTP/1.1 429 No\r\nRetry-After: Thu, 14 May 2026 15:00:00 GMT\r\nDate: Thu, 14 May 2026 14:00:00 GMT\r\nContent-Length: 0\r\n\r\n"
    on = b"HTTP/1.1 302 Found\r\nLocation: /elsewhere\r\nContent-Length: 0\r\n\r\n"
    digest = body.replace(b"ETag", b"Content-MD5: 1B2M2Y8AsgTpgAmY7PhCfg==\r\nContent-Digest: sha-256=:AAAA:\r\nETag")
    page = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\n\r\n<html><title>Busy</title>Try later"
    none = b"HTTP/1.1 404 Not found\r\nContent-Length: 0\r\n\r\n"
    return [ANSWER.join(answers) for answers in (
        (idx, body), (idx, part, rest), (chunked, body), (zipped, part, page), (busy, idx, body), (later, on, idx, digest), (none,), (page,))]


def _answers_spoiled(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    answers = data.split(ANSWER)
    at = rng.randrange(len(answers))
    match rng.randrange(5):
        case 0:
            answers.insert(at, rng.choice(rng.choice(others).split(ANSWER)))
        case 1:
            answers[at] = bytes_spoiled(answers[at], rng, others)
        case _:
            head, gap, body = answers[at].partition(b"\r\n\r\n")
            answers[at] = lines_spoiled(head, rng, [o.split(b"\r\n\r\n")[0] for o in others]) + gap + body
    return ANSWER.join(answers)


class Answers:
    """Stands in for the network: every connection made is given the next answer, and is then at its end."""

    def __init__(self) -> None:
        self.waiting: list[bytes] = []
        self._ends: list[socket.socket] = []
        logging.disable(logging.CRITICAL)
        urllib3.connection.HTTPConnection._new_conn = lambda *_: self._connected()  # type: ignore[method-assign,assignment]

    def _connected(self) -> socket.socket:
        if not self.waiting:
            raise OSError("no more answers")
        ours, theirs = socket.socketpair()
        theirs.setblocking(False)
        theirs.send(self.waiting.pop(0)[:60_000])
        theirs.shutdown(socket.SHUT_WR)
        self._ends.append(theirs)
        return ours

    def clear(self, answers: list[bytes]) -> None:
        for end in self._ends:
            end.close()
        self._ends, self.waiting = [], answers


def _answers(folder: Path) -> Try:
    answers = Answers()
    made = plan(shore.source(BASE), shore.RUN, shore.BOX, [3], shore.WANTED[:3])

    def one(data: bytes) -> str:
        place = folder / "coming"
        shutil.rmtree(place, ignore_errors=True)
        answers.clear(data.split(ANSWER)[:20])
        budget = Budget(max_bytes=1_000_000, max_seconds=600.0, stall_s=2.0, connect_s=2.0)
        found = fetch(made, place, budget, shore.ShipClock().clock, random=lambda: 0.5)
        if isinstance(found, Fetched):
            return f"accepted: {len(found.paths)} files, {len(found.notes)} notes"
        hold(not found.paths, "a file that is not whole was given out")
        return f"{found.reason}: {said(found.sentence)}"

    return one


DOORS = [
    Door(name="NMEA 0183", seeds=_nmea_seeds, opens=_nmea, spoil=_nmea_spoiled, weight=14),
    Door(name="Signal K", seeds=_signal_k_seeds, opens=_signal_k, spoil=mixed(json_spoiled, json_spoiled, bytes_spoiled), weight=10),
    Door(name="recordings of instruments", seeds=lambda f: _nmea_seeds(f) + _signal_k_seeds(f) + [b"\r\n".join(GOOD)], opens=_recording,
         spoil=mixed(_nmea_spoiled, lines_spoiled, json_spoiled), weight=4),
    Door(name="indexes of servers", seeds=_index_seeds, opens=_index, spoil=mixed(lines_spoiled, json_spoiled, bytes_spoiled), weight=8),
    Door(name="answers of servers", seeds=_answers_seeds, opens=_answers, spoil=_answers_spoiled, weight=5),
]
