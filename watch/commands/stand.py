"""(I/O) Standing the watch: `stand`, until it is told to end."""

import sys
from pathlib import Path

import click

from watch.commands.common import home_option, refusing


@click.command()
@click.option("--config", "config", type=click.Path(path_type=Path), required=True, help="The watch's settings (watch.toml).")
@home_option
@click.option("--rig-state", "rig_state", default=None, help='What is up now, like "main: reef 1, genoa: half"; else as last logged.')
@click.option("--position", default=None, help='Where she is now, like "36 30.0 N, 52 00.0 W"; else by the instruments, or as last known.')
@refusing
def stand(config: Path, home: Path | None, rig_state: str | None, position: str | None) -> None:
    """Stand the watch: make the orders anew at every forecast and every ten minutes, and call the sailor. Ends with Ctrl-C."""
    from watch.service.home import home_of
    from watch.service.stand.daemon import Daemon, log_to_stderr
    from watch.service.stand.setting_up import set_up
    from watch.service.stand.watch_file import read_watch_file

    log_to_stderr()
    folder = home_of(home)
    setup = set_up(read_watch_file(config), folder, rig_state=rig_state, position=position)
    click.echo(f"The watch is kept in {folder}. Put forecasts (GRIB) into {setup.inbox.folder}.")
    if setup.page_at:
        click.echo(f"The page: {setup.page_at}")
    sys.exit(Daemon(setup, say=lambda words: click.echo(words, err=True)).run())
