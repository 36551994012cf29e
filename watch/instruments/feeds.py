"""(I/O) Where instruments are heard: TCP, UDP, serial line, file, websocket.

`pieces` yields (data, time received), (None, None) after about half a second without data (so that the reader can look up), and
raises OSError when the connection breaks; what is wrong with the settings is raised at once as BadInputError.
"""

import importlib
import math
import socket
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from threading import Event
from typing import Any, Protocol
from urllib.parse import urlsplit

from watch.faults import BadInputError
from watch.instruments.recording import paced, recorded_nmea0183, recorded_signal_k
from watch.instruments.signal_k import LONGEST_MESSAGE

Piece = tuple[bytes | str | None, datetime | None]
LOOK_UP_S = 0.5  # how long a read may block
CONNECT_S = 5.0
AT_ONCE = 4096
LARGEST_DATAGRAM = 65535


class Feed(Protocol):
    """One place to hear instruments. ends: it has an end (a file). falls_silent: silence means that the connection is dead."""

    name: str
    ends: bool
    falls_silent: bool

    def pieces(self, stop: Event) -> Iterator[Piece]: ...


class TcpFeed:
    """A server of NMEA 0183 on the boat's network."""

    ends = False
    falls_silent = True

    def __init__(self, host: str, port: int) -> None:
        self.name = f"{host} port {checked_port(port, host)}"
        self._address = (host, port)

    def pieces(self, stop: Event) -> Iterator[Piece]:
        with socket.create_connection(self._address, timeout=CONNECT_S) as wire:
            wire.settimeout(LOOK_UP_S)
            yield None, None
            while not stop.is_set():
                try:
                    data = wire.recv(AT_ONCE)
                except TimeoutError:
                    yield None, None
                    continue
                if not data:
                    raise ConnectionError("it closed the connection")
                yield data, None


class UdpFeed:
    """Datagrams of NMEA 0183 sent to this computer; each datagram ends its last line."""

    ends = False
    falls_silent = False

    def __init__(self, port: int, host: str = "") -> None:
        self.name = f"UDP port {checked_port(port, host)}"
        self._address = (host, port)

    def pieces(self, stop: Event) -> Iterator[Piece]:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as wire:
            wire.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            wire.bind(self._address)
            wire.settimeout(LOOK_UP_S)
            yield None, None
            while not stop.is_set():
                try:
                    yield wire.recv(LARGEST_DATAGRAM) + b"\n", None
                except TimeoutError:
                    yield None, None


class SerialFeed:
    """NMEA 0183 on a serial line; needs pyserial. 4800 baud is the standard's rate, 38400 its faster one."""

    ends = False
    falls_silent = True

    def __init__(self, device: str, baud: int = 4800) -> None:
        self.name = f"{device} at {baud} baud"
        self._serial = needed("serial", "pyserial", "a serial line")
        self._device, self._baud = device, baud
        if not 300 <= baud <= 921600:
            raise BadInputError(device, [f"{baud} baud is no speed of a serial line: 4800 or 38400 are usual"])

    def pieces(self, stop: Event) -> Iterator[Piece]:
        try:
            wire = self._serial.serial_for_url(self._device, baudrate=self._baud, timeout=LOOK_UP_S)
        except ValueError as error:
            raise OSError(str(error)) from None
        with wire:
            yield None, None
            while not stop.is_set():
                data = wire.read(max(1, min(wire.in_waiting, AT_ONCE)))
                yield (data, None) if data else (None, None)


class FileFeed:
    """A recording, played at `speed` times real time (inf: as fast as it is read); the times are the recording's own."""

    ends = True
    falls_silent = False

    def __init__(self, path: Path, *, signal_k: bool = False, speed: float = math.inf, starts: datetime | None = None) -> None:
        self.name = str(path)
        self._speed = speed
        if not path.is_file():
            raise BadInputError(path, ["no such file"])
        if not speed > 0.0:
            raise BadInputError(path, [f"a speed of {speed:g} plays nothing: 1 is real time"])
        lines: Iterator[tuple[datetime, bytes | str]]
        if signal_k:
            lines = recorded_signal_k(path)
        else:
            lines = ((moment, line + b"\n") for moment, line in recorded_nmea0183(path, starts))
        self._lines = lines

    def pieces(self, stop: Event) -> Iterator[Piece]:
        yield from ((line, moment) for moment, line in paced(self._lines, self._speed, stop))


class WebsocketFeed:
    """A Signal K server's stream, like ws://192.168.1.5:3000/signalk/v1/stream?subscribe=self; needs websockets."""

    ends = False
    falls_silent = True

    def __init__(self, url: str) -> None:
        self.name = url
        self._client = needed("websockets.sync.client", "websockets", "a Signal K stream")
        self._broken = needed("websockets.exceptions", "websockets", "a Signal K stream").WebSocketException
        parts = urlsplit(url)
        if parts.scheme not in ("ws", "wss") or not parts.hostname:
            raise BadInputError(url, ["write it like ws://192.168.1.5:3000/signalk/v1/stream?subscribe=self"])

    def pieces(self, stop: Event) -> Iterator[Piece]:
        try:
            with self._client.connect(self.name, open_timeout=CONNECT_S, close_timeout=1.0, max_size=LONGEST_MESSAGE) as wire:
                yield None, None
                while not stop.is_set():
                    try:
                        yield wire.recv(timeout=LOOK_UP_S), None
                    except TimeoutError:
                        yield None, None
        except self._broken as error:
            raise ConnectionError(str(error)) from None


def checked_port(port: int, where: str) -> int:
    if not 0 < port < 65536:
        raise BadInputError(where or "port", [f"{port} is no port: a number from 1 to 65535, like 10110"])
    return port


def needed(module: str, package: str, what: str) -> Any:
    """A module of the instruments extra; when it is missing, the sentence that says how to get it."""
    try:
        return importlib.import_module(module)
    except ImportError:
        says = f'{what} needs the package {package}: install it with pip install "nightorders[instruments]"'
        raise BadInputError("instruments", [says]) from None
