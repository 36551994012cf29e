"""What the alert rules look at: orders, instruments, and the machine itself."""

from dataclasses import dataclass, field
from datetime import datetime

from watch.orders.document import Orders


@dataclass(frozen=True, kw_only=True)
class Aboard:
    """What the instruments say: the last ten minutes' mean and gust as the limits mean them [kn], the gust of the ten before; the glass's
    change in three hours, and that less the change forecast [hPa], when position and wind were last known, links that are down
    (in words). None where there is no such instrument."""

    mean_kn: float | None = None
    gust_kn: float | None = None
    gust_before_kn: float | None = None
    working_kn: float | None = None
    hard_kn: float | None = None
    glass_3h_hpa: float | None = None
    glass_beyond_hpa: float | None = None
    position_at: datetime | None = None
    wind_at: datetime | None = None
    expects_position: bool = False
    expects_wind: bool = False
    links_down: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Machine:
    """What the daemon knows of itself: free disk [MB], how far the clock jumped [s], what failed in this pass, in words."""

    disk_free_mb: float | None = None
    clock_jump_s: float = 0.0
    failures: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Known:
    """Everything the rules look at. orders: the present ones, None when there are none; before: those of the last pass."""

    now: datetime
    orders: Orders | None
    before: Orders | None = None
    done: frozenset[str] = frozenset()
    aboard: Aboard = field(default_factory=Aboard)
    machine: Machine = field(default_factory=Machine)
    why_no_orders: str = "no forecast has been read"
