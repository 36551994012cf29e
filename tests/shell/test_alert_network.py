"""Alert sentences over real sockets and notifications to a real websocket, and what people answer on them."""

import json
import queue
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from pytest_httpserver import HTTPServer
from websockets.http11 import Request, Response
from websockets.sync.server import Server, ServerConnection, serve

from watch.alerts.book import Acknowledge, AlertBook, Call, Event, Silence
from watch.alerts.channels.channel import Failed, Sent
from watch.alerts.channels.nmea0183 import Nmea0183Channel
from watch.alerts.channels.signalk import SignalKPut, SignalKStream
from watch.alerts.dispatcher import a_test
from watch.alerts.secrets import Secret
from watch.alerts.sentences import AlertName, acn, read
from watch.alerts.situation import Priority, Situation
from watch.alerts.states import State
from watch.alerts.step import step
from watch.when import parse_utc

pytestmark = pytest.mark.source("channels-1")

NOW = parse_utc("2026-05-14T20:00Z")
WAIT_S = 5.0
REEF = Situation(key="job.reef", priority=Priority.ALARM, title="Reef 3", text="Take it in.", why="w", clears="c")


def raised() -> tuple[AlertBook, Call]:
    book, calls = step(AlertBook(), [REEF], [], NOW)
    return book, calls[0]


def until(found: Callable[[], list[Any]]) -> list[Any]:
    """Asks again until something is there."""
    for _ in range(500):
        answer = found()
        if answer:
            return answer
        threading.Event().wait(0.01)
    raise AssertionError("nothing came")


def heard(channel: Any) -> list[Any]:
    answer = channel.listen()
    assert not isinstance(answer, Failed), answer
    return list(answer)


# sentences by UDP


class Display:
    """A display of alerts on a port of this machine."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.settimeout(WAIT_S)
        self.port = self._socket.getsockname()[1]

    def next(self) -> tuple[str, tuple[str, ...]]:
        sentence = read(self._socket.recv(1000).decode())
        return sentence.kind, sentence.fields

    def say(self, line: str, port: int) -> None:
        self._socket.sendto(line.encode(), ("127.0.0.1", port))

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def display() -> Iterator[Display]:
    it = Display()
    yield it
    it.close()


@pytest.fixture
def udp(display: Display) -> Iterator[tuple[Nmea0183Channel, int]]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    channel = Nmea0183Channel("display", transport="udp", host="127.0.0.1", port=display.port, listen_port=port)
    assert channel.listen() == []
    yield channel, port
    channel.close()


def command(letter: str, instance: int | None, identifier: int = 10001) -> str:
    return acn(NOW, AlertName(identifier=identifier, instance=instance), letter)


def test_a_call_is_a_pair_of_sentences(udp: tuple[Nmea0183Channel, int], display: Display) -> None:
    _, call = raised()
    assert udp[0].send(call, WAIT_S) == Sent()
    kind, first = display.next()
    assert (kind, first[3:]) == ("ALF", ("200000.00", "B", "A", "V", "", "10001", "1", "1", "0", "Reef 3"))
    assert display.next()[1][12] == "Take it in."


def test_all_that_stands_is_a_list_and_a_heartbeat(udp: tuple[Nmea0183Channel, int], display: Display) -> None:
    book, _ = raised()
    assert udp[0].show(book, WAIT_S) == Sent()
    assert display.next() == ("ALC", ("01", "01", "01", "01", "", "10001", "1", "1"))
    kind, fields = display.next()
    assert (kind, fields[:2]) == ("HBT", ("30.0", "A"))


@pytest.mark.parametrize(("letter", "event"), [
    ("A", Acknowledge(alert="job.reef", who="an alert display", where="display")),
    ("S", Silence(alert="job.reef", who="an alert display", where="display")),
])
def test_a_command_comes_back_as_an_event(
    udp: tuple[Nmea0183Channel, int], display: Display, letter: str, event: Event
) -> None:
    channel, port = udp
    display.say(command(letter, 1), port)
    found = until(lambda: heard(channel))
    book, _ = raised()
    assert [e for h in found for e in channel.understand(h, book)] == [event]
    after, _ = step(book, None, [event], NOW + timedelta(seconds=5))
    assert after.alerts[0].state is (State.ACKNOWLEDGED if letter == "A" else State.SILENCED)


def test_what_is_garbled_or_for_others_is_passed_over(udp: tuple[Nmea0183Channel, int], display: Display) -> None:
    channel, port = udp
    for line in ("$IIACN,garbled*00\r\n", "\x00\xff no sentence", command("A", 1, identifier=192), command("A", 1)):
        display.say(line, port)
    assert len(until(lambda: heard(channel))) == 1


def test_a_command_to_an_alert_that_is_not_there_is_refused(udp: tuple[Nmea0183Channel, int], display: Display) -> None:
    channel, port = udp
    display.say(command("A", 77), port)
    book, _ = raised()
    events = [e for h in until(lambda: heard(channel)) for e in channel.understand(h, book)]
    book, _ = step(book, None, events, NOW + timedelta(seconds=5))
    assert channel.refuse(book.refused, WAIT_S) == Sent()
    assert display.next() == ("ARC", ("200005.00", "", "10001", "77", "A"))


@pytest.mark.parametrize(("letter", "instance"), [("O", 1), ("A", None), ("S", None)])
def test_what_cannot_be_done_is_refused_at_once(
    udp: tuple[Nmea0183Channel, int], display: Display, letter: str, instance: int | None
) -> None:
    channel, port = udp
    display.say(command(letter, instance), port)
    assert display_after_listening(channel, display) == (
        "ARC", ("200000.00", "", "10001", "" if instance is None else "1", letter),
    )


def display_after_listening(channel: Nmea0183Channel, display: Display) -> tuple[str, tuple[str, ...]]:
    threading.Event().wait(0.05)
    assert heard(channel) == []
    return display.next()


def test_a_request_to_repeat_is_answered(udp: tuple[Nmea0183Channel, int], display: Display) -> None:
    channel, port = udp
    _, call = raised()
    channel.send(call, WAIT_S)
    before = [display.next(), display.next()]
    display.say(command("Q", 1), port)
    assert [display_after_listening(channel, display), display.next()] == before


def test_a_port_that_is_taken_is_said(display: Display) -> None:
    channel = Nmea0183Channel("display", transport="udp", host="127.0.0.1", port=display.port, listen_port=display.port)
    answer = channel.listen()
    assert isinstance(answer, Failed)
    assert answer.reason == "commands cannot be heard: address already in use"


# sentences by TCP


def test_by_tcp_commands_come_back_on_the_same_connection_also_in_pieces() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(WAIT_S)
        channel = Nmea0183Channel("display", transport="tcp", host="127.0.0.1", port=server.getsockname()[1])
        book, call = raised()
        assert channel.send(call, WAIT_S) == Sent()
        line = command("A", 1).encode()
        with server.accept()[0] as connection:
            connection.sendall(line[:10])
            threading.Event().wait(0.05)
            assert heard(channel) == []
            connection.sendall(line[10:])
            assert [e for h in until(lambda: heard(channel)) for e in channel.understand(h, book)] == [
                Acknowledge(alert="job.reef", who="an alert display", where="display"),
            ]
        for _ in range(200):  # the other side has hung up; the next call makes a new connection
            channel.listen()
            if channel.send(call, WAIT_S) == Sent():
                break
        server.accept()[0].close()
        channel.close()


def test_by_tcp_a_display_that_is_off_is_said() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    channel = Nmea0183Channel("display", transport="tcp", host="127.0.0.1", port=port)
    assert channel.send(raised()[1], WAIT_S) == Failed("the other side refuses the connection")


# Signal K


class BoatServer:
    """A server of notifications: keeps what it is told, and says what it is given to say."""

    def __init__(self, token: str | None = None) -> None:
        self.told: queue.Queue[Any] = queue.Queue()
        self.asked: list[str] = []
        self._token, self._connections = token, list[ServerConnection]()
        self._server: Server = serve(self._talk, "127.0.0.1", 0, process_request=self._door)
        self.url = f"http://127.0.0.1:{self._server.socket.getsockname()[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def _door(self, connection: ServerConnection, request: Request) -> Response | None:
        self.asked.append(request.path)
        allowed = self._token is None or request.headers.get("Authorization") == f"Bearer {self._token}"
        return None if allowed else connection.respond(401, "no")

    def _talk(self, connection: ServerConnection) -> None:
        self._connections.append(connection)
        for message in connection:
            self.told.put(json.loads(message))

    def next(self) -> Any:
        return self.told.get(timeout=WAIT_S)

    def say(self, message: object) -> None:
        self._connections[-1].send(json.dumps(message))

    def hang_up(self) -> None:
        self._connections[-1].close()

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join(WAIT_S)


@pytest.fixture
def server() -> Iterator[BoatServer]:
    it = BoatServer()
    yield it
    it.close()


def values(message: Any) -> dict[str, Any]:
    return {v["path"]: v["value"] for v in message["updates"][0]["values"]}


PATH = "notifications.nightorders.job-reef"
LOUD = {"state": "alarm", "method": ["visual", "sound"], "message": "Reef 3. Take it in."}


@pytest.mark.source("signalk-1")
def test_a_call_is_a_notification_and_its_acknowledgement_comes_back(server: BoatServer) -> None:
    channel = SignalKStream("server", url=server.url, token=None)
    book, call = raised()
    assert channel.send(call, WAIT_S) == Sent()
    assert server.asked == ["/signalk/v1/stream?subscribe=none"]
    assert server.next()["subscribe"][0]["path"] == "notifications.nightorders.*"
    assert values(server.next()) == {PATH: LOUD}
    for value in (LOUD, {**LOUD, "method": []}):
        server.say({"updates": [{"$source": "helm", "values": [{"path": PATH, "value": value}]}]})
    events: list[Event] = until(lambda: [e for h in heard(channel) for e in channel.understand(h, book)])
    assert events == [Acknowledge(alert="job.reef", who="helm", where="server")]
    channel.close()


@pytest.mark.source("signalk-1")
def test_what_is_over_is_cleared_and_what_was_left_there_before_too(server: BoatServer) -> None:
    channel = SignalKStream("server", url=server.url, token=None)
    book, call = raised()
    channel.send(call, WAIT_S)
    server.next()
    server.next()
    server.say({"updates": [{"values": [{"path": "notifications.nightorders.front-old", "value": LOUD}]}]})
    until(lambda: heard(channel))
    book, _ = step(book, [], [Acknowledge(alert="job.reef", who="w", where="w")], NOW + timedelta(seconds=5))
    assert channel.show(book, WAIT_S) == Sent()
    assert values(server.next()) == {PATH: None, "notifications.nightorders.front-old": None}
    channel.close()


def test_a_connection_that_broke_is_made_again(server: BoatServer) -> None:
    channel = SignalKStream("server", url=server.url, token=None)
    book, call = raised()
    channel.send(call, WAIT_S)
    server.next()
    server.next()
    server.hang_up()
    for _ in range(200):
        channel.listen()
        if channel.show(book, WAIT_S) == Sent() and len(server.asked) == 2:
            break
    assert server.next()["subscribe"]
    assert values(server.next()) == {PATH: LOUD}
    channel.close()


def test_a_server_wants_its_token() -> None:
    server = BoatServer(token="a token of the boat")
    _, call = raised()
    wrong = SignalKStream("server", url=server.url, token=Secret("another token"))
    assert wrong.send(call, WAIT_S) == Failed("the server refuses us (401)", retry=False)
    right = SignalKStream("server", url=server.url, token=Secret("a token of the boat"))
    assert right.send(call, WAIT_S) == Sent()
    right.close()
    server.close()


def test_a_server_that_is_not_there_is_said() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{probe.getsockname()[1]}"
    channel = SignalKStream("server", url=url, token=None)
    assert channel.send(raised()[1], WAIT_S) == Failed("the other side refuses the connection")


@pytest.mark.source("signalk-1")
def test_a_put_has_the_path_and_the_value(httpserver: HTTPServer) -> None:
    path = "/signalk/v1/api/vessels/self/notifications/nightorders/job-reef"
    headers = {"Authorization": "Bearer a token of the boat"}
    httpserver.expect_request(path, method="PUT", json={"value": LOUD}, headers=headers).respond_with_data("")
    channel = SignalKPut("server", url=httpserver.url_for("/"), token=Secret("a token of the boat"))
    assert channel.send(raised()[1], WAIT_S) == Sent("200")
    httpserver.clear()
    httpserver.expect_request(path, method="PUT", json={"value": None}).respond_with_data("")
    assert channel.send(replace(a_test(Priority.ALARM, NOW), alert="job.reef", state=State.NORMAL), WAIT_S) == Sent("200")
    channel.close()
