"""(I/O) What the watch understood of the sailor's files."""

from datetime import UTC, datetime
from pathlib import Path

import click

from watch.boat.boat_file import read_boat
from watch.commands.common import Refused, grib_files, refusing


@click.command()
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
        click.echo(forecast_words(grib_files(forecast), datetime.now(UTC)), nl=False)
