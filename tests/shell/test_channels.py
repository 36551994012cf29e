"""Each channel against something real on this machine: a player, a command, a web server, a mail server, a broker."""

import hashlib
import hmac
import io
import json
import os
import socket
import struct
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult
from pytest_httpserver import HTTPServer

from watch.alerts.book import AlertBook, Call, Reason
from watch.alerts.channels.channel import Failed, Sent
from watch.alerts.channels.command import CommandChannel
from watch.alerts.channels.mail import MailChannel
from watch.alerts.channels.mqtt import MqttChannel
from watch.alerts.channels.push import PushChannel
from watch.alerts.channels.sound import SoundChannel
from watch.alerts.channels.terminal import TerminalChannel
from watch.alerts.channels.webhook import SIGNATURE, TIMESTAMP, WebhookChannel
from watch.alerts.dispatcher import a_test
from watch.alerts.secrets import ENVIRONMENT, Secret
from watch.alerts.situation import Priority, Situation
from watch.alerts.step import step
from watch.alerts.tones import wav
from watch.faults import BadInputError
from watch.when import ShipTime, parse_utc

pytestmark = pytest.mark.source("channels-1")

NOW = parse_utc("2026-05-14T20:00Z")
SHIP = ShipTime(-180)
CALL = replace(
    a_test(Priority.ALARM, NOW), alert="front.thursday", number=7, reason=Reason.WORSE, repeat=2, title="Reef 3",
    text="Take it in.", news=("Earlier.",), why="gust 38 kn", clears="it is in", due=parse_utc("2026-05-14T22:40Z"),
)
WAIT_S = 5.0


@pytest.fixture
def dead_port() -> int:
    """A port on which nobody listens."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


# terminal


def test_the_terminal_gets_bells_and_lines() -> None:
    out = io.StringIO()
    assert TerminalChannel("t", SHIP, stream=out).send(CALL, WAIT_S) == Sent()
    assert out.getvalue().splitlines() == [
        "\a\a\aALARM: Reef 3, by Thu 19:40 (UTC-3) (worse than you were told)", "    Earlier.", "    Take it in.",
        "    Why: gust 38 kn", "    Ends: it is in", "    Call 2, Thu 17:00 (UTC-3). Acknowledge: nightorders ack 7",
    ]


def test_nothing_in_a_text_can_steer_the_terminal() -> None:
    out = io.StringIO()
    TerminalChannel("t", SHIP, stream=out).send(replace(CALL, title="\x1b[2JReef\r\n3", text="a\x07b\n\x9bc"), WAIT_S)
    assert not {c for c in out.getvalue().removeprefix("\a\a\a") if ord(c) < 32 or 127 <= ord(c) < 160} - {"\n"}


def test_what_only_shows_rings_no_bell() -> None:
    out = io.StringIO()
    TerminalChannel("t", SHIP, stream=out).send(replace(CALL, reason=Reason.CLEARED), WAIT_S)
    assert "\a" not in out.getvalue()


def test_a_device_that_is_gone_is_said(tmp_path: Path) -> None:
    assert TerminalChannel("t", SHIP, device=tmp_path / "no" / "tty").send(CALL, WAIT_S) == Failed("no such file or directory")


# sound


@pytest.fixture
def player(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A player on the path, that keeps what it was given."""
    script = tmp_path / "aplay"
    script.write_text(f'#!/bin/sh\necho "$1" > {tmp_path}/flag\ncat "$2" > {tmp_path}/played\n')
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    return tmp_path / "played"


@pytest.mark.skipif(bool({"paplay"} & set(os.listdir("/usr/bin"))), reason="this machine has a player that is asked first")
def test_the_player_of_the_system_plays_the_tone_of_the_priority(player: Path) -> None:
    channel = SoundChannel("s")
    assert channel.send(CALL, WAIT_S) == Sent()
    assert player.read_bytes() == wav(Priority.ALARM)
    assert channel.send(replace(CALL, priority=Priority.WARNING), WAIT_S) == Sent()
    assert player.read_bytes() == wav(Priority.WARNING)
    channel.close()


def test_a_player_of_the_sailors_own_gets_the_file_last(tmp_path: Path) -> None:
    channel = SoundChannel("s", player=["sh", "-c", 'cat "$1" > "$0"', str(tmp_path / "played")])
    assert channel.send(CALL, WAIT_S) == Sent()
    assert (tmp_path / "played").read_bytes() == wav(Priority.ALARM)
    channel.close()


def test_without_a_player_it_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    channel = SoundChannel("s")
    answer = channel.send(CALL, WAIT_S)
    assert isinstance(answer, Failed)
    assert answer.reason.startswith("this machine has no player of sounds")
    channel.close()


# command


def test_a_command_gets_text_and_variables_but_no_secret_and_no_shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(ENVIRONMENT + "MAIL_PASSWORD", "harbour")
    code = "import os, sys, json; json.dump([sys.argv[1:], sys.stdin.read(), dict(os.environ)], open(sys.argv[1], 'w'))"
    out = tmp_path / "out"
    assert CommandChannel("c", SHIP, command=[sys.executable, "-c", code, str(out), "$(id); *"]).send(CALL, WAIT_S) == Sent()
    arguments, text, environment = json.loads(out.read_text())
    assert arguments[1] == "$(id); *"
    assert text.startswith("ALARM: Reef 3, by Thu 19:40 (UTC-3)")
    ours = {k: v for k, v in environment.items() if k.startswith("NIGHTORDERS_")}
    assert ours == {
        "NIGHTORDERS_ALERT": "front.thursday", "NIGHTORDERS_NUMBER": "7", "NIGHTORDERS_PRIORITY": "alarm",
        "NIGHTORDERS_STATE": "active, unacknowledged", "NIGHTORDERS_REASON": "worse than you were told",
        "NIGHTORDERS_REPEAT": "2", "NIGHTORDERS_SOUNDS": "yes", "NIGHTORDERS_TITLE": "Reef 3",
        "NIGHTORDERS_DUE": "2026-05-14T22:40:00+00:00", "NIGHTORDERS_AT": "2026-05-14T20:00:00+00:00",
    }


def test_a_command_that_fails_is_said_with_its_last_words() -> None:
    answer = CommandChannel("c", SHIP, command=["sh", "-c", "echo starting >&2; echo no lamp >&2; exit 3"]).send(CALL, WAIT_S)
    assert answer == Failed("sh ended with 3: no lamp")


def test_a_command_that_hangs_is_ended_with_all_it_started(tmp_path: Path) -> None:
    pid = tmp_path / "pid"
    answer = CommandChannel("c", SHIP, command=["sh", "-c", f"sleep 60 & echo $! > {pid}; wait"]).send(CALL, 0.5)
    assert answer == Failed("sh did not end within 0.5 s")
    state = subprocess.run(["ps", "-o", "stat=", "-p", pid.read_text().strip()], capture_output=True, text=True).stdout.strip()
    assert state == "" or state.startswith("Z")


def test_a_command_that_leaves_something_running_holds_nothing_up() -> None:
    assert CommandChannel("c", SHIP, command=["sh", "-c", "sleep 2 &"]).send(CALL, 1.5) == Sent()


def test_a_command_that_is_not_there_is_not_tried_again() -> None:
    answer = CommandChannel("c", SHIP, command=["/no/such/lamp"]).send(CALL, WAIT_S)
    assert answer == Failed("/no/such/lamp cannot be run: no such file or directory", retry=False)


# webhook


def test_a_webhook_is_signed_and_carries_the_call(httpserver: HTTPServer) -> None:
    httpserver.expect_oneshot_request("/calls", method="POST").respond_with_data("ok")
    key = Secret("a key of the sailor")
    channel = WebhookChannel("w", url=Secret(httpserver.url_for("/calls")), key=key, clock=lambda: 1778788800.7)
    assert channel.send(CALL, WAIT_S) == Sent("200")
    channel.close()
    request, _ = httpserver.log[0]
    body = request.get_data()
    assert request.headers[TIMESTAMP] == "1778788800"
    expected = hmac.new(key.reveal().encode(), b"1778788800." + body, hashlib.sha256).hexdigest()
    assert request.headers[SIGNATURE] == f"sha256={expected}"
    assert json.loads(body) | {"priority": "alarm", "reason": "worse than you were told", "due": "2026-05-14T22:40:00Z",
                               "alert": "front.thursday", "sounds": True, "repeat": 2} == json.loads(body)


@pytest.mark.parametrize(("status", "retry"), [(500, True), (503, True), (429, True), (400, False), (403, False), (302, False)])
def test_what_a_web_server_refuses_is_said(httpserver: HTTPServer, status: int, retry: bool) -> None:
    httpserver.expect_request("/calls").respond_with_data("", status=status, headers={"Location": "/elsewhere"})
    channel = WebhookChannel("w", url=Secret(httpserver.url_for("/calls")), key=None)
    assert channel.send(CALL, WAIT_S) == Failed(f"the other side answered {status}", retry=retry)
    channel.close()
    assert len(httpserver.log) == 1


def test_a_web_server_that_says_nothing_is_given_up() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        channel = WebhookChannel("w", url=Secret(f"http://127.0.0.1:{silent.getsockname()[1]}/"), key=None)
        assert channel.send(CALL, 0.3) == Failed("no answer within 0.3 s")
        channel.close()


def test_a_web_server_that_is_not_there_is_said(dead_port: int) -> None:
    channel = WebhookChannel("w", url=Secret(f"http://127.0.0.1:{dead_port}/calls"), key=None)
    assert channel.send(CALL, WAIT_S) == Failed("the address cannot be reached")
    channel.close()


# mail


class Sink:
    """Keeps what mail came, and lets in who knows the password."""

    def __init__(self) -> None:
        self.mails: list[tuple[list[str], bytes]] = []

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        self.mails.append((envelope.rcpt_tos, envelope.content))
        return "250 OK"

    def knows(self, server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        return AuthResult(success=(data.login, data.password) == (b"kittiwake", b"harbour"), handled=False)


@pytest.fixture
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def sink() -> Sink:
    return Sink()


def mail_server(sink: Sink, authority: trustme.CA, security: str) -> Controller:
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost").configure_cert(context)

    class OwnPort(Controller):
        def factory(self) -> SMTP:
            starttls = context if security == "starttls" else None
            return SMTP(
                self.handler, authenticator=sink.knows, auth_required=starttls is not None, auth_require_tls=starttls is not None,
                tls_context=starttls, require_starttls=starttls is not None,
            )

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    return OwnPort(sink, hostname="127.0.0.1", port=port, ssl_context=context if security == "ssl" else None)


@pytest.fixture(params=["starttls", "ssl", "none"])
def server(request: pytest.FixtureRequest, sink: Sink, authority: trustme.CA) -> Iterator[tuple[str, int]]:
    controller = mail_server(sink, authority, request.param)
    controller.start()
    yield request.param, controller.port
    controller.stop()


def mail_channel(security: str, port: int, ca_file: Path | None = None, password: str = "harbour") -> MailChannel:
    login = {} if security == "none" else {"user": "kittiwake", "password": Secret(password)}
    return MailChannel(
        "m", SHIP, host="localhost", port=port, security=security, sender="kittiwake@example.org", to=["ashore@example.org"],
        ca_file=ca_file, **login,  # type: ignore[arg-type]
    )


def test_a_mail_arrives_encrypted_or_not_as_asked(
    server: tuple[str, int], sink: Sink, authority: trustme.CA, tmp_path: Path
) -> None:
    security, port = server
    ca_file = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(ca_file))
    assert mail_channel(security, port, ca_file).send(replace(CALL, title="Reef 3\r\nBcc: all@example.org"), WAIT_S) == Sent()
    (to, content), = sink.mails
    assert to == ["ashore@example.org"]
    head, _, body = content.decode().replace("\r\n", "\n").partition("\n\n")
    assert "Subject: ALARM: Reef 3 Bcc: all@example.org" in head.replace("\n ", " ")
    assert not any(line.startswith("Bcc") for line in head.splitlines())
    assert "Why: gust 38 kn" in body


def test_a_server_with_a_certificate_nobody_vouches_for_gets_no_password(sink: Sink, authority: trustme.CA) -> None:
    for security in ("starttls", "ssl"):
        controller = mail_server(sink, authority, security)
        controller.start()
        answer = mail_channel(security, controller.port).send(CALL, WAIT_S)
        controller.stop()
        assert answer == Failed("the mail server's certificate is not to be trusted", retry=False)
    assert sink.mails == []


def test_a_wrong_password_is_said(sink: Sink, authority: trustme.CA, tmp_path: Path) -> None:
    ca_file = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(ca_file))
    controller = mail_server(sink, authority, "starttls")
    controller.start()
    answer = mail_channel("starttls", controller.port, ca_file, password="haven").send(CALL, WAIT_S)
    controller.stop()
    assert answer == Failed("the mail server does not take the name and password", retry=False)


def test_a_server_that_offers_no_encryption_gets_no_mail(sink: Sink, authority: trustme.CA) -> None:
    controller = mail_server(sink, authority, "none")
    controller.start()
    answer = mail_channel("starttls", controller.port).send(CALL, WAIT_S)
    controller.stop()
    assert answer == Failed("the mail server does not offer encryption, or no login", retry=False)
    assert sink.mails == []


def test_a_mail_server_that_is_not_there_is_said(dead_port: int) -> None:
    assert mail_channel("none", dead_port).send(CALL, WAIT_S) == Failed("the other side refuses the connection")


def test_a_mail_server_that_says_nothing_is_given_up() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        assert mail_channel("none", silent.getsockname()[1]).send(CALL, 0.3) == Failed("no answer within 0.3 s")


# push: the library warns of modules that will go from Python's own library


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_push_service_gets_the_call(httpserver: HTTPServer) -> None:
    httpserver.expect_request("/token-of-the-phone").respond_with_data("ok")
    address = httpserver.url_for("/token-of-the-phone").replace("http://", "json://")
    assert PushChannel("p", SHIP, addresses=Secret(address)).send(CALL, WAIT_S) == Sent()
    content = json.loads(httpserver.log[0][0].get_data())
    assert content["title"].startswith("ALARM: Reef 3")
    assert "Take it in." in content["message"]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_push_service_that_refuses_is_said(httpserver: HTTPServer) -> None:
    httpserver.expect_request("/x").respond_with_data("", status=500)
    channel = PushChannel("p", SHIP, addresses=Secret(httpserver.url_for("/x").replace("http://", "json://")))
    assert channel.send(CALL, WAIT_S) == Failed("a push service did not take it")


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_an_address_of_no_service_is_said_without_the_address() -> None:
    with pytest.raises(BadInputError, match="address 2 of its secret") as caught:
        PushChannel("p", SHIP, addresses=Secret("json://localhost/x\nnosuch://hidden-token/"))
    assert "hidden-token" not in str(caught.value)


# MQTT


class Broker(threading.Thread):
    """As much of an MQTT 3.1.1 broker as it takes to accept one message a connection (source mqtt-1)."""

    def __init__(self, *, code: int = 0, deaf: bool = False) -> None:
        super().__init__(daemon=True)
        self._server, self._code, self._deaf = socket.create_server(("127.0.0.1", 0)), code, deaf
        self.port = self._server.getsockname()[1]
        self.messages: list[tuple[str, bool, Any]] = []
        self.start()

    def run(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            with connection:
                while not self._deaf and (packet := self._packet(connection)) is not None:
                    self._answer(connection, *packet)

    def _packet(self, connection: socket.socket) -> tuple[int, bytes] | None:
        head = connection.recv(1)
        if not head:
            return None
        length, shift = 0, 0
        while True:
            byte = connection.recv(1)[0]
            length |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        body = b""
        while len(body) < length:
            body += connection.recv(length - len(body))
        return head[0], body

    def _answer(self, connection: socket.socket, head: int, body: bytes) -> None:
        if head >> 4 == 1:
            connection.sendall(bytes([0x20, 2, 0, self._code]))
        elif head >> 4 == 3:
            size, = struct.unpack(">H", body[:2])
            self.messages.append((body[2:2 + size].decode(), bool(head & 1), json.loads(body[4 + size:])))
            connection.sendall(bytes([0x40, 2]) + body[2 + size:4 + size])

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()


def mqtt(port: int) -> MqttChannel:
    return MqttChannel("q", host="127.0.0.1", port=port, topic="boat")


@pytest.mark.source("mqtt-1")
def test_a_broker_gets_each_call_and_keeps_what_stands() -> None:
    broker = Broker()
    assert mqtt(broker.port).send(CALL, WAIT_S) == Sent()
    situation = Situation(key="job.reef", priority=Priority.ALARM, title="Reef", text="t", why="w", clears="c")
    book, _ = step(AlertBook(), [situation], [], NOW)
    assert mqtt(broker.port).show(book, WAIT_S) == Sent()
    broker.close()
    (topic, kept, call), (where, retained, standing) = broker.messages
    assert (topic, kept, call["title"]) == ("boat/calls", False, "Reef 3")
    assert (where, retained, [a["alert"] for a in standing["alerts"]]) == ("boat/alerts", True, ["job.reef"])


@pytest.mark.source("mqtt-1")
def test_a_broker_that_refuses_is_said() -> None:
    broker = Broker(code=5)
    answer = mqtt(broker.port).send(CALL, WAIT_S)
    broker.close()
    assert answer == Failed("the broker refuses: not authorized", retry=False)


def test_a_broker_that_says_nothing_is_given_up() -> None:
    broker = Broker(deaf=True)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        assert mqtt(silent.getsockname()[1]).send(CALL, 0.3) == Failed("no answer within 0.3 s")
    broker.close()


def test_a_broker_that_is_not_there_is_said(dead_port: int) -> None:
    assert mqtt(dead_port).send(CALL, WAIT_S) == Failed("the other side refuses the connection")


def test_every_channel_keeps_its_call_type() -> None:
    """A caution is sent as any other where it is wanted: it rings no bell, and makes no sound."""
    out = io.StringIO()
    caution: Call = replace(CALL, priority=Priority.CAUTION, reason=Reason.NEW)
    assert TerminalChannel("t", SHIP, stream=out).send(caution, WAIT_S) == Sent()
    assert out.getvalue().startswith("CAUTION: Reef 3")
