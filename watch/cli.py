"""(I/O) The command line: parse, call, print. Bad input ends with one sentence a fault and exit code 2."""

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from watch.boat.boat_file import read_boat
from watch.boat.rig import UnknownStateError, parse_state
from watch.faults import BadInputError
from watch.ready import ready
from watch.when import ShipTime, parse_utc

DEMO_NOW = "2026-05-16T12:00Z"
DEMO_STATE = "main: reef 1"


class Refused(click.ClickException):
    """One sentence a fault, on standard error, exit code 2."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo(self.message, err=True)


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


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="nightorders")
def main() -> None:
    """The forecast held against your boat's own limits: when to shorten sail, until when each change can be made, and by when to
    turn for shelter. No substitute for official warnings or your own judgement."""


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


def passage_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say which boat, where and in what weather."""
    for option in reversed([
        click.option("--boat", type=click.Path(path_type=Path), required=True, help="The boat file (TOML)."),
        click.option("--route", type=click.Path(path_type=Path), required=True, help="The route: GPX 1.1, or TOML."),
        click.option("--forecast", type=click.Path(path_type=Path), required=True, multiple=True,
                     help="A GRIB file, or a folder of them; may be given more than once."),
        click.option("--now", callback=_instant, help="The present time with its offset, like 2026-05-16T12:00Z; else the clock's."),
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


FILES = ("html", "calendar", "cap", "gpx", "picture")


def output_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say how the orders are given out, and to which files besides."""
    file = click.Path(path_type=Path, dir_okay=False)
    for option in reversed([
        click.option("--json", "as_json_", is_flag=True, help="The orders as JSON, every ten-minute step with them."),
        click.option("--short", "short_", is_flag=True, help="The orders in under 160 characters, for a satellite messenger."),
        click.option("--html", type=file, help="Also as a page: one file that needs no network."),
        click.option("--picture", type=file, help="Also as a picture on A4 for the chart table: .png, .svg or .pdf."),
        click.option("--calendar", type=file, help="Also the deck windows as a calendar with alarms (.ics)."),
        click.option("--cap", type=file, help="Also the warnings as a CAP 1.2 message (.xml)."),
        click.option("--gpx", type=file, help="Also the track with its times, as GPX."),
    ]):  # fmt: skip
        command = option(command)
    return command


@main.command()
@passage_options
@output_options
@refusing
def brief(as_json_: bool, short_: bool, **given: Any) -> None:
    """The orders, once, from these files."""
    files = {name: given.pop(name) for name in FILES}
    _give_out(_passed(**given), as_json_, short_, **files)


@main.command()
@output_options
@refusing
def demo(as_json_: bool, short_: bool, **files: Path | None) -> None:
    """The orders for Kittiwake, an invented sloop between Bermuda and Horta, before an invented front."""
    _give_out(_passed(**_demo()), as_json_, short_, **files, invented=True)


@main.command()
@click.argument("line", type=int, required=False)
@passage_options
@refusing
def why(line: int | None, **given: Any) -> None:
    """Explain the orders: LINE is the number of a job; without it, the method and its numbers."""
    from watch.render.explain import explain

    click.echo(explain(_passed(**given).schedule, given["ship_time"], line), nl=False)


@main.command("why-demo")
@click.argument("line", type=int, required=False)
@refusing
def why_demo(line: int | None) -> None:
    """Explain the orders of the demo."""
    from watch.render.explain import explain

    click.echo(explain(_passed(**_demo()).schedule, None, line), nl=False)


@main.command()
@click.option("--boat", type=click.Path(path_type=Path), default=None, help="A boat file to look through.")
@click.option("--route", type=click.Path(path_type=Path), default=None, help="A route to look through.")
@click.option("--forecast", type=click.Path(path_type=Path), multiple=True, help="GRIB to look through.")
@click.option("--shelters", type=click.Path(path_type=Path), multiple=True, help="A shelters file to look through.")
@refusing
def check(boat: Path | None, route: Path | None, forecast: tuple[Path, ...], shelters: tuple[Path, ...]) -> None:
    """What the watch understood of a boat file, a route, a forecast or shelters, in words; faults are all said at once."""
    from watch.render.understood import forecast_words, route_words, shelter_words

    if boat is None and route is None and not forecast and not shelters:
        raise Refused("Nothing to check: give --boat, --route, --forecast or --shelters.")
    if boat is not None:
        from watch.boat.understood import understood

        click.echo(understood(read_boat(boat)), nl=False)
    if route is not None:
        click.echo(route_words(route), nl=False)
    if shelters:
        click.echo(shelter_words(shelters), nl=False)
    if forecast:
        click.echo(forecast_words(_grib_files(forecast), datetime.now(UTC)), nl=False)


def _demo() -> dict[str, Any]:
    gribs = [
        ready("fixtures", n)
        for n in ("kittiwake-2026051612.grib2", "kittiwake-2026051600.grib2", "kittiwake-2026051612-ensemble.grib2")
    ]
    return {
        "boat": ready("config", "boat-sloop.toml"),
        "route": ready("config", "passage-bermuda-horta.toml"),
        "forecast": tuple(gribs),
        "now": parse_utc(DEMO_NOW),
        "rig_state": DEMO_STATE,
        "position": "36 30.0 N, 52 00.0 W",
        "ship_time": None,
        "hours": None,
        "shelters": (ready("config", "shelters-north-atlantic.toml"),),
        "sea_room": None,
    }  # fmt: skip


def _passed(
    *,
    boat: Path,
    route: Path,
    forecast: tuple[Path, ...],
    now: datetime,
    rig_state: str,
    position: str | None,
    ship_time: ShipTime | None,
    hours: float | None,
    shelters: tuple[Path, ...],
    sea_room: float | None,
) -> Any:
    """Reads what was given and makes one pass. All that is wrong is said before anything is worked out."""
    from watch.service.gather import gather
    from watch.service.one_pass import one_pass

    own = read_boat(boat)
    try:
        state = parse_state(own, rig_state)
    except UnknownStateError as error:
        raise BadInputError("--rig-state", [str(error)]) from None
    asked = gather(own, state, route, _grib_files(forecast), now, position, ship_time, hours, shelters, sea_room)
    return one_pass(asked)


def _grib_files(given: tuple[Path, ...]) -> list[Path]:
    """Files as given; a folder stands for the files in it."""
    files: list[Path] = []
    for path in given:
        if path.is_dir():
            files += sorted(p for p in path.iterdir() if p.is_file() and not p.name.startswith("."))
        else:
            files.append(path)
    if not files:
        raise BadInputError(given[0], ["an empty folder; put a GRIB file into it, or give the path of one"])
    return files


def _give_out(passed: Any, as_json_: bool, short_: bool, **files: Any) -> None:
    from watch.render.as_json import as_json
    from watch.render.short import short
    from watch.render.text import as_text
    from watch.service.give_out import Outputs, write_out

    if files.get("invented") and not (as_json_ or short_):
        click.echo("A DEMONSTRATION: boat, limits, weather and shelters are invented.\n")
    if short_:
        click.echo(short(passed.orders))
    else:
        click.echo(as_json(passed.orders) if as_json_ else as_text(passed.orders), nl=as_json_)
    for sentence in write_out(passed.orders, Outputs(**files)):
        click.echo(sentence, err=True)
    for fault in passed.faults:
        click.echo(f"THESE ORDERS FAIL THEIR OWN CHECK: {fault}. Do not trust them; please report it.", err=True)
    if passed.faults:
        sys.exit(3)


if __name__ == "__main__":
    main()
