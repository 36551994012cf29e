"""(I/O) The passage log: one line for what was done or seen; the last lines; what the boat file claims beside what was sailed."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from watch.commands.common import Refused, now_option, refusing
from watch.service.home import book_of, home_of
from watch.service.store.store import Store

if TYPE_CHECKING:
    from collections.abc import Sequence

    from watch.boat.model import BoatFile
    from watch.boat.rig import RigState
    from watch.instruments.log_line import LogEntry
    from watch.service.store.logbook import LogLine

LAST = 20
BOAT = "boat_file"  # the name under which the watch keeps the path of the boat file she stands by
EVER = datetime(1970, 1, 1, tzinfo=UTC)


@click.command()
@click.argument("line", nargs=-1)
@click.option("--boat", type=click.Path(path_type=Path), envvar="NIGHTORDERS_BOAT", default=None,
              help="The boat file, to know her jobs by; else $NIGHTORDERS_BOAT, else that of the watch.")
@click.option("--home", type=click.Path(path_type=Path), default=None, help="The watch's folder; else $NIGHTORDERS_HOME, else the usual one.")
@click.option("--correct", type=int, default=None, metavar="NUMBER", help="Put LINE in the place of this line; the old one is kept.")
@click.option("--limits", is_flag=True, help="What the boat file claims beside what was experienced and practised.")
@click.option("--all", "all_", is_flag=True, help="All lines, not only the last.")
@click.option("--by", default="skipper", help="Who writes.")
@now_option
@refusing
def log(line: tuple[str, ...], boat: Path | None, home: Path | None, correct: int | None, limits: bool, all_: bool, by: str,
        now: datetime) -> None:
    """Write LINE into the log, like "storm jib up 22 min", "rig main: reef 2, genoa: below", "wind 28 gusts 37 sea 3" or
    "at 36 30.0 N, 52 00.0 W"; without one, show the last lines. A job is taken to be done just now, unless a time of its beginning stands
    before it (2026-05-16T18:20Z)."""
    text = " ".join(line).strip()
    if correct is not None and not text:
        raise Refused("--correct: the new line is missing; write it behind the number")
    if limits and text:
        raise Refused("--limits shows what was logged; leave the line out")
    with Store.open(book_of(home_of(home)), now) as store:
        own = _boat(boat, store)
        if limits:
            _limits(store, own)
        elif text:
            _write(store, own, text, correct, by, now)
        else:
            _show(store, all_)
        for sentence in store.said:
            click.echo(sentence, err=True)


def _boat(given: Path | None, store: Store) -> "BoatFile | None":
    path = given or store.get(BOAT)
    if path is None:
        return None
    from watch.boat.boat_file import read_boat

    return read_boat(Path(path))


def _write(store: Store, own: "BoatFile | None", text: str, correct: int | None, by: str, now: datetime) -> None:
    from watch.instruments.log_line import write_line
    from watch.instruments.logged import understand, written_for

    kept = store.log_lines()
    old = next((one for one in kept if one.id == correct), None)
    if correct is not None and old is None:
        raise Refused(f"--correct {correct}: there is no such line; see the numbers with: nightorders log --all")
    others = [one for one in kept if one.id != correct and (old is None or one.at <= old.at)]
    at = now if old is None else old.at
    try:
        found = understand(text, at, own, None if own is None else _carried(store, own, others, written_for(text, at)))
    except ValueError as fault:
        raise Refused(f"Not written: {fault}") from None
    written = write_line(found.entry)
    number = store.add_log(written, now, by) if correct is None else correct
    if correct is not None:
        store.correct_log(correct, written, now, by)
    _to_track(store, None if old is None else old.line, found.entry)
    click.echo(f"{'Line' if correct is None else 'Corrected line'} {number}: {written}")
    click.echo(found.says)


def _carried(store: Store, own: "BoatFile", lines: "Sequence[LogLine]", upto: datetime) -> "RigState | None":
    """What she carried then: as the watch was told at its start and by the lines since; without a watch by the log alone. None: not known."""
    from watch.boat.rig import UnknownStateError, parse_state
    from watch.instruments.logged import state_after, state_told
    from watch.service.stand.rigged import BASE

    base = store.get(BASE)
    if isinstance(base, dict) and all(isinstance(base.get(key), kind) for key, kind in (("state", str), ("line", int))):
        since = [one.line for one in lines if one.id > base["line"]]
        try:
            return state_after(own, parse_state(own, base["state"]), since, upto)
        except UnknownStateError:  # another boat file since: the log alone counts
            pass
    return state_told(own, (one.line for one in lines), upto)


def _to_track(store: Store, before: str | None, entry: "LogEntry") -> None:
    """A position told by hand is one of the track's; the one that a corrected line told is taken back."""
    from watch.instruments.log_line import Kind
    from watch.service.stand.reckoning import BY_HAND

    for wrong in _entries([] if before is None else [before])[0]:
        if wrong.kind is Kind.PLACE:
            store.take_back_position(wrong.when, BY_HAND)
    if entry.kind is Kind.PLACE:
        store.add_position(entry.when, *entry.latitude_longitude_deg, BY_HAND)


def _show(store: Store, all_: bool) -> None:
    lines = store.log_lines()
    if not lines:
        click.echo('The log is empty. Begin with what is up: nightorders log "rig main: reef 1, genoa: half"')
    for one in lines if all_ else lines[-LAST:]:
        click.echo(f"{one.id:>5}  {one.line}{'  (corrected)' if one.is_corrected else ''}")


def _limits(store: Store, own: "BoatFile | None") -> None:
    if own is None:
        raise Refused("--limits wants the boat file: --boat FILE")
    from watch.instruments.beside_record import limits_beside_record
    from watch.instruments.record import make_record
    from watch.instruments.steps import ObservedSteps
    from watch.render.limits_text import limits_text
    from watch.weather.wind import to_10m

    entries, notes = _entries([one.line for one in store.log_lines()])
    seen = ObservedSteps.of(store.steps(EVER))
    if own.boat.limits_at == "10 m":
        seen = seen.to_ten_metres(float(to_10m(1.0, own.boat.anemometer_height_m)))
    record = make_record(own, entries, seen)
    if len(seen.start) == 0:
        notes.append("No instruments were recorded: winds are those of the log alone.")
    click.echo(limits_text(limits_beside_record(own, record), (*record.notes, *notes)), nl=False)


def _entries(lines: list[str]) -> "tuple[list[LogEntry], list[str]]":
    from watch.instruments.log_line import read_line

    entries, notes = [], []
    for line in lines:
        try:
            entries.append(read_line(line))
        except ValueError as fault:
            notes.append(f"Log, “{line[:60]}”: {fault}")
    return entries, notes
