"""(I/O) Hears all the boat's instruments, for ever: a thread a link, one series that they feed, looked at from any thread."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path
from threading import Event, Lock, Thread

from watch.faults import BadInputError, Fault
from watch.files import named_path
from watch.instruments.config import InstrumentsConfig, Nmea0183Link, SignalKLink, contradictions
from watch.instruments.feeds import Feed, FileFeed, SerialFeed, TcpFeed, UdpFeed, WebsocketFeed
from watch.instruments.links import Link, LinkState, Patience, Phase, Reader
from watch.instruments.nmea0183 import CLOCK_MAY_DIFFER_S, Nmea0183
from watch.instruments.readings import Reading
from watch.instruments.series import Fix, Observed
from watch.instruments.signal_k import SignalK
from watch.instruments.steps import Step

FILED_AT_ONCE = timedelta(minutes=2)  # shorter than what the series waits for a late reading
PUMP_S = 0.2  # how often what the links hold is filed
DOWN_AFTER = timedelta(seconds=60)  # judgement: a link that comes back within a minute is not told
FAULT_TOLD = timedelta(hours=1)
DOWN_WORDS = {
    Phase.QUIET: "open, but nothing useful is heard", Phase.ENDED: "the recording is played to its end", Phase.STOPPED: "stopped",
}  # fmt: skip


class Listening:
    """All links of the settings, and the one series they feed. start(), or a with statement; stop() at the end. Safe from any thread.

    clock: the time now, aware. kept: ten-minute steps from before a restart (Store.steps). With config.clock "instruments" the time
    is that of the latest reading, by which recordings and simulators are tried. Raises BadInputError with every fault of the settings.
    """

    def __init__(self, config: InstrumentsConfig, *, clock: Callable[[], datetime], kept: Iterable[Step] = (),
                 patience: Patience | None = None) -> None:
        self.config = config
        self._clock, self._patience = clock, patience
        self._links = _links(config, clock, patience)
        self._observed = Observed(preferences=config.preferences())
        self._lock = Lock()
        self._stop = Event()
        self._latest: datetime | None = None
        self._heard: dict[str, datetime] = {}
        self._why: dict[str, str] = {}
        self._fault: tuple[datetime, str] | None = None
        self._pump = Thread(target=self._run, name="listening", daemon=True)
        steps = sorted(kept, key=lambda step: step.start_s)
        if steps:
            self._observed.resume(steps, self._resumed_at(steps))

    def start(self) -> "Listening":
        began = self._clock()
        self._heard = dict.fromkeys(self._links, began)
        for link in self._links.values():
            link.start()
        self._pump.start()
        return self

    def __enter__(self) -> "Listening":
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self, timeout_s: float = 3.0) -> bool:
        """End all threads; True when they have ended. What was heard stays to be looked at."""
        self._stop.set()
        ended = [link.stop(timeout_s) for link in self._links.values()]
        if self._pump.is_alive():
            self._pump.join(timeout_s)
        return all(ended) and not self._pump.is_alive()

    def now(self) -> datetime | None:
        """The time the series is kept by: the computer's, or that of the latest reading (None before the first)."""
        if self.config.clock == "computer":
            return self._clock()
        self._file()
        return self._latest

    def snapshot(self, now: datetime) -> Observed:
        """All that was heard up to now, as a copy that nothing is added to any more."""
        return self.timed_snapshot(now)[0]

    def timed_snapshot(self, now: datetime) -> tuple[Observed, datetime]:
        """The snapshot and the time it is of: now, but by the instruments' own clock that of the latest reading, which may be another
        by then."""
        self._file()
        with self._lock:
            return self._observed.copy(), self._as_of(now)

    def _as_of(self, now: datetime) -> datetime:
        """Now, never before what is filed already where the instruments' clock counts: the series would take it for a clock set back."""
        return now if self.config.clock == "computer" or self._latest is None else max(now, self._latest)

    def position(self, now: datetime) -> Fix | None:
        """The latest usable fix of the last ten minutes; None without one."""
        self._file()
        with self._lock:
            return self._observed.position(self._as_of(now))

    def steps(self, now: datetime, since: datetime | None = None) -> tuple[Step, ...]:
        """The closed ten-minute steps that began at or after since, oldest first: to be kept (Store.add_step)."""
        self._file()
        with self._lock:
            self._observed.steps(self._as_of(now))
            return self._observed.closed(since)

    def states(self) -> tuple[LinkState, ...]:
        """One look at each link, in the order of the settings: for the health page."""
        return tuple(link.state() for link in self._links.values())

    def links_down(self) -> tuple[str, ...]:
        """A sentence for each link that has not been heard for a minute, the same as long as the reason is; "name: where: why"."""
        now, said = self._clock(), []
        for name, link in self._links.items():
            state = link.state()
            self._note(name, state, now)
            if now - self._heard.get(name, now) >= DOWN_AFTER or state.phase in (Phase.FAILED, Phase.ENDED):
                said.append(f"{name}: {state.name}: {self._why.get(name, 'no connection')}")
        if self._fault is not None and now - self._fault[0] <= FAULT_TOLD:
            said.append(self._fault[1])
        return tuple(said)

    def _note(self, name: str, state: LinkState, now: datetime) -> None:
        """When a link was last well, and why it is not."""
        if state.phase is Phase.CONNECTED:
            self._heard[name] = now
            self._why.pop(name, None)
        elif state.phase in DOWN_WORDS:
            self._why[name] = DOWN_WORDS[state.phase]
        elif state.phase in (Phase.WAITING, Phase.FAILED):
            self._why[name] = state.says.replace(f"{state.name}: ", "").partition("; trying again")[0]

    def _run(self) -> None:
        while not self._stop.wait(PUMP_S):
            self._file()
            for name, link in self._links.items():
                self._note(name, link.state(), self._clock())

    def _file(self) -> None:
        """What the links hold into the series. A fault in it loses this batch, is told, and never ends the listening."""
        with self._lock:
            readings = [reading for link in self._links.values() for reading in link.take()]
            try:
                for part, now in self._timed(readings):
                    self._observed.add(part, now)
            except Exception as error:  # noqa: BLE001 - a listening that dies would leave the watch blind
                says = f"listening: a fault in the program ({type(error).__name__} {error}); some readings were lost"
                self._fault = (self._clock(), says)

    def _timed(self, readings: list[Reading]) -> list[tuple[list[Reading], datetime]]:
        """The readings as they are to be filed, each part with its time. By the instruments' own clock much may come at once: it is filed
        in the order of its times and little by little, for a step that is long over takes nothing more."""
        if self.config.clock == "computer":
            return [(readings, self._clock())]
        ordered = sorted(readings, key=lambda reading: reading.when)
        if self._latest is None and ordered:
            self._latest = ordered[0].when
            self._observed.add([], self._latest)  # the series begins with the first reading
        parts: list[tuple[list[Reading], datetime]] = []
        for reading in ordered:
            if not parts or reading.when - parts[-1][0][0].when >= FILED_AT_ONCE:
                parts.append(([], reading.when))
            parts[-1][0].append(reading)
            parts[-1] = (parts[-1][0], max(reading.when, self._latest or reading.when))
        self._latest = max([now for _, now in parts], default=self._latest)
        return parts

    def _resumed_at(self, steps: list[Step]) -> datetime:
        if self.config.clock == "computer":
            return self._clock()
        return datetime.fromtimestamp(steps[-1].start_s + 600.0, self._clock().tzinfo)


def _links(config: InstrumentsConfig, clock: Callable[[], datetime], patience: Patience | None) -> dict[str, Link]:
    """Every link of the settings, not yet started, by name. Raises BadInputError with every fault at once."""
    faults, links = contradictions(config), {}
    if not faults:
        for place, settings in config.placed():
            try:
                feed, reader = _feed(settings, CLOCK_MAY_DIFFER_S if config.clock == "computer" else None)
                links[settings.name] = Link(feed, reader, clock=clock, patience=patience, label=settings.label)
            except BadInputError as error:
                faults += [Fault(place, fault.found, f"{error.source}: {fault.expected}") for fault in error.faults]
    if faults:
        raise BadInputError("instruments", faults)
    return links


def _feed(link: Nmea0183Link | SignalKLink, differ_s: float | None) -> tuple[Feed, Reader]:
    recording = None if link.file is None else named_path(Path(), link.file)
    if isinstance(link, SignalKLink):
        if recording is not None:
            return FileFeed(recording, signal_k=True, speed=link.speed), SignalK(own=link.own, clock_may_differ_s=None)
        return WebsocketFeed(link.url or ""), SignalK(own=link.own, clock_may_differ_s=differ_s)
    if recording is not None:
        return FileFeed(recording, speed=link.speed, starts=link.started), Nmea0183(clock_may_differ_s=None)
    feed: Feed
    if link.transport == "tcp":
        feed = TcpFeed(link.host or "", link.port or 0)
    elif link.transport == "udp":
        feed = UdpFeed(link.port or 0, link.host or "")
    else:
        feed = SerialFeed(link.device or "", link.baud)
    return feed, Nmea0183(clock_may_differ_s=differ_s)
