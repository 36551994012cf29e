"""Links to instruments that drop, stall, babble and come back: on local sockets, a pseudo serial line, a websocket, and files."""

import json
import os
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

import pytest
from websockets.sync.server import ServerConnection, serve

from watch.faults import BadInputError
from watch.instruments.feeds import SerialFeed, TcpFeed, UdpFeed, WebsocketFeed
from watch.instruments.links import Link, Patience, Phase, link_for
from watch.instruments.nmea0183 import Nmea0183, sentence
from watch.instruments.readings import Quantity, Reading, Refused
from watch.instruments.signal_k import SignalK
from watch.when import parse_utc

NOW = parse_utc("2026-05-14T12:00:00Z")
HASTE = Patience(first_s=0.01, longest_s=0.02, quiet_s=0.05, dead_s=0.2)
DEADLINE_S = 20.0  # a bound against hanging for ever, not a measure of speed
LOCAL = "127.0.0.1"


def heading(degrees: float) -> bytes:
    return sentence(f"HEHDT,{degrees:.1f},T").encode()


def hears(port: int, patience: Patience = HASTE, most_held: int = 1000) -> Link:
    return Link(TcpFeed(LOCAL, port), Nmea0183(), clock=lambda: NOW, patience=patience, most_held=most_held)


def until(true: Callable[[], bool]) -> None:
    pause = threading.Event()
    for _ in range(int(DEADLINE_S / 0.01)):
        if true():
            return
        pause.wait(0.01)
    raise AssertionError("waited in vain")


@contextmanager
def server(*visits: Callable[[socket.socket], None]) -> Iterator[int]:
    """A server that treats its first, second, ... visitor as told; afterwards it accepts nobody."""
    with socket.create_server((LOCAL, 0)) as listening:
        def work() -> None:
            for visit in visits:
                try:
                    wire, _ = listening.accept()
                except OSError:
                    return
                with wire:
                    visit(wire)

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        yield listening.getsockname()[1]


@contextmanager
def running(link: Link) -> Iterator[Link]:
    link.start()
    try:
        yield link
    finally:
        assert link.stop(DEADLINE_S)
        assert link.state().phase in (Phase.STOPPED, Phase.ENDED, Phase.FAILED)


def collect(link: Link, count: int) -> list[Reading]:
    found: list[Reading] = []

    def enough() -> bool:
        found.extend(link.wait(0.05))
        return len(found) >= count

    until(enough)
    return found


def test_a_server_that_drops_the_line_is_called_again_and_nothing_is_lost_or_doubled() -> None:
    def first(wire: socket.socket) -> None:
        wire.sendall(heading(1.0) + heading(2.0) + b"$HEHDT,3")  # cut in the middle of a sentence

    def second(wire: socket.socket) -> None:
        wire.sendall(heading(4.0))
        wire.recv(1)

    with server(first, second) as port, running(hears(port)) as link:
        assert [r.value for r in collect(link, 3)] == [1.0, 2.0, 4.0]
        assert {r.received for r in link.take()} <= {NOW}
        state = link.state()
        assert (state.phase, state.readings, state.last_reading, state.tries) == (Phase.CONNECTED, 3, NOW, 0)


def test_a_server_that_sends_garbage_is_counted_by_reason_and_then_understood() -> None:
    noise = os.urandom(3000).replace(b"$", b"%").replace(b"!", b"%")
    garbage = noise + b"\r\n" + b"\xff" * 50 + b"\r\n$HEHDT,9.0,T*00\r\n" + b"A" * 5000

    def visit(wire: socket.socket) -> None:
        wire.sendall(garbage + b"\r\n" + heading(7.0))
        wire.recv(1)

    with server(visit) as port, running(hears(port)) as link:
        assert [r.value for r in collect(link, 1)] == [7.0]
        refused = link.state().refused
        assert refused[Refused.NOT_TEXT] >= 1
        assert refused[Refused.CHECKSUM] == 1
        assert refused[Refused.TOO_LONG] >= 1


def test_a_server_that_only_babbles_is_told_as_such() -> None:
    done = threading.Event()

    def visit(wire: socket.socket) -> None:
        while not done.wait(0.01):
            wire.sendall(b"\xff\xfe\x80\r\n")

    with server(visit) as port, running(hears(port)) as link:
        until(lambda: link.state().phase is Phase.QUIET)
        assert "data comes, but no reading in it" in link.state().says
        assert "not plain text" in link.state().says
        done.set()


def test_a_server_that_stalls_is_told_and_after_a_while_called_again() -> None:
    came_back = threading.Event()

    def stall(wire: socket.socket) -> None:
        wire.sendall(heading(1.0))
        wire.recv(1)  # says nothing more until it is left

    def second(wire: socket.socket) -> None:
        wire.sendall(heading(2.0))
        came_back.wait(DEADLINE_S)

    patience = Patience(first_s=0.01, longest_s=0.02, quiet_s=0.4, dead_s=0.9)
    with server(stall, second) as port, running(hears(port, patience)) as link:
        assert [r.value for r in collect(link, 1)] == [1.0]
        until(lambda: link.state().phase is Phase.QUIET)
        assert "nothing heard for" in link.state().says
        assert [r.value for r in collect(link, 1)] == [2.0]
        came_back.set()


def test_nobody_there_is_said_in_plain_words_and_tried_again_ever_more_seldom(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server((LOCAL, 0)) as taken:
        port = taken.getsockname()[1]
    waits: list[float] = []
    link = hears(port, Patience(first_s=1.0, longest_s=8.0))

    def wait(timeout_s: float) -> None:
        waits.append(timeout_s)
        if len(waits) >= 6:
            link._stop.set()

    monkeypatch.setattr(link._stop, "wait", wait)
    link.start()
    until(lambda: len(waits) >= 6)
    assert waits == [1.0, 2.0, 4.0, 8.0, 8.0, 8.0]
    assert link.stop(DEADLINE_S)


def test_a_link_that_waits_to_try_again_stops_at_once_and_has_told_why() -> None:
    with socket.create_server((LOCAL, 0)) as taken:
        port = taken.getsockname()[1]
    link = hears(port, Patience(first_s=3600.0, longest_s=3600.0)).start()
    until(lambda: link.state().phase is Phase.WAITING)
    assert link.state().says == f"{LOCAL} port {port}: connection refused; trying again in 3600 s"
    assert link.stop(DEADLINE_S)  # far within the hour it meant to wait
    assert link.state().phase is Phase.STOPPED


def test_a_link_never_started_can_be_looked_at_and_stopped() -> None:
    link = hears(10110)
    assert link.state().phase is Phase.NOT_STARTED
    assert link.stop()


def test_readings_that_nobody_takes_are_bounded_and_the_oldest_given_up() -> None:
    def visit(wire: socket.socket) -> None:
        wire.sendall(b"".join(heading(i) for i in range(300)))
        wire.recv(1)

    with server(visit) as port, running(hears(port, most_held=50)) as link:
        until(lambda: link.state().readings == 300)
        assert [r.value for r in link.take()] == [float(i) for i in range(250, 300)]
        assert link.state().dropped == 250


def test_datagrams_with_and_without_line_ends() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((LOCAL, 0))
        port = probe.getsockname()[1]
    with running(Link(UdpFeed(port, LOCAL), Nmea0183(), clock=lambda: NOW, patience=HASTE)) as link:
        until(lambda: link.state().phase in (Phase.CONNECTED, Phase.QUIET))
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as wire:
            wire.sendto(heading(1.0).strip(), (LOCAL, port))
            wire.sendto(heading(2.0) + heading(3.0), (LOCAL, port))
        assert [r.value for r in collect(link, 3)] == [1.0, 2.0, 3.0]


def test_a_serial_line_that_is_pulled_out_and_put_back() -> None:
    master, slave = os.openpty()
    link = Link(SerialFeed(os.ttyname(slave)), Nmea0183(), clock=lambda: NOW, patience=HASTE)
    with running(link):
        until(lambda: link.state().phase in (Phase.CONNECTED, Phase.QUIET))
        os.write(master, heading(1.0) + heading(2.0))
        assert [r.value for r in collect(link, 2)] == [1.0, 2.0]
        os.close(slave)
        os.close(master)
        until(lambda: link.state().phase is Phase.WAITING)
        assert "trying again" in link.state().says


def delta(value: float) -> str:
    return json.dumps({"updates": [{"$source": "mast", "values": [{"path": "environment.wind.speedTrue", "value": value}]}]})


def test_a_fault_in_a_reader_is_told_and_does_not_end_the_link() -> None:
    class Faulty(Nmea0183):
        def feed(self, data: bytes, received: datetime) -> list[Reading]:
            if b"13.0" in data:
                raise AssertionError("thirteen")
            return super().feed(data, received)

    def visit(degrees: float) -> Callable[[socket.socket], None]:
        def work(wire: socket.socket) -> None:
            wire.sendall(heading(degrees))
            wire.recv(1)

        return work

    with server(visit(13.0), visit(14.0)) as port:
        with running(Link(TcpFeed(LOCAL, port), Faulty(), clock=lambda: NOW, patience=Patience(first_s=3600.0))) as link:
            until(lambda: link.state().phase is Phase.WAITING)
            assert "a fault in the program (AssertionError thirteen); trying again" in link.state().says
        with running(Link(TcpFeed(LOCAL, port), Faulty(), clock=lambda: NOW, patience=HASTE)) as link:
            assert [r.value for r in collect(link, 1)] == [14.0]


def test_a_websocket_that_breaks_and_comes_back() -> None:
    visits: list[int] = []
    done = threading.Event()

    def visit(wire: ServerConnection) -> None:
        visits.append(1)
        wire.send(delta(float(len(visits))))
        if len(visits) > 1:
            done.wait(DEADLINE_S)

    with serve(visit, LOCAL, 0) as site:
        threading.Thread(target=site.serve_forever, daemon=True).start()
        url = f"ws://{LOCAL}:{site.socket.getsockname()[1]}/signalk/v1/stream?subscribe=self"
        with running(Link(WebsocketFeed(url), SignalK(), clock=lambda: NOW, patience=HASTE)) as link:
            heard = collect(link, 2)
            assert [(r.quantity, r.value) for r in heard] == [(Quantity.TRUE_WIND_MS, 1.0), (Quantity.TRUE_WIND_MS, 2.0)]
            done.set()
        site.shutdown()


def test_something_that_is_no_websocket_is_told_and_tried_again() -> None:
    def visit(wire: socket.socket) -> None:
        wire.sendall(b"$HEHDT,1.0,T*00\r\n")

    with server(visit, visit, visit) as port:
        link = Link(WebsocketFeed(f"ws://{LOCAL}:{port}/"), SignalK(), clock=lambda: NOW, patience=HASTE)
        with running(link):
            until(lambda: link.state().phase is Phase.WAITING)
            assert "trying again" in link.state().says


@pytest.mark.parametrize(("address", "says"), [
    ("tcp://192.168.1.5", "the port is missing or no number from 1 to 65535: write it like tcp://192.168.1.5:10110"),
    ("tcp://192.168.1.5:99999", "the port is missing or no number from 1 to 65535: write it like tcp://192.168.1.5:10110"),
    ("gopher://x:1", "write it like tcp://192.168.1.5:10110, udp://:10110, serial:/dev/ttyUSB0?baud=4800, "),
    ("serial:?baud=4800", "write it like serial:/dev/ttyUSB0?baud=4800"),
    ("serial:/dev/ttyUSB0?baud=fast", "write it like serial:/dev/ttyUSB0?baud=4800"),
    ("serial:/dev/ttyUSB0?baud=4", "4 baud is no speed of a serial line: 4800 or 38400 are usual"),
    ("ws://", "write it like ws://192.168.1.5:3000/signalk/v1/stream?subscribe=self"),
    ("no-such-file.nmea", "no such file"),
])
def test_an_address_that_cannot_be_is_refused_with_a_good_one(address: str, says: str) -> None:
    with pytest.raises(BadInputError) as refusal:
        link_for(address, clock=lambda: NOW)
    assert says in str(refusal.value)
