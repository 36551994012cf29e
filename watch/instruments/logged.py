"""A line as a sailor writes it, understood: which job is meant, when it was begun; and what she carries after all that was logged.

Nothing is ever refused for being unclear: it is written as it stands, and it is said what was and was not understood.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from watch.boat.model import BoatFile, Job, as_names
from watch.boat.rig import RigState, UnknownStateError, allowed, elements_of, jobs_of, parse_state
from watch.instruments.log_line import HOW, Kind, LogEntry, is_place, read_line
from watch.when import dated, parse_utc, utc

UP = frozenset(("up", "set", "hoist", "hoisted", "bend", "bent", "on", "unroll", "unrolled", "shake", "shaken", "shook", "out"))
DOWN = frozenset(("down", "lower", "lowered", "off", "strike", "struck", "drop", "dropped", "roll", "rolled", "stow", "stowed", "away",
                  "below"))  # fmt: skip
ALL_DOWN = frozenset(("down", "lower", "lowered", "drop", "dropped", "strike", "struck"))  # of two jobs, the one that takes it farther down
LITTLE = frozenset(("the", "a", "an", "her", "and", "of", "it", "done", "now", "been", "is", "was", "i", "have", "has", "with", "to", "in",
                    "put"))  # fmt: skip
AHEAD = timedelta(minutes=2)  # a clock a little slow makes no position one of the future
ORDINALS = {"first": "1", "1st": "1", "second": "2", "2nd": "2", "third": "3", "3rd": "3", "fourth": "4", "4th": "4"}
ENDINGS = {"reefs": "reef", "reefed": "reef", "rolled": "roll", "rolling": "roll", "hoisted": "hoist", "lowered": "lower", "stowed": "stow",
           "unrolled": "unroll", "hove": "heave", "rigged": "rig", "dropped": "drop", "lashed": "lash"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Understood:
    """A line as it is to be written, and in words what was made of it and what was not."""

    entry: LogEntry
    says: str


def understand(text: str, now: datetime, boat: BoatFile | None = None, state: RigState | None = None) -> Understood:
    """What was typed, the present time, the boat and what she carries (None: not known) -> the entry and what to say.

    Without a time before it, a job that took so many minutes has just been done, and all else is of now. Raises ValueError for what
    is no line at all.

    >>> from watch.when import parse_utc
    >>> found = understand("storm jib up 22 min", parse_utc("2026-05-16T18:40Z"))
    >>> found.entry.when.strftime("%H:%M"), found.entry.what
    ('18:18', 'storm jib up')
    """
    typed = " ".join(text.split()) if text.isprintable() else text
    stamp, rest = _timed(typed)
    when = utc(now).replace(second=0, microsecond=0) if stamp is None else utc(stamp)
    try:
        entry = read_line(f"{when:%Y-%m-%dT%H:%M:%SZ} {rest}")
    except ValueError as fault:
        return _not_timed(rest, when, boat, state, fault)
    if entry.kind is Kind.JOB:
        start = entry.when if stamp is not None else dated(entry.when - timedelta(minutes=entry.minutes))
        return _job(replace(entry, when=start), boat, state)
    if entry.kind is Kind.RIG and boat is not None:
        return _rig(entry, boat)
    if entry.kind is Kind.PLACE and entry.when > utc(now) + AHEAD:
        raise ValueError(f"{entry.when:%Y-%m-%d %H:%M} UTC has not come yet: leave the time out for where she is now")
    return Understood(entry=entry, says={Kind.WEATHER: "Understood: wind and sea as you saw them.", Kind.NOTE: "Kept as a note.",
                                         Kind.PLACE: f"Understood: she was at {entry.what}, {entry.when:%H:%M} UTC.",
                                         Kind.RIG: "Kept as what she carries; no boat file to check it by."}[entry.kind])  # fmt: skip


def written_for(text: str, now: datetime) -> datetime:
    """The time that a typed line is about: the one it begins with, else now."""
    return _timed(" ".join(text.split()))[0] or now


def _timed(typed: str) -> tuple[datetime | None, str]:
    first, _, rest = typed.partition(" ")
    try:
        return parse_utc(first), rest
    except ValueError:
        return None, typed


def _job(entry: LogEntry, boat: BoatFile | None, state: RigState | None) -> Understood:
    times = f"begun {entry.when:%H:%M} UTC, done {entry.end:%H:%M}, {entry.minutes:g} min"
    if boat is None:
        return Understood(entry=entry, says=f"Understood: “{entry.what}”, {times}; no boat file to check it by (--boat).")
    meant = jobs_meant(boat, entry.what, state)
    if len(meant) != 1:
        return Understood(entry=entry, says=f"Kept as “{entry.what}”, {times}; but {_unclear(meant)}")
    job = meant[0]
    return Understood(entry=_named(entry, job), says=f"Understood: “{job.name}”, {times}.{_then(boat, state, job)}")


def _named(entry: LogEntry, job: Job) -> LogEntry:
    """The entry under the job's own name; what was typed stays as a remark."""
    if entry.what == job.name:
        return entry
    return replace(entry, what=job.name, remark="; ".join(part for part in (f"“{entry.what}”", entry.remark) if part))


def _then(boat: BoatFile, state: RigState | None, job: Job) -> str:
    if state is None:
        return " What she carries is not known: there is no rig entry yet, like “rig main: reef 1, genoa: half”."
    after, misfit = _after(boat, state, job)
    return f" {misfit}" if misfit else f" She then carries {after}."


def _unclear(meant: Sequence[Job]) -> str:
    if not meant:
        return "no job of the boat file is that: what she carries after it is not known. Put it right with --correct."
    return f"it may be {' or '.join(f'“{job.name}”' for job in meant[:4])}: say which with --correct."


def _not_timed(rest: str, when: datetime, boat: BoatFile | None, state: RigState | None, fault: ValueError) -> Understood:
    """What read_line refuses: a job without its minutes, or a note; what is no line at all is refused."""
    body, _, remark = (part.strip() for part in rest.partition(";"))
    if not body or not rest.isprintable() or len(rest) > 400 or body.partition(" ")[0] == "rig" or is_place(body):
        raise fault
    meant = () if boat is None else jobs_meant(boat, body, state)
    if boat is not None and len(meant) == 1:
        if state is not None and not _after(boat, state, meant[0])[1]:
            after = _after(boat, state, meant[0])[0]
            entry = LogEntry(when=when, kind=Kind.RIG, what=listed(after), remark="; ".join(p for p in (f"“{body}”", remark) if p))
            return Understood(entry=entry, says=f"Understood: “{meant[0].name}” is done; she carries {after}. How long it took was not said.")
        entry = LogEntry(when=when, kind=Kind.NOTE, what=rest)
        return Understood(entry=entry, says=f"Kept as a note only: “{meant[0].name}”, but how many minutes it took is missing: {HOW}.")
    if re.search(r"\d\s*(min|kn)\b|\b(wind|gusts?|sea)\s+\d", body):
        raise fault  # it was meant to be a measure, and is none
    return Understood(entry=LogEntry(when=when, kind=Kind.NOTE, what=rest), says=f"Kept as a note. A job wants its minutes: {HOW}.")


def _rig(entry: LogEntry, boat: BoatFile) -> Understood:
    try:
        state = parse_state(boat, entry.what)
    except UnknownStateError as fault:
        return Understood(entry=entry, says=f"Kept, but {fault}: what she carries is not known. Put it right with --correct.")
    return Understood(entry=replace(entry, what=listed(state)), says=f"Understood: she carries {state}.")


def listed(state: RigState) -> str:
    """Every position, so that none is left to what is usual: the way back is `parse_state`."""
    return ", ".join(f"{element}: {position}" for element, position in state.positions)


def jobs_meant(boat: BoatFile, what: str, state: RigState | None = None) -> tuple[Job, ...]:
    """The jobs that a few words may mean; one when it is clear. state: what she carries, where several would fit; None: not known.

    says: every word must be in the job's name, its sail or the position it leads to; up and down tell hoisting from lowering.
    why: at the mast at night nobody types a job's name in full; a wrong guess would leave the watch with a wrong rig state.
    example: "storm jib up" is "bend on and set the storm jib"; "genoa half" is two jobs, unless it is known whether it is rolled.
    source: judgement.
    """
    jobs = tuple({job.name: job for job in jobs_of(boat)}.values())
    exact = tuple(job for job in jobs if job.name.casefold() == what.casefold())
    if exact:
        return exact
    raw = re.findall(r"[a-z0-9]+", what.casefold())
    words = {_plain(word) for word in raw} - LITTLE
    found = tuple(job for job in jobs if words and words <= _words(job))
    if not found:
        left = {_plain(word) for word in raw if word not in UP | DOWN} - LITTLE
        found = tuple(job for job in jobs if left and left <= _words(job))
    up, down = any(word in UP for word in raw), any(word in DOWN for word in raw)
    if up != down and len(found) > 1:
        found = tuple(job for job in found if _goes_up(boat, job) == up) or found
        if down and any(word in ALL_DOWN for word in raw):
            lowest = max(_place(boat, job) for job in found)
            found = tuple(job for job in found if _place(boat, job) == lowest)
    if state is not None and len(found) > 1:
        found = tuple(job for job in found if state.by_element.get(job.element) in as_names(job.from_)) or found
    return found


def _plain(word: str) -> str:
    return ENDINGS.get(word, ORDINALS.get(word, word))


def _words(job: Job) -> set[str]:
    return {_plain(word) for text in (job.name, job.element, job.to) for word in re.findall(r"[a-z0-9]+", text.casefold())}


def _positions(boat: BoatFile, job: Job) -> tuple[str, ...]:
    return next(e.positions for e in elements_of(boat) if e.name == job.element)


def _place(boat: BoatFile, job: Job) -> int:
    """How far down it leads: positions stand from most to least."""
    return _positions(boat, job).index(job.to)


def _goes_up(boat: BoatFile, job: Job) -> bool:
    return _place(boat, job) < max(_positions(boat, job).index(name) for name in job.from_positions)


def state_after(boat: BoatFile, state: RigState, lines: Iterable[str], upto: datetime | None = None) -> RigState:
    """Boat, what she carried, the lines logged since (as LogLine.line) -> what she carries now, or at a time.

    Lines in any order of writing: what counts is when it was done. A job done changes its sail, a rig entry everything; what is not
    understood, or cannot be, changes nothing (see `misfits`).
    """
    return _fold(boat, state, lines, upto)[0] or state


def state_told(boat: BoatFile, lines: Iterable[str], upto: datetime) -> RigState | None:
    """What she carried at a time by the log alone; None while there is no rig entry that is understood."""
    return _fold(boat, None, lines, upto)[0]


def misfits(boat: BoatFile, state: RigState | None, lines: Iterable[str]) -> tuple[str, ...]:
    """A sentence for each line that does not fit the boat or what she carried: to be told once."""
    return _fold(boat, state, lines)[1]


def _fold(
    boat: BoatFile, state: RigState | None, lines: Iterable[str], upto: datetime | None = None
) -> tuple[RigState | None, tuple[str, ...]]:
    entries, said = [], []
    for line in lines:
        try:
            entries.append(read_line(line))
        except ValueError as fault:
            said.append(f"Log, “{line[:60]}”: {fault}")
    jobs = {job.name: job for job in jobs_of(boat)}
    for entry in sorted((e for e in entries if upto is None or e.end <= upto), key=lambda e: e.end):
        at = f"Log, {entry.when:%d %b %H:%M} UTC"
        if entry.kind is Kind.RIG:
            try:
                state = parse_state(boat, entry.what)
            except UnknownStateError as fault:
                said.append(f"{at}: {fault}; it changes nothing until it is put right (nightorders log --correct NUMBER).")
        elif entry.kind is Kind.JOB and entry.what not in jobs:
            said.append(f"{at}: the boat file has no job “{entry.what}”; it changes nothing until it is put right (nightorders log --correct NUMBER).")
        elif entry.kind is Kind.JOB and state is not None:
            state, misfit = _after(boat, state, jobs[entry.what])
            said += [f"{at}: {misfit}"] if misfit else []
    return state, tuple(said)


def _after(boat: BoatFile, state: RigState, job: Job) -> tuple[RigState, str]:
    """The state after a job that was done, and what does not fit; a state that cannot be is not believed."""
    after, was = state.having(job.element, job.to), state.by_element.get(job.element)
    if not allowed(boat, after):
        return state, f"“{job.name}” does not fit what she carries by the log ({state}); say what is up, like “rig {listed(state)}”."
    if was not in job.from_positions and was != job.to:
        return after, f"“{job.name}”, but by the log the {job.element} was {was}; it is taken to be {job.to} now."
    return after, ""
