"""What stands and waits, listed for a person; and the alerts that a person means."""

from collections.abc import Sequence
from datetime import datetime

from watch.alerts.book import Alert, AlertBook
from watch.faults import BadInputError


def listed(book: AlertBook | None, now: datetime) -> list[str]:
    """The book -> its lines: number, priority, since when, name, title and text; the gravest first."""
    if book is None or not book.alerts:
        return ["Nothing stands."]
    lines = []
    for alert in book.alerts:
        minutes = (now - alert.raised_at).total_seconds() / 60
        waits = "NOT ACKNOWLEDGED" if alert.state.awaits else alert.state.value
        lines.append(f"{alert.number:>4}  {alert.priority.words.upper()}  {waits}, for {minutes:.0f} min: {alert.title}")
        lines += [f"      {line}" for said in (*alert.news, alert.text) for line in said.splitlines()]
    lines.append("Acknowledge with: nightorders ack NUMBER (or --all)")
    return lines


def named(book: AlertBook | None, names: Sequence[str], *, everything: bool) -> list[Alert]:
    """Names or numbers as a person writes them -> the alerts. Raises BadInputError with a sentence for each that is none."""
    alerts = () if book is None else book.alerts
    if everything:
        found = [alert for alert in alerts if alert.state.awaits or alert.state.value.startswith("rectified")]
        if not found:
            raise BadInputError("nightorders ack", ["nothing waits to be acknowledged"])
        return found
    chosen, faults = [], []
    for name in names:
        alert = next((a for a in alerts if a.name == name or str(a.number) == name), None)
        if alert is None:
            faults.append(f'"{name}" is no alert that stands; see them with: nightorders ack')
        else:
            chosen.append(alert)
    if faults:
        raise BadInputError("nightorders ack", faults)
    return chosen
