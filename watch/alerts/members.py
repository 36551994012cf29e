"""One alert, many situations: follows each, says what changed since the last call, and whether it got worse."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from watch.alerts.book import Member, Timing, Told
from watch.alerts.situation import Priority, Situation, in_order
from watch.when import ShipTime


@dataclass(frozen=True, kw_only=True)
class Pass:
    """What one pass found: the situations by key, and for each rule that could not be computed the reason."""

    found: Mapping[str, Situation]
    uncomputed: Mapping[str, str]


def follow(name: str, members: tuple[Member, ...], found: Pass | None, now: datetime, timing: Timing) -> tuple[Member, ...]:
    """The members of the alert `name` as the pass found them; None for no new pass: all stays as it was, only time goes by.

    A member that is gone is remembered for timing.flicker when it was told of; a member whose rule could not be computed is held.
    """
    old = {m.situation.key: m for m in members}
    mine = {k: s for k, s in found.found.items() if s.alert == name} if found is not None else {}
    kept = [_step(m, found, mine, now, timing) for m in members]
    fresh = [Member(situation=s, since=now) for key, s in mine.items() if key not in old]
    return tuple(m for m in [*kept, *fresh] if m is not None)


def _step(member: Member, found: Pass | None, mine: Mapping[str, Situation], now: datetime, timing: Timing) -> Member | None:
    key = member.situation.key
    aged = _eased(member, now, timing) if member.gone_since is None else _gone(member, now, timing)  # up to this pass
    if found is None:
        return aged
    if key in mine:
        if aged is None:  # gone for longer than a flicker: nothing is remembered
            return Member(situation=mine[key], since=now)
        return _eased(replace(aged, situation=mine[key], gone_since=None, unchecked=None), now, timing)
    moved = key in found.found  # to another alert
    if aged is not None and aged.gone_since is None and not moved and member.situation.rule in found.uncomputed:
        return replace(aged, unchecked=found.uncomputed[member.situation.rule])
    return None if aged is None else _gone(aged, now, timing)


def _gone(member: Member, now: datetime, timing: Timing) -> Member | None:
    since = member.gone_since or now
    if member.told is None or now - since >= timing.flicker:
        return None
    return replace(member, gone_since=since, unchecked=None)


def _eased(member: Member, now: datetime, timing: Timing) -> Member:
    """What was told gives way to what is only after it has been lighter, or later, for as long as a flicker may last."""
    told = member.told
    if told is None:
        return member
    situation = member.situation
    lighter = (member.lighter_since or now) if situation.priority < told.priority else None
    later = (member.later_since or now) if _is_later(situation.due, told.due) else None
    if lighter is not None and now - lighter >= timing.flicker:
        told, lighter = replace(told, priority=situation.priority), None
    if later is not None and now - later >= timing.flicker:
        told, later = replace(told, due=situation.due), None
    return replace(member, told=told, lighter_since=lighter, later_since=later)


def _is_later(due: datetime | None, told: datetime | None) -> bool:
    return told is not None and (due is None or due > told)


def _is_earlier(due: datetime | None, told: datetime | None, margin: timedelta) -> bool:
    return due is not None and (told is None or told - due >= margin)


def is_worse(member: Member, timing: Timing) -> bool:
    """Worse than was told: a higher priority, or due earlier by the margin. Cautions are silent, so never worse."""
    if member.told is None or not member.situation.priority.is_heard:
        return False
    if member.situation.priority > member.told.priority:
        return True
    return _is_earlier(member.situation.due, member.told.due, timing.due_earlier)


def is_untold(member: Member, priority: Priority) -> bool:
    """Not yet called for, and as severe as the alert it belongs to."""
    return member.told is None and member.situation.priority.is_heard and member.situation.priority >= priority


def tell(members: tuple[Member, ...]) -> tuple[Member, ...]:
    """The members after a call or an acknowledgement that named them all as they are; those that are gone are forgotten."""
    return tuple(
        replace(m, told=Told(priority=m.situation.priority, due=m.situation.due), lighter_since=None, later_since=None)
        for m in members if m.gone_since is None
    )


def news(members: tuple[Member, ...], ship: ShipTime) -> tuple[str, ...]:
    """What changed since the last call, in order of weight: sentences for the sailor."""
    by_key = {m.situation.key: m for m in members}
    sentences = []
    for situation in in_order(m.situation for m in members):
        sentence = _changed(by_key[situation.key], ship)
        if sentence:
            sentences.append(f"{sentence}: {situation.title}.")
    return tuple(sentences)


def _changed(member: Member, ship: ShipTime) -> str | None:
    now, told = member.situation, member.told
    if member.gone_since is not None:
        return "No longer"
    if told is None:
        return "New"
    if now.priority != told.priority:
        return f"{'Worse' if now.priority > told.priority else 'Less'}, now {now.priority.words}, was {told.priority.words}"
    if now.due == told.due:
        return None
    if now.due is None:
        return "No longer due at a time"
    was = "" if told.due is None else f", was {ship.day_clock(told.due)}"
    moved = "Later" if told.due is not None and now.due > told.due else "Earlier"
    return f"{moved}, now {ship.day_clock(now.due)}{was} ({ship.name})"


@dataclass(frozen=True, kw_only=True)
class Wording:
    """What an alert says: one title, one text, one why, how it clears, and the earliest due time."""

    title: str
    text: str
    why: str
    clears: str
    due: datetime | None


def wording(present: tuple[Member, ...]) -> Wording:
    """At least one member that holds -> what the alert says, the weightiest first."""
    by_key = {m.situation.key: m for m in present}
    ordered = in_order(m.situation for m in present)
    more = f" (and {len(ordered) - 1} more)" if len(ordered) > 1 else ""
    lines = [s.text if len(ordered) == 1 else f"{s.title}: {s.text}" for s in ordered]
    unchecked = dict.fromkeys(by_key[s.key].unchecked for s in ordered)
    lines += [f"Not checked now: {reason}." for reason in unchecked if reason]
    dues = [s.due for s in ordered if s.due is not None]
    return Wording(
        title=ordered[0].title + more,
        text="\n".join(lines),
        why="; ".join(dict.fromkeys(s.why for s in ordered)),
        clears="; ".join(dict.fromkeys(s.clears for s in ordered)),
        due=min(dues, default=None),
    )
