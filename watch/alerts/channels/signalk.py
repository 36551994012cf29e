"""(I/O) A Signal K server: notifications by websocket, with what comes back, or by PUT."""

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from typing import Any

import requests

from watch.alerts.book import AlertBook, Call, Event, Reason, Refused
from watch.alerts.channels.channel import Answer, Failed, Sent, in_words, missing
from watch.alerts.channels.webhook import post
from watch.alerts.notifications import BRANCH, Value, delta, events_of, path_of, subscription, value_of, values_in
from watch.alerts.secrets import Secret
from watch.alerts.states import State

MOST_MESSAGES = 200  # taken in one turn


class SignalKPut:
    """A PUT for each call: well defined, but the server must have a handler for our notifications; nothing comes back."""

    def __init__(self, name: str, *, url: str, token: Secret | None):
        self.name, self._url, self._token = name, url.rstrip("/"), token
        self._session = requests.Session()

    def send(self, call: Call, timeout_s: float) -> Answer:
        headers = {"Content-Type": "application/json"}
        if self._token is not None:
            headers["Authorization"] = f"Bearer {self._token.reveal()}"
        path = path_of(call.alert).replace(".", "/")
        body = json.dumps({"value": value_of(call)}).encode()
        return post(self._session, "PUT", Secret(f"{self._url}/signalk/v1/api/vessels/self/{path}"), body, headers, timeout_s)

    def close(self) -> None:
        self._session.close()


class SignalKStream:
    """One websocket, made again when it broke. Raises BadInputError when the library websockets is missing."""

    def __init__(self, name: str, *, url: str, token: Secret | None):
        try:
            from websockets.exceptions import InvalidStatus, WebSocketException
            from websockets.sync.client import ClientConnection, connect
        except ImportError:
            raise missing(name, "websockets") from None
        self.name, self._token = name, token
        self._url = "ws" + url.rstrip("/").removeprefix("http") + "/signalk/v1/stream?subscribe=none"
        self._connect, self._refused, self._broken = connect, InvalidStatus, WebSocketException
        self._stream: ClientConnection | None = None
        self._connections = ExitStack()  # holds the one connection there is
        self._sent: dict[str, Value] = {}

    def send(self, call: Call, timeout_s: float) -> Answer:
        path = path_of(call.alert)
        if call.reason is not Reason.TEST:
            self._sent[path] = value_of(call)
        return self._say(delta({path: value_of(call)}, call.at), timeout_s)

    def show(self, book: AlertBook, timeout_s: float) -> Answer:
        """Says all that stands again, and clears what we left there and no longer stands."""
        if book.as_of is None:
            return Sent()
        standing = {path_of(a.name): value_of(a) for a in book.alerts if a.state is not State.NORMAL}
        values: dict[str, Value] = dict.fromkeys(self._sent, None) | standing
        self._sent = dict(values)
        answer = self._say(delta(values, book.as_of), timeout_s)
        if isinstance(answer, Sent):
            self._sent = {path: value for path, value in values.items() if value is not None}
        return answer

    def listen(self) -> Sequence[object] | Failed:
        """The messages that came in since the last time, without waiting; what stands there unknown to us is to be cleared."""
        found: list[object] = []
        try:
            while self._stream is not None and len(found) < MOST_MESSAGES:
                found.append(json.loads(self._stream.recv(timeout=0)))
        except TimeoutError:
            pass
        except (self._broken, OSError):
            self._drop()
        except ValueError:
            pass
        for message in found:
            for _, path, value in values_in(message):
                if path.startswith(BRANCH + ".") and value.get("state") != "normal":
                    self._sent.setdefault(path, None)
        return found

    def understand(self, heard: object, book: AlertBook) -> list[Event]:
        return events_of(heard, book, dict(self._sent), self.name)

    def refuse(self, refused: Sequence[Refused], timeout_s: float) -> Answer:
        """There is no refusal here: the next show puts the notification right."""
        return Sent()

    def close(self) -> None:
        self._drop()

    def _say(self, message: Mapping[str, Any], timeout_s: float) -> Answer:
        try:
            stream = self._stream = self._stream or self._open(timeout_s)
            stream.send(json.dumps(message))
        except self._refused as error:
            return Failed(f"the server refuses us ({error.response.status_code})", retry=False)
        except (self._broken, OSError, ValueError) as error:
            self._drop()
            return Failed(in_words(error, timeout_s))
        return Sent()

    def _open(self, timeout_s: float) -> Any:
        headers = {} if self._token is None else {"Authorization": f"Bearer {self._token.reveal()}"}
        made = self._connect(self._url, additional_headers=headers, open_timeout=timeout_s, close_timeout=1)
        stream = self._connections.enter_context(made)
        stream.send(json.dumps(subscription()))
        return stream

    def _drop(self) -> None:
        self._stream = None
        self._connections.close()
