"""The inbox for a watch that stands: what is whole and can be read is kept under our own name, what is no use is put aside (I/O)."""

import contextlib
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from watch.forecast.inbox import DEFAULT_RULES, DEPTH, InboxRules, Ready, Seen, Verdict, look, shown, tidy
from watch.forecast.kept import DIGEST_LETTERS, YOUNG, Kept, kept_name, newest_first, parts_of
from watch.forecast.put_away import ChangedError, Identity, copied, identity, move, put_all_back, remove
from watch.forecast.runs import held_runs
from watch.forecast.trial import Tried, try_apart
from watch.forecast.unpack import plain_name, sync_folder
from watch.when import utc

FORECASTS, REFUSED, PACKED, COMING, UNPACKED = "forecasts", "refused", "packed", ".coming", ".unpacked"
AT_ONCE = 100  # files of one look; the rest wait for the next, so that no look takes for ever
TRIAL_S = 60.0

TryFiles = Callable[[Sequence[Path]], Sequence[Tried]]


def _tried(paths: Sequence[Path]) -> tuple[Tried, ...]:
    return try_apart(paths, seconds=TRIAL_S)


@dataclass(frozen=True, kw_only=True)
class Taken:
    """A forecast newly kept. name: as it lay in the inbox."""

    name: str
    kept: Kept


@dataclass(frozen=True, kw_only=True)
class Turned:
    """A file that is no use. path: where it lies now: under refused/, or still in the inbox. sentence: for the sailor."""

    name: str
    path: Path
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Looked:
    """What one look brought: each thing is told once. again: files that hold what is kept already. waiting: name and sentence of what
    is still coming or cannot be dealt with yet. more: there is more to look into at once. seen: hand it to the next look."""

    taken: tuple[Taken, ...]
    again: tuple[str, ...]
    refused: tuple[Turned, ...]
    waiting: tuple[tuple[str, str], ...]
    more: bool
    seen: Mapping[str, Seen]


def look_in(
    inbox: Path, kept: Path, now: datetime, seen: Mapping[str, Seen], *, rules: InboxRules = DEFAULT_RULES, leave: bool = False,
    try_files: TryFiles = _tried, at_once: int = AT_ONCE,
) -> Looked:
    """One look at the inbox; what is whole and decodable goes to kept/forecasts, what is no use to kept/refused with a note of why.

    seen: from the look before; {} at the start of a process, which also clears up after a kill (what was kept just before it is not
    told again: begin with `kept_forecasts`). Killed at any instant, the next looks end as if it had not been: what is in forecasts/
    is whole, was read in a process apart, and is there once, by its checksum.
    A packed file's contents are kept, the file itself goes to kept/packed. leave: nothing is moved out of the inbox. Links, folders
    and files of which more may yet come stay where they are. Raises BadInputError when the inbox cannot be looked into.
    """
    if not seen:
        _clear_up(inbox, kept)
    found = look(inbox, seen, now, cache=kept / UNPACKED, rules=rules)
    intake = _Intake(inbox, kept, now, dict(found.seen), leave)
    for name, sentence in found.refused:
        if name in found.changed:
            intake.turn(name, sentence)
    ready, many = list[Ready](), 0
    for one in found.ready:
        if not ready or many + len(one.paths) <= at_once:
            ready.append(one)
            many += len(one.paths)
    if ready:
        intake.take(ready, try_files)
        tidy(kept / UNPACKED, intake.seen)
    waiting = (*found.waiting, *intake.waiting)
    return Looked(taken=tuple(intake.taken), again=tuple(intake.again), refused=tuple(intake.refused), waiting=waiting,
                  more=len(ready) < len(found.ready), seen=intake.seen)


def kept_forecasts(kept: Path) -> tuple[Kept, ...]:
    """Everything in kept/forecasts, the newest run first; read from the folder alone. Strange names are passed over."""
    whole = {held.folder for held in held_runs(kept / FORECASTS) if held.whole}
    return newest_first([one for path in _listed(kept / FORECASTS) if (one := _kept(path, path in whole)) is not None])


def packed_to_drop(kept: Path, now: datetime, young: timedelta = YOUNG) -> tuple[Path, ...]:
    """Packed files whose contents were kept, put away longer ago than `young`; by when they were moved, not by what they say."""
    since = utc(now).timestamp() - young.total_seconds()
    return tuple(sorted(path for path in _listed(kept / PACKED) if path.is_file() and path.stat().st_ctime < since))


def drop(droppable: Sequence[Kept]) -> tuple[Path, ...]:
    """Removes what `to_drop` said may go; gives what is gone."""
    for one in droppable:
        if one.digest:
            with contextlib.suppress(OSError):
                one.path.unlink()
        else:
            shutil.rmtree(one.path, ignore_errors=True)
    return tuple(one.path for one in droppable if not one.path.exists())


class _Intake:
    """One look under way."""

    def __init__(self, inbox: Path, kept: Path, now: datetime, seen: dict[str, Seen], leave: bool) -> None:
        self.inbox, self.kept, self.now, self.seen, self.leave = inbox, kept, now, seen, leave
        self.taken: list[Taken] = []
        self.again: list[str] = []
        self.refused: list[Turned] = []
        self.waiting: list[tuple[str, str]] = []

    def turn(self, name: str, sentence: str) -> None:
        """A refused file goes to refused/, where that can be."""
        path, state = self.inbox / name, self.seen[name]
        lies = path
        if not (self.leave or state.stays or state.size < 0 or path.is_symlink()):
            lies = self._gone(name, partial(move, folder=self.kept / REFUSED, sentence=sentence)) or path
        self.refused.append(Turned(name=name, path=lies, sentence=sentence))

    def take(self, ready: Sequence[Ready], try_files: TryFiles) -> None:
        """Copies, tries and keeps what is new of the files that are ready."""
        coming = self.kept / COMING
        coming.mkdir(parents=True, exist_ok=True)
        try:
            copies = [(one, made) for number, one in enumerate(ready) if (made := self._copies(one, coming, number)) is not None]
            known = {kept.digest: kept for kept in kept_forecasts(self.kept) if kept.digest}
            new = {digest: path for _, made in copies for path, digest in made if digest[:DIGEST_LETTERS] not in known}
            tried = dict(zip(new, try_files(list(new.values())) if new else (), strict=True))
            for one, made in copies:
                self._keep(one, made, tried, known)
        except OSError as error:  # nothing is decided: all that is left is done again at the next look
            why = f"cannot be taken in ({error.strerror or error}); it is tried again: see that there is room on the disk"
            self.waiting += [(one.name, f"{shown(one.name)} {why}") for one in ready if self._is_ready(one.name)]
        finally:
            shutil.rmtree(coming, ignore_errors=True)

    def _is_ready(self, name: str) -> bool:
        return name in self.seen and self.seen[name].verdict == Verdict.READY

    def _copies(self, one: Ready, coming: Path, number: int) -> list[tuple[Path, str]] | None:
        """Our own copies of a file's contents with their checksums, None when it changed meanwhile."""
        made = []
        for place, path in enumerate(one.paths):
            copy = coming / f"{number}-{place}" / plain_name(path.name, 1)
            copy.parent.mkdir(parents=True, exist_ok=True)
            try:
                made.append((copy, copied(path, self._identity(one, path), copy)))
            except (ChangedError, FileNotFoundError):
                del self.seen[one.name]
                return None
        return made

    def _identity(self, one: Ready, path: Path) -> Identity:
        if path == one.path:
            return self.seen[one.name].size, self.seen[one.name].modified_ns
        return identity(path.stat())

    def _keep(self, one: Ready, made: Sequence[tuple[Path, str]], tried: Mapping[str, Tried], known: dict[str, Kept]) -> None:
        """Puts the good ones under their names, then takes the file out of the inbox."""
        faults, fresh = list[str](), 0
        packed = one.paths != (one.path,)
        for (copy, digest), inside in zip(made, one.paths, strict=True):
            if digest[:DIGEST_LETTERS] in known:
                continue
            result = tried[digest]
            if result.faults:
                faults.append((f"holds {inside.name}, which " if packed else "") + "; ".join(result.faults))
                continue
            self.taken.append(Taken(name=one.name, kept=self._named(copy, digest, result)))
            known[digest[:DIGEST_LETTERS]] = self.taken[-1].kept
            fresh += 1
        if faults:
            more = f" ({len(faults)} of the {len(made)} in it are no use; the others were taken)" if len(made) > 1 else ""
            sentence = faults[0] + more
            self.seen[one.name] = replace(self.seen[one.name], verdict=Verdict.REFUSED, sentence=sentence, paths=())
            self.turn(one.name, f"{shown(one.name)} {sentence}")
            return
        if not fresh:
            self.again.append(one.name)
        self.seen[one.name] = replace(self.seen[one.name], verdict=Verdict.TAKEN, sentence="is kept", paths=())
        if not self.leave:
            away = partial(move, folder=self.kept / PACKED) if packed and not one.path.is_symlink() else _removed
            self._gone(one.name, away)

    def _named(self, copy: Path, digest: str, result: Tried) -> Kept:
        folder = self.kept / FORECASTS
        folder.mkdir(parents=True, exist_ok=True)
        target = folder / kept_name(result.holds[0].centre, result.holds[0].run, digest)
        copy.rename(target)
        sync_folder(folder)
        named = _kept(target)
        assert named is not None
        return named

    def _gone(self, name: str, away: Callable[[Path, Identity], Path]) -> Path | None:
        """Takes a file out of the inbox; where that cannot be, it stays, and is not looked into again while it is the same."""
        state = self.seen[name]
        try:
            lies = away(self.inbox / name, (state.size, state.modified_ns))
        except (ChangedError, FileNotFoundError):
            del self.seen[name]  # another came in its place: it is looked at from the beginning
            return None
        except OSError as error:
            self.waiting.append((name, f"{shown(name)} cannot be moved out of the inbox ({error.strerror or error}): it is left there"))
            return None
        del self.seen[name]
        return lies


def _removed(path: Path, expected: Identity) -> Path:
    remove(path, expected)
    return path


def _clear_up(inbox: Path, kept: Path) -> None:
    """After a process that was killed: half-made copies go, files that were on their way out of the inbox are back in it."""
    shutil.rmtree(kept / COMING, ignore_errors=True)
    put_all_back(inbox, DEPTH)
    tidy(kept / UNPACKED, {})


def _listed(folder: Path) -> Iterator[Path]:
    with contextlib.suppress(FileNotFoundError):
        yield from folder.iterdir()


def _kept(path: Path, whole: bool = True) -> Kept | None:
    parts = parts_of(path.name)
    if parts is None or path.is_dir() != (parts[2] == ""):
        return None
    files = (path,) if parts[2] else tuple(sorted(p for p in path.iterdir() if p.is_file() and not p.name.startswith(".")))
    try:
        status, sizes = path.stat(), sum(file.stat().st_size for file in files)
    except FileNotFoundError:
        return None
    return Kept(path=path, centre=parts[0], run=parts[1], digest=parts[2], arrived=datetime.fromtimestamp(status.st_mtime, UTC),
                bytes=sizes, paths=files, whole=whole or bool(parts[2]))
