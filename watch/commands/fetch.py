"""(I/O) Fetches forecasts from the sources of a file: the size is told before anything is spent."""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import click

from watch.commands.common import Refused, refusing
from watch.faults import BadInputError
from watch.forecast.box import Box
from watch.forecast.budget import Budget, Clock, megabytes
from watch.forecast.catalogue import Source
from watch.forecast.contract import Name
from watch.forecast.download import Fetched, Partial, Progress, estimate, read_sources
from watch.forecast.fetching import ALOFT, EVERY_H, NEEDED, fetch_run, plan_run
from watch.forecast.runs import newest_run
from watch.forecast.sources import Plan, candidate_runs, expected_at
from watch.passage.position import show_position
from watch.ready import ready

NOTHING_CAME = 1
LONGEST_H = 384


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What is wanted, understood."""

    box: Box
    hours: int
    to: Path
    every_h: int
    aloft: bool
    members: int | None
    budget: Budget


@click.command()
@click.option("--source", "names", multiple=True, help="A source by its name in the sources file; else all that are enabled there.")
@click.option("--sources", "sources_path", type=click.Path(path_type=Path), default=None, help="A sources file (TOML); else the ready one.")
@click.option("--route", type=click.Path(path_type=Path), default=None, help="The route: GPX 1.1, or TOML. Gives the box and the hours.")
@click.option("--boat", type=click.Path(path_type=Path), default=None, help="The boat file (TOML): how far she can get.")
@click.option("--shelters", type=click.Path(path_type=Path), multiple=True, help="A shelters file: the box then holds them too.")
@click.option("--position", default=None, help='Where she is, like "36 30.0 N, 52 00.0 W"; else the route\'s start.')
@click.option("--box", "box_text", default=None, help='South, north, west, east, like "25 N, 45 N, 70 W, 40 W"; instead of a route.')
@click.option("--hours", type=click.IntRange(3, LONGEST_H), default=None, help="How far ahead; else what the route takes, 96 at the most.")
@click.option("--every", "every_h", type=click.IntRange(1, 12), default=EVERY_H, show_default=True, help="Hours between steps.")
@click.option("--aloft", is_flag=True, help="Also the fields at 850, 925 and 500 hPa, for fronts and squalls; about twice the size.")
@click.option("--members", type=click.IntRange(1, 100), default=None, help="Of an ensemble only the first so many.")
@click.option("--to", type=click.Path(path_type=Path, file_okay=False), default=Path("forecasts"), show_default=True, help="The folder.")
@click.option("--at-most", "at_most_mb", type=click.FloatRange(0.01, 100_000), default=10.0, show_default=True, help="Megabytes in all.")
@click.option("--minutes", type=click.FloatRange(0.1, 1440), default=30.0, show_default=True, help="Minutes in all.")
@click.option("--begin-if-over", is_flag=True, help="Begin even when it is too much: the nearest days first, to the limit.")
@click.option("--proxy", default=None, help="Address of a proxy, that of a satellite terminal say.")
@click.option("--size-only", is_flag=True, help="Only tell the size; nothing is spent.")
@click.option("--yes", is_flag=True, help="Do not ask before fetching.")
@refusing
def fetch(
    names: tuple[str, ...], sources_path: Path | None, route: Path | None, boat: Path | None, shelters: tuple[Path, ...],
    position: str | None, box_text: str | None, hours: int | None, every_h: int, aloft: bool, members: int | None, to: Path,
    at_most_mb: float, minutes: float, begin_if_over: bool, proxy: str | None, size_only: bool, yes: bool,
) -> None:
    """Fetch the newest forecast for the route: only the fields, the steps and, where the server can, the box that it needs.

    A broken fetch goes on where it broke off when the same is asked for again. What came is read in a process apart before it counts.
    """
    chosen = _chosen(sources_path or ready("config", "sources.toml"), names)
    box, reach_h = _area(route, boat, shelters, position, box_text, hours)
    try:
        budget = Budget(max_bytes=max(1, int(at_most_mb * 1e6)), max_seconds=minutes * 60.0, begin_if_over=begin_if_over, proxy_url=proxy)
    except ValueError as error:
        raise BadInputError("--proxy", [str(error)]) from None
    asked = Asked(box=box, hours=reach_h, to=to, every_h=every_h, aloft=aloft, members=members, budget=budget)
    clock = ship_clock()
    size = _told(chosen, asked, clock.now())
    if size_only:
        click.echo("Nothing was asked of any server.")
        return
    if size > budget.max_bytes and not begin_if_over:
        raise Refused(f"That is over the limit of {megabytes(budget.max_bytes)}: ask for fewer hours or sources, raise --at-most, or take "
                      "the nearest days with --begin-if-over. Nothing was asked of any server.")
    if not yes:
        if not sys.stdin.isatty():
            raise Refused("Nobody is there to be asked: say --yes to fetch, or --size-only.")
        click.confirm("Fetch it?", abort=True)
    if not _fetched(chosen, asked, clock):
        sys.exit(NOTHING_CAME)


def ship_clock() -> Clock:
    """The computer's own."""
    return Clock(now=lambda: datetime.now(UTC), monotonic_s=time.monotonic, sleep=time.sleep)


def _chosen(path: Path, names: tuple[str, ...]) -> list[Source]:
    known = read_sources(path)
    strange = [name for name in names if name not in known]
    if strange:
        raise BadInputError("--source", [f'"{strange[0]}" is not in {path}; known are {", ".join(known)}'])
    chosen = [known[name] for name in dict.fromkeys(names)] or [source for source in known.values() if source.enabled]
    if not chosen:
        raise BadInputError(path, ["no source in it is enabled: name one with --source"])
    return chosen


def _area(
    route: Path | None, boat: Path | None, shelters: tuple[Path, ...], position: str | None, box_text: str | None, hours: int | None,
) -> tuple[Box, int]:
    from watch.boat.boat_file import read_boat
    from watch.passage.route_file import read_route
    from watch.passage.shelters_file import read_shelters
    from watch.service.area import MOST_H, box_within, fastest_kn, hours_for
    from watch.service.gather import parse_place

    if (route is None) == (box_text is None):
        raise Refused("Where is the forecast wanted? Give either --route or --box.")
    if box_text is not None:
        return _box(box_text), hours or MOST_H
    assert route is not None
    read, own = read_route(route), read_boat(boat) if boat is not None else None
    places = read_shelters(shelters).shelters if shelters else ()
    here = parse_place(position) if position is not None else None
    ahead = read if here is None else read.from_position(*here)
    speed_kn = fastest_kn(own)
    wanted = hours or hours_for(ahead, speed_kn)
    return box_within(read, here, wanted * speed_kn, places), wanted


def _box(text: str) -> Box:
    from watch.service.gather import parse_position

    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 4:
        raise BadInputError("--box", [f'"{text}" is no box: write south, north, west, east, like "25 N, 45 N, 70 W, 40 W"'])
    try:
        (south, west), (north, east) = (parse_position(f"{parts[at]}, {parts[at + 2]}") for at in (0, 1))
        return Box(south, north, west, east)
    except BadInputError as error:
        raise BadInputError("--box", list(error.faults)) from None
    except ValueError as error:
        raise BadInputError("--box", [str(error)]) from None


def _told(chosen: list[Source], asked: Asked, now: datetime) -> int:
    """Says what would be fetched and what it would cost, and gives the bytes in all."""
    box, total = asked.box, 0
    click.echo(f"For {show_position(box.south, box.west)} to {show_position(box.north, box.east)}, {asked.hours} hours ahead:")
    for source in chosen:
        made = _plan(source, _usual_run(source, now), asked)
        found = estimate(made, asked.to)
        total += found.bytes
        click.echo(f"  {source.id}, run of {made.run:%a %d %b %HZ}: {found.sentence}")
    click.echo(f"In all about {megabytes(total)}." if total else "Everything is here already.")
    return total


def _usual_run(source: Source, now: datetime) -> datetime:
    runs = candidate_runs(source, now)
    return next((run for run in runs if expected_at(source, run) <= now), runs[-1])


def _plan(source: Source, run: datetime, asked: Asked) -> Plan:
    return plan_run(source, run, asked.box, asked.hours, every_h=asked.every_h, fields=_fields(asked), members=asked.members)


def _fields(asked: Asked) -> tuple[Name, ...]:
    return NEEDED + ALOFT if asked.aloft else NEEDED


def _fetched(chosen: list[Source], asked: Asked, clock: Clock) -> bool:
    """Fetches source after source within the one budget; True when anything came, or was here already."""
    left, began_s, any_came = asked.budget, clock.monotonic_s(), False
    for source in chosen:
        newest = newest_run(source, asked.hours, left, clock)
        click.echo(f"{source.id}: {newest.sentence}")
        got: Fetched | Partial | None = None
        if newest.run is not None:
            got = fetch_run(source, newest.run, asked.box, asked.hours, asked.to, budget=left, clock=clock, every_h=asked.every_h,
                            fields=_fields(asked), members=asked.members, progress=_progress())
            _say(source, got, asked)
            any_came = any_came or bool(got.paths)
        spent = newest.spent.bytes + (got.spent.bytes if got is not None else 0)
        seconds = asked.budget.max_seconds - (clock.monotonic_s() - began_s)
        if left.max_bytes <= spent or seconds <= 0.0:
            click.echo("The limit is reached: the other sources were not asked." if source is not chosen[-1] else "The limit is reached.")
            break
        left = replace(left, max_bytes=left.max_bytes - spent, max_seconds=seconds)
    return any_came


def _say(source: Source, got: Fetched | Partial, asked: Asked) -> None:
    """What came, in sentences."""
    spent = f"{megabytes(got.spent.bytes)} in {max(1, round(got.spent.seconds / 60.0))} min"
    if isinstance(got, Fetched):
        click.echo(f"  whole: {len(got.paths)} files, {spent}")
    else:
        click.echo(f"  NOT WHOLE: {got.sentence}")
        click.echo(f"  {len(got.paths)} files are here, {spent}; lacking: {_listed(got.lacking)}")
        if got.retry_at is not None:
            click.echo(f"  Ask again after {got.retry_at:%H:%M} UTC; it goes on from here.")
    for note in got.notes:
        click.echo(f"  {note}")
    if got.paths:
        click.echo(f"  {got.attribution}")
        click.echo(f"  nightorders brief --forecast {got.paths[0].parent} ...")


def _listed(titles: tuple[str, ...]) -> str:
    return ", ".join(titles) if len(titles) <= 6 else f"{', '.join(titles[:3])} and {len(titles) - 3} more, to {titles[-1]}"


def _progress() -> Callable[[Progress], None]:
    """One line that is written over while somebody watches; nothing in a log."""
    if not sys.stderr.isatty():
        return lambda _: None

    def show(at: Progress) -> None:
        end = "\n" if at.file == at.files and at.bytes >= at.estimate_bytes else ""
        click.echo(f"\r  {at.title}: file {at.file} of {at.files}, {megabytes(at.bytes)} of about {megabytes(at.estimate_bytes)}   {end}",
                   nl=False, err=True)

    return show
