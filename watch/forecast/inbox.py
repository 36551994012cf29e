"""The folder where forecasts are dropped by any means: which files are whole, which are still coming, which are no use (I/O)."""

import hashlib
import os
import re
import shutil
import stat
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import BinaryIO

from watch.faults import BadInputError
from watch.forecast.framing import Framing, State, walk_by
from watch.forecast.unpack import TornError, UnfitError, UnpackLimits, kind_of, unpack
from watch.when import utc

IsReadable = Callable[[Path], str | None]

TEMPORARY = (".part", ".partial", ".tmp", ".temp", ".crdownload", ".download", ".filepart")
DEPTH = 3  # folders within folders, no deeper
MAX_FILES = 20_000
TRY_AGAIN = timedelta(minutes=5)


class Verdict(StrEnum):
    """How a file stands."""

    NEW = "new"  # seen at this size once: not looked into yet
    CUT = "cut"  # looked into: not whole
    HELD = "held"  # could not be looked into for a reason that is not the file's: asked again
    READY = "ready"
    REFUSED = "refused"


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What is known of a file from look to look. since: when it was first seen at this size and time of change. again: when a try
    that failed for want of room is made again."""

    size: int
    modified_ns: int
    since: datetime
    verdict: Verdict
    sentence: str = ""
    paths: tuple[Path, ...] = ()
    again: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A file that can be read. name: under the folder. paths: what to read, the file itself or its unpacked copies."""

    name: str
    path: Path
    paths: tuple[Path, ...]
    size: int


@dataclass(frozen=True, kw_only=True)
class InboxRules:
    """settle: how long a file must stay the same. give_up: how long a file that is not whole may stay the same before it is told."""

    settle: timedelta = timedelta(seconds=5)
    give_up: timedelta = timedelta(minutes=30)
    unpack: UnpackLimits = field(default_factory=UnpackLimits)


DEFAULT_RULES = InboxRules()


@dataclass(frozen=True, kw_only=True)
class InboxLook:
    """The folder at one moment. waiting and refused: name and sentence. changed: names whose standing is other than at the last
    look. gone: names that were there then and are not now. seen: hand it to the next look."""

    ready: tuple[Ready, ...]
    waiting: tuple[tuple[str, str], ...]
    refused: tuple[tuple[str, str], ...]
    changed: frozenset[str]
    gone: frozenset[str]
    seen: Mapping[str, Seen]


def structure_fault(path: Path) -> str | None:
    """None when a file is whole GRIB messages from end to end, else the end of a sentence that begins with its name."""
    try:
        with path.open("rb") as stream:
            return _framing_of(stream).fault
    except OSError as error:
        return f"cannot be read ({error.strerror or error})"


def sentence_of(is_readable: IsReadable, path: Path) -> str | None:
    """What a reader says against a file, as the end of a sentence that begins with its name; None when it takes it."""
    try:
        fault = is_readable(path)
    except BadInputError as error:
        fault = str(error)
    if fault is None:
        return None
    return "; ".join(line.removeprefix(f"{path}: ").removeprefix(f"{path.name}: ") for line in fault.splitlines())


def look(
    folder: Path, seen: Mapping[str, Seen], now: datetime, *, cache: Path,
    is_readable: IsReadable = structure_fault, rules: InboxRules = DEFAULT_RULES,
) -> InboxLook:
    """One look at the folder. seen: from the look before, or {}. cache: our own folder, for what has to be unpacked.

    A file is looked into once it has kept its size and time of change from one look to a later one, at least `settle` apart; a file
    that changes starts anew. Nothing in the folder is ever changed or removed. Hidden files are passed over. Raises BadInputError
    when the folder itself cannot be read.
    """
    now = utc(now)
    after: dict[str, Seen] = {}
    for name, path, found in _files(folder, cache):
        before = seen.get(name)
        if isinstance(found, str):
            kept = before.since if before and before.since <= now else now
            after[name] = Seen(size=-1, modified_ns=-1, since=kept, verdict=Verdict.REFUSED, sentence=found)
        else:
            after[name] = _judge(path, found, before, now, cache, is_readable, rules)
    return _summed(folder, seen, after)


def tidy(cache: Path, seen: Mapping[str, Seen]) -> None:
    """Removes unpacked copies that belong to no file of the last look, and half-made ones; touches nothing else in the cache."""
    in_use = {path.parent for state in seen.values() for path in state.paths}
    if cache.is_dir():
        for path in cache.iterdir():
            if re.fullmatch(r"unpacked-[0-9a-f]{16}|\.unpacked-[0-9a-f]{16}\.tmp", path.name) and path not in in_use:
                shutil.rmtree(path, ignore_errors=True)


def shown(name: str) -> str:
    """A file's name as it can be printed on one line, whatever bytes it is made of.

    >>> shown("fore\\ncast.grb")
    'fore?cast.grb'
    """
    text = os.fsencode(name).decode("utf-8", "replace")
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _summed(folder: Path, seen: Mapping[str, Seen], after: Mapping[str, Seen]) -> InboxLook:
    changed = {name for name, state in after.items()
               if (before := seen.get(name)) is None or (before.verdict, before.sentence) != (state.verdict, state.sentence)}
    waiting = (Verdict.NEW, Verdict.CUT, Verdict.HELD)
    return InboxLook(
        ready=tuple(Ready(name=n, path=folder / n, paths=s.paths, size=s.size)
                    for n, s in after.items() if s.verdict == Verdict.READY),
        waiting=tuple((n, f"{shown(n)} {s.sentence}") for n, s in after.items() if s.verdict in waiting),
        refused=tuple((n, f"{shown(n)} {s.sentence}") for n, s in after.items() if s.verdict == Verdict.REFUSED),
        changed=frozenset(changed), gone=frozenset(seen.keys() - after.keys()), seen=after)


def _files(folder: Path, cache: Path) -> Iterator[tuple[str, Path, os.stat_result | str]]:
    """Name under the folder, path, and its status or the sentence on why it is no use; in the order of names."""
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        raise BadInputError(folder, [f"cannot be looked into ({error.strerror or error}): make the folder, or name another"]) from None
    ours = cache.resolve()
    for number, (name, path, found) in enumerate(_walk(entries, "", 1, ours)):
        if number >= MAX_FILES:
            yield name, path, f"and what follows is not looked at: more than {MAX_FILES} files; move old ones away"
            return
        yield name, path, found


def _walk(
    entries: list[os.DirEntry[str]], prefix: str, depth: int, ours: Path,
) -> Iterator[tuple[str, Path, os.stat_result | str]]:
    for entry in entries:
        name, path = prefix + entry.name, Path(entry.path)
        if entry.name.startswith("."):
            continue
        try:
            if entry.is_dir(follow_symlinks=False):
                if path.resolve() == ours:
                    continue
                if depth >= DEPTH:
                    yield name, path, "is a folder too deep inside: move its files further up"
                else:
                    yield from _walk(sorted(os.scandir(path), key=lambda e: e.name), f"{name}/", depth + 1, ours)
                continue
            status = entry.stat()
        except FileNotFoundError:
            if entry.is_symlink():
                yield name, path, "is a link to a file that is not there"
            continue  # it was moved away while we looked
        except OSError as error:
            yield name, path, f"cannot be read ({error.strerror or error}): check who may read it"
            continue
        if stat.S_ISREG(status.st_mode):
            yield name, path, status
        elif stat.S_ISDIR(status.st_mode):
            yield name, path, "is a link to a folder: put the files here, or links to each"
        else:
            yield name, path, "is no ordinary file"


def _judge(
    path: Path, status: os.stat_result, before: Seen | None, now: datetime, cache: Path, is_readable: IsReadable, rules: InboxRules,
) -> Seen:
    fresh = Seen(size=status.st_size, modified_ns=status.st_mtime_ns, since=now, verdict=Verdict.NEW, sentence="has just arrived")
    if before is None:
        return fresh
    if (before.size, before.modified_ns) != (fresh.size, fresh.modified_ns):
        return replace(fresh, sentence="is still arriving")
    if before.since > now:  # the ship's clock was set back: count from here
        before = replace(before, since=now, again=None)
    if before.verdict == Verdict.REFUSED or (before.verdict == Verdict.READY and all(p.exists() for p in before.paths)):
        return before
    state = before
    if before.verdict != Verdict.CUT:
        if now - before.since < rules.settle or now == before.since or (before.again is not None and now < before.again):
            return before
        state = _examined(path, replace(before, again=None), now, cache, is_readable, rules)
    if state.verdict == Verdict.CUT and now - state.since >= rules.give_up:
        minutes = int((now - state.since).total_seconds() // 60)
        return replace(state, verdict=Verdict.REFUSED, sentence=f"{state.sentence}; nothing more has come for {minutes} minutes")
    return state


def _examined(path: Path, state: Seen, now: datetime, cache: Path, is_readable: IsReadable, rules: InboxRules) -> Seen:
    """The state of a file that has kept still, after a look inside."""
    def now_is(verdict: Verdict, sentence: str = "", paths: tuple[Path, ...] = ()) -> Seen:
        return replace(state, verdict=verdict, sentence=sentence, paths=paths)

    if path.name.lower().endswith(TEMPORARY):
        return now_is(Verdict.CUT, "has a temporary name: rename it when it is whole")
    try:
        # A pipe put in a file's place must not hold us up; a file that changed since it was counted is looked at again.
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        with os.fdopen(handle, "rb") as stream:
            status = os.fstat(handle)
            if not stat.S_ISREG(status.st_mode) or (status.st_size, status.st_mtime_ns) != (state.size, state.modified_ns):
                return now_is(Verdict.NEW, "is still arriving")
            if kind_of(stream.read(8)) is None:
                return _plain(path, stream, now_is, is_readable)
            stream.seek(0)
            found = _packed(path, stream, state, now_is, cache, is_readable, rules)
            return replace(found, again=now + TRY_AGAIN) if found.verdict == Verdict.HELD else found
    except FileNotFoundError:
        return now_is(Verdict.NEW, "has just been moved away")
    except OSError as error:
        return now_is(Verdict.HELD, f"cannot be read ({error.strerror or error}): check who may read it")


def _plain(path: Path, stream: BinaryIO, now_is: Callable[..., Seen], is_readable: IsReadable) -> Seen:
    framing = _framing_of(stream)
    if framing.state in (State.CUT, State.EMPTY):
        return now_is(Verdict.CUT, framing.fault)
    if framing.state == State.FOREIGN:
        return now_is(Verdict.REFUSED, framing.fault)
    fault = sentence_of(is_readable, path)
    return now_is(Verdict.READY, "", (path,)) if fault is None else now_is(Verdict.REFUSED, fault)


def _packed(
    path: Path, stream: BinaryIO, state: Seen, now_is: Callable[..., Seen], cache: Path, is_readable: IsReadable, rules: InboxRules,
) -> Seen:
    """A compressed file: its GRIB files are ready together, or it is refused with what is wrong with the first that is no use."""
    key = hashlib.sha256(os.fsencode(path) + f"\0{state.size}\0{state.modified_ns}".encode()).hexdigest()[:16]
    folder = cache / f"unpacked-{key}"
    try:
        copies = unpack(stream, path.name, folder, rules.unpack)
    except TornError:
        return now_is(Verdict.CUT, "is not whole: the compressed file ends too early")
    except UnfitError as unfit:
        return now_is(Verdict.REFUSED, str(unfit))
    except OSError as error:
        return now_is(Verdict.HELD, f"cannot be unpacked ({error.strerror or error}): make room on the disk")
    good: list[Path] = []
    for copy in copies:
        with copy.open("rb") as inside:
            framing = _framing_of(inside)
        if framing.state in (State.FOREIGN, State.EMPTY):
            continue  # a note or a picture packed along with the forecast
        fault = framing.fault if framing.state == State.CUT else sentence_of(is_readable, copy)
        if fault is not None:
            shutil.rmtree(folder, ignore_errors=True)
            return now_is(Verdict.REFUSED, f"holds {copy.name}, which {fault}")
        good.append(copy)
    if not good:
        shutil.rmtree(folder, ignore_errors=True)
        return now_is(Verdict.REFUSED, "holds no GRIB: nothing in it is a forecast")
    return now_is(Verdict.READY, "", tuple(good))


def _framing_of(stream: BinaryIO) -> Framing:
    def read_at(at: int, count: int) -> bytes:
        return os.pread(stream.fileno(), count, at)

    return walk_by(read_at, os.fstat(stream.fileno()).st_size)
