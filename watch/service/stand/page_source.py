"""What the page shows comes from the keeper; what is acknowledged on it goes there."""

from collections.abc import Callable
from datetime import datetime

from watch.orders.document import Orders
from watch.passage.land import Land
from watch.render.page_parts import page_alerts
from watch.service.map_land import map_land
from watch.service.stand.health import page_health
from watch.service.stand.keeper import Keeper
from watch.service.web import Latest


class KeeperSource:
    """The keeper as the page wants it. Land for the map is looked up once for each new orders."""

    def __init__(self, keeper: Keeper, clock: Callable[[], datetime], *, invented: bool = False) -> None:
        self._keeper, self._clock, self._invented = keeper, clock, invented
        self._land: tuple[Orders, Land | None] | None = None

    def latest(self) -> Latest:
        now = self._clock()
        vitals, told = self._keeper.vitals(now), self._keeper.told
        return Latest(
            now=now, orders=vitals.orders, health=page_health(vitals, self._keeper.post.health()), alerts=page_alerts(self._keeper.book),
            previous=told if told is not vitals.orders else None, land=self._land_of(vitals.orders), invented=self._invented,
        )  # fmt: skip

    def _land_of(self, orders: Orders | None) -> Land | None:
        if orders is None:
            return None
        kept = self._land
        if kept is None or kept[0] is not orders:
            kept = self._land = (orders, map_land(orders))
        return kept[1]

    def acknowledge(self, alert: str, revision: int, who: str, where: str) -> str | None:
        return self._keeper.acknowledge(alert, revision, who, where, self._clock())
