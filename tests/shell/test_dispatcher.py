"""The dispatcher with channels that fail, hang or die: none holds up another, and each failure is said on the rest."""

import queue
import threading
from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from typing import Any

import pytest

from watch.alerts.book import Acknowledge, AlertBook, Call, Event, Reason
from watch.alerts.channels.channel import Answer, Failed, Sent
from watch.alerts.config import EVERY, ChannelConfig
from watch.alerts.dispatcher import Dispatcher
from watch.alerts.situation import Priority, Situation
from watch.alerts.step import step
from watch.alerts.worker import Health, Pace
from watch.when import ShipTime, parse_utc

pytestmark = pytest.mark.source("channels-1")

NOW = parse_utc("2026-05-14T20:00Z")
SHIP = ShipTime()
QUICK = Pace(first_wait_s=0.005, longest_wait_s=0.01, poll_s=0.005)
WAIT_S = 5.0


class MessageConfig(ChannelConfig):
    """A channel that keeps its calls until they are out."""


class SoundingConfig(ChannelConfig):
    """A channel on which a call is worth nothing once it is over."""

    momentary = True


class StateConfig(ChannelConfig):
    """A channel that shows how things stand."""

    shows_state = True


class Recorder:
    """A channel that keeps what it was sent, and answers as it is told to."""

    def __init__(self, name: str, *answers: Answer) -> None:
        self.name, self.sent, self._answers = name, queue.Queue[Call](), list(answers)
        self.closed = threading.Event()

    def send(self, call: Call, timeout_s: float) -> Answer:
        self.sent.put(call)
        return self._answers.pop(0) if len(self._answers) > 1 else (self._answers or [Sent()])[0]

    def next(self) -> Call:
        return self.sent.get(timeout=WAIT_S)

    def close(self) -> None:
        self.closed.set()


class Hanging(Recorder):
    """A channel that does not come back until it is let go."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.let_go = threading.Event()

    def send(self, call: Call, timeout_s: float) -> Answer:
        self.sent.put(call)
        self.let_go.wait()
        return Sent()


class Dying(Recorder):
    """A channel with a fault in its own code."""

    def send(self, call: Call, timeout_s: float) -> Answer:
        self.sent.put(call)
        raise ZeroDivisionError("harbour-secret")


class Answering(Recorder):
    """A channel that people answer on."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.incoming: list[object] = []
        self.shown, self.refused = queue.Queue[AlertBook](), queue.Queue[Any]()

    def show(self, book: AlertBook, timeout_s: float) -> Answer:
        self.shown.put(book)
        return Sent()

    def listen(self) -> Sequence[object]:
        found, self.incoming = self.incoming, []
        return found

    def understand(self, heard: object, book: AlertBook) -> list[Event]:
        return [Acknowledge(alert=str(heard), who="somebody", where=self.name)]

    def refuse(self, refused: Sequence[Any], timeout_s: float) -> Answer:
        self.refused.put(refused)
        return Sent()


@pytest.fixture
def dispatch() -> Iterator[Callable[..., Dispatcher]]:
    made: list[Dispatcher] = []

    def make(*lines: tuple[ChannelConfig, Any], pace: Pace = QUICK, scrub: Callable[[str], str] = str) -> Dispatcher:
        made.append(Dispatcher(lines, SHIP, pace=pace, scrub=scrub))
        return made[-1]

    yield make
    for each in made:
        each.close()


def reef(priority: Priority = Priority.ALARM, key: str = "job.reef") -> Situation:
    return Situation(key=key, priority=priority, title="Reef 3", text="Take it in.", why="w", clears="c")


def raised(*situations: Situation) -> tuple[AlertBook, list[Call]]:
    return step(AlertBook(), situations or [reef()], [], NOW)


def health(it: Dispatcher, name: str, when: Callable[[Health], bool]) -> Health:
    """The health of a channel once it is so."""
    for _ in range(1000):
        found = next(h for h in it.health() if h.name == name)
        if when(found):
            return found
        threading.Event().wait(0.005)
    raise AssertionError(found)


def test_a_call_reaches_every_channel_that_wants_it(dispatch: Callable[..., Dispatcher]) -> None:
    loud, grave = Recorder("loud"), Recorder("grave")
    it = dispatch((MessageConfig(name="loud"), loud), (MessageConfig(name="grave", priorities=("alarm",)), grave))
    book, calls = raised(reef(Priority.WARNING, "job.a"), reef(Priority.ALARM, "job.b"))
    it.deliver(calls, book)
    assert [loud.next().alert, loud.next().alert] == ["job.b", "job.a"]
    assert grave.next().alert == "job.b"
    assert grave.sent.empty()


def test_a_channel_that_hangs_holds_up_no_other_and_is_said(dispatch: Callable[..., Dispatcher]) -> None:
    stuck, well = Hanging("stuck"), Recorder("well")
    it = dispatch((MessageConfig(name="stuck", timeout_s=0.01), stuck), (MessageConfig(name="well"), well))
    book, calls = raised()
    it.deliver(calls, book)
    assert well.next().alert == stuck.next().alert == "job.reef"
    health(it, "stuck", lambda h: h.working is False)
    assert [(s.key, s.priority, s.text) for s in it.situations()] == [
        ("channel.stuck", Priority.WARNING, "Calls do not get through on stuck: it hangs."),
    ]
    stuck.let_go.set()
    health(it, "stuck", lambda h: h.working is True)
    assert it.situations() == []


def test_a_failure_is_tried_again_and_said_on_the_others_until_it_works(dispatch: Callable[..., Dispatcher]) -> None:
    down = Failed("the other side answered 503")
    bad, good = Recorder("bad", down, down, down, Sent()), Recorder("good")
    it = dispatch((MessageConfig(name="bad"), bad), (MessageConfig(name="good"), good))
    book, calls = raised()
    it.deliver(calls, book)
    assert {bad.next().alert for _ in range(4)} == {"job.reef"}
    found = health(it, "bad", lambda h: h.working is True)
    assert (found.sent, found.failed, found.dropped, found.waiting) == (1, 3, 0, 0)
    assert bad.sent.empty()


def test_a_failure_becomes_a_situation_after_three_in_a_row(dispatch: Callable[..., Dispatcher]) -> None:
    bad, good = Recorder("bad", Failed("no answer within 1 s")), Recorder("good")
    it = dispatch((MessageConfig(name="bad"), bad), (MessageConfig(name="good"), good))
    book, calls = raised()
    it.deliver(calls, book)
    found = health(it, "bad", lambda h: h.working is False)
    assert found.failed >= 3
    assert found.since == NOW
    situation, = it.situations()
    assert situation.text == "Calls do not get through on bad: no answer within 1 s."
    good.next()
    book, calls = step(book, [reef(), situation], [], NOW + timedelta(seconds=5))
    it.deliver(calls, book)
    assert good.next().title == "Channel bad does not work"
    for _ in range(20):
        assert bad.next().alert == "job.reef"  # its own fault does not wait on it


def test_with_no_channel_left_for_an_alarm_it_is_an_alarm(dispatch: Callable[..., Dispatcher]) -> None:
    it = dispatch((MessageConfig(name="only"), Recorder("only", Failed("gone", retry=False))),
                  (MessageConfig(name="warnings", priorities=("warning",)), Recorder("warnings")))
    book, calls = raised()
    it.deliver(calls, book)
    health(it, "only", lambda h: h.working is False)
    situation, = it.situations()
    assert situation.priority is Priority.ALARM
    assert situation.text.endswith("No other channel carries an alarm.")


def test_a_channel_that_may_be_offline_is_only_a_caution(dispatch: Callable[..., Dispatcher]) -> None:
    it = dispatch((MessageConfig(name="far", may_be_offline=True), Recorder("far", Failed("no link"))),
                  (MessageConfig(name="near"), Recorder("near")))
    book, calls = raised()
    it.deliver(calls, book)
    health(it, "far", lambda h: h.working is False)
    assert [s.priority for s in it.situations()] == [Priority.CAUTION]


def test_a_fault_in_a_channel_ends_neither_its_thread_nor_its_secret(dispatch: Callable[..., Dispatcher]) -> None:
    dying = Dying("dying")
    it = dispatch((SoundingConfig(name="dying"), dying))
    for _ in range(2):
        book, calls = raised()
        it.deliver(calls, book)
        found = health(it, "dying", lambda h: h.working is False and h.waiting == 0)
        assert found.reason == "it failed (ZeroDivisionError)"
        dying.next()


def test_a_reason_is_scrubbed(dispatch: Callable[..., Dispatcher]) -> None:
    bad = Recorder("bad", Failed("harbour was refused", retry=False))
    it = dispatch((MessageConfig(name="bad"), bad), scrub=lambda text: text.replace("harbour", "***"))
    book, calls = raised()
    it.deliver(calls, book)
    assert health(it, "bad", lambda h: h.working is False).reason == "*** was refused"


def test_what_makes_no_sense_to_try_again_is_dropped_and_counted(dispatch: Callable[..., Dispatcher]) -> None:
    bad = Recorder("bad", Failed("the other side answered 400", retry=False))
    it = dispatch((MessageConfig(name="bad"), bad))
    book, calls = raised()
    it.deliver(calls, book)
    found = health(it, "bad", lambda h: h.dropped == 1)
    assert (found.failed, found.waiting) == (1, 0)


def test_news_does_not_wait_for_the_next_try(dispatch: Callable[..., Dispatcher]) -> None:
    slow = Pace(first_wait_s=3600.0, longest_wait_s=3600.0)
    bad = Recorder("bad", Failed("no link"), Sent())
    it = dispatch((MessageConfig(name="bad"), bad), pace=slow)
    book, calls = raised()
    it.deliver(calls, book)
    assert bad.next().reason is Reason.NEW
    health(it, "bad", lambda h: h.failed == 1)
    book, calls = step(book, [reef(Priority.EMERGENCY_ALARM)], [], NOW + timedelta(seconds=5))
    it.deliver(calls, book)
    assert bad.next().reason is Reason.WORSE


def test_what_is_acknowledged_is_not_sounded_any_more(dispatch: Callable[..., Dispatcher]) -> None:
    stuck = Hanging("stuck")
    it = dispatch((SoundingConfig(name="stuck"), stuck))
    book, calls = raised(reef(key="job.a"))
    it.deliver(calls, book)
    assert stuck.next().alert == "job.a"  # in hand; the next waits behind it
    book, calls = step(book, [reef(key="job.a"), reef(key="job.b")], [], NOW + timedelta(seconds=1))
    it.deliver(calls, book)
    assert health(it, "stuck", lambda h: h.waiting == 2).waiting == 2
    book, calls = step(book, None, [Acknowledge(alert="job.b", who="w", where="w")], NOW + timedelta(seconds=2))
    it.deliver(calls, book)
    stuck.let_go.set()
    health(it, "stuck", lambda h: h.waiting == 0)
    assert stuck.sent.empty()


def test_a_display_is_told_how_all_stands_and_what_people_answer_comes_back(dispatch: Callable[..., Dispatcher]) -> None:
    display = Answering("display")
    it = dispatch((StateConfig(name="display", priorities=EVERY), display))
    book, calls = raised()
    it.deliver(calls, book)
    assert display.shown.get(timeout=WAIT_S) == book
    display.incoming = ["job.reef", "job.gone"]
    events: list[Event] = []
    for _ in range(1000):
        events += it.events(book)
        if len(events) == 2:
            break
        threading.Event().wait(0.005)
    book, calls = step(book, None, events, NOW + timedelta(seconds=1))
    it.deliver(calls, book)
    refused, = display.refused.get(timeout=WAIT_S)
    assert refused.event.alert == "job.gone"


def test_repeats_are_thinned_where_the_sailor_asks_for_it(dispatch: Callable[..., Dispatcher]) -> None:
    thin, every = Recorder("thin"), Recorder("every")
    it = dispatch((MessageConfig(name="thin", repeats_apart_min=1), thin), (MessageConfig(name="every"), every))
    book, calls = raised()
    for seconds in range(0, 121, 30):
        if seconds:
            book, calls = step(book, None, [], NOW + timedelta(seconds=seconds))
        it.deliver(calls, book)
        assert every.next().at == NOW + timedelta(seconds=seconds)
        health(it, "thin", lambda h: h.waiting == 0)
    assert [thin.next().at - NOW for _ in range(3)] == [timedelta(seconds=s) for s in (0, 60, 120)]
    assert thin.sent.empty()


def test_a_test_call_goes_to_every_channel_and_is_cleared_on_displays(dispatch: Callable[..., Dispatcher]) -> None:
    good, bad, stuck, display = Recorder("good"), Recorder("bad", Failed("no link")), Hanging("stuck"), Answering("display")
    it = dispatch(
        (MessageConfig(name="good", priorities=("warning",)), good), (MessageConfig(name="bad"), bad),
        (MessageConfig(name="stuck"), stuck), (StateConfig(name="display"), display),
    )
    assert it.test_call(NOW, wait_s=0.3) == {
        "good": Sent(), "bad": Failed("no link"), "stuck": Failed("no answer within 0.3 s"), "display": Sent(),
    }
    call = good.next()
    assert (call.title, call.priority, call.sounds) == ("Test call", Priority.WARNING, True)
    assert [display.next().reason for _ in range(2)] == [Reason.TEST, Reason.CLEARED]
    stuck.let_go.set()


def test_closing_closes_every_channel(dispatch: Callable[..., Dispatcher]) -> None:
    good = Recorder("good")
    it = dispatch((MessageConfig(name="good"), good))
    it.close()
    assert good.closed.is_set()
