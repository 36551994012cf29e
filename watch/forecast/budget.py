"""What a fetch may cost, what it did cost, and the ways in which it can end early."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from watch.faults import legible
from watch.forecast.catalogue import checked_url

LATER = timedelta(minutes=30)


class Reason(StrEnum):
    """Why a fetch ended before everything was there."""

    NOT_YET = "not there yet"
    TOO_BIG = "over the size limit"
    TOO_LONG = "over the time limit"
    LINK = "the link broke"
    BUSY = "the server is busy"
    NOT_GRIB = "not GRIB"
    WHOLE_ONLY = "no parts of files"
    CHANGED = "changed meanwhile"
    ANSWER = "a wrong answer"
    DAMAGED = "damaged"
    DISK = "the disk"
    COMPUTER = "this computer"


class StopError(Exception):
    """The fetch cannot go on. sentence: for the sailor. retry_at: when trying again makes sense, None when that is up to her."""

    def __init__(self, reason: Reason, sentence: str, retry_at: datetime | None = None) -> None:
        self.reason, self.sentence, self.retry_at = reason, legible(sentence), retry_at
        super().__init__(self.sentence)


class AgainError(Exception):
    """This exchange failed in a way that may pass. wait_s: what the server asked for, None to wait as usual."""

    def __init__(self, reason: Reason, sentence: str, wait_s: float | None = None) -> None:
        self.reason, self.sentence, self.wait_s = reason, legible(sentence), wait_s
        super().__init__(self.sentence)


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What one fetch may cost: bytes both ways (headers counted, the dressing of lower layers not), seconds, and patience.

    connect_s: for a connection. stall_s: without a byte. tries: in a row that bring nothing. backoff_s: wait before the second try,
    doubled each time up to max_wait_s; a server that asks for longer ends the fetch. begin_if_over: begin even when the estimate is
    over max_bytes, nearest days first. proxy_url: of the satellite terminal, say; no setting of the computer's is taken.
    """

    max_bytes: int = 10_000_000
    max_seconds: float = 1800.0
    connect_s: float = 30.0
    stall_s: float = 60.0
    tries: int = 5
    backoff_s: float = 2.0
    max_wait_s: float = 120.0
    begin_if_over: bool = False
    proxy_url: str | None = None

    def __post_init__(self) -> None:
        numbers = (self.max_bytes, self.max_seconds, self.connect_s, self.stall_s, self.tries, self.backoff_s, self.max_wait_s)
        if not all(number > 0 for number in numbers):
            raise ValueError("a budget's numbers must all be above nothing")
        if self.proxy_url is not None:
            checked_url(self.proxy_url)


@dataclass(frozen=True, kw_only=True)
class Clock:
    """Time as the caller has it: the instant now (aware), seconds that only ever rise, and a way to wait."""

    now: Callable[[], datetime]
    monotonic_s: Callable[[], float]
    sleep: Callable[[float], None]


@dataclass(frozen=True, kw_only=True)
class Spent:
    """What a fetch cost."""

    bytes: int
    seconds: float
    exchanges: int


def megabytes(count: int) -> str:
    """Bytes for a person.

    >>> megabytes(1_234_000), megabytes(900)
    ('1.2 MB', '1 kB')
    """
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{max(1, round(count / 1e3))} kB"
