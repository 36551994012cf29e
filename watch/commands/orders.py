"""(I/O) The orders, once: from the sailor's files, or for the demo; and why they are as they are."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from watch.boat.boat_file import read_boat
from watch.boat.rig import UnknownStateError, parse_state
from watch.commands.common import FILES, grib_files, output_options, passage_options, refusing
from watch.faults import BadInputError
from watch.orders.document import Orders
from watch.ready import ready
from watch.weather.own_errors import OwnWidths
from watch.when import ShipTime, parse_utc

DEMO_NOW = "2026-05-16T12:00Z"
DEMO_STATE = "main: reef 1"


@click.command()
@passage_options
@output_options
@refusing
def brief(as_json_: bool, short_: bool, before: Path | None, **given: Any) -> None:
    """The orders, once, from these files."""
    files = {name: given.pop(name) for name in FILES}
    previous = None if before is None else read_orders(before)
    give_out(passed_with(**given), as_json_, short_, previous, **files)


@click.command()
@output_options
@refusing
def demo(as_json_: bool, short_: bool, before: Path | None, **files: Path | None) -> None:
    """The orders for Kittiwake, an invented sloop between Bermuda and Horta, before an invented front."""
    previous = None if before is None else read_orders(before)
    give_out(passed_with(**demo_given()), as_json_, short_, previous, **files, invented=True)


@click.command()
@click.argument("line", type=int, required=False)
@passage_options
@click.option("--learnt", type=click.Path(path_type=Path, exists=True, file_okay=False), default=None,
              help="The home of a watch that learns: errors are taken as wide as this passage taught it ([stand] learn_widths).")
@refusing
def why(line: int | None, learnt: Path | None, **given: Any) -> None:
    """Explain the orders: LINE is the number of a job; without it, the method and its numbers."""
    from watch.render.explain import explain

    widths = None if learnt is None else learnt_widths(learnt)
    click.echo(explain(passed_with(**given, widths=widths).schedule, given["ship_time"], line, widths), nl=False)


def learnt_widths(home: Path) -> OwnWidths:
    """What the watch kept there has learnt. Raises BadInputError when it has learnt nothing."""
    from watch.service.home import book_of
    from watch.service.stand.learning import learnt_in
    from watch.service.store.store import Store

    book = book_of(home)
    if not book.is_file():
        raise BadInputError(home, ["no watch was ever kept there; give the folder that `stand` was started with"])
    with Store.open(book, datetime.now(UTC)) as store:
        found = learnt_in(store)
    if found is None:
        raise BadInputError(home, ["the watch kept there has learnt nothing; set learn_widths = true in [stand] of its watch.toml"])
    return found


@click.command("why-demo")
@click.argument("line", type=int, required=False)
@refusing
def why_demo(line: int | None) -> None:
    """Explain the orders of the demo."""
    from watch.render.explain import explain

    click.echo(explain(passed_with(**demo_given()).schedule, None, line), nl=False)


def demo_given() -> dict[str, Any]:
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


def passed_with(
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
    widths: OwnWidths | None = None,
) -> Any:
    """Reads what was given and makes one pass. All that is wrong is said before anything is worked out."""
    from watch.service.gather import gather
    from watch.service.one_pass import one_pass

    own = read_boat(boat)
    try:
        state = parse_state(own, rig_state)
    except UnknownStateError as error:
        raise BadInputError("--rig-state", [str(error)]) from None
    asked = gather(own, state, route, grib_files(forecast), now, position, ship_time, hours, shelters, sea_room)
    return one_pass(asked if widths is None else replace(asked, widening=widths.widening, taught=(widths.words,)))


def read_orders(path: Path) -> Orders:
    """Orders kept as JSON. Raises BadInputError when they are none, or of another version."""
    from watch.render.from_json import from_json

    try:
        return from_json(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        reason = "is not text in UTF-8" if isinstance(error, UnicodeDecodeError) else f"cannot be read ({error.strerror})"
        raise BadInputError(path, [f"{reason}; give a file made with --json"]) from None
    except BadInputError as error:
        raise BadInputError(path, [f"{'; '.join(fault.expected for fault in error.faults)}; give a file made with --json"]) from None


def give_out(passed: Any, as_json_: bool, short_: bool, previous: Orders | None, **files: Any) -> None:
    from watch.render.as_json import as_json
    from watch.render.short import short
    from watch.render.text import as_text
    from watch.service.give_out import Outputs, write_out

    if files.get("invented") and not (as_json_ or short_):
        click.echo("A DEMONSTRATION: boat, limits, weather and shelters are invented.\n")
    if short_:
        click.echo(short(passed.orders))
    else:
        click.echo(as_json(passed.orders) if as_json_ else as_text(passed.orders, previous), nl=as_json_)
    for sentence in write_out(passed.orders, Outputs(**files), previous):
        click.echo(sentence, err=True)
    for fault in passed.faults:
        click.echo(f"THESE ORDERS FAIL THEIR OWN CHECK: {fault}. Do not trust them; please report it.", err=True)
    if passed.faults:
        sys.exit(3)
