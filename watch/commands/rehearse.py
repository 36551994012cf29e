"""(I/O) A rehearsal of the watch with invented weather: `rehearse`."""

from datetime import UTC, datetime
from pathlib import Path

import click

from watch.commands.common import refusing


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@refusing
def rehearse(folder: Path) -> None:
    """Make a rehearsal in FOLDER: the demo's boat and its invented front, dated so that it comes tonight; then stand it and practise."""
    from watch.service.rehearsal import DEMO_POSITION, rehearsal

    settings = rehearsal(folder, datetime.now(UTC))
    click.echo(f"A rehearsal is made in {folder}; its weather is invented. Stand it with:")
    click.echo(f'  nightorders stand --config {settings} --home {folder} --position "{DEMO_POSITION}"')
