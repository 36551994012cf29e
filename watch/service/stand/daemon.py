"""(I/O) The process that stands the watch: clock, signals, scheduler, page; everything decided is decided by the keeper.

The main thread looks once a second by steady seconds, so that no jump of the computer's clock can put the calls to sleep; everything
slow is a job of the scheduler. The service manager's watchdog is fed only by a pass that came to its end.
"""

import json
import logging
import os
import shutil
import signal
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import FrameType
from typing import Any, Protocol

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

from watch.faults import BadInputError
from watch.service.give_out import write_whole
from watch.service.stand.apart import Apart, ApartError
from watch.service.stand.given_out import give_out
from watch.service.stand.health import to_dict
from watch.service.stand.hearing import Hearing
from watch.service.stand.incoming import Incoming
from watch.service.stand.keeper import Keeper
from watch.service.stand.passing import Outcome, PassInputs, make_pass
from watch.service.stand.tell_systemd import notify

LOG = logging.getLogger("nightorders")
HEALTH_FILE = "health.json"
HEALTH_EVERY_S = 30.0
FIRST_LOOK_S = 100.0  # so long the first pass waits for the inbox to be looked through
MOST_FAULTS_IN_A_ROW = 10  # of the second-by-second look: then the process ends, for its manager to start it anew


class Errand(Protocol):
    """A slow job done now and then: downloads, housekeeping. A sentence when it failed, else ""; it may ask for a pass."""

    @property
    def name(self) -> str: ...

    @property
    def every(self) -> timedelta: ...

    def run(self, now: datetime) -> tuple[str, bool]: ...


@dataclass(frozen=True, kw_only=True)
class Setup:
    """Everything that the daemon is made of."""

    home: Path
    keeper: Keeper
    incoming: Incoming
    write: tuple[str, ...] = ("txt", "json", "html")
    longest_pass_s: float = 600.0
    hearing: Hearing | None = None
    errands: tuple[Errand, ...] = ()
    serve: Callable[[], None] | None = None  # blocking: the page
    page_at: str = ""
    told: tuple[str, ...] = ()  # before anything is done
    clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    steady_s: Callable[[datetime], float] = lambda now: time.monotonic()  # at the look that found it to be now
    closes: tuple[Callable[[], None], ...] = ()


class Daemon:
    """Stands the watch until it is told to end."""

    def __init__(self, setup: Setup, *, say: Callable[[str], None] = print) -> None:
        self._setup, self._keeper, self._clock, self._say = setup, setup.keeper, setup.clock, say
        self._apart: Apart[PassInputs, Outcome] = Apart(make_pass)
        self._stop, self._again, self._passing = threading.Event(), threading.Event(), threading.Lock()
        self._scheduler = BackgroundScheduler(timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None})
        self._health_at_s = float("-inf")
        self._up = False
        self._began_s = time.monotonic()

    def run(self) -> int:
        """Blocks until SIGTERM, SIGINT or stop() -> the exit code."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._told_to_end)
        self._scheduler.add_job(self._look_in, IntervalTrigger(seconds=10), id="inbox", next_run_time=datetime.now(UTC))
        for errand in self._setup.errands:
            self._scheduler.add_job(self._run_errand, IntervalTrigger(seconds=errand.every.total_seconds()), args=[errand], id=errand.name,
                                    next_run_time=datetime.now(UTC) + timedelta(seconds=5))
        self._scheduler.start()
        if self._setup.serve is not None:
            threading.Thread(target=self._serve, name="page", daemon=True).start()
        try:
            return self._beat()
        finally:
            self._end()

    def stop(self) -> None:
        """Ends the watch in good order."""
        self._stop.set()

    def _told_to_end(self, number: int, frame: FrameType | None) -> None:
        self._stop.set()

    def _beat(self) -> int:
        faults = 0
        while not self._stop.wait(1.0):
            try:
                self._look()
                faults = 0
            except Exception:
                faults += 1
                LOG.exception("the watch stumbled")
                if faults >= MOST_FAULTS_IN_A_ROW:
                    self._say("The watch cannot go on and ends; it has to be started anew.")
                    return 1
        return 0

    def _look(self) -> None:
        now = self._clock()
        if self._setup.hearing is not None:
            self._setup.hearing.look(self._keeper, now)
        jumped = self._keeper.look(now, self._setup.steady_s(now))
        if jumped:  # every time that the scheduler waits for is wrong now
            for job in self._scheduler.get_jobs():
                if job.id != "pass":
                    self._scheduler.modify_job(job.id, next_run_time=datetime.now(UTC))
        self._start_pass(now)
        if time.monotonic() - self._health_at_s >= HEALTH_EVERY_S or jumped:
            self._write_health(now)

    def _start_pass(self, now: datetime) -> None:
        """Has the scheduler make a pass when the keeper wants one, or somebody asked for it."""
        if self._keeper.pass_at is None and not self._setup.incoming.settled and time.monotonic() - self._began_s < FIRST_LOOK_S:
            return
        if (self._again.is_set() or now >= self._keeper.next_pass_at) and not self._passing.locked():
            self._scheduler.add_job(self._pass, id="pass", replace_existing=True)

    def ask_pass(self) -> None:
        """Has a pass made within a second or two; one that is under way is followed by another."""
        self._again.set()

    def _pass(self) -> None:
        if not self._passing.acquire(blocking=False):
            return
        try:
            while True:
                self._again.clear()
                self._one_pass()
                if not self._again.is_set() or self._stop.is_set():
                    break
        finally:
            self._passing.release()

    def _one_pass(self) -> None:
        now, hearing = self._clock(), self._setup.hearing
        observed, now = (None, now) if hearing is None else hearing.observed(now)
        inputs = self._keeper.inputs(now, self._setup.incoming.gribs(now), observed)
        try:
            outcome = self._apart.run(inputs, self._setup.longest_pass_s)
        except ApartError as error:
            if not self._stop.is_set():
                self._keeper.pass_died(f"the pass {error}", self._clock())
            return
        now = self._clock()
        if hearing is not None:
            hearing.glass_forecast = outcome.glass_forecast
        self._keeper.passed(outcome, now)
        if outcome.orders is not None:
            try:
                told = self._keeper.told
                previous = told if told is not outcome.orders else None
                give_out(outcome.orders, self._setup.home / "orders", self._setup.write, previous)
                self._keeper.failed("files", "", now)
            except (BadInputError, OSError) as error:
                self._keeper.failed("files", f"the orders could not be written as files: {error}", now)
        self._write_health(now)
        if not self._up:
            self._up = True
            notify("READY=1")
        notify("WATCHDOG=1", f"STATUS={self._keeper.vitals(now).pass_words[:120]}")

    def _look_in(self) -> None:
        try:
            came = self._setup.incoming.look(datetime.now(UTC))
            self._keeper.failed("inbox", self._setup.incoming.refused(), self._clock())
        except (BadInputError, OSError) as error:
            self._keeper.failed("inbox", f"the inbox cannot be looked into: {error}", self._clock())
            return
        if came:
            self.ask_pass()

    def _run_errand(self, errand: Errand) -> None:
        try:
            words, asks = errand.run(self._clock())
        except Exception as error:
            LOG.exception("%s", errand.name)
            words, asks = f"{errand.name} failed: {error}", False
        self._keeper.failed(errand.name, words, self._clock())
        if asks:
            self.ask_pass()

    def _serve(self) -> None:
        serve = self._setup.serve
        assert serve is not None
        try:
            serve()
            words = "the page ended"
        except (Exception, SystemExit) as error:  # noqa: BLE001  a page that fails is said, whatever it failed of
            words = f"the page could not be served: {error}"
        if not self._stop.is_set():
            self._keeper.failed("page", words, self._clock())

    def _write_health(self, now: datetime) -> None:
        self._health_at_s = time.monotonic()
        try:
            write_health(self._setup.home, to_dict(self._keeper.vitals(now), self._keeper.post.health(), os.getpid()))
        except BadInputError as error:
            self._keeper.failed("health", str(error), now)
        else:
            self._keeper.failed("health", "", now)

    def _end(self) -> None:
        notify("STOPPING=1")
        self._scheduler.shutdown(wait=False)
        self._apart.close()
        if self._setup.hearing is not None:
            self._setup.hearing.close()
        self._keeper.post.close()
        for close in self._setup.closes:
            close()
        (self._setup.home / HEALTH_FILE).unlink(missing_ok=True)


def write_health(home: Path, data: dict[str, Any]) -> None:
    """Writes the health file. Raises BadInputError when it cannot be written."""
    write_whole(home / HEALTH_FILE, json.dumps(data, indent=1).encode())


def read_health(home: Path) -> object:
    """What the health file says; None when there is none, "" when it is torn."""
    try:
        return json.loads((home / HEALTH_FILE).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError):
        return ""


def disk_free_mb(home: Path) -> float | None:
    """Free room where the watch lives [MB]; None when nobody can say."""
    try:
        return shutil.disk_usage(home).free / 1e6
    except OSError:
        return None


def log_to_stderr() -> None:
    """The process's own log, for the service manager's journal."""
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(asctime)sZ %(levelname)s %(message)s", datefmt="%Y-%m-%dT%H:%M:%S")
    logging.Formatter.converter = time.gmtime
    logging.getLogger("apscheduler").setLevel(logging.ERROR)  # that a slow job is still running is no news
