"""One alert in one step: does it raise, worsen, ease, escalate, sound again or end, and what does it say?"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from watch.alerts.book import Alert, Call, Member, Reason, Timing, call_of
from watch.alerts.members import Pass, follow, is_untold, is_worse, news, tell, wording
from watch.alerts.situation import Priority
from watch.alerts.states import State, Turn, after
from watch.when import ShipTime


@dataclass(frozen=True, kw_only=True)
class Moment:
    """What every alert is held against in one step. found: None when there was no new pass."""

    found: Pass | None
    now: datetime
    set_back: bool
    timing: Timing
    ship: ShipTime


def unborn(name: str, number: int, now: datetime) -> Alert:
    """An alert before it is raised."""
    return Alert(
        name=name, number=number, state=State.NORMAL, before=State.NORMAL, priority=Priority.CAUTION, highest=Priority.CAUTION,
        members=(), title="", text="", why="", clears="", due=None, news=(), revision=0, called_revision=0, escalation=0,
        raised_at=now, last_change=now, last_call=None, calls=0, awaits_since=None, silenced_at=None, acknowledged=None,
    )


def advance(alert: Alert, moment: Moment) -> tuple[Alert, Call | None]:
    """An alert and the moment -> the alert after it, and what it says now, if anything."""
    alert = replace(alert, members=follow(alert.name, alert.members, moment.found, moment.now, moment.timing))
    if not alert.present:
        return _over(alert, moment.now)
    turn, reason = _decide(alert, moment)
    new = _reworded(_turned(alert, turn, reason, moment), moment.ship, fresh=reason is Reason.NEW)
    if _shown(new) != _shown(alert):
        new = replace(new, revision=alert.revision + 1, last_change=moment.now)
        reason = reason or Reason.CHANGED
    if reason is None:
        return new, None
    if reason.is_news:
        new = replace(new, called_revision=new.revision)
    call = call_of(new, reason, moment.now)
    return (replace(new, members=tell(new.members)) if call.sounds or new.state is State.ACTIVE else new), call


def severity(present: tuple[Member, ...]) -> Priority:
    """The highest priority among situations that hold, of which there is at least one."""
    return max(m.situation.priority for m in present)


def escalates_after(present: tuple[Member, ...], timing: Timing) -> timedelta:
    """How long this alert may stay a warning without acknowledgement: the shortest of its situations'."""
    return min((m.situation.escalates_after or timing.warning_escalates for m in present), default=timing.warning_escalates)


def _over(alert: Alert, now: datetime) -> tuple[Alert, Call | None]:
    move = after(alert.state, Turn.CLEAR)
    if move is None:
        return alert, None
    cleared = replace(
        alert, state=move[0], before=alert.state, revision=alert.revision + 1, last_change=now, silenced_at=None,
        awaits_since=alert.awaits_since if move[0] is State.RECTIFIED else None,
    )
    return cleared, call_of(cleared, Reason.CLEARED, now)


def _decide(alert: Alert, moment: Moment) -> tuple[Turn | None, Reason | None]:
    """What happens to an alert whose situation holds, and the reason it calls, if it calls."""
    if not alert.state.is_active:
        return _rising(alert, moment.now, moment.timing)
    raw = severity(alert.present)
    worse = any(is_worse(m, moment.timing) for m in alert.present) or any(
        m.told is None and m.situation.priority.is_heard and m.situation.priority > alert.priority for m in alert.present
    )
    if alert.state is State.ACTIVE:
        return (Turn.WORSEN, Reason.WORSE) if raw.is_heard else (None, None)
    if alert.state is State.ACKNOWLEDGED:
        held_down = alert.last_call is not None and moment.now - alert.last_call < moment.timing.hold_down
        more = not held_down and any(is_untold(m, raw) for m in alert.present)
        return (Turn.WORSEN, Reason.WORSE) if worse or more else (None, None)
    if not raw.is_heard:
        return Turn.SOFTEN, None
    return (Turn.WORSEN, Reason.WORSE) if worse else _still_awaiting(alert, raw, moment)


def _rising(alert: Alert, now: datetime, timing: Timing) -> tuple[Turn, Reason | None]:
    raw = severity(alert.present)
    remembered = any(m.told is not None for m in alert.present)
    worse = any(is_worse(m, timing) or is_untold(m, Priority.WARNING) for m in alert.present)
    was_heard = State.ACKNOWLEDGED is alert.before if alert.state is State.NORMAL else raw.is_heard
    if remembered and not worse and was_heard:
        overdue = alert.state is State.RECTIFIED and _is_overdue(alert, raw, now, timing)
        return Turn.RETURN, Reason.REPEAT if overdue else None
    if not raw.is_heard:
        return Turn.RAISE_CAUTION, Reason.NEW
    return Turn.RAISE, Reason.WORSE if remembered else Reason.NEW


def _still_awaiting(alert: Alert, raw: Priority, moment: Moment) -> tuple[Turn | None, Reason | None]:
    """Nobody acknowledged it, and it is no worse: does it escalate, end its silence, or sound again?"""
    now, timing = moment.now, moment.timing
    waited = now - (alert.awaits_since or now)
    if raw is Priority.WARNING and not alert.escalation and waited >= escalates_after(alert.present, timing):
        return Turn.WORSEN, Reason.ESCALATED
    if alert.state is State.SILENCED:
        over = alert.silenced_at is None or now - alert.silenced_at >= timing.silence
        if over or moment.set_back:
            return Turn.SILENCE_ENDS, Reason.SILENCE_ENDED if over else Reason.CLOCK
        return None, None
    if moment.set_back:
        return None, Reason.CLOCK
    return None, Reason.REPEAT if _is_overdue(alert, raw, now, timing) else None


def _is_overdue(alert: Alert, raw: Priority, now: datetime, timing: Timing) -> bool:
    priority = max(raw, Priority.ALARM) if alert.escalation else raw
    return alert.last_call is None or now - alert.last_call >= timing.repeats(priority)


def _turned(alert: Alert, turn: Turn | None, reason: Reason | None, moment: Moment) -> Alert:
    """The alert in its next state, with its counters and the times it is reckoned from."""
    move = (alert.state, False) if turn is None else after(alert.state, turn)
    if move is None:
        raise AssertionError(f"{alert.state} cannot {turn}: the table of transitions lacks it")
    now, raised = moment.now, turn in (Turn.RAISE, Turn.RAISE_CAUTION)
    anew = raised or (turn is Turn.WORSEN and not alert.state.awaits)
    escalation = 0 if anew or turn is Turn.SOFTEN else alert.escalation + (reason is Reason.ESCALATED)
    raw = severity(alert.present)
    priority = max(raw, Priority.ALARM) if escalation and move[0].awaits else raw
    heard = reason is not None and priority.is_heard
    return replace(
        alert, state=move[0], priority=priority, highest=priority if raised else max(alert.highest, priority),
        escalation=escalation, raised_at=now if raised else alert.raised_at,
        last_call=now if heard else alert.last_call,
        calls=(1 if anew else alert.calls + 1) if heard else (0 if anew else alert.calls),
        awaits_since=(now if anew else alert.awaits_since or now) if move[0].awaits else None,
        silenced_at=alert.silenced_at if move[0] is State.SILENCED else None,
        acknowledged=None if reason is Reason.NEW else alert.acknowledged,
    )


def _reworded(alert: Alert, ship: ShipTime, *, fresh: bool) -> Alert:
    said = wording(alert.present)
    changed = () if fresh else news(alert.members, ship) or alert.news
    return replace(alert, title=said.title, text=said.text, why=said.why, clears=said.clears, due=said.due, news=changed)


def _shown(alert: Alert) -> tuple[object, ...]:
    return alert.state, alert.priority, alert.escalation, alert.title, alert.text, alert.why, alert.clears, alert.due, alert.news
