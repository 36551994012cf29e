"""(I/O) One thread a channel: it alone touches the channel, tries again with growing waits, and keeps account of its health."""

import queue
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from watch.alerts.book import AlertBook, Call, Reason, Refused
from watch.alerts.channels.channel import Answer, Channel, Display, Failed, Listener, Sent
from watch.alerts.config import ChannelConfig
from watch.alerts.states import State
from watch.alerts.waiting import Item, first, put, withdraw

Job = Callable[[], None]
HANGS_AFTER = 4.0  # times its own time limit: a channel that takes longer is reported


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How patient a worker is, in seconds. attempts: failures in a row until the channel counts as failing."""

    first_wait_s: float = 2.0
    longest_wait_s: float = 300.0
    attempts: int = 3
    give_up_s: float = 12 * 3600.0
    poll_s: float = 0.25


@dataclass(frozen=True, kw_only=True)
class Health:
    """How a channel is. working: None until something was tried. since: the time of the call at which it began to fail."""

    name: str
    working: bool | None
    reason: str | None
    since: datetime | None
    sent: int
    failed: int
    dropped: int
    waiting: int


@dataclass
class Account:
    """How it went so far. row: failures one after the other; broken: so many, or such, that the channel counts as failing."""

    sent: int = 0
    failed: int = 0
    dropped: int = 0
    row: int = 0
    broken: bool = False
    reason: str | None = None
    since: datetime | None = None
    deaf: str | None = None  # why nothing can come in

    def enter(self, answer: Answer, at: datetime | None, attempts: int) -> None:
        if isinstance(answer, Sent):
            self.sent += 1
            self.row, self.broken, self.reason, self.since = 0, False, None, None
            return
        self.failed += 1
        self.row += 1
        self.reason, self.since = answer.reason, self.since or at
        self.broken = self.broken or not answer.retry or self.row >= attempts


class Worker(threading.Thread):
    """Everything but run() and what it calls returns at once; the channel is only ever used from this thread."""

    def __init__(
        self, config: ChannelConfig, channel: Channel, *, pace: Pace, clock: Callable[[], float], scrub: Callable[[str], str]
    ):
        super().__init__(name=f"channel {config.name}", daemon=True)
        self.config, self.channel, self._pace, self._clock, self._scrub = config, channel, pace, clock, scrub
        self._lock = threading.Condition()
        self._waiting: tuple[Item, ...] = ()
        self._jobs: list[Job] = []
        self._book: AlertBook | None = None
        self._heard: list[object] = []
        self._account = Account()
        self._next_try_s = 0.0
        self._busy_since_s: float | None = None
        self._closing = False

    def offer(self, call: Call) -> None:
        """A call to send; news is tried now, however long the last failure would have us wait."""
        with self._lock:
            self._waiting, dropped = put(self._waiting, Item(call=call, since_s=self._clock()))
            self._account.dropped += dropped
            if call.reason.is_news:
                self._next_try_s = 0.0
            self._lock.notify()

    def withdraw(self, call: Call) -> None:
        with self._lock:
            self._waiting = withdraw(self._waiting, call)

    def show(self, book: AlertBook) -> None:
        with self._lock:
            self._book = book
            self._lock.notify()

    def refuse(self, refused: Sequence[Refused]) -> None:
        if isinstance(self.channel, Listener) and refused:
            listener = self.channel
            timeout_s = self.config.timeout_s
            self._enqueue(lambda: self._count(self._guarded(lambda: listener.refuse(refused, timeout_s)), refused[0].at))

    def test(self, call: Call) -> "queue.Queue[Answer]":
        """Tries the channel now with a call that is a test -> where the answer will be."""
        answers: queue.Queue[Answer] = queue.Queue(1)

        def job() -> None:
            answer = self._guarded(lambda: self.channel.send(call, self.config.timeout_s))
            if self.config.shows_state:
                over = replace(call, state=State.NORMAL, reason=Reason.CLEARED)
                self._guarded(lambda: self.channel.send(over, self.config.timeout_s))
            self._count(answer, call.at)
            answers.put(answer)

        self._enqueue(job)
        return answers

    def heard(self) -> list[object]:
        """What came in since the last time."""
        with self._lock:
            heard, self._heard = self._heard, []
        return heard

    def health(self) -> Health:
        with self._lock:
            account, busy_since_s = self._account, self._busy_since_s
            hangs = busy_since_s is not None and self._clock() - busy_since_s > HANGS_AFTER * self.config.timeout_s
            ended = not self.is_alive() and not self._closing
            reason = "it hangs" if hangs else "its thread has ended" if ended else account.deaf or account.reason
            failing = hangs or ended or account.broken or account.deaf is not None
            return Health(
                name=self.config.name, working=False if failing else True if account.sent else None,
                reason=reason if failing else None, since=account.since, sent=account.sent, failed=account.failed,
                dropped=account.dropped, waiting=len(self._waiting),
            )

    def close(self) -> None:
        with self._lock:
            self._closing = True
            self._lock.notify()

    def run(self) -> None:
        while True:
            with self._lock:
                job = self._next_job()
                if job is None and not self._closing:
                    self._lock.wait(self._idle_s())
                    job = self._next_job()
                if self._closing:
                    break
                self._busy_since_s = self._clock()
            if job is not None:
                job()
            self._listen()
            with self._lock:
                self._busy_since_s = None
        self._guarded(self._close)

    def _close(self) -> Answer:
        self.channel.close()
        return Sent()

    def _enqueue(self, job: Job) -> None:
        with self._lock:
            self._jobs.append(job)
            self._lock.notify()

    def _idle_s(self) -> float | None:
        """How long there is nothing to do; None until something is given to do."""
        waits = [self._pace.poll_s] if isinstance(self.channel, Listener) else []
        if self._waiting or self._book is not None:
            waits.append(max(0.0, self._next_try_s - self._clock()))
        return min(waits, default=None)

    def _next_job(self) -> Job | None:
        if self._jobs:
            return self._jobs.pop(0)
        if self._clock() < self._next_try_s:
            return None
        item = first(self._waiting)
        if item is not None:
            return lambda: self._try(item)
        if self._book is not None and isinstance(self.channel, Display):
            book, display, timeout_s, self._book = self._book, self.channel, self.config.timeout_s, None
            return lambda: self._count(self._guarded(lambda: display.show(book, timeout_s)), book.as_of)
        self._book = None
        return None

    def _try(self, item: Item) -> None:
        answer = self._guarded(lambda: self.channel.send(item.call, self.config.timeout_s))
        self._count(answer, item.call.at)
        with self._lock:
            rest = tuple(w for w in self._waiting if w is not item)
            replaced = len(rest) == len(self._waiting)  # a newer call of this alert took its place, and waits
            if not replaced and isinstance(answer, Failed):
                tried = replace(item, tries=item.tries + 1)
                spent = self.config.momentary and tried.tries >= self._pace.attempts
                if not answer.retry or spent or self._clock() - item.since_s >= self._pace.give_up_s:
                    self._account.dropped += 1
                else:
                    rest = (*rest, tried)
            self._waiting = rest

    def _count(self, answer: Answer, at: datetime | None) -> None:
        with self._lock:
            self._account.enter(answer, at, self._pace.attempts)
            wait_s = min(self._pace.first_wait_s * 2.0 ** min(self._account.row - 1, 30), self._pace.longest_wait_s)
            self._next_try_s = self._clock() + wait_s if isinstance(answer, Failed) else 0.0

    def _listen(self) -> None:
        if not isinstance(self.channel, Listener):
            return
        listener, found = self.channel, list[object]()

        def take() -> Answer:
            heard = listener.listen()
            if isinstance(heard, Failed):
                return heard
            found.extend(heard)
            return Sent()

        answer = self._guarded(take)
        with self._lock:
            self._heard += found
            self._account.deaf = answer.reason if isinstance(answer, Failed) else None

    def _guarded(self, action: Callable[[], Answer]) -> Answer:
        """The one place where any fault is caught: a channel's fault must end neither this thread nor the other channels."""
        try:
            answer = action()
        except Exception as error:  # noqa: BLE001
            answer = Failed(f"it failed ({type(error).__name__})")
        return Failed(self._scrub(answer.reason), answer.retry) if isinstance(answer, Failed) else answer


def start(config: ChannelConfig, channel: Channel, *, pace: Pace, scrub: Callable[[str], str]) -> Worker:
    """A worker that runs."""
    worker = Worker(config, channel, pace=pace, clock=time.monotonic, scrub=scrub)
    worker.start()
    return worker
