"""What the keeper of the watch goes by, and how the watch is: plain values."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from watch.alerts.book import Timing
from watch.alerts.known import Aboard
from watch.orders.document import Orders
from watch.service.stand.reckoning import Place
from watch.when import ShipTime


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What the sailor set: the files, the rig at the start, ship's time, and the times between calls."""

    boat: Path
    route: Path
    shelters: tuple[Path, ...] = ()
    rig_state: str = ""
    ship: ShipTime | None = None
    hours: float | None = None
    sea_room_nm: float | None = None
    timing: Timing = field(default_factory=Timing)
    has_instruments: bool = False


@dataclass(frozen=True, kw_only=True)
class Vitals:
    """How the watch itself is: for the health file and the page."""

    now: datetime
    begun_at: datetime
    pass_at: datetime | None
    pass_words: str
    next_pass_at: datetime
    next_pass_why: str
    orders: Orders | None
    place: Place | None
    rig_state: str
    aboard: Aboard
    failures: tuple[str, ...]
    disk_free_mb: float | None
    awaiting: tuple[str, ...]
