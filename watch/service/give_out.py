"""(I/O) The orders written to the files that were asked for: page, calendar, warnings, track, picture. A file is whole or not there."""

import importlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from watch.faults import BadInputError
from watch.orders.document import Orders

PICTURES = (".png", ".svg", ".pdf")


@dataclass(frozen=True, kw_only=True)
class Outputs:
    """Where to write what; None is not asked for. invented: the weather is made up, and every file says so."""

    html: Path | None = None
    calendar: Path | None = None
    cap: Path | None = None
    gpx: Path | None = None
    picture: Path | None = None
    invented: bool = False


def write_out(orders: Orders, to: Outputs, previous: Orders | None = None) -> tuple[str, ...]:
    """Writes each file asked for; gives back a sentence for each that was rightly not written. BadInputError when one cannot be.

    previous: the orders before these, when known: the page says what changed, the calendar takes back what is gone.
    """
    from watch.render.track_gpx import track_gpx
    from watch.service.map_land import land_of_map

    said = []
    if to.html is not None:
        page = need("watch.render.page", "page")
        made = page.render_page(orders, now=orders.made_at, invented=to.invented, land=land_of_map(orders), previous=previous)
        write_whole(to.html, made.encode())
    if to.calendar is not None:
        write_whole(to.calendar, need("watch.render.calendar", "page").calendar(orders, previous).encode())
    if to.cap is not None:
        said += _write_cap(orders, to.cap, to.invented, previous)
    if to.gpx is not None:
        write_whole(to.gpx, track_gpx(orders).encode())
    if to.picture is not None:
        if to.picture.suffix.lower() not in PICTURES:
            raise BadInputError("--picture", [f"{to.picture.name} ends in none of {', '.join(PICTURES)}; name it like night.pdf"])
        draw = need("watch.render.picture", "pictures").picture
        write_whole(to.picture, draw(orders, to.picture.suffix[1:].lower(), invented=to.invented, land=land_of_map(orders)))
    return tuple(said)


def _write_cap(orders: Orders, path: Path, invented: bool, previous: Orders | None) -> list[str]:
    from watch.render.cap import cap_xml

    text = cap_xml(orders, exercise=invented, previous=previous)
    if text is None:
        return [f"{path} not written: these orders have nothing to warn of."]
    write_whole(path, text.encode())
    return []


def need(module: str, extra: str) -> ModuleType:
    """A module whose libraries are in an extra of the package; a sentence, not a traceback, when they are not installed."""
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        if (error.name or "").startswith("watch"):
            raise
        raise BadInputError(
            "this installation", [f'{error.name} is not installed; install it with: pip install "nightorders[{extra}]"']
        ) from None


def write_whole(path: Path, content: bytes, mode: int = 0o644) -> None:
    """Writes beside the file and moves it into place, so that no reader ever meets half of it, nor one who may not read it any."""
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(beside, mode)
            os.replace(beside, path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise BadInputError(path, [f"cannot be written ({error.strerror}); give a path in a folder you may write to"]) from None
