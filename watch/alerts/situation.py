"""What the rules hand over: the situations that hold now, and the rules that could not be computed."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum

from watch.when import utc

KEY = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)*")


class Priority(IntEnum):
    """The four priorities of an alert; severity is the order. Source: bam-1 (6.1.1).

    >>> max(Priority.CAUTION, Priority.ALARM).words
    'alarm'
    """

    CAUTION = 1
    WARNING = 2
    ALARM = 3
    EMERGENCY_ALARM = 4

    @property
    def words(self) -> str:
        return self.name.lower().replace("_", " ")

    @property
    def is_heard(self) -> bool:
        """Warnings and worse make a sound and want an acknowledgement; cautions do neither. Source: bam-1."""
        return self >= Priority.WARNING

    @classmethod
    def of(cls, words: str) -> "Priority":
        """'emergency alarm' -> Priority.EMERGENCY_ALARM; a ValueError for anything else."""
        try:
            return cls[words.strip().upper().replace(" ", "_")]
        except KeyError:
            raise ValueError(f'"{words}" is no priority: write caution, warning, alarm or emergency alarm') from None


@dataclass(frozen=True, kw_only=True)
class Situation:
    """One thing that holds now and that the sailor has to know.

    key: "rule.what" in small letters, digits and _, the same in every pass for the same thing ("front.20260514"): the part before
      the first dot names the rule. Make parts of it from names with slug().
    title: what is said first, a few words. text: what to do or know. why: the number that decided it. clears: what ends it.
    due: when it has to be acted on by, aware, or None. group: situations of one group are one alert ("front.20260514" for
      all that one front brings), None for an alert of its own.
    escalates_after: how long a warning may stay unacknowledged before it becomes an alarm; None for the sailor's own setting.
    computed: False when the rule could not be computed: then everything it said before is held, not cleared.
    Raises ValueError for an empty text, a bad key or a due time without its offset from UTC.
    """

    key: str
    priority: Priority
    title: str
    text: str
    why: str
    clears: str
    due: datetime | None = None
    group: str | None = None
    escalates_after: timedelta | None = None
    computed: bool = True

    def __post_init__(self) -> None:
        for name in (self.key, *([] if self.group is None else [self.group])):
            if not KEY.fullmatch(name):
                raise ValueError(f'"{name}" is no key of a situation: small letters, digits, _ and dots, like front.20260514')
        for name in ("title", "text", "why", "clears"):
            if not getattr(self, name).strip():
                raise ValueError(f"situation {self.key} has no {name}: the sailor would be woken by nothing to act on")
        if self.due is not None:
            utc(self.due)
        if self.escalates_after is not None and self.escalates_after <= timedelta(0):
            raise ValueError(f"situation {self.key} must wait longer than nothing before it escalates")

    @property
    def rule(self) -> str:
        return self.key.split(".", 1)[0]

    @property
    def alert(self) -> str:
        """The name of the alert it belongs to: one situation, one alert."""
        return self.group or self.key


def slug(name: str) -> str:
    """Any name -> a part of a key.

    >>> slug("Storm jib / No. 2")
    'storm_jib_no_2'
    """
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "unnamed"


def cannot_compute(rule: str, *, title: str, reason: str, clears: str, priority: Priority = Priority.WARNING) -> Situation:
    """The situation that says a rule could not be computed; whatever the rule said before is held until it can be again.

    >>> cannot_compute("front", title="No watch on fronts", reason="no wind in the forecast", clears="a forecast with wind").key
    'front.not_computed'
    """
    text = f"This could not be worked out: {reason.rstrip('.')}. Do not take silence here for calm."
    key = f"{rule}.not_computed"
    return Situation(key=key, priority=priority, title=title, text=text, why=reason, clears=clears, computed=False)


def severest(situations: Iterable[Situation]) -> dict[str, Situation]:
    """Situations -> one for each key; of two with the same key the more severe, then the one due earlier."""
    kept: dict[str, Situation] = {}
    for situation in situations:
        other = kept.get(situation.key)
        if other is None or _rank(situation) < _rank(other):
            kept[situation.key] = situation
    return kept


def _rank(situation: Situation) -> tuple[int, bool, float]:
    due = situation.due
    return -situation.priority, due is None, 0.0 if due is None else due.timestamp()


def in_order(situations: Iterable[Situation]) -> list[Situation]:
    """Most severe first, then by due time (none last), then by key."""
    return sorted(situations, key=lambda s: (*_rank(s), s.key))
