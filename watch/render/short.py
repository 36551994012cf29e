"""The orders in under 160 plain characters, for a satellite messenger: the gravest first, whole parts only, times in UTC."""

import unicodedata
from collections.abc import Iterator
from datetime import datetime

from watch.orders.document import JobOrder, Orders
from watch.render.glance import is_hard_close, shuts_first, turn_by

MOST = 159
LEFT_OUT = str.maketrans("", "", "[]{}~^|\\`")  # two characters each, or none, in the alphabet such messages are sent in


def short(orders: Orders) -> str:
    """Orders -> at most 159 ASCII characters. What does not fit is left out from the end, and '+' says that something was."""
    text, left_out = "", False
    for part in _parts(orders):
        plain = ascii_text(part)
        if text and len(text) + 1 + len(plain) > MOST - 2:
            left_out = True
            continue
        text = f"{text} {plain}".strip()[: MOST - 2]
    return f"{text} +" if left_out else text


def ascii_text(text: str) -> str:
    """Any text -> letters, digits and signs that every messenger carries.

    >>> ascii_text("Café “half” [x]")
    'Cafe half x'
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return " ".join(plain.translate(LEFT_OUT).split())


def _parts(orders: Orders) -> Iterator[str]:
    yield f"{ascii_text(orders.boat)[:14]} {orders.made_at:%d/%H%M}Z"
    yield "LIMITS KEPT." if orders.feasible else f"LIMITS NOT KEPT, chance {_percent(orders.forecast_chance)}."
    if orders.missing:
        yield "NOT ALL KNOWN."
    job, shuts = orders.next_job, shuts_first(orders)
    yield "Nothing to do." if job is None else f"{_clock(job.start)} {job.job[:44]}{_closes(job)}."
    if shuts is not None:
        yield f"SHUTS {_clock(shuts.closes)} {shuts.job[:44]}."
    turn = turn_by(orders)
    if turn is not None and turn.turn_by is not None:
        yield f"TURN BY {_clock(turn.turn_by)} {turn.name[:16]}."
    if orders.night is not None and orders.night.least_margin_kn is not None:
        yield f"Night {orders.night.least_margin_kn:+d}kn."
    for feature in sorted(orders.outlook, key=lambda f: f.gust_kn is None):  # what brings wind before what only a map or the glass tells
        gust = "" if feature.gust_kn is None else f" {feature.gust_kn}kn"
        yield f"{feature.kind} {_clock(feature.likely)}{gust}."


def _closes(job: JobOrder) -> str:
    return f" SHUTS {_clock(job.closes)}" if is_hard_close(job) else ""


def _clock(instant: datetime) -> str:
    return f"{instant:%d/%H%M}Z"


def _percent(chance: float) -> str:
    """Rounded up, never nothing for what can happen."""
    return f"{max(1, int(-(-chance * 100 // 1)))}%" if chance > 0 else "0%"
