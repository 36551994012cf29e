"""(I/O) A signed HTTP POST of each call as JSON."""

import hashlib
import hmac
import json
import time
from collections.abc import Callable

import requests

from watch.alerts.book import Call
from watch.alerts.channels.channel import Answer, Failed, Sent, in_words
from watch.alerts.kept import call_to_dict
from watch.alerts.secrets import Secret

TIMESTAMP = "Nightorders-Timestamp"
SIGNATURE = "Nightorders-Signature"


def signature(key: bytes, timestamp: str, body: bytes) -> str:
    """HMAC-SHA256 over the timestamp, a dot and the body, in hexadecimal: the receiver makes the same and compares.

    Refuse a timestamp more than five minutes off, and the same call cannot be played again. Source: hmac-1.
    """
    return hmac_sha256(key, timestamp.encode() + b"." + body)


def hmac_sha256(key: bytes, data: bytes) -> str:
    """A key and data -> HMAC-SHA256 in hexadecimal. Source: hmac-1."""
    return hmac.new(key, data, hashlib.sha256).hexdigest()


class WebhookChannel:
    """Posts each call. url: the address, secret or not. key: what it is signed with; unsigned when None."""

    def __init__(self, name: str, *, url: Secret, key: Secret | None, clock: Callable[[], float] = time.time):
        self.name, self._url, self._key, self._clock = name, url, key, clock
        self._session = requests.Session()

    def send(self, call: Call, timeout_s: float) -> Answer:
        body = json.dumps(call_to_dict(call), ensure_ascii=False).encode()
        headers = {"Content-Type": "application/json", "User-Agent": "nightorders", TIMESTAMP: str(int(self._clock()))}
        if self._key is not None:
            headers[SIGNATURE] = "sha256=" + signature(self._key.reveal().encode(), headers[TIMESTAMP], body)
        return post(self._session, "POST", self._url, body, headers, timeout_s)

    def close(self) -> None:
        self._session.close()


def post(session: requests.Session, method: str, url: Secret, body: bytes, headers: dict[str, str], timeout_s: float) -> Answer:
    """One request, no redirects, the body of the answer left unread: a slow other side holds nothing up."""
    try:
        with session.request(
            method, url.reveal(), data=body, headers=headers, timeout=timeout_s, allow_redirects=False, stream=True
        ) as answer:
            status = answer.status_code
    except requests.Timeout:
        return Failed(in_words(TimeoutError(), timeout_s))
    except (requests.ConnectionError, requests.exceptions.ChunkedEncodingError):
        return Failed("the address cannot be reached")
    except (requests.RequestException, UnicodeError):
        return Failed("the address is none that can be posted to", retry=False)
    if 200 <= status < 300:
        return Sent(str(status))
    # 408, 425, 429 and the fives may pass; the other fours will not, and a redirect wants the settings put right
    return Failed(f"the other side answered {status}", retry=status >= 500 or status in (408, 425, 429))
