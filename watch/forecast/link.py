"""One exchange with a server after another, within a budget of bytes and time that is kept while the bytes come (I/O)."""

import contextlib
import http.cookiejar
import logging
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import TypeVar
from urllib.parse import urljoin

import requests
import urllib3.exceptions

from watch.forecast.budget import LATER, AgainError, Budget, Clock, Reason, Spent, StopError, megabytes
from watch.forecast.catalogue import checked_url, shown_url

LOG = logging.getLogger(__name__)
T = TypeVar("T")

CHUNK = 1 << 14
REDIRECTS = 5
PROGRESS_BYTES = 4096  # an exchange that brought this much was not for nothing: the count of tries begins anew
LINE_BYTES = 20  # of a status line
MOST_DIGITS = 18  # of a count of bytes or seconds
LONGEST_AWAY_S = 7 * 86400.0  # a server that wants to be left alone for longer is asked again after a week all the same


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A server's answer, its body still to come."""

    status: int
    headers: Mapping[str, str]
    url: str
    raw: urllib3.BaseHTTPResponse

    @property
    def length(self) -> int | None:
        """Bytes of the body as declared."""
        text = self.headers.get("Content-Length", "")
        return int(text) if text.isdecimal() and len(text) <= MOST_DIGITS else None

    @property
    def encoding(self) -> str:
        return self.headers.get("Content-Encoding", "").strip().lower() or "identity"


class Link:
    """A session with servers, and the count of what it has cost. Not for two threads at once."""

    def __init__(self, budget: Budget, clock: Clock, random: Callable[[], float], tick: Callable[[], None] = lambda: None) -> None:
        self.budget, self.clock, self._random, self._tick = budget, clock, random, tick
        self.bytes = self.exchanges = 0
        self._began_s = clock.monotonic_s()
        self._session = requests.Session()
        self._session.trust_env = False  # neither passwords nor proxies from files of the computer's
        self._session.cookies.set_policy(http.cookiejar.DefaultCookiePolicy(allowed_domains=[]))
        self._session.headers.update({"User-Agent": "nightorders", "Accept": "*/*"})
        if budget.proxy_url:
            self._session.proxies = {"http": budget.proxy_url, "https": budget.proxy_url}
        # Below warnings urllib3 writes whole addresses to the log, and an address may hold a secret.
        logging.getLogger("urllib3").setLevel(logging.WARNING)

    def close(self) -> None:
        self._session.close()

    @property
    def room(self) -> int:
        """Bytes left of the budget."""
        return max(0, self.budget.max_bytes - self.bytes)

    @property
    def seconds_left(self) -> float:
        return self.budget.max_seconds - (self.clock.monotonic_s() - self._began_s)

    @property
    def spent(self) -> Spent:
        return Spent(bytes=self.bytes, seconds=self.clock.monotonic_s() - self._began_s, exchanges=self.exchanges)

    def check(self) -> None:
        """Raises StopError when the budget is used up."""
        if self.room == 0:
            raise StopError(Reason.TOO_BIG, f"stopped at the limit of {megabytes(self.budget.max_bytes)}")
        if self.seconds_left <= 0.0:
            raise StopError(Reason.TOO_LONG, f"stopped at the limit of {self.budget.max_seconds / 60.0:.0f} minutes")

    @contextlib.contextmanager
    def ask(self, url: str, headers: Mapping[str, str] | None = None, method: str = "GET") -> Iterator[Answer]:
        """One exchange, redirections followed: gives the answer when it is 200, 206 or 416. Raises StopError or AgainError."""
        answer, response = self._followed(method, url, headers or {})
        try:
            _refuse(answer, self.clock.now())
            yield answer
        finally:
            response.close()

    def body(self, answer: Answer) -> Iterator[bytes]:
        """The bytes of a body as they come, still encoded as they were sent; the budget is kept at every piece."""
        got = 0
        while got != answer.length:
            self.check()
            with _link_faults(answer.url):
                piece = answer.raw.read1(min(CHUNK, self.room), decode_content=False)
            if not piece:
                break
            got += len(piece)
            self.bytes += len(piece)
            self._tick()
            yield piece
        if answer.length is not None and got < answer.length:
            raise AgainError(Reason.LINK, f"{shown_url(answer.url)} broke off after {got} of {answer.length} bytes")

    def tries(self, action: Callable[[], T]) -> T:
        """Does an action until it works, waiting longer after each failure; gives up with StopError."""
        failed = 0
        while True:
            self.check()
            before = self.bytes
            try:
                return action()
            except AgainError as again:
                failed = failed + 1 if self.bytes - before < PROGRESS_BYTES else 1
                self._wait_after(again, failed)

    def _wait_after(self, again: AgainError, failed: int) -> None:
        LOG.info("%s (try %d)", again.sentence, failed)
        now = self.clock.now()
        if again.wait_s is not None:
            wait_s = again.wait_s
            if wait_s > min(self.budget.max_wait_s, self.seconds_left):
                raise StopError(again.reason, again.sentence, now + timedelta(seconds=wait_s))
        else:
            wait_s = min(self.budget.max_wait_s, self.budget.backoff_s * 2.0 ** min(failed - 1, 30)) * (0.5 + 0.5 * self._random())
        if failed >= self.budget.tries or wait_s > self.seconds_left:
            raise StopError(again.reason, f"{again.sentence}; tried {failed} times", now + LATER)
        self.clock.sleep(wait_s)

    def _followed(self, method: str, url: str, headers: Mapping[str, str]) -> tuple[Answer, requests.Response]:
        for _ in range(REDIRECTS + 1):
            response = self._sent(method, url, headers)
            answer = Answer(status=response.status_code, headers=response.headers, url=url, raw=response.raw)
            if answer.status not in (301, 302, 303, 307, 308):
                return answer, response
            response.close()
            try:
                target = checked_url(urljoin(url, answer.headers.get("Location", "")))
            except ValueError:
                raise StopError(Reason.ANSWER, f"{shown_url(url)} sends on to what is no web address") from None
            if url.startswith("https:") and not target.startswith("https:"):
                raise StopError(Reason.ANSWER, f"{shown_url(url)} sends on to an open connection, {shown_url(target)}: not followed")
            url = target
        raise StopError(Reason.ANSWER, f"{shown_url(url)} sends on and on: not followed")

    def _sent(self, method: str, url: str, headers: Mapping[str, str]) -> requests.Response:
        self.check()
        self.exchanges += 1
        with _link_faults(url):
            request = self._session.prepare_request(requests.Request(method, url, headers=dict(headers)))
            self.bytes += LINE_BYTES + len(request.path_url) + _size(request.headers)
            stall_s = min(self.budget.stall_s, max(self.seconds_left, 1.0))
            # Straight to the adapter: the session would itself read where an answer sends on to, and the answer's body with it.
            response = self._session.get_adapter(url).send(
                request, stream=True, timeout=(self.budget.connect_s, stall_s), proxies=self._session.proxies)
        self.bytes += LINE_BYTES + _size(response.headers)
        LOG.info("%s %s: %d", method, shown_url(url), response.status_code)
        return response


def decoded(pieces: Iterable[bytes], answer: Answer, limit: int) -> Iterator[bytes]:
    """Takes off a body's encoding, plain or gzip; raises StopError for any other, and when more than `limit` bytes come out."""
    if answer.encoding == "identity":
        yield from pieces
        return
    if answer.encoding not in ("gzip", "x-gzip"):
        raise StopError(Reason.ANSWER, f"{shown_url(answer.url)} is sent in an encoding that was not asked for ({answer.encoding[:20]})")
    reader, total = zlib.decompressobj(31), 0
    for piece in pieces:
        data = piece
        while data and not reader.eof:
            try:
                plain = reader.decompress(data, CHUNK)
            except zlib.error:
                raise AgainError(Reason.DAMAGED, f"{shown_url(answer.url)} came damaged") from None
            data = reader.unconsumed_tail
            total += len(plain)
            if total > limit:
                raise StopError(Reason.ANSWER, f"{shown_url(answer.url)} unpacks to more than {megabytes(limit)}: not taken")
            if plain:
                yield plain
    while not reader.eof:
        plain = reader.decompress(b"", CHUNK)
        if not plain:
            raise AgainError(Reason.LINK, f"{shown_url(answer.url)} broke off")
        yield plain


def _size(headers: Mapping[str, str]) -> int:
    return sum(len(key) + len(value) + 4 for key, value in headers.items())


def _refuse(answer: Answer, now: datetime) -> None:
    status, shown = answer.status, shown_url(answer.url)
    if status in (200, 206, 416):
        return
    if status in (403, 404, 410):
        raise StopError(Reason.NOT_YET, f"{shown} is not there yet ({status}): try later", now + LATER)
    if status in (408, 425, 429) or status >= 500:
        reason = Reason.BUSY if status in (429, 503) else Reason.ANSWER
        said = "the server is busy" if reason == Reason.BUSY else "the server failed; a field or a step that it does not have can be why"
        raise AgainError(reason, f"{shown}: {said} ({status})", _retry_after_s(answer, now))
    raise StopError(Reason.ANSWER, f"{shown}: the server does not give it ({status})")


def _retry_after_s(answer: Answer, now: datetime) -> float | None:
    """Seconds that the server asks to be left alone; a date is held against the server's own clock, for the ship's may be wrong."""
    text = answer.headers.get("Retry-After", "").strip()
    if text.isdecimal():
        return min(float(text[:MOST_DIGITS]), LONGEST_AWAY_S)
    until, its_now = _http_date(text), _http_date(answer.headers.get("Date", "")) or now
    return None if until is None else min(max(0.0, (until - its_now).total_seconds()), LONGEST_AWAY_S)


def _http_date(text: str) -> datetime | None:
    try:
        found = parsedate_to_datetime(text)
    except (ValueError, TypeError):
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


@contextlib.contextmanager
def _link_faults(url: str) -> Iterator[None]:
    """Every way in which a link can fail -> AgainError, or StopError where trying again is no use."""
    shown = shown_url(url)
    try:
        yield
    except (requests.exceptions.SSLError, urllib3.exceptions.SSLError):
        why = "its certificate cannot be checked; is the ship's computer set to the right date?"
        raise StopError(Reason.LINK, f"{shown}: {why}") from None
    except (requests.exceptions.Timeout, urllib3.exceptions.TimeoutError, TimeoutError):
        raise AgainError(Reason.LINK, f"{shown}: nothing came for a long time") from None
    except (requests.exceptions.ConnectionError, requests.exceptions.ChunkedEncodingError):
        raise AgainError(Reason.LINK, f"{shown}: the link broke") from None
    except (requests.exceptions.RequestException, UnicodeError):
        raise StopError(Reason.ANSWER, f"{shown}: no address that can be asked") from None
    except (urllib3.exceptions.HTTPError, OSError):
        raise AgainError(Reason.LINK, f"{shown}: the link broke") from None
