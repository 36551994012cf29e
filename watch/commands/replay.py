"""(I/O) What would have become of her, had she followed these orders? Weathers that happen, played under several ways to decide."""

import io
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from watch.boat.boat_file import read_boat
from watch.boat.rig import UnknownStateError, parse_state
from watch.commands.common import Refused, grib_files, refusing
from watch.faults import BadInputError
from watch.ready import ready
from watch.when import parse_utc

if TYPE_CHECKING:
    from watch.service.replay.files import PassagesFromFiles
    from watch.service.replay.results import Result

POLICIES = ("ours", "reactive", "never", "foresight")
STORMS = 20
INTERRUPTED = 130  # what a shell gives for a program ended by Ctrl-C
ONLY_FILES = ("route", "forecast", "now", "position", "hours", "starts", "apart")
ONLY_STORMS = ("storms", "seed", "every")


def _instant(_: click.Context, __: click.Parameter, value: str | None) -> datetime | None:
    try:
        return None if value is None else parse_utc(value)
    except ValueError as error:
        raise Refused(f"--now: {error}") from None


def replay_options(command: Callable[..., None]) -> Callable[..., None]:
    """Which weather, which boat, which policies, over what, and where to."""
    path = click.Path(path_type=Path)
    for option in reversed([
        click.option("--storms", type=click.IntRange(1, 100_000), help=f"How many invented storms to play; {STORMS} when not said."),
        click.option("--seed", type=click.IntRange(0), help="The number of the first invented storm; 0 when not said."),
        click.option("--every", type=click.Choice(["6", "12", "24"]), help="Hours from forecast to forecast of the invented storms; else 6."),
        click.option("--truth", type=path, multiple=True, help="GRIB of what happened: later runs, or analyses; may be given more than once."),
        click.option("--forecast", type=path, multiple=True, help="GRIB of the earlier runs she would have had; may be given more than once."),
        click.option("--route", type=path, help="The route: GPX 1.1, or TOML."),
        click.option("--now", callback=_instant, help="When the passage begins, like 2026-05-16T12:00Z; else when --truth does."),
        click.option("--position", default=None, help='Where she begins, like "36 30.0 N, 52 00.0 W"; else the route\'s start.'),
        click.option("--hours", type=click.FloatRange(1, 240), help="How long each passage is; else as far as --truth."),
        click.option("--starts", type=click.IntRange(1, 100_000), help="How many passages to begin, one after another; else one."),
        click.option("--apart", type=click.FloatRange(1), help="Hours from one start to the next; else 24."),
        click.option("--delay", type=click.FloatRange(0, 48), default=5.0, show_default=True,
                     help="Hours from a run's base time until it is aboard."),
        click.option("--boat", type=path, help="The boat file (TOML); else the example sloop."),
        click.option("--rig-state", "rig_state", default="", help='What is up at the start, like "main: reef 1"; else as usual.'),
        click.option("--policy", type=click.Choice(POLICIES), multiple=True, help="Only these ways to decide; else all four."),
        click.option("--instruments", is_flag=True, help="Correct the orders by her own wind and glass too, every three hours."),
        click.option("--workers", type=click.IntRange(1, 1024), default=os.cpu_count() or 1, show_default="the cores of this machine",
                     help="Passages played at the same time."),
        click.option("--dask", default=None, help='Over a Dask cluster: its address, or "here"; needs nightorders[replay].'),
        click.option("--keep", type=click.Path(path_type=Path, dir_okay=False),
                     help="A file that keeps each passage's result, so that a stopped replay goes on where it was."),
        click.option("--json", "as_json_", is_flag=True, help="All numbers as JSON, passage by passage."),
    ]):  # fmt: skip
        command = option(command)
    return command


@click.command()
@replay_options
@refusing
def replay(as_json_: bool, keep: Path | None, workers: int, dask: str | None, **given: Any) -> None:
    """Play the orders against weather that then really happens, beside acting by thresholds, changing nothing, and foresight.

    Without --truth the weather is invented: seeded storms, with forecasts that are wrong in time, strength and squalls.
    """
    from watch.service.replay.words import as_data, as_table

    work, names, about = _from_files(given) if given["truth"] else _invented(given)
    results = _played(work, names, keep, workers, dask)
    ordered = [results[name] for name in names if name in results]
    if ordered:
        click.echo(json.dumps(as_data(ordered, about), indent=1) if as_json_ else as_table(ordered, about), nl=as_json_)
    if len(ordered) < len(names):
        _stopped(len(ordered), len(names), keep)


def _stopped(done: int, wanted: int, keep: Path | None) -> NoReturn:
    rest = f"the same command goes on from there, by {keep}" if keep else "with --keep FILE the same command would go on from there"
    click.echo(f"Stopped: {done} of {wanted} passages are done; {rest}.", err=True)
    sys.exit(INTERRUPTED)


def _played(work: Any, names: Sequence[str], keep: Path | None, workers: int, dask: str | None) -> "dict[str, Result]":
    """Plays what is not kept yet; on Ctrl-C gives back what there is."""
    from watch.service.replay.keep import open_kept
    from watch.service.replay.many import over_cores, over_dask

    kept, before = open_kept(keep, work.key()) if keep else (None, [])
    done = {result.name: result for result in before if result.name in names}
    rest = [name for name in names if name not in done]
    found: Iterator[Result] = over_dask(work, rest, dask) if dask else over_cores(work, rest, workers)
    with _bar(len(names)) as bar:
        bar.update(len(done))
        try:
            for result in found:
                if kept is not None:
                    kept.append(result)
                done[result.name] = result
                bar.update(1)
        except KeyboardInterrupt:
            click.echo(err=True)
            if keep:
                done = {result.name: result for result in open_kept(keep, work.key())[1] if result.name in names}
    return done


def _bar(length: int) -> Any:
    """A progress bar on a terminal's standard error; elsewhere nothing is drawn."""
    out = sys.stderr if sys.stderr.isatty() else io.StringIO()
    return click.progressbar(length=length, label="Passages", file=out, show_pos=True)


def _invented(given: dict[str, Any]) -> tuple[Any, list[str], str]:
    from watch.service.replay.invented import InventedStorms

    _refuse(given, ONLY_FILES, "goes with --truth, which says what happened; give that too, or leave it out")
    first, count = given["seed"] or 0, given["storms"] or STORMS
    work = InventedStorms(asking=_asking(given), every_h=int(given["every"] or 6), delay_h=given["delay"])
    boat = work.asking.boat.boat.name
    return work, [str(seed) for seed in range(first, first + count)], f"{boat} in invented storms {first} to {first + count - 1}: no real weather."


def _from_files(given: dict[str, Any]) -> tuple[Any, list[str], str]:
    from watch.service.gather import parse_place
    from watch.service.replay.files import PassagesFromFiles

    _refuse(given, ONLY_STORMS, "is for invented storms, and --truth says what happened; leave one of them out")
    for name in ("forecast", "route"):
        if not given[name]:
            raise BadInputError(f"--{name}", [f"missing; a replay against --truth needs {'the earlier runs' if name == 'forecast' else 'a route'}"])
    work = PassagesFromFiles(
        asking=_asking(given), route=given["route"], truth=tuple(grib_files(given["truth"])), forecasts=tuple(grib_files(given["forecast"])),
        position=parse_place(given["position"]) if given["position"] else None, hours=given["hours"], delay_h=given["delay"],
    )  # fmt: skip
    _refuse_truth_as_forecast(work)
    starts = work.starts(given["now"] or work.first_start(), given["starts"] or 1, given["apart"] or 24.0)
    files = ", ".join(path.name for path in given["truth"])
    return work, starts, f"{work.asking.boat.boat.name} in the weather of {files}."


def _refuse_truth_as_forecast(work: "PassagesFromFiles") -> None:
    """What happened must not be among what she is told beforehand."""
    both = {path.resolve() for path in work.truth} & {path.resolve() for path in work.forecasts}
    if both:
        raise BadInputError(sorted(both)[0].name, ["is given both as --truth and as --forecast: she would know what is to come"])


def _refuse(given: dict[str, Any], names: Sequence[str], why: str) -> None:
    for name in names:
        if given[name] not in (None, ()):
            raise BadInputError(f"--{name}", [why])


def _asking(given: dict[str, Any]) -> Any:
    from watch.service.replay.passages import Asking

    boat = read_boat(given["boat"] or ready("config", "boat-sloop.toml"))
    try:
        state = parse_state(boat, given["rig_state"])
    except UnknownStateError as error:
        raise BadInputError("--rig-state", [str(error)]) from None
    return Asking(boat=boat, state=state, policies=tuple(p for p in POLICIES if not given["policy"] or p in given["policy"]),
                  compares=given["instruments"])  # fmt: skip
