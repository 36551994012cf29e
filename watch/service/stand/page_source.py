"""What the page shows comes from the keeper; what is acknowledged on it goes there."""

from collections.abc import Callable
from datetime import datetime

from watch.alerts.worker import Health as ChannelHealth
from watch.render.page_parts import page_alerts
from watch.service.stand.health import page_health
from watch.service.stand.keeper import Keeper
from watch.service.web import Latest


class KeeperSource:
    """The keeper as the page wants it. before: the orders before the present ones, for what changed."""

    def __init__(self, keeper: Keeper, clock: Callable[[], datetime], channels: Callable[[], list[ChannelHealth]]) -> None:
        self._keeper, self._clock, self._channels = keeper, clock, channels

    def latest(self) -> Latest:
        now = self._clock()
        vitals = self._keeper.vitals(now)
        told = self._keeper.told
        return Latest(
            now=now, orders=vitals.orders, health=page_health(vitals, self._channels()), alerts=page_alerts(self._keeper.book),
            previous=told if told is not vitals.orders else None,
        )  # fmt: skip

    def acknowledge(self, alert: str, revision: int, who: str, where: str) -> str | None:
        return self._keeper.acknowledge(alert, revision, who, where, self._clock())
