"""(I/O) The simulator: plays a script or a recording over the network as the boat's instruments would send it, at any speed."""

import importlib
import json
import socket
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Any

from watch.faults import BadInputError
from watch.instruments.feeds import needed
from watch.instruments.recording import paced, recorded_nmea0183, recorded_signal_k
from watch.instruments.simulate import USUAL, Script, nmea0183_pieces, signal_k_pieces

SEND_S = 10.0  # a listener that takes nothing for so long is let go; till then all wait for it, so that none loses a line at high speed
LOOK_UP_S = 0.2
HELLO = {"name": "nightorders simulator: nothing it says is real", "version": "1.7.0", "self": "vessels.self", "roles": ["main"]}


class Simulator:
    """One performance, running in threads of its own. port: where it is heard. Use it in a with statement, or stop() it."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.finished = Event()
        self._stop = Event()
        self._heard = Event()
        self._fault: Exception | None = None
        self._threads: list[Thread] = []
        self._close: list[Callable[[], object]] = []

    def __enter__(self) -> "Simulator":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end of the piece; True when it has been played. Raises what the piece itself raised."""
        ended = self.finished.wait(timeout_s)
        if self._fault is not None:
            raise self._fault
        return ended

    def stop(self, timeout_s: float = 3.0) -> None:
        """End the performance and let all listeners go."""
        self._stop.set()
        self._heard.set()
        for close in self._close:
            close()
        until_s = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(0.0, until_s - time.monotonic()))

    def _spawn(self, work: Callable[[], None], name: str) -> None:
        thread = Thread(target=work, name=f"simulator {name}", daemon=True)
        self._threads.append(thread)
        thread.start()

    def _play(self, pieces: Iterator[tuple[datetime, Any]], speed: float, send: Callable[[Any], None]) -> None:
        self._heard.wait()
        try:
            for _, piece in paced(pieces, speed, self._stop):
                send(piece)
        except Exception as error:  # noqa: BLE001  it would end this thread and leave whoever waits for the end waiting
            self._fault = error
        if not self._stop.is_set():
            self.finished.set()


def serve_nmea0183_tcp(series: Script | Path | Iterator[tuple[datetime, bytes]], port: int = 0, speed: float = 1.0, *, host: str = "127.0.0.1", seed: int = 0,
                       what: tuple[str, ...] = USUAL, tagged: bool = True, wait_for_listener: bool = True) -> Simulator:
    """Play a script, a recording of NMEA 0183, or ready pieces with their times, to whoever connects by TCP; port 0 takes a free one
    (see `.port`).

    speed: times real time. seed, what, tagged: as in simulate.nmea0183_pieces. wait_for_listener: begin with the first listener.
    Raises BadInputError when the port cannot be had.
    """
    pieces = _nmea0183(series, seed, what, tagged)
    server = _bound(socket.SOCK_STREAM, host, port)
    server.listen()
    server.settimeout(LOOK_UP_S)
    simulator = Simulator(server.getsockname()[1])
    listeners = _Listeners()

    def accept() -> None:
        while not simulator._stop.is_set():
            try:
                wire, _ = server.accept()
            except TimeoutError:
                continue
            except OSError:
                return
            wire.settimeout(SEND_S)
            listeners.add(wire)
            simulator._heard.set()

    simulator._close += [server.close, listeners.close]
    simulator._spawn(accept, "accepts")
    return _begin(simulator, pieces, speed, listeners.send, wait_for_listener)


def serve_nmea0183_udp(series: Script | Path, port: int, speed: float = 1.0, *, host: str = "127.0.0.1", seed: int = 0,
                       what: tuple[str, ...] = USUAL, tagged: bool = True) -> Simulator:
    """Send a script, or a recording of NMEA 0183, as datagrams to host and port, one for each second of it."""
    wire = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    wire.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
    simulator = Simulator(port)
    simulator._close.append(wire.close)

    def send(piece: bytes) -> None:
        try:
            wire.sendto(piece, (host, port))
        except OSError:  # nobody listens yet, or the network is down: the next second is sent all the same
            return

    return _begin(simulator, _nmea0183(series, seed, what, tagged), speed, send, False)


def serve_signal_k(series: Script | Path, port: int = 0, speed: float = 1.0, *, host: str = "127.0.0.1", seed: int = 0,
                   wait_for_listener: bool = True) -> Simulator:
    """Play a script, or a recording of Signal K deltas, to whoever connects by websocket; needs websockets. Else as by TCP."""
    pieces = recorded_signal_k(series) if isinstance(series, Path) else signal_k_pieces(series, seed=seed)
    serve = needed("websockets.sync.server", "websockets", "a Signal K stream").serve
    gone = needed("websockets.exceptions", "websockets", "a Signal K stream").ConnectionClosed
    wire = _bound(socket.SOCK_STREAM, host, port)
    wire.listen()
    simulator = Simulator(wire.getsockname()[1])
    listeners: list[Any] = []
    lock = Lock()

    def listen(listener: Any) -> None:
        listener.send(json.dumps(HELLO))
        with lock:
            listeners.append(listener)
        simulator._heard.set()
        while listener in listeners and not simulator._stop.wait(LOOK_UP_S):
            pass

    def send(piece: str) -> None:
        with lock:
            for listener in list(listeners):
                try:
                    listener.send(piece)
                except gone:
                    listeners.remove(listener)

    server = serve(listen, sock=wire, compression=None)
    simulator._close.append(server.shutdown)
    simulator._spawn(server.serve_forever, "accepts")
    return _begin(simulator, pieces, speed, send, wait_for_listener)


class _Listeners:
    """Connections that all hear the same."""

    def __init__(self) -> None:
        self._wires: list[socket.socket] = []
        self._lock = Lock()

    def add(self, wire: socket.socket) -> None:
        with self._lock:
            self._wires.append(wire)

    def send(self, data: bytes) -> None:
        with self._lock:
            for wire in list(self._wires):
                try:
                    wire.sendall(data)
                except OSError:
                    self._wires.remove(wire)
                    wire.close()

    def close(self) -> None:
        with self._lock:
            for wire in self._wires:
                wire.close()
            self._wires.clear()


def _begin(simulator: Simulator, pieces: Iterator[tuple[datetime, Any]], speed: float, send: Callable[[Any], None],
           wait_for_listener: bool) -> Simulator:
    if not wait_for_listener:
        simulator._heard.set()
    simulator._spawn(lambda: simulator._play(pieces, speed, send), "plays")
    return simulator


def _nmea0183(series: Script | Path | Iterator[tuple[datetime, bytes]], seed: int, what: tuple[str, ...], tagged: bool) -> Iterator[tuple[datetime, bytes]]:
    if isinstance(series, Path):
        return ((moment, line + b"\r\n") for moment, line in recorded_nmea0183(series))
    return nmea0183_pieces(series, seed=seed, what=what, tagged=tagged) if isinstance(series, Script) else series


def _bound(kind: socket.SocketKind, host: str, port: int) -> socket.socket:
    wire = socket.socket(socket.AF_INET, kind)
    wire.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        wire.bind((host, port))
    except OSError as error:
        wire.close()
        raise BadInputError(f"{host} port {port}", [f"cannot be used: {(error.strerror or str(error)).lower()}"]) from None
    return wire


if __name__ == "__main__":
    importlib.import_module("watch.instruments.performing").main()
