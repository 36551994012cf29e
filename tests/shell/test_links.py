"""Links to instruments that drop, stall, babble and come back: on local sockets, a pseudo serial line, a websocket, and files."""

import json
import os
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from websockets.sync.server import ServerConnection, serve

from watch.faults import BadInputError
from watch.instruments.feeds import FileFeed, SerialFeed, TcpFeed, UdpFeed, WebsocketFeed
from watch.instruments.links import Link, Patience, Phase, link_for
from watch.instruments.nmea0183 import Nmea0183, sentence
from watch.instruments.readings import Quantity, Reading, Refused
from watch.instruments.series import Observed
from watch.instruments.signal_k import SignalK
from watch.instruments.simulate import Script
from watch.instruments.simulator import serve_nmea0183_tcp, serve_nmea0183_udp, serve_signal_k
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


def test_two_alike_are_told_apart_by_a_label(tmp_path: Path) -> None:
    with running(link_for(str(recording(tmp_path)), clock=lambda: NOW, label="stern")) as link:
        assert {r.source for r in collect(link, 11)} == {"stern HE/HDT", "stern GP/RMC"}


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


FIX = "GPRMC,120000,A,3500.000,N,05000.000,W,5.0,080.0,140526,,,A"


def recording(folder: Path) -> Path:
    bodies = ["HEHDT,10.0,T", FIX, "HEHDT,11.0,T", FIX.replace("120000", "120010"), "HEHDT,12.0,T"]
    path = folder / "recording.nmea"
    path.write_text("".join(map(sentence, bodies)))
    return path


def test_a_recording_keeps_its_own_times_and_ends(tmp_path: Path) -> None:
    link = link_for(str(recording(tmp_path)), clock=lambda: NOW + timedelta(days=900))
    with running(link):
        until(lambda: link.state().phase is Phase.ENDED)
        headings = [(r.value, r.when) for r in link.take() if r.quantity is Quantity.HEADING_DEG]
    assert headings == [(10.0, NOW), (11.0, NOW), (12.0, NOW + timedelta(seconds=10))]
    assert not any(r.doubtful for r in link.take())


def test_a_recording_waits_for_a_slow_taker_instead_of_dropping(tmp_path: Path) -> None:
    path = tmp_path / "long.nmea"
    path.write_bytes(sentence(FIX).encode() + b"".join(map(heading, range(300))))
    with running(Link(FileFeed(path), Nmea0183(clock_may_differ_s=None), clock=lambda: NOW, most_held=10)) as link:
        assert [r.value for r in collect(link, 304) if r.quantity is Quantity.HEADING_DEG] == [float(i) for i in range(300)]
        assert link.state().dropped == 0


def test_a_recording_with_times_of_day_only_needs_its_beginning(tmp_path: Path) -> None:
    path = tmp_path / "no-date.nmea"
    path.write_text(sentence("GPGLL,3500.000,N,05000.000,W,235959,A,A") + sentence("GPGLL,3500.000,N,05000.000,W,000001,A,A"))
    with pytest.raises(BadInputError, match=r"no-date\.nmea: no line carries a date \(RMC or a time tag\); say when it began"):
        link_for(str(path), clock=lambda: NOW)
    with running(link_for(str(path), clock=lambda: NOW, starts=parse_utc("2026-05-14T23:59Z"))) as link:
        until(lambda: link.state().phase is Phase.ENDED)
        assert [r.received for r in link.take()][::2] == [parse_utc("2026-05-14T23:59:59Z"), parse_utc("2026-05-15T00:00:01Z")]


@pytest.mark.parametrize("form", ["one a line", "a list", "one, spread over lines"])
def test_recorded_deltas_in_either_form(tmp_path: Path, form: str) -> None:
    deltas = [{"updates": [{"timestamp": f"2026-05-14T12:00:0{i}Z", "$source": "mast", "values": [
        {"path": "environment.wind.speedTrue", "value": 5.0 + i}]}]} for i in range(1 if form.startswith("one,") else 3)]
    path = tmp_path / "recording.json"
    forms = {"one a line": "\n".join(map(json.dumps, deltas)), "a list": json.dumps(deltas)}
    path.write_text(forms.get(form, json.dumps(deltas[0], indent=1)))
    with running(link_for(str(path), clock=lambda: NOW)) as link:
        until(lambda: link.state().phase is Phase.ENDED)
        assert [(r.value, r.when) for r in link.take()] == [(5.0 + i, NOW + timedelta(seconds=i)) for i in range(len(deltas))]


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


VOYAGE = Script(
    start=NOW, mean_ms=np.array([9.0, 14.0]), gust_ms=np.array([12.5, 22.0]), from_deg=np.array([215.0, 290.0]),
    heading_deg=np.array([80.0, 85.0]), pressure_pa=np.array([101200.0, 101100.0, 101000.0]),
    latitude_deg=np.array([35.0, 35.002, 35.004]), longitude_deg=np.array([-50.0, -49.984, -49.968]),
)


def heard_from(link: Link, finished: threading.Event, observed: Observed, start: datetime) -> Observed:
    now = start
    observed.add([], now)
    last = start + timedelta(seconds=1195)
    with running(link):
        def play() -> bool:
            nonlocal now
            readings = link.wait(0.02)
            now = max([now, *(r.when for r in readings)])
            observed.add(readings, now)
            return finished.is_set() and now >= last

        until(play)
    return observed


@pytest.mark.parametrize("way", ["tcp", "udp", "signal k"])
def test_what_the_simulator_plays_is_what_is_observed(way: str) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((LOCAL, 0))
        port = probe.getsockname()[1]
    if way == "udp":
        link = link_for(f"udp://{LOCAL}:{port}", clock=lambda: NOW, compare_clocks=False)
        simulator = serve_nmea0183_udp(VOYAGE, port, 600.0)
    elif way == "tcp":
        simulator = serve_nmea0183_tcp(VOYAGE, 0, 5000.0)
        link = link_for(f"tcp://{LOCAL}:{simulator.port}", clock=lambda: NOW, compare_clocks=False)
    else:
        simulator = serve_signal_k(VOYAGE, 0, 5000.0)
        url = f"ws://{LOCAL}:{simulator.port}/signalk/v1/stream?subscribe=self"
        link = link_for(url, clock=lambda: NOW, compare_clocks=False)
    with simulator:
        observed = heard_from(link, simulator.finished, Observed(), NOW)
    steps = observed.steps(NOW + timedelta(minutes=20))
    assert steps.mean_ms == pytest.approx(VOYAGE.mean_ms, abs=0.25)  # leeway and rounding; datagrams may be lost
    assert steps.gust_ms == pytest.approx(VOYAGE.gust_ms, abs=0.4)
    assert steps.from_deg == pytest.approx(VOYAGE.from_deg, abs=2.0)
    assert steps.pressure_pa == pytest.approx([101150.0, 101050.0], abs=10.0)
    assert steps.latitude_deg == pytest.approx([35.002, 35.004], abs=1e-4)
    assert steps.heading_deg == pytest.approx(VOYAGE.heading_deg, abs=1.5)
    fix = observed.position(NOW + timedelta(minutes=20))
    assert fix is not None
    assert (fix.latitude_deg, fix.longitude_deg) == pytest.approx((35.004, -49.968), abs=1e-4)
    if way != "signal k":
        assert any("simulator" in str(doubt) for doubt in steps.doubts[0])  # it says that it is no instrument


def test_the_simulator_plays_a_recording_as_it_stands(tmp_path: Path) -> None:
    path = recording(tmp_path)
    with serve_nmea0183_tcp(path, 0, 100.0) as simulator, socket.create_connection((LOCAL, simulator.port)) as wire:
        simulator.wait(DEADLINE_S)
        wire.settimeout(DEADLINE_S)
        heard = b""
        while len(heard) < path.stat().st_size:
            heard += wire.recv(4096)
        assert heard == path.read_bytes()


def test_a_simulator_on_a_port_in_use_says_so() -> None:
    with socket.create_server((LOCAL, 0)) as taken, pytest.raises(BadInputError, match="cannot be used: address already in use"):
        serve_nmea0183_tcp(VOYAGE, taken.getsockname()[1])
