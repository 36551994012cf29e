"""(I/O) Hands each call to the channels that want it, and never waits for any of them."""

import queue
import time
from collections.abc import Callable, Sequence
from datetime import datetime

from watch.alerts.book import MOST_ALERT_NUMBERS, AlertBook, Call, Event, Reason
from watch.alerts.channels.channel import Answer, Channel, Display, Failed, Listener
from watch.alerts.config import ChannelConfig
from watch.alerts.situation import Priority, Situation
from watch.alerts.states import State
from watch.alerts.waiting import wants
from watch.alerts.worker import Health, Pace, Worker, start
from watch.when import ShipTime, utc

GROUP = "channels"  # all channels that fail are one alert
USUAL = Pace()


class Dispatcher:
    """One worker a channel. Every method but test_call and close returns at once.

    lines: each channel with its settings. scrub: takes secrets out of reasons. All methods are for one thread: the daemon's.
    """

    def __init__(
        self, lines: Sequence[tuple[ChannelConfig, Channel]], ship: ShipTime, *, pace: Pace = USUAL,
        scrub: Callable[[str], str] = str,
    ):
        self.ship = ship
        self._workers = [start(config, channel, pace=pace, scrub=scrub) for config, channel in lines]
        self._last: dict[tuple[str, str], datetime] = {}

    def deliver(self, calls: Sequence[Call], book: AlertBook) -> None:
        """The calls of a step and the book after it: calls go where they are wanted, displays are told how all stands."""
        failing = {h.name for h in self.health() if h.working is False}
        for worker in self._workers:
            for call in calls:
                if worker.config.momentary:
                    worker.withdraw(call)
                # a message that a channel fails waits for no one on that channel; a sound is tried, for that is how it comes back
                own_fault = call.alert == GROUP and worker.config.name in failing and not worker.config.momentary
                if not own_fault and self._is_wanted(worker, call):
                    worker.offer(call)
            worker.refuse([r for r in book.refused if r.event.where == worker.config.name])
        if calls or book.refused:
            self.show(book)

    def _is_wanted(self, worker: Worker, call: Call) -> bool:
        key = (worker.config.name, call.alert)
        if call.reason in (Reason.ACKNOWLEDGED, Reason.CLEARED):
            self._last.pop(key, None)
        wanted = wants(worker.config, call, self._last.get(key), self.ship)
        if wanted and call.sounds:
            self._last[key] = call.at
        return wanted

    def show(self, book: AlertBook) -> None:
        """Tells every display how all stands; do so at least every 30 s, so that none goes stale."""
        for worker in self._workers:
            if isinstance(worker.channel, Display):
                worker.show(book)

    def events(self, book: AlertBook) -> list[Event]:
        """What people did on the channels since the last time, for the next step."""
        found: list[Event] = []
        for worker in self._workers:
            if isinstance(worker.channel, Listener):
                found += [event for heard in worker.heard() for event in worker.channel.understand(heard, book)]
        return found

    def health(self) -> list[Health]:
        return [worker.health() for worker in self._workers]

    def situations(self) -> list[Situation]:
        """Every channel that fails, as a situation for the others; an alarm when none is left that would carry an alarm."""
        health = {h.name: h for h in self.health()}
        carriers = [w for w in self._workers if Priority.ALARM in w.config.levels]
        alone = bool(carriers) and all(health[w.config.name].working is False for w in carriers)
        return [
            _failing(worker.config, health[worker.config.name], alone=alone)
            for worker in self._workers if health[worker.config.name].working is False
        ]

    def test_call(self, now: datetime, wait_s: float = 30.0) -> dict[str, Answer]:
        """Sends a call that says it is a test on every channel, at its highest priority -> what came of it, within wait_s."""
        waiting = [(w.config.name, w.test(a_test(max(w.config.levels), utc(now)))) for w in self._workers]
        until_s = time.monotonic() + wait_s
        answers: dict[str, Answer] = {}
        for name, answer in waiting:
            try:
                answers[name] = answer.get(timeout=max(0.0, until_s - time.monotonic()))
            except queue.Empty:
                answers[name] = Failed(f"no answer within {wait_s:g} s")
        return answers

    def close(self, wait_s: float = 2.0) -> None:
        """Ends all workers; one that hangs is left behind."""
        for worker in self._workers:
            worker.close()
        until_s = time.monotonic() + wait_s
        for worker in self._workers:
            worker.join(max(0.0, until_s - time.monotonic()))


def _failing(config: ChannelConfig, health: Health, *, alone: bool) -> Situation:
    usual = Priority.CAUTION if config.may_be_offline else Priority.WARNING
    last = " No other channel carries an alarm." if alone else ""
    return Situation(
        key=f"channel.{config.name}", group=GROUP, priority=Priority.ALARM if alone else usual,
        title=f"Channel {config.name} does not work",
        text=f"Calls do not get through on {config.name}: {health.reason}.{last}",
        why=f"{health.failed} failed", clears="a call or a test gets through on it",
    )


def a_test(priority: Priority, now: datetime) -> Call:
    """A call that says it is a test."""
    return Call(
        alert="test.call", number=MOST_ALERT_NUMBERS, priority=priority, highest=priority, state=State.UNACKNOWLEDGED,
        reason=Reason.TEST, repeat=1, title="Test call", text="Only a test: the channel works if you notice this.", news=(),
        why="somebody asked for it", clears="at once, by itself", due=None, at=now, changed_at=now, revision=1, escalation=0,
    )
