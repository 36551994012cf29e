"""(I/O) After each pass, the orders as files in the watch's home: for a screen, a printer, another program. Each is whole or the old one."""

from collections.abc import Sequence
from pathlib import Path

from watch.orders.document import Orders
from watch.render.as_json import as_json
from watch.render.cap import cap_xml
from watch.render.short import short
from watch.render.text import as_text
from watch.service.give_out import Outputs, write_out, write_whole


def give_out(orders: Orders, folder: Path, kinds: Sequence[str]) -> None:
    """Writes orders.txt, orders.json, orders.html, orders.ics, orders.cap.xml, orders.gpx, short.txt, those asked for by kind.

    A warning message that is no longer true is taken away. Raises BadInputError when a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    if "txt" in kinds:
        write_whole(folder / "orders.txt", as_text(orders).encode())
    if "json" in kinds:
        write_whole(folder / "orders.json", as_json(orders).encode())
    if "short" in kinds:
        write_whole(folder / "short.txt", f"{short(orders)}\n".encode())
    if "cap" in kinds and cap_xml(orders) is None:
        (folder / "orders.cap.xml").unlink(missing_ok=True)
    write_out(orders, Outputs(
        html=folder / "orders.html" if "html" in kinds else None, calendar=folder / "orders.ics" if "ics" in kinds else None,
        cap=folder / "orders.cap.xml" if "cap" in kinds else None, gpx=folder / "orders.gpx" if "gpx" in kinds else None,
    ))  # fmt: skip
