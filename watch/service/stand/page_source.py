"""What the page shows comes from the keeper; what is acknowledged on it goes there."""

from collections.abc import Callable
from datetime import datetime

from watch.render.page_parts import page_alerts
from watch.service.map_land import land_of_map
from watch.service.stand.health import page_health
from watch.service.stand.keeper import Keeper
from watch.service.web import Latest


class KeeperSource:
    """The keeper as the page wants it."""

    def __init__(self, keeper: Keeper, clock: Callable[[], datetime], *, invented: bool = False) -> None:
        self._keeper, self._clock, self._invented = keeper, clock, invented

    def latest(self) -> Latest:
        now = self._clock()
        vitals, told = self._keeper.vitals(now), self._keeper.told
        return Latest(
            now=now, orders=vitals.orders, health=page_health(vitals, self._keeper.post.health()), alerts=page_alerts(self._keeper.book),
            previous=told if told is not vitals.orders else None, land=None if vitals.orders is None else land_of_map(vitals.orders), invented=self._invented,
        )  # fmt: skip

    def acknowledge(self, alert: str, revision: int, who: str, where: str) -> str | None:
        return self._keeper.acknowledge(alert, revision, who, where, self._clock())
