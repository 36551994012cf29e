"""(I/O) A link to the boat's instruments: a thread that hears them, for ever, through every break; and what state it is in.

A link reconnects without end, waiting longer each time up to a minute; it holds a bounded number of readings, the oldest given up
first (a recording waits instead). It reads the clock it is given, and never stops the program it lives in.
"""

import math
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from threading import Condition, Event, Thread
from typing import Protocol
from urllib.parse import parse_qs, urlsplit

from watch.faults import BadInputError
from watch.instruments.feeds import Feed, FileFeed, SerialFeed, TcpFeed, UdpFeed, WebsocketFeed
from watch.instruments.nmea0183 import CLOCK_MAY_DIFFER_S, Nmea0183
from watch.instruments.readings import Reading, Refused, Tally
from watch.instruments.signal_k import SignalK

MOST_HELD = 50_000  # readings, about an hour of a boat's (judgement)


class Phase(StrEnum):
    """What a link is doing."""

    NOT_STARTED = "not_started"
    CONNECTING = "connecting"
    CONNECTED = "connected"  # open, and readings within quiet_s
    QUIET = "quiet"  # open, but no reading for a while
    WAITING = "waiting"  # broken; will be tried again
    ENDED = "ended"  # a recording is played to its end
    STOPPED = "stopped"  # by stop()
    FAILED = "failed"  # for good; will not be tried again


OVER = (Phase.ENDED, Phase.STOPPED, Phase.FAILED)


@dataclass(frozen=True, kw_only=True)
class LinkState:
    """One look at a link. says: one sentence for the sailor. tries: connections tried since data last came. dropped: readings
    given up because nobody took them. clock_ahead_s: the instruments' clock less this computer's [s], NaN when they send none."""

    name: str
    phase: Phase
    says: str
    since: datetime
    tries: int
    readings: int
    dropped: int
    last_reading: datetime | None
    refused: Mapping[Refused, int]
    latest_refused: Mapping[Refused, str]
    clock_ahead_s: float


@dataclass(frozen=True, kw_only=True)
class Patience:
    """How long to wait [s]: first and longest wait before trying again; silence that is told; silence taken for a break."""

    first_s: float = 1.0
    longest_s: float = 60.0
    quiet_s: float = 10.0
    dead_s: float = 60.0


class Reader(Protocol):
    """Turns pieces into readings: Nmea0183 or SignalK."""

    tally: Tally
    clock_ahead_s: float

    def feed(self, data: bytes, received: datetime, /) -> list[Reading]: ...


@dataclass
class _Told:
    """What the link last told of itself; guarded by the link's condition."""

    phase: Phase
    says: str
    since: datetime
    tries: int = 0
    dropped: int = 0
    last_reading: datetime | None = None
    refused: dict[Refused, int] = field(default_factory=dict)
    latest_refused: dict[Refused, str] = field(default_factory=dict)
    readings: int = 0
    clock_ahead_s: float = math.nan


class SilentError(ConnectionError):
    """Nothing heard for so long that the connection must be dead."""


class Link:
    """One thread that hears one feed. start() once (or a with statement), take() or wait() at will, stop() at the end.

    clock: gives the time now, aware; for a recording its own times are used. label: put before the source of each reading, for a
    boat with two alike. Each reading comes out once, in order.
    """

    def __init__(self, feed: Feed, reader: Reader, *, clock: Callable[[], datetime], patience: Patience | None = None,
                 most_held: int = MOST_HELD, label: str = "") -> None:
        self._feed, self._reader, self._clock = feed, reader, clock
        self._patience = patience or Patience()
        self._most, self._label = most_held, label
        self._held: deque[Reading] = deque()
        self._changed = Condition()
        self._stop = Event()
        self._told = _Told(Phase.NOT_STARTED, f"{feed.name}: not started", clock())
        self._thread = Thread(target=self._run, name=f"link {feed.name}", daemon=True)

    def start(self) -> "Link":
        self._thread.start()
        return self

    def __enter__(self) -> "Link":
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """Ask it to end and wait at most timeout_s [s]; True when it has. A thread that hangs dies with the program."""
        self._stop.set()
        with self._changed:
            self._changed.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        if self._told.phase not in OVER:
            self._tell(Phase.STOPPED, "stopped")
        return not self._thread.is_alive()

    def take(self) -> list[Reading]:
        """All readings held, oldest first; they are held no longer."""
        with self._changed:
            taken = list(self._held)
            self._held.clear()
            self._changed.notify_all()
        return taken

    def wait(self, timeout_s: float) -> list[Reading]:
        """The same, but waits up to timeout_s [s] for a reading, or until the link is at its end."""
        with self._changed:
            self._changed.wait_for(lambda: self._held or self._told.phase in OVER, timeout_s)
        return self.take()

    def state(self) -> LinkState:
        with self._changed:
            told = self._told
            return LinkState(
                name=self._feed.name, phase=told.phase, says=told.says, since=told.since, tries=told.tries,
                readings=told.readings, dropped=told.dropped, last_reading=told.last_reading, clock_ahead_s=told.clock_ahead_s,
                refused=dict(told.refused), latest_refused=dict(told.latest_refused),
            )

    def _tell(self, phase: Phase, says: str) -> None:
        with self._changed:
            if self._told.phase is not phase:
                self._told.since = self._clock()
            self._told.phase, self._told.says = phase, f"{self._feed.name}: {says}"
            self._changed.notify_all()

    def _run(self) -> None:
        wait_s = self._patience.first_s
        try:
            while not self._stop.is_set():
                self._told.tries += 1
                self._tell(Phase.CONNECTING, "connecting")
                before = self._told.readings
                broken = self._hear()
                if broken is None or self._stop.is_set():
                    break
                if self._told.readings > before:
                    wait_s = self._patience.first_s
                self._tell(Phase.WAITING, f"{broken}; trying again in {wait_s:.0f} s")
                self._stop.wait(wait_s)
                wait_s = min(2.0 * wait_s, self._patience.longest_s)
        except BadInputError as error:
            self._tell(Phase.FAILED, str(error))
        finally:
            if self._stop.is_set() and self._told.phase not in OVER:
                self._tell(Phase.STOPPED, "stopped")
            elif self._told.phase not in OVER:
                self._tell(Phase.FAILED, "a fault in the program ended it")

    def _hear(self) -> str | None:
        """One connection from beginning to end -> why it broke, or None when there is nothing more to come."""
        heard_s = read_s = time.monotonic()
        try:
            for data, received in self._feed.pieces(self._stop):
                now_s = time.monotonic()
                heard_s = heard_s if data is None else now_s
                if data is not None and self._keep(data, received or self._clock()):
                    read_s = now_s
                self._judge_silence(now_s - heard_s, now_s - read_s)
        except OSError as error:
            if self._feed.ends:
                raise BadInputError(self._feed.name, [f"cannot be read: {_reason(error)}"]) from None
            return _reason(error)
        except BadInputError:
            raise
        except Exception as error:  # noqa: BLE001 - whatever a library throws, a reader that dies would leave the watch blind
            return f"a fault in the program ({type(error).__name__} {error})"
        if self._feed.ends and not self._stop.is_set():
            self._tell(Phase.ENDED, "played to its end")
        return None

    def _judge_silence(self, silent_s: float, useless_s: float) -> None:
        """silent_s: since any data came; useless_s: since a reading came of it [s]."""
        if silent_s >= self._patience.dead_s and self._feed.falls_silent:
            raise SilentError(f"nothing heard for {silent_s:.0f} s")
        if silent_s >= self._patience.quiet_s:
            self._tell(Phase.QUIET, f"open, but nothing heard for {silent_s:.0f} s")
        elif useless_s >= self._patience.quiet_s:
            example = next(reversed(self._told.latest_refused.values()), "nothing whole yet")
            self._tell(Phase.QUIET, f"data comes, but no reading in it for {useless_s:.0f} s (a wrong baud rate?): {example}")
        elif self._told.phase is not Phase.CONNECTED:
            self._tell(Phase.CONNECTED, "connected")

    def _keep(self, data: bytes | str, received: datetime) -> bool:
        """Read one piece and hold its readings; True when there were any."""
        readings = self._reader.feed(data if isinstance(data, bytes) else data.encode("utf-8", "replace"), received)
        if self._label:
            readings = [replace(reading, source=f"{self._label} {reading.source}") for reading in readings]
        tally = self._reader.tally
        with self._changed:
            told = self._told
            told.readings, told.clock_ahead_s = tally.readings, self._reader.clock_ahead_s
            told.refused, told.latest_refused = dict(tally.counts), dict(tally.latest)
            if readings:
                told.last_reading, told.tries = received, 0
            for reading in readings:
                if self._feed.ends:
                    self._changed.wait_for(lambda: len(self._held) < self._most or self._stop.is_set())
                elif len(self._held) >= self._most:
                    self._held.popleft()
                    told.dropped += 1
                self._held.append(reading)
            self._changed.notify_all()
        return bool(readings)


def _reason(error: OSError) -> str:
    """An operating system's error in plain words."""
    if isinstance(error, TimeoutError):
        return "no answer"
    return (error.strerror or str(error) or type(error).__name__).lower()


def link_for(address: str, *, clock: Callable[[], datetime], speed: float = math.inf, starts: datetime | None = None,
             own: str | None = None, compare_clocks: bool = True, patience: Patience | None = None, label: str = "") -> Link:
    """An address as it stands in the watch file -> a link, not yet started.

    tcp://host:port, udp://:port, serial:/dev/ttyUSB0?baud=4800 (NMEA 0183), ws://host:port/... or wss:// (Signal K), or a file:
    a name ending in .json or .jsonl is Signal K, any other NMEA 0183. speed, starts: for files, see FileFeed. own: the own boat's
    Signal K context. compare_clocks: doubt readings whose own time is far from the clock's; never done for files, and not wanted
    for a simulator that plays faster than real time. label: see Link. Raises BadInputError for anything else.
    """
    feed, reader = _feed_for(address, speed, starts, own, CLOCK_MAY_DIFFER_S if compare_clocks else None)
    return Link(feed, reader, clock=clock, patience=patience, label=label)


def _feed_for(address: str, speed: float, starts: datetime | None, own: str | None,
              differ_s: float | None) -> tuple[Feed, Reader]:
    parts = urlsplit(address)
    match parts.scheme:
        case "ws" | "wss":
            return WebsocketFeed(address), SignalK(own=own, clock_may_differ_s=differ_s)
        case "tcp":
            return TcpFeed(parts.hostname or "", _port(address)), Nmea0183(clock_may_differ_s=differ_s)
        case "udp":
            return UdpFeed(_port(address), parts.hostname or ""), Nmea0183(clock_may_differ_s=differ_s)
        case "serial":
            baud = parse_qs(parts.query).get("baud", ["4800"])[0]
            if not parts.path or not baud.isdecimal():
                raise BadInputError(address, ["write it like serial:/dev/ttyUSB0?baud=4800"])
            return SerialFeed(parts.path, int(baud)), Nmea0183(clock_may_differ_s=differ_s)
        case "" | "file":
            path = Path(parts.path)
            is_signal_k = path.suffix.lower() in (".json", ".jsonl")
            reader: Reader = SignalK(own=own, clock_may_differ_s=None) if is_signal_k else Nmea0183(clock_may_differ_s=None)
            return FileFeed(path, signal_k=is_signal_k, speed=speed, starts=starts), reader
    says = ("write it like tcp://192.168.1.5:10110, udp://:10110, serial:/dev/ttyUSB0?baud=4800, "
            "ws://192.168.1.5:3000/signalk/v1/stream?subscribe=self, or the name of a file")
    raise BadInputError(address, [says])


def _port(address: str) -> int:
    try:
        port = urlsplit(address).port
    except ValueError:
        port = None
    if port is None:
        says = "the port is missing or no number from 1 to 65535: write it like tcp://192.168.1.5:10110"
        raise BadInputError(address, [says])
    return port
