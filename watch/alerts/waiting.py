"""What waits to go out on one channel: which calls it wants, what a newer call replaces, and which goes first."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from watch.alerts.book import Call, Reason
from watch.alerts.config import ChannelConfig
from watch.alerts.situation import Priority
from watch.when import ShipTime

MOST_WAITING = 50


def wants(config: ChannelConfig, call: Call, last_sent: datetime | None, ship: ShipTime) -> bool:
    """Whether a channel gets a call. last_sent: when this alert last went there, None for never, or since a clock was set back.

    Quiet hours hold back what is less than an alarm; the least time between repeats holds back repeats only, never news.
    """
    if config.shows_state:
        return bool(config.levels & {call.priority, call.highest})
    if call.reason in (Reason.ACKNOWLEDGED, Reason.CLEARED):
        return config.tells_end and call.highest in config.levels
    if call.reason.is_upkeep or call.priority not in config.levels:
        return False
    if config.quiet is not None and call.priority < Priority.ALARM and config.quiet.holds(call.at, ship):
        return False
    apart = timedelta(minutes=config.repeats_apart_min)
    return call.reason.is_news or last_sent is None or not (last_sent <= call.at < last_sent + apart)


@dataclass(frozen=True, kw_only=True)
class Item:
    """A call that waits, how often it was tried, and when it was put in [s, of a clock that only counts on]."""

    call: Call
    since_s: float
    tries: int = 0


def put(waiting: Sequence[Item], item: Item, *, most: int = MOST_WAITING) -> tuple[tuple[Item, ...], int]:
    """The items that wait and a new one -> the items, and how many had to be dropped.

    A newer call of an alert takes the place of the older: it says all the older said, and more. When there are too many, the
    least severe goes, and of equals the oldest.
    """
    older = next((w for w in waiting if w.call.alert == item.call.alert), None)
    rest = [w for w in waiting if w is not older]
    if older is not None:
        item = replace(item, since_s=older.since_s)
    kept = sorted([*rest, item], key=lambda w: (-w.call.priority, -w.since_s))[:most]
    return tuple(sorted(kept, key=lambda w: w.since_s)), len(rest) + 1 - len(kept)


def withdraw(waiting: Sequence[Item], call: Call) -> tuple[Item, ...]:
    """The items that wait on a momentary channel after `call`: what is acknowledged, silenced or over is not sounded any more."""
    if call.reason not in (Reason.ACKNOWLEDGED, Reason.SILENCED, Reason.CLEARED):
        return tuple(waiting)
    return tuple(w for w in waiting if w.call.alert != call.alert or not w.call.sounds)


def first(waiting: Sequence[Item]) -> Item | None:
    """The one to try now: the least often tried, then the most severe, then the oldest, so that no call blocks the others."""
    return min(waiting, key=lambda w: (w.tries, -w.call.priority, w.since_s), default=None)
