"""(I/O) A passphrase for the page: asked for twice, never shown, kept only as a hash in a file that nobody else may read."""

import secrets
from pathlib import Path

import click

from watch.commands.common import refusing


@click.command()
@click.option("--settings", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="The settings (watch.toml) whose [page] part names the file to keep it in; else the line for that file is printed.")  # fmt: skip
@click.option("--reading", is_flag=True, help="It only lets read; without this it lets read and acknowledge.")
@refusing
def passphrase(settings: Path | None, reading: bool) -> None:
    """Make the hash of a passphrase for the page on the boat's network."""
    from watch.service.page_config import KEYS, hash_file, keep_passphrase, made_hash, read_page_config
    from watch.service.web_access import Right

    file = None if settings is None else hash_file(read_page_config(settings), settings)
    right = Right.READ if reading else Right.ACKNOWLEDGE
    given = click.prompt("Passphrase, four words or more", hide_input=True, confirmation_prompt="The same again", err=True)
    if file is not None:
        keep_passphrase(file, right, given, secrets.token_bytes(16))
        click.echo(f"Kept in {file}, for nobody else to read. It counts from the next start of the watch.", err=True)
        return
    click.echo(f'{KEYS[right]} = "{made_hash(given, secrets.token_bytes(16))}"')
    click.echo("Put this line into a file of mode 600 and name the file as passphrase_file in the [page] part of the settings.", err=True)
