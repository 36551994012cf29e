"""What the page is told besides the orders: how the watch itself is, what is being called, and places on the map."""

from dataclasses import dataclass
from datetime import datetime

from watch.alerts.book import Alert, AlertBook
from watch.orders.document import Orders
from watch.when import utc

PRIORITIES = ("caution", "warning", "alarm", "emergency alarm")


@dataclass(frozen=True, kw_only=True)
class HealthPart:
    """One thing the watch depends on ("forecast", "position", "instruments"), whether it is well, and how it stands in words."""

    name: str
    well: bool
    words: str


@dataclass(frozen=True, kw_only=True)
class PageHealth:
    """Whether the watch itself is well. checked_at: when that was last looked at; next_at: when new orders are due, if known."""

    checked_at: datetime
    parts: tuple[HealthPart, ...] = ()
    next_at: datetime | None = None

    def __post_init__(self) -> None:
        utc(self.checked_at)
        if self.next_at is not None:
            utc(self.next_at)

    @property
    def well(self) -> bool:
        return all(part.well for part in self.parts)


@dataclass(frozen=True, kw_only=True)
class PageAlert:
    """One alert as it is shown. awaits: somebody still has to acknowledge it. revision: what was read when acknowledging.

    >>> PageAlert(name="a", revision=1, priority="gale", state="active", awaits=False, title="", text="", why="", clears="", due=None)
    Traceback (most recent call last):
    ValueError: "gale" is no priority of an alert: caution, warning, alarm or emergency alarm
    """

    name: str
    revision: int
    priority: str
    state: str
    awaits: bool
    title: str
    text: str
    why: str
    clears: str
    due: datetime | None

    def __post_init__(self) -> None:
        if self.priority not in PRIORITIES:
            raise ValueError(f'"{self.priority}" is no priority of an alert: caution, warning, alarm or emergency alarm')
        if self.due is not None:
            utc(self.due)

    @property
    def over(self) -> bool:
        """Its situation has gone by, and nobody has read it."""
        return self.state.startswith("rectified")


@dataclass(frozen=True, kw_only=True)
class Place:
    """A named place on the map, in degrees, north and east positive. turn_by: the last good turn for it; None for no turn."""

    name: str
    latitude_deg: float
    longitude_deg: float
    turn_by: datetime | None = None


def places_of(orders: Orders) -> tuple[Place, ...]:
    """The shelters of the orders as places for the map."""
    return tuple(
        Place(name=s.name, latitude_deg=s.latitude_deg, longitude_deg=s.longitude_deg, turn_by=s.turn_by)
        for s in orders.shelters
        if s.latitude_deg is not None and s.longitude_deg is not None
    )


def page_alert(alert: Alert) -> PageAlert:
    """An alert of the book -> as the page shows it; one whose situation is over but was never acknowledged still asks for it."""
    return PageAlert(
        name=alert.name, revision=alert.revision, priority=alert.priority.words, state=alert.state.value,
        awaits=alert.state.awaits or alert.state.value.startswith("rectified"), title=alert.title,
        text="\n".join([*alert.news, alert.text]), why=alert.why, clears=alert.clears, due=alert.due,
    )  # fmt: skip


def page_alerts(book: AlertBook) -> tuple[PageAlert, ...]:
    """The book -> its alerts as shown, most severe first."""
    return tuple(page_alert(alert) for alert in book.alerts)
