"""(I/O) What the watch understood of the sailor's files."""

import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from watch.boat.boat_file import read_boat
from watch.commands.common import Refused, grib_files, home_option, refusing


@click.command()
@click.option("--boat", type=click.Path(path_type=Path), default=None, help="A boat file to look through.")
@click.option("--route", type=click.Path(path_type=Path), default=None, help="A route to look through.")
@click.option("--forecast", type=click.Path(path_type=Path), multiple=True, help="GRIB to look through.")
@click.option("--shelters", type=click.Path(path_type=Path), multiple=True, help="A shelters file to look through.")
@click.option("--config", type=click.Path(path_type=Path), default=None, help="The settings of the watch to look through.")
@click.option("--running", is_flag=True, help="Whether the watch is kept, and what is wrong with it; exit code 1 when it is not well.")
@home_option
@refusing
def check(
    boat: Path | None, route: Path | None, forecast: tuple[Path, ...], shelters: tuple[Path, ...], config: Path | None, running: bool,
    home: Path | None,
) -> None:
    """What the watch understood of a boat file, a route, a forecast or shelters, in words; faults are all said at once."""
    from watch.render.understood import forecast_words, route_words, shelter_words

    if running:
        _say_running(home)
        return
    if boat is None and route is None and config is None and not forecast and not shelters:
        raise Refused("Nothing to check: give --boat, --route, --forecast, --shelters, --config or --running.")
    if config is not None:
        from watch.service.stand.watch_file import read_watch_file

        for sentence in read_watch_file(config).in_words():
            click.echo(sentence)
    if boat is not None:
        from watch.boat.understood import understood

        click.echo(understood(read_boat(boat)), nl=False)
    if route is not None:
        click.echo(route_words(route), nl=False)
    if shelters:
        click.echo(shelter_words(shelters), nl=False)
    if forecast:
        click.echo(forecast_words(grib_files(forecast), datetime.now(UTC)), nl=False)


def _say_running(home: Path | None) -> None:
    from watch.service.home import home_of
    from watch.service.stand.daemon import read_health
    from watch.service.stand.health import judge

    found = judge(read_health(home_of(home)), datetime.now(UTC))
    for words in found.words:
        click.echo(words)
    if not found.well:
        sys.exit(1)
