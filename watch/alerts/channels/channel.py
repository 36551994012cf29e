"""What every channel is: something a call is sent on, that answers in time whether it went."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from watch.alerts.book import AlertBook, Call, Event, Refused
from watch.faults import BadInputError


@dataclass(frozen=True)
class Sent:
    """It went. detail: what the other side said, if anything."""

    detail: str = ""


@dataclass(frozen=True)
class Failed:
    """It did not go. reason: for the sailor, without a secret. retry: whether trying this call again makes sense."""

    reason: str
    retry: bool = True


Answer = Sent | Failed


class Channel(Protocol):
    """A way out. `send` never raises for a fault of the world, and never takes much longer than timeout_s."""

    name: str

    def send(self, call: Call, timeout_s: float) -> Answer: ...

    def close(self) -> None: ...


@runtime_checkable
class Display(Protocol):
    """A channel that shows how everything stands, and is told again and again so that it cannot go stale."""

    def show(self, book: AlertBook, timeout_s: float) -> Answer: ...


@runtime_checkable
class Listener(Protocol):
    """A channel that people answer on. listen takes what came in, without waiting; understand turns it into events."""

    def listen(self) -> Sequence[object] | Failed: ...

    def understand(self, heard: object, book: AlertBook) -> list[Event]: ...

    def refuse(self, refused: Sequence[Refused], timeout_s: float) -> Answer: ...


def missing(channel: str, library: str) -> BadInputError:
    """The error of a channel whose optional library is not installed."""
    return BadInputError("alerts", [f'channel {channel} wants the library {library}: pip install "nightorders[alerts]"'])


def in_words(error: BaseException, timeout_s: float) -> str:
    """A fault of the network or the system -> a reason for the sailor, without an address in it.

    >>> in_words(ConnectionRefusedError(111, "Connection refused"), 5.0)
    'the other side refuses the connection'
    """
    if isinstance(error, TimeoutError):
        return f"no answer within {timeout_s:g} s"
    if isinstance(error, ConnectionRefusedError):
        return "the other side refuses the connection"
    if isinstance(error, ConnectionError):
        return "the connection broke"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return f"it failed ({type(error).__name__})"
