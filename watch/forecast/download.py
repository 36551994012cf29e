"""Fetches what a plan asks for: index first, byte ranges, on from where it broke off; a file counts only when whole (I/O)."""

import json
import logging
import random as chance
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from watch.faults import BadInputError
from watch.files import SETTINGS_BYTES, read_bytes
from watch.forecast.budget import LATER, Budget, Clock, Reason, Spent, StopError, megabytes
from watch.forecast.catalogue import Layout, Source, parse, shown_url
from watch.forecast.exchange import StaleError, get
from watch.forecast.framing import State
from watch.forecast.inbox import IsReadable, sentence_of, structure_fault
from watch.forecast.indexes import ByteRange, Located, locate
from watch.forecast.link import Link, decoded
from watch.forecast.partial import Part
from watch.forecast.sources import FileRequest, Plan
from watch.forecast.unpack import sync_folder

LOG = logging.getLogger(__name__)

INDEX_LIMIT_BYTES = 16_000_000
COMING = ".coming"  # files on their way
PLAN_NOTE = ".plan-"


@dataclass(frozen=True, kw_only=True)
class Progress:
    """How far a fetch is. title: the file in hand, like "+21 h"."""

    file: int
    files: int
    title: str
    bytes: int
    estimate_bytes: int
    seconds: float


@dataclass(frozen=True, kw_only=True)
class Fetched:
    """Everything that was asked for. paths: earlier steps first. notes: fields that a file did not have."""

    paths: tuple[Path, ...]
    run: datetime
    attribution: str
    notes: tuple[str, ...]
    spent: Spent


@dataclass(frozen=True, kw_only=True)
class Partial:
    """Not everything. paths: the files that are whole, earlier steps first. lacking: titles of the others. A later fetch of the same
    plan into the same folder goes on from here."""

    paths: tuple[Path, ...]
    lacking: tuple[str, ...]
    reason: Reason
    sentence: str
    retry_at: datetime | None
    run: datetime
    attribution: str
    notes: tuple[str, ...]
    spent: Spent


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """What a plan will cost, near enough to decide by; what is in the folder already is not counted."""

    bytes: int
    files: int
    sentence: str


def read_sources(path: Path) -> dict[str, Source]:
    """A file of sources by id. Raises BadInputError with every fault."""
    try:
        return parse(read_bytes(path, "sources file", SETTINGS_BYTES).decode("utf-8"), str(path))
    except UnicodeDecodeError:
        raise BadInputError(path, ["this sources file is not text in UTF-8"]) from None


def estimate(plan: Plan, folder: Path | None = None) -> Estimate:
    """What fetching a plan will cost, told before anything is spent; asks no server."""
    lacking = [request for request in plan.requests if folder is None or not _target(plan, request, folder).exists()]
    size = sum(request.estimate_bytes + request.index_bytes for request in lacking)
    return Estimate(bytes=size, files=len(lacking), sentence=f"about {megabytes(size)} in {len(lacking)} files" if lacking else "nothing")


def fetch(
    plan: Plan, folder: Path, budget: Budget, clock: Clock, progress: Callable[[Progress], None] = lambda _: None, *,
    is_readable: IsReadable = structure_fault, random: Callable[[], float] = chance.random,
) -> Fetched | Partial:
    """Fetches a plan into folder/<source>-<run>/. What is there whole already costs nothing; other runs are never touched.

    Never raises for what a server, a link or a disk does: that is Partial, with the reason. random: 0 up to 1, spreads the tries.
    """
    spending = _Fetch(plan, folder, budget, clock, progress, is_readable, random)
    try:
        spending.all()
    except StopError as stop:
        return spending.partial(stop)
    except OSError as error:
        why = f"the disk will not have it ({error.strerror or error}): make room, or check the folder {folder}"
        return spending.partial(StopError(Reason.DISK, why))
    finally:
        spending.link.close()
    return Fetched(paths=tuple(spending.paths), run=plan.run, attribution=plan.attribution, notes=tuple(spending.notes),
                   spent=spending.link.spent)


class _Fetch:
    """One fetch under way."""

    def __init__(
        self, plan: Plan, folder: Path, budget: Budget, clock: Clock, progress: Callable[[Progress], None], is_readable: IsReadable,
        random: Callable[[], float],
    ) -> None:
        self.plan, self.folder, self.is_readable, self._progress = plan, folder, is_readable, progress
        self.link = Link(budget, clock, random, self._tick)
        self.paths: list[Path] = []
        self.notes: list[str] = []
        self._at = 0
        self._estimate = estimate(plan, folder).bytes
        self._measured = False

    def all(self) -> None:
        budget = self.link.budget
        if self._estimate > budget.max_bytes and not budget.begin_if_over:
            raise StopError(Reason.TOO_BIG, _over(self._estimate, budget.max_bytes))
        self._note_plan()
        for index, request in enumerate(self.plan.requests):
            self._at = index
            self._tick()
            self.paths.append(self._file(request))

    def _note_plan(self) -> None:
        """Writes down what belongs together before any of it comes: a run is whole when every file named here is there."""
        place = run_folder(self.plan, self.folder)
        (place / COMING).mkdir(parents=True, exist_ok=True)
        note = {"files": [f"{request.key}.grib" for request in self.plan.requests], "attribution": self.plan.attribution}
        making = place / COMING / f"{self.plan.key}.tmp"
        making.write_text(json.dumps(note), encoding="utf-8")
        making.replace(place / f"{PLAN_NOTE}{self.plan.key}.json")
        sync_folder(place)

    def partial(self, stop: StopError) -> Partial:
        plan = self.plan
        held = [target for request in plan.requests if (target := _target(plan, request, self.folder)).exists()]
        lacking = [request.title for request in plan.requests if not _target(plan, request, self.folder).exists()]
        titles = tuple(dict.fromkeys(lacking))
        LOG.info("%s %s: %s", plan.source, stop.reason, stop.sentence)
        return Partial(
            paths=tuple(held), lacking=titles, reason=stop.reason, sentence=stop.sentence, retry_at=stop.retry_at, run=plan.run,
            attribution=plan.attribution, notes=tuple(self.notes), spent=self.link.spent)

    def _tick(self) -> None:
        request = self.plan.requests[self._at]
        self._progress(Progress(
            file=self._at + 1, files=len(self.plan.requests), title=request.title, bytes=self.link.bytes,
            estimate_bytes=self._estimate, seconds=self.link.spent.seconds))

    def _file(self, request: FileRequest) -> Path:
        """The whole file of a request; one that changed on the server while it came, or came damaged, is begun once more."""
        target = _target(self.plan, request, self.folder)
        coming = target.parent / COMING
        if target.exists():
            return target
        index, part = coming / f"{request.key}.index", coming / f"{request.key}.part"
        for last in (False, True):
            try:
                self._once(request, index, part, target)
                index.unlink(missing_ok=True)
                return target
            except StaleError as stale:
                LOG.info("%s", stale)
                for path in (index, part, part.with_name(part.name + ".json")):
                    path.unlink(missing_ok=True)
                if last or stale.reason == Reason.NOT_GRIB:
                    raise StopError(stale.reason, str(stale), self.link.clock.now() + LATER) from None
        raise AssertionError

    def _once(self, request: FileRequest, index: Path, path: Path, target: Path) -> None:
        ranges: tuple[ByteRange, ...] | None = None
        if request.layout != Layout.QUERY:
            located = self._located(request, index)
            ranges = located.ranges
            missing = f"{request.title}: {', '.join(located.missing)} not in the file" if located.missing else ""
            if missing and missing not in self.notes:
                self.notes.append(missing)
            self._hold_to_estimate(request, located)
        files_left = len(self.plan.requests) - self._at
        with Part(path, request.url, ranges) as part:
            while part.next() is not None:
                self.link.tries(lambda: get(self.link, request.url, part, files_left))
            framing = part.framing()
            if framing.state != State.WHOLE:
                raise StaleError(Reason.DAMAGED, f"{shown_url(request.url)} {framing.fault}")
            part.save()
            fault = sentence_of(self.is_readable, part.path)
            if fault is not None:
                raise StaleError(Reason.DAMAGED, f"{shown_url(request.url)} {fault}")
            part.finish(target)

    def _located(self, request: FileRequest, index: Path) -> Located:
        """Where the fields stand; the index is kept until the file is whole, so that a broken fetch does not pay for it twice."""
        name = shown_url(request.index_url)
        try:
            try:
                return locate(request, index.read_text(encoding="utf-8"), name)
            except (FileNotFoundError, UnicodeDecodeError, BadInputError):
                text = self.link.tries(lambda: self._text(request.index_url))
                located = locate(request, text, name)
        except BadInputError as error:
            raise StopError(Reason.ANSWER, str(error).split("\n")[0], self.link.clock.now() + LATER) from None
        index.write_text(text, encoding="utf-8")
        return located

    def _text(self, url: str) -> str:
        with self.link.ask(url, {"Accept-Encoding": "gzip"}) as answer:
            if answer.status != 200:
                raise StopError(Reason.ANSWER, f"{shown_url(url)}: a part was sent where the whole was asked for")
            return b"".join(decoded(self.link.body(answer), answer, INDEX_LIMIT_BYTES)).decode("utf-8", "replace")

    def _hold_to_estimate(self, request: FileRequest, located: Located) -> None:
        """The first index tells what a file really holds: when the whole plan would then be over the budget, it ends before it costs."""
        if self._measured:
            return
        self._measured = True
        typical = request.estimate_bytes // max(1, len(request.wants))
        real = self._estimate * located.bytes(if_open=typical) / max(1, request.estimate_bytes)
        if real > self.link.budget.max_bytes and not self.link.budget.begin_if_over:
            raise StopError(Reason.TOO_BIG, _over(round(real), self.link.budget.max_bytes))


def run_folder(plan: Plan, folder: Path) -> Path:
    """Where the files of a plan's run go."""
    return folder / f"{plan.source}-{plan.run:%Y%m%d%H}"


def _over(size: int, limit: int) -> str:
    return (f"it would come to about {megabytes(size)}, over the limit of {megabytes(limit)}: "
            "ask for fewer days, fewer fields or a smaller box, or allow it to begin")


def _target(plan: Plan, request: FileRequest, folder: Path) -> Path:
    return run_folder(plan, folder) / f"{request.key}.grib"
