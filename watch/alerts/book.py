"""The alert book: what stands, what was told of it, who acknowledged what, and the calls that come out of it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Literal

from watch.alerts.situation import Priority, Situation
from watch.alerts.states import State

SILENCE = timedelta(seconds=30)  # an alarm silenced and not acknowledged sounds again after this: source bam-1, 7.3.5
LONGEST_WARNING_REPEAT = timedelta(minutes=5)  # source bam-2
MOST_ALERT_NUMBERS = 999_999  # the largest alert instance in an alert sentence: source alf-1


@dataclass(frozen=True, kw_only=True)
class Timing:
    """How long between calls: the sailor's own settings, within the bounds of the standard; the defaults are judged.

    repeats: between two calls of an alert that nobody acknowledged. warning_escalates: until a warning nobody acknowledged
    becomes an alarm. silence: how long 'silence' lasts. flicker: a situation that ends, or eases, and is back sooner than
    this is no new call. hold_down: between a call and the next for something of the same weight in the same group.
    due_earlier: an acknowledged alert calls again when a due time comes earlier by this much.
    """

    emergency_repeats: timedelta = timedelta(seconds=15)
    alarm_repeats: timedelta = timedelta(seconds=30)
    warning_repeats: timedelta = LONGEST_WARNING_REPEAT
    warning_escalates: timedelta = timedelta(minutes=10)
    silence: timedelta = SILENCE
    flicker: timedelta = timedelta(minutes=30)
    hold_down: timedelta = timedelta(minutes=10)
    due_earlier: timedelta = timedelta(minutes=30)

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            if getattr(self, name) <= timedelta(0):
                raise ValueError(f"{name} must be longer than nothing")
        if self.warning_repeats > LONGEST_WARNING_REPEAT:
            raise ValueError("a warning that nobody acknowledged is repeated within 5 minutes")
        if self.silence > SILENCE:
            raise ValueError("an alarm that was silenced sounds again within 30 seconds")

    def repeats(self, priority: Priority) -> timedelta:
        """The time between two calls of this priority; cautions are never called."""
        if priority is Priority.EMERGENCY_ALARM:
            return self.emergency_repeats
        return self.alarm_repeats if priority is Priority.ALARM else self.warning_repeats


class Reason(StrEnum):
    """Why something is sounded or shown."""

    NEW = "new"
    WORSE = "worse than you were told"
    ESCALATED = "nobody acknowledged it"
    SILENCE_ENDED = "the silence is over"
    CLOCK = "the clock was set back"
    REPEAT = "again"
    TEST = "a test"
    CHANGED = "changed"
    ACKNOWLEDGED = "acknowledged"
    SILENCED = "silenced"
    CLEARED = "over"

    @property
    def is_news(self) -> bool:
        """The sailor has not heard this before; never thinned out."""
        return self in (Reason.NEW, Reason.WORSE, Reason.ESCALATED, Reason.TEST)

    @property
    def is_upkeep(self) -> bool:
        """Only keeps a display true; nothing the sailor is called for."""
        return self in (Reason.CHANGED, Reason.ACKNOWLEDGED, Reason.SILENCED, Reason.CLEARED)


@dataclass(frozen=True, kw_only=True)
class Acknowledge:
    """Somebody acknowledges an alert: its name, who, where, and the revision they had read, when they know it."""

    alert: str
    who: str
    where: str
    revision: int | None = None
    deed: Literal["acknowledge"] = "acknowledge"


@dataclass(frozen=True, kw_only=True)
class Silence:
    """Somebody silences an alert for the short time the standard allows."""

    alert: str
    who: str
    where: str
    revision: int | None = None
    deed: Literal["silence"] = "silence"


Event = Acknowledge | Silence


@dataclass(frozen=True, kw_only=True)
class Refused:
    """An event that could not be followed, and why; the one who sent it is told."""

    event: Event
    why: str
    at: datetime


@dataclass(frozen=True, kw_only=True)
class Acknowledgement:
    """Who acknowledged, where, when, and exactly what they acknowledged."""

    who: str
    where: str
    at: datetime
    priority: Priority
    revision: int
    title: str
    text: str
    due: datetime | None


@dataclass(frozen=True, kw_only=True)
class Told:
    """What the last call, or the acknowledgement, said of one situation."""

    priority: Priority
    due: datetime | None


@dataclass(frozen=True, kw_only=True)
class Member:
    """One situation inside an alert: as it stands, as it was told, and since when it is lighter, later or gone.

    unchecked: why its rule cannot be computed now; it is held as it was. None when it was checked in the last pass.
    """

    situation: Situation
    since: datetime
    told: Told | None = None
    lighter_since: datetime | None = None
    later_since: datetime | None = None
    gone_since: datetime | None = None
    unchecked: str | None = None


@dataclass(frozen=True, kw_only=True)
class Alert:
    """One alert. Its times are reckoned from and move with a clock that is set back; the acknowledgement's stay."""

    name: str
    number: int
    state: State
    before: State  # the state it cleared from
    priority: Priority
    highest: Priority  # since it was raised
    members: tuple[Member, ...]
    title: str
    text: str
    why: str
    clears: str
    due: datetime | None
    news: tuple[str, ...]
    revision: int
    called_revision: int  # the revision of the last call that brought news
    escalation: int
    raised_at: datetime
    last_change: datetime
    last_call: datetime | None
    calls: int
    awaits_since: datetime | None
    silenced_at: datetime | None
    acknowledged: Acknowledgement | None

    @property
    def present(self) -> tuple[Member, ...]:
        return tuple(m for m in self.members if m.gone_since is None)


@dataclass(frozen=True, kw_only=True)
class AlertBook:
    """All alerts, most severe first; as_of is the time of the last step. refused: what the last step could not follow."""

    alerts: tuple[Alert, ...] = ()
    as_of: datetime | None = None
    next_number: int = 1
    refused: tuple[Refused, ...] = ()

    def find(self, name: str) -> Alert | None:
        return next((a for a in self.alerts if a.name == name), None)

    def numbered(self, number: int) -> Alert | None:
        return next((a for a in self.alerts if a.number == number), None)


@dataclass(frozen=True, kw_only=True)
class Call:
    """Something to sound or to show now. repeat counts the calls of this alert, 1 for the first; 0 when it only shows."""

    alert: str
    number: int
    priority: Priority
    highest: Priority
    state: State
    reason: Reason
    repeat: int
    title: str
    text: str
    news: tuple[str, ...]
    why: str
    clears: str
    due: datetime | None
    at: datetime
    changed_at: datetime
    revision: int
    escalation: int
    acknowledged: Acknowledgement | None = None

    @property
    def sounds(self) -> bool:
        """It is heard; everything else is only shown."""
        return self.priority.is_heard and not self.reason.is_upkeep


def call_of(alert: Alert, reason: Reason, now: datetime) -> Call:
    """An alert and why it speaks -> the call."""
    sounds = alert.priority.is_heard and not reason.is_upkeep
    return Call(
        alert=alert.name, number=alert.number, priority=alert.priority, highest=alert.highest, state=alert.state, reason=reason,
        repeat=alert.calls if sounds else 0, title=alert.title, text=alert.text, news=alert.news, why=alert.why,
        clears=alert.clears, due=alert.due, at=now, changed_at=alert.last_change, revision=alert.revision,
        escalation=alert.escalation, acknowledged=alert.acknowledged,
    )
