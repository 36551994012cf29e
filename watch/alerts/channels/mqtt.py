"""(I/O) An MQTT broker: each call on <topic>/calls, and all that stands, kept by the broker, on <topic>/alerts."""

import json
import threading
from functools import partial
from typing import Any

from watch.alerts.book import AlertBook, Call, Reason, call_of
from watch.alerts.channels.channel import Answer, Failed, Sent, in_words, missing
from watch.alerts.kept import call_to_dict
from watch.alerts.secrets import Secret

AT_LEAST_ONCE = 1  # the quality of service asked for


class MqttChannel:
    """A connection a message. Raises BadInputError when the library paho-mqtt is missing."""

    def __init__(
        self, name: str, *, host: str, port: int, topic: str, tls: bool = False, user: str | None = None,
        password: Secret | None = None,
    ):
        try:
            from paho.mqtt.client import Client
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError:
            raise missing(name, "paho-mqtt") from None
        self.name, self._client = name, partial(Client, CallbackAPIVersion.VERSION2)
        self._host, self._port, self._topic, self._tls, self._user, self._password = host, port, topic, tls, user, password

    def send(self, call: Call, timeout_s: float) -> Answer:
        return self._publish(f"{self._topic}/calls", call_to_dict(call), timeout_s, retain=False)

    def show(self, book: AlertBook, timeout_s: float) -> Answer:
        at = book.as_of
        standing = [] if at is None else [call_to_dict(call_of(alert, Reason.CHANGED, at)) for alert in book.alerts]
        as_of = None if at is None else at.isoformat()
        return self._publish(f"{self._topic}/alerts", {"as_of": as_of, "alerts": standing}, timeout_s, retain=True)

    def close(self) -> None:
        """Nothing to close: a connection is made for each message."""

    def _publish(self, topic: str, content: dict[str, Any], timeout_s: float, *, retain: bool) -> Answer:
        client = self._client()
        client.connect_timeout = timeout_s
        if self._tls:
            client.tls_set()
        if self._user is not None and self._password is not None:
            client.username_pw_set(self._user, self._password.reveal())
        answered, refusal = threading.Event(), list[str]()

        def connected(_client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
            if reason.is_failure:
                refusal.append(str(reason).lower())
            answered.set()

        client.on_connect = connected
        try:
            client.connect(self._host, self._port)
            client.loop_start()
            if not answered.wait(timeout_s):
                return Failed(in_words(TimeoutError(), timeout_s))
            if refusal:
                return Failed(f"the broker refuses: {refusal[0]}", retry=False)
            sent = client.publish(topic, json.dumps(content, ensure_ascii=False).encode(), qos=AT_LEAST_ONCE, retain=retain)
            sent.wait_for_publish(timeout_s)
            return Sent() if sent.is_published() else Failed(in_words(TimeoutError(), timeout_s))
        except (OSError, ValueError, RuntimeError) as error:
            return Failed(in_words(error, timeout_s))
        finally:
            client.disconnect()
            client.loop_stop()
