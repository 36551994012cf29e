"""Which run is the newest on a server, and which runs lie in our folder (I/O)."""

import json
import random as chance
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from watch.forecast.budget import Budget, Clock, Reason, Spent, StopError
from watch.forecast.catalogue import Source, shown_url
from watch.forecast.download import PLAN_NOTE
from watch.forecast.link import Link
from watch.forecast.sources import candidate_runs, expected_at, probe_urls, steps_of

RUNS_BACK = 8  # two days of four runs: older ones are not worth asking for


@dataclass(frozen=True, kw_only=True)
class NewestRun:
    """run: the newest that has the steps asked for, None when none could be found. sentence: for the sailor."""

    run: datetime | None
    sentence: str
    reason: Reason | None
    spent: Spent


@dataclass(frozen=True, kw_only=True)
class HeldRun:
    """What is there of one plan for one run. whole: every file of the plan. paths: those that are there, earlier steps first."""

    source: str
    run: datetime
    whole: bool
    paths: tuple[Path, ...]
    attribution: str
    folder: Path


def newest_run(
    source: Source, hours: int, budget: Budget, clock: Clock, *, random: Callable[[], float] = chance.random,
) -> NewestRun:
    """Asks for the index of the last step needed, run after run backwards from the newest that can be there.

    hours: how far ahead is needed; a run that is shorter by design is asked for its own last step. A run counts when every family
    of its files answers. random: 0 up to 1, spreads the tries.
    """
    link = Link(budget, clock, random)
    now, missing = clock.now(), list[datetime]()
    try:
        for run in candidate_runs(source, now)[:RUNS_BACK]:
            urls = probe_urls(source, run, _last_step(source, run, hours))
            if all(link.tries(partial(_is_there, link, url)) for url in urls):
                return NewestRun(run=run, sentence=_said(source, run, missing, now), reason=None, spent=link.spent)
            missing.append(run)
    except StopError as stop:
        return NewestRun(run=None, sentence=stop.sentence, reason=stop.reason, spent=link.spent)
    finally:
        link.close()
    return NewestRun(run=None, sentence=f"{source.id}: none of the last {len(missing)} runs is there", reason=Reason.NOT_YET,
                     spent=link.spent)


def held_runs(folder: Path) -> tuple[HeldRun, ...]:
    """What was fetched into a folder, newest run first; read from the folder alone. Each plan for a run is by itself."""
    found = [held for place in (folder.iterdir() if folder.is_dir() else ()) for note in place.glob(f"{PLAN_NOTE}*.json")
             if (held := _held(place, note)) is not None]
    return tuple(sorted(found, key=lambda held: (held.run, held.source, held.whole), reverse=True))


def drop_older(folder: Path, keep: int) -> tuple[Path, ...]:
    """Removes the folders of runs older than the `keep` (1 or more) newest whole ones of each source; gives those removed."""
    if keep < 1:
        raise ValueError("at least one whole run is kept")
    held = held_runs(folder)
    dropped = []
    for source in sorted({h.source for h in held}):
        whole = sorted({h.run for h in held if h.source == source and h.whole}, reverse=True)[:keep]
        for place in sorted({h.folder for h in held if h.source == source and len(whole) == keep and h.run < whole[-1]}):
            shutil.rmtree(place, ignore_errors=True)
            dropped.append(place)
    return tuple(dropped)


def _held(place: Path, note: Path) -> HeldRun | None:
    """None when a folder or a note is none of ours or cannot be read."""
    name = re.fullmatch(r"([a-z0-9-]+)-(\d{10})", place.name)
    try:
        said = json.loads(note.read_text(encoding="utf-8"))
        run = datetime.strptime(f"{name[2] if name else ''}+0000", "%Y%m%d%H%z")
        paths = [place / str(file) for file in said["files"]]
        attribution = str(said["attribution"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    there = tuple(path for path in paths if path.is_file())
    return HeldRun(source=name[1] if name else "", run=run, whole=len(there) == len(paths), paths=there, attribution=attribution,
                   folder=place)


def _last_step(source: Source, run: datetime, hours: int) -> int:
    steps = steps_of(source, run)
    return next((step for step in steps if step >= hours), steps[-1])


def _is_there(link: Link, url: str) -> bool:
    """Whether a server has a file, by its headers alone; one that does not answer so is asked for the first byte. A page in its
    place ends the search: a link that wants a sign-in answers like that to everything."""
    for method, headers in (("HEAD", dict[str, str]()), ("GET", {"Range": "bytes=0-0"})):
        try:
            with link.ask(url, {"Accept-Encoding": "identity", **headers}, method) as answer:
                if answer.headers.get("Content-Type", "").lower().startswith("text/html"):
                    raise StopError(Reason.NOT_GRIB, f"{shown_url(url)} gives a page: does the link want a sign-in first?")
                return answer.status != 416
        except StopError as stop:
            if stop.reason == Reason.NOT_YET:
                return False
            if stop.reason != Reason.ANSWER or method == "GET":
                raise
    return False


def _said(source: Source, run: datetime, missing: list[datetime], now: datetime) -> str:
    if not missing:
        return f"the newest run, {run:%d %b %HZ}, is there"
    usual = expected_at(source, missing[0])
    when = f"{'usually' if usual > now else 'late: usually'} whole by {usual:%H:%M} UTC"
    return f"the run of {missing[0]:%d %b %HZ} is not whole yet ({when}); the newest that is, is {run:%d %b %HZ}"
