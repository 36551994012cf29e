"""Against which orders do new ones count as worse? Those the sailor was last told of, so that small steps cannot add up unsaid."""

from datetime import timedelta

from watch.orders.differences import Severity, differences
from watch.orders.document import Orders

LONGEST = timedelta(hours=12)  # judgement: what was read half a day ago is no longer in mind


def told_of(told: Orders | None, new: Orders, *, heard: bool) -> Orders:
    """The orders last told of, the new ones, whether the sailor has acknowledged what was worse -> what later ones are held against.

    They stay while nothing is better, so that ten steps of five minutes are one step of fifty; they move on when the sailor has
    heard, when the new ones are better and nothing is worse, when he has changed the rig himself, and after half a day.
    """
    if told is None or heard or new.made_at < told.made_at or new.made_at - told.made_at >= LONGEST:
        return new
    if new.rig_state != told.rig_state or new.boat != told.boat:
        return new
    found = {change.severity for change in differences(told, new)}
    better = Severity.BETTER in found and not found & {Severity.WORSE, Severity.EARLIER}
    return new if better else told
