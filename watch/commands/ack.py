"""(I/O) Acknowledging by command: `ack`."""

import time
from datetime import UTC, datetime
from pathlib import Path

import click

from watch.commands.common import FailedError, home_option, refusing

WAIT_S = 5.0


@click.command()
@click.argument("names", nargs=-1)
@click.option("--all", "all_", is_flag=True, help="Acknowledge everything that waits.")
@click.option("--by", default="skipper", help="Who acknowledges.")
@home_option
@refusing
def ack(names: tuple[str, ...], all_: bool, by: str, home: Path | None) -> None:
    """Acknowledge alerts, by NAME or number; without any, list what stands."""
    from watch.service.home import book_of, home_of
    from watch.service.stand.acknowledging import listed, named
    from watch.service.store.store import Store

    now = datetime.now(UTC)
    with Store.open(book_of(home_of(home)), now) as store:
        book = store.book()
        if not names and not all_:
            for line in listed(book, now):
                click.echo(line)
            return
        wanted = named(book, names, everything=all_)
        asked = {store.ask_ack(alert.name, by, now, revision=alert.revision, where="command"): alert for alert in wanted}
        for alert in wanted:
            click.echo(f"Acknowledged, and kept: {alert.title}.")
        until = time.monotonic() + WAIT_S
        waiting = set(asked)
        while waiting and time.monotonic() < until:
            taken = {wish.id: wish for wish in store.acks(now) if wish.id in waiting and wish.taken_at is not None}
            for number, wish in taken.items():
                if wish.outcome:
                    click.echo(f"NOT followed: {asked[number].title}: {wish.outcome}.")
            waiting -= set(taken)
            if waiting:
                time.sleep(0.2)
        if waiting:
            raise FailedError("The watch has not taken it up yet: is it running? See: nightorders check --running")
