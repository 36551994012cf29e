"""Where the ready examples are: in a checkout beside the package, in an installed package inside it."""

from pathlib import Path

HERE = Path(__file__).resolve().parent


def ready(folder: str, name: str) -> Path:
    """('config', 'boat-sloop.toml') -> its path; in the checkout when there is one, else as installed."""
    checkout = HERE.parent / folder / name
    return checkout if checkout.exists() else HERE / "ready_files" / folder / name
