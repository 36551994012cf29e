"""A server on this machine that serves files by byte ranges as RFC 9110 has it, and misbehaves on request; messages to serve."""

import re
import socket
import socketserver
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Asked:
    method: str
    path: str
    headers: dict[str, str]

    @property
    def range(self) -> str:
        return self.headers.get("range", "")


Behaviour = Callable[["Wire", socket.socket, Asked], bool]  # True: the connection stays open


@dataclass
class Wire:
    """files by path; tags by path; todo: behaviours by path, each used once, in order, before the file is served properly."""

    base: str = ""
    files: dict[str, bytes] = field(default_factory=dict)
    tags: dict[str, str] = field(default_factory=dict)
    todo: dict[str, list[Behaviour]] = field(default_factory=dict)
    always: dict[str, Behaviour] = field(default_factory=dict)
    asked: list[Asked] = field(default_factory=list)
    sent: int = 0
    closing: threading.Event = field(default_factory=threading.Event)

    def ranges(self, path: str) -> list[str]:
        return [asked.range for asked in self.asked if asked.path == path]

    def send(self, sock: socket.socket, data: bytes) -> None:
        sock.sendall(data)
        self.sent += len(data)


@contextmanager
def wire() -> Iterator[Wire]:
    state = Wire()

    class Handler(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            sock: socket.socket = self.request
            try:
                while (asked := _read(sock)) is not None:
                    state.asked.append(asked)
                    waiting = state.todo.get(asked.path)
                    act = waiting.pop(0) if waiting else state.always.get(asked.path, properly)
                    if not act(state, sock, asked):
                        return
            except OSError:
                return  # the other side hung up, as it may

    class Server(socketserver.ThreadingTCPServer):
        daemon_threads = True
        allow_reuse_address = True

    with Server(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        state.base = f"http://127.0.0.1:{server.server_address[1]}"
        try:
            yield state
        finally:
            state.closing.set()
            server.shutdown()
            thread.join()


def _read(sock: socket.socket) -> Asked | None:
    data = b""
    while b"\r\n\r\n" not in data:
        piece = sock.recv(4096)
        if not piece:
            return None
        data += piece
    lines = data.split(b"\r\n\r\n")[0].decode("latin-1").split("\r\n")
    method, path, _ = lines[0].split(" ")
    return Asked(method, path, {key.lower(): value.strip() for key, _, value in (line.partition(":") for line in lines[1:])})


def head(status: int, headers: dict[str, Any]) -> bytes:
    lines = [f"HTTP/1.1 {status} X", *(f"{key}: {value}" for key, value in headers.items())]
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1")


def _parts(state: Wire, asked: Asked) -> tuple[int, dict[str, Any], bytes]:
    """Status, headers and body of a proper answer."""
    data = state.files.get(asked.path)
    if data is None:
        return 404, {"Content-Length": 0}, b""
    headers: dict[str, Any] = {"Content-Type": "application/octet-stream"}
    tag = state.tags.get(asked.path, "")
    if tag:
        headers["ETag"] = tag
    wanted = re.fullmatch(r"bytes=(\d+)-(\d*)", asked.range)
    if wanted and asked.headers.get("if-range", tag) == tag:
        first, last = int(wanted[1]), min(int(wanted[2] or len(data)), len(data) - 1)
        if first >= len(data):
            return 416, {"Content-Range": f"bytes */{len(data)}", "Content-Length": 0}, b""
        body = data[first : last + 1]
        return 206, {**headers, "Content-Range": f"bytes {first}-{last}/{len(data)}", "Content-Length": len(body)}, body
    return 200, {**headers, "Content-Length": len(data)}, data


def properly(state: Wire, sock: socket.socket, asked: Asked) -> bool:
    status, headers, body = _parts(state, asked)
    state.send(sock, head(status, headers) + (b"" if asked.method == "HEAD" else body))
    return True


def says(status: int, body: bytes = b"", **headers: Any) -> Behaviour:
    def act(state: Wire, sock: socket.socket, asked: Asked) -> bool:
        named = {key.replace("_", "-"): value for key, value in headers.items()}
        state.send(sock, head(status, {"Content-Length": len(body), **named}) + (b"" if asked.method == "HEAD" else body))
        return False
    return act


def but(change: Callable[[int, dict[str, Any], bytes], tuple[int, dict[str, Any], bytes]]) -> Behaviour:
    """A proper answer, changed."""
    def act(state: Wire, sock: socket.socket, asked: Asked) -> bool:
        status, headers, body = change(*_parts(state, asked))
        state.send(sock, head(status, headers) + (b"" if asked.method == "HEAD" else body))
        return False
    return act


def breaks_after(count: int) -> Behaviour:
    """The connection is reset after so many bytes of the body."""
    def act(state: Wire, sock: socket.socket, asked: Asked) -> bool:
        status, headers, body = _parts(state, asked)
        state.send(sock, head(status, headers) + body[:count])
        return False
    return act


def resets(state: Wire, sock: socket.socket, asked: Asked) -> bool:
    """A reset instead of an answer."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
    return False


def stalls_after(count: int) -> Behaviour:
    """So many bytes of the body, then silence until the test ends."""
    def act(state: Wire, sock: socket.socket, asked: Asked) -> bool:
        status, headers, body = _parts(state, asked)
        state.send(sock, head(status, headers) + body[:count])
        state.closing.wait(20)
        return False
    return act


def ignores_range(state: Wire, sock: socket.socket, asked: Asked) -> bool:
    status, headers, body = _parts(state, Asked(asked.method, asked.path, {}))
    state.send(sock, head(status, headers) + body)
    return False


def message(size: int, seed: int = 0, edition: int = 2) -> bytes:
    """A GRIB message of `size` bytes by its framing; what is inside is noise."""
    noise = np.random.default_rng(seed).integers(0, 256, size, dtype=np.uint8).tobytes()
    if edition == 2:
        return b"GRIB\0\0\0\x02" + size.to_bytes(8, "big") + noise[: size - 20] + b"7777"
    return b"GRIB" + size.to_bytes(3, "big") + b"\x01" + noise[: size - 12] + b"7777"


NAMES = ("UGRD:10 m above ground", "VGRD:10 m above ground", "TMP:2 m above ground", "GUST:surface", "PRMSL:mean sea level", "CAPE:surface")


def text_index(messages: Sequence[bytes], run: str, forecast: str) -> bytes:
    """Index lines of messages with the names above, in order."""
    lines, at = [], 0
    for number, (one, name) in enumerate(zip(messages, NAMES, strict=True), start=1):
        lines.append(f"{number}:{at}:d={run}:{name}:{forecast}:\n")
        at += len(one)
    return "".join(lines).encode()
