"""What a call says in words, in one line and in full, for every channel that carries text."""

import unicodedata

from watch.alerts.book import Call, Reason
from watch.when import ShipTime


def one_line(text: str) -> str:
    """Any text -> one line without control characters, so that nothing in it can steer a terminal or a message's head.

    >>> one_line("Reef\\n 3 \\x1b[2J")
    'Reef 3 [2J'
    """
    return " ".join("".join(" " if unicodedata.category(c).startswith(("C", "Z")) else c for c in text).split())


def plain_lines(text: str) -> str:
    """Any text -> the same lines, each without control characters."""
    return "\n".join(line for line in (one_line(part) for part in text.splitlines()) if line)


def headline(call: Call, ship: ShipTime) -> str:
    """A call in one line: how grave, what, by when, and why it is said now."""
    due = "" if call.due is None else f", by {ship.day_clock(call.due)} ({ship.name})"
    again = f" ({call.reason.value})" if call.reason is not Reason.NEW else ""
    return one_line(f"{call.priority.words.upper()}: {call.title}{due}{again}")


def in_full(call: Call, ship: ShipTime) -> str:
    """A call in full: what changed, what to do, why, how it ends, and which alert to acknowledge."""
    parts = [*call.news, call.text, f"Why: {call.why}", f"Ends: {call.clears}"]
    if call.acknowledged is not None and call.reason in (Reason.ACKNOWLEDGED, Reason.CLEARED):
        record = call.acknowledged
        parts.append(f"Acknowledged by {record.who}, {record.where}, {ship.day_clock(record.at)} ({ship.name})")
    if call.state.awaits:
        parts.append(f"Call {call.repeat}, {ship.day_clock(call.at)} ({ship.name}). Acknowledge: nightorders ack {call.number}")
    return "\n".join(plain_lines(part) for part in parts)
