"""(I/O) Alert sentences over UDP or TCP, and the commands that come back. The sentences: watch.alerts.sentences."""

import select
import socket
from collections.abc import Sequence
from typing import Any

from watch.alerts.book import Acknowledge, AlertBook, Call, Event, Reason, Refused, Silence
from watch.alerts.channels.channel import Answer, Failed, Sent, in_words
from watch.alerts.sentences import AlertName, Command, Standing, alc, alf, arc, clock, command, hbt, read
from watch.alerts.states import State

MOST_AT_ONCE = 65_536  # bytes
LONGEST_LINE = 200  # bytes; what is longer and has no end is no sentence
REPLY_S = 1.0  # time allowed for an answer to a command


class Nmea0183Channel:
    """ALF at each change, ALC and HBT at each show, ARC for what is refused; ACN comes in. By UDP nobody says whether it arrived.

    Used from one thread, except `understand`, which only reads the book and remembers which alert was meant.
    """

    def __init__(
        self, name: str, *, transport: str, host: str, port: int, listen_port: int | None = None, talker: str = "II",
        maker: str = "", identifier: int = 10001, heartbeat_s: float = 30.0,
    ):
        self.name, self._transport, self._address, self._listen_port = name, transport, (host, port), listen_port
        self._talker, self._maker, self._identifier, self._heartbeat_s = talker, maker, identifier, heartbeat_s
        self._out: socket.socket | None = None
        self._target: Any = None  # where UDP goes, once the name was looked up
        self._ear: socket.socket | None = None
        self._sequence, self._rest = 0, b""
        self._last: dict[int, list[str]] = {}  # the last sentences of each alert, to repeat on request
        self._meant: dict[str, int] = {}  # the instance by which an alert was named to us

    def send(self, call: Call, timeout_s: float) -> Answer:
        standing = Standing(
            name=self._named(call.number), changed_at=call.changed_at, priority=call.priority, state=call.state,
            revision=call.revision, escalation=call.escalation, title=call.title, text=" ".join([*call.news, call.text]),
        )
        lines = alf(standing, self._next(), self._talker)
        self._last[call.number] = lines
        if call.state is State.NORMAL or call.reason is Reason.TEST:
            self._last.pop(call.number)
        return self._write(lines, timeout_s)

    def show(self, book: AlertBook, timeout_s: float) -> Answer:
        entries = [(self._named(alert.number), alert.revision) for alert in book.alerts if alert.state is not State.NORMAL]
        number = self._next()
        beat = hbt(self._heartbeat_s, working=True, sequence=number, talker=self._talker)
        return self._write([*alc(entries, number, self._talker), beat], timeout_s)

    def refuse(self, refused: Sequence[Refused], timeout_s: float) -> Answer:
        lines = []
        for each in refused:
            instance = self._meant.get(each.event.alert)
            letter = "A" if isinstance(each.event, Acknowledge) else "S"
            if instance is not None:
                lines.append(arc(clock(each.at), self._named(instance), letter, self._talker))
        return self._write(lines, timeout_s)

    def listen(self) -> Sequence[object] | Failed:
        """The commands to us that came in since the last time, without waiting; what is garbled or not for us is passed over."""
        try:
            data = self._received()
        except OSError as error:
            return Failed(f"commands cannot be heard: {in_words(error, REPLY_S)}", retry=False)
        *lines, rest = (self._rest + data).replace(b"\r", b"\n").split(b"\n")
        self._rest = rest[-LONGEST_LINE:]
        commands = [found for line in lines if (found := self._command(line)) is not None]
        return [found for found in commands if not self._answered(found)]

    def understand(self, heard: object, book: AlertBook) -> list[Event]:
        if not isinstance(heard, Command) or heard.name.instance is None:
            return []
        alert = book.numbered(heard.name.instance)
        name = alert.name if alert else f"instance.{heard.name.instance}"
        self._meant[name] = heard.name.instance
        deed = Acknowledge if heard.deed == "acknowledge" else Silence
        return [deed(alert=name, who="an alert display", where=self.name)]

    def close(self) -> None:
        for each in (self._out, self._ear):
            if each is not None:
                each.close()
        self._out = self._ear = None

    def _named(self, instance: int) -> AlertName:
        return AlertName(maker=self._maker, identifier=self._identifier, instance=instance)

    def _next(self) -> int:
        self._sequence = (self._sequence + 1) % 10
        return self._sequence

    def _command(self, line: bytes) -> Command | None:
        try:
            found = command(read(line.decode("ascii")))
        except (ValueError, UnicodeDecodeError):
            return None
        ours = found is not None and (found.name.maker, found.name.identifier) == (self._maker, self._identifier)
        return found if ours else None

    def _answered(self, found: Command) -> bool:
        """Requests to repeat are answered here; what names no alert, or wants the responsibility, is refused here."""
        instance = found.name.instance
        if found.deed == "repeat":
            wanted = self._last if instance is None else {instance: self._last.get(instance, [])}
            self._write([line for lines in wanted.values() for line in lines], REPLY_S)
            return True
        if found.deed == "transfer" or instance is None:
            self._write([arc(found.time, found.name, found.letter, self._talker)], REPLY_S)
            return True
        return False

    def _write(self, lines: Sequence[str], timeout_s: float) -> Answer:
        if not lines:
            return Sent()
        try:
            out = self._out = self._out or self._open(timeout_s)
            out.settimeout(timeout_s)
            for line in lines:
                if self._transport == "tcp":
                    out.sendall(line.encode("ascii"))
                else:
                    out.sendto(line.encode("ascii"), self._target)
        except OSError as error:
            self._drop()
            return Failed(in_words(error, timeout_s))
        return Sent()

    def _open(self, timeout_s: float) -> socket.socket:
        if self._transport == "tcp":
            return socket.create_connection(self._address, timeout_s)
        family, kind, _, _, address = socket.getaddrinfo(*self._address, type=socket.SOCK_DGRAM)[0]
        out = socket.socket(family, kind)
        out.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        self._target = address
        return out

    def _drop(self) -> None:
        if self._out is not None:
            self._out.close()
        self._out, self._rest = None, b""

    def _received(self) -> bytes:
        """What is waiting on the connection (TCP) or on the port for commands (UDP)."""
        if self._transport == "udp" and self._listen_port is not None and self._ear is None:
            self._ear = _bound(self._listen_port)
        source = self._out if self._transport == "tcp" else self._ear
        data = b""
        while source is not None and len(data) < MOST_AT_ONCE and select.select([source], [], [], 0)[0]:
            piece = source.recv(MOST_AT_ONCE)
            if not piece and self._transport == "tcp":  # the other side hung up: the next message connects again
                self._drop()
                break
            data += piece + (b"\n" if self._transport == "udp" else b"")
        return data


def _bound(port: int) -> socket.socket:
    ear = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        ear.bind(("", port))
    except OSError:
        ear.close()
        raise
    return ear
