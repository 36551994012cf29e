"""(I/O) What the commands share: refusing in one sentence with exit code 2, and the options that several of them take."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from watch.faults import BadInputError, legible
from watch.when import ShipTime, parse_utc


class Refused(click.ClickException):
    """One sentence a fault, on standard error, exit code 2."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo("\n".join(legible(line) for line in self.message.split("\n")), err=True)


class FailedError(Refused):
    """Nothing was wrong with what was asked, but it could not be done: exit code 1."""

    exit_code = 1


def refusing(command: Callable[..., None]) -> Callable[..., None]:
    """Turns what a person can put right into sentences instead of tracebacks."""

    def wrapped(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except BadInputError as error:
            raise Refused(str(error)) from None

    wrapped.__doc__ = command.__doc__
    wrapped.__name__ = command.__name__
    return wrapped


def _instant(_: click.Context, __: click.Parameter, value: str | None) -> datetime:
    if value is None:
        return datetime.now(UTC)
    try:
        return parse_utc(value)
    except ValueError as error:
        raise Refused(f"--now: {error}") from None


def _ship_time(_: click.Context, __: click.Parameter, value: str | None) -> ShipTime | None:
    if value is None:
        return None
    try:
        return ShipTime.parse(value)
    except ValueError as error:
        raise Refused(f"--ship-time: {error}") from None


now_option = click.option("--now", callback=_instant, help="The present time with its offset, like 2026-05-16T12:00Z; else the clock's.")


def passage_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say which boat, where and in what weather."""
    for option in reversed([
        click.option("--boat", type=click.Path(path_type=Path), required=True, help="The boat file (TOML)."),
        click.option("--route", type=click.Path(path_type=Path), required=True, help="The route: GPX 1.1, or TOML."),
        click.option("--forecast", type=click.Path(path_type=Path), required=True, multiple=True,
                     help="A GRIB file, or a folder of them; may be given more than once."),
        now_option,
        click.option("--rig-state", "rig_state", default="", help='What is up, like "main: reef 1, genoa: half"; else as usual.'),
        click.option("--position", default=None, help='Where she is, like "36 30.0 N, 52 00.0 W"; else the route\'s start.'),
        click.option("--ship-time", callback=_ship_time, help="Ship's time, like -03:00; else by her longitude."),
        click.option("--hours", type=click.FloatRange(1, 240), help="How far to look ahead; else as far as the forecast."),
        click.option("--shelters", type=click.Path(path_type=Path), multiple=True,
                     help="A shelters file (TOML, or GPX waypoints); may be given more than once."),
        click.option("--sea-room", "sea_room", type=click.FloatRange(1, 60), default=None,
                     help="Miles of sea wanted to leeward; asks for sea room and lee shores without shelters too (20 with them)."),
    ]):  # fmt: skip
        command = option(command)
    return command


def home_option(command: Callable[..., None]) -> Callable[..., None]:
    """The folder that the watch keeps."""
    return click.option("--home", type=click.Path(path_type=Path), default=None,
                        help="The watch's own folder; else NIGHTORDERS_HOME, else ~/.local/share/nightorders.")(command)  # fmt: skip


FILES = ("html", "calendar", "cap", "gpx", "picture")


def output_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say how the orders are given out, and to which files besides."""
    file = click.Path(path_type=Path, dir_okay=False)
    for option in reversed([
        click.option("--json", "as_json_", is_flag=True, help="The orders as JSON, every ten-minute step with them."),
        click.option("--short", "short_", is_flag=True, help="The orders in under 160 characters, for a satellite messenger."),
        click.option("--before", type=click.Path(path_type=Path, dir_okay=False), help="The orders before these (--json, kept): what changed is said."),
        click.option("--html", type=file, help="Also as a page: one file that needs no network."),
        click.option("--picture", type=file, help="Also as a picture on A4 for the chart table: .png, .svg or .pdf."),
        click.option("--calendar", type=file, help="Also the deck windows as a calendar with alarms (.ics)."),
        click.option("--cap", type=file, help="Also the warnings as a CAP 1.2 message (.xml)."),
        click.option("--gpx", type=file, help="Also the track with its times, as GPX."),
    ]):  # fmt: skip
        command = option(command)
    return command


def grib_files(given: tuple[Path, ...]) -> list[Path]:
    """Files as given; a folder stands for the files in it."""
    files: list[Path] = []
    for path in given:
        try:
            is_folder = path.is_dir()
        except OSError as error:
            raise BadInputError(path, [f"cannot be looked at ({error.strerror}); give the path of a GRIB file"]) from None
        if is_folder:
            files += sorted(p for p in path.iterdir() if p.is_file() and not p.name.startswith("."))
        else:
            files.append(path)
    if not files:
        raise BadInputError(given[0], ["an empty folder; put a GRIB file into it, or give the path of one"])
    return files
