"""What is different in these orders from the last: told to the sailor, the most important first."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum, StrEnum

from watch.orders.document import Feature, JobOrder, Orders
from watch.orders.tell import percent

# Judgement: what is less than this is no difference to tell.
LEAST = timedelta(minutes=20)
LEAST_FEATURE = timedelta(minutes=30)
LEAST_ARRIVAL = timedelta(hours=2)
LEAST_KN = 3
LEAST_CHANCE = 0.01
SHORT = 90  # letters
SAME_FEATURE = timedelta(hours=12)


class Severity(IntEnum):
    """What a difference means for her, mildest first: the order is the severity. A front that comes later is `SAME`: it may come in
    the dark instead."""

    SAME = 0
    BETTER = 1
    EARLIER = 2
    WORSE = 3


class Topic(StrEnum):
    """What a difference is about, most important first."""

    VERDICT = "verdict"
    HARD_CHANCE = "hard_chance"
    CLOSES = "closes"
    NOT_DONE = "not_done"
    NEW_JOB = "new_job"
    JOB_TIME = "job_time"
    SHELTER = "shelter"
    FEATURE = "feature"
    WIND = "wind"
    NIGHT = "night"
    UNKNOWN = "unknown"
    NO_JOB = "no_job"
    DONE = "done"
    ARRIVAL = "arrival"


@dataclass(frozen=True, kw_only=True)
class Change:
    """One difference: about what, what it means, which job or feature, and the words."""

    topic: Topic
    severity: Severity
    subject: str
    words: str
    when: datetime | None = None


def differences(old: Orders, new: Orders) -> tuple[Change, ...]:
    """The last orders and these -> what changed, the most important first; () when there is nothing worth telling.

    says: what closes sooner, what is new, what is no longer needed, and by how much the chances moved.
    why: nobody reads two pages of orders at three in the morning to find the one line that is different.
    example: "front 2 h earlier", "“bend on and set the storm jib” now closes 16:40, was 18:50".
    source: judgement: 20 minutes for a job, 30 for a front, 3 knots, 1 in 100.
    """
    changes = [*_verdict(old, new), *_jobs(old, new), *_shelters(old, new), *_features(old, new), *_wind(old, new), *_night(old, new),
               *_unknown(old, new), *_arrival(old, new)]
    topics = list(Topic)
    far = datetime.max.replace(tzinfo=new.made_at.tzinfo)
    return tuple(sorted(changes, key=lambda c: (-int(c.severity), topics.index(c.topic), c.when or far, c.subject)))


def _verdict(old: Orders, new: Orders) -> Iterator[Change]:
    if old.feasible != new.feasible:
        words = "the night can be met within the limits again" if new.feasible else "the night can no longer be met within the limits"
        yield Change(topic=Topic.VERDICT, severity=Severity.BETTER if new.feasible else Severity.WORSE, subject="", words=words)
    now, was = percent(new.forecast_chance), percent(old.forecast_chance)
    if now != was and not abs(new.forecast_chance - old.forecast_chance) < LEAST_CHANCE:
        severity = Severity.WORSE if new.forecast_chance > old.forecast_chance else Severity.BETTER
        yield Change(topic=Topic.HARD_CHANCE, severity=severity, subject="", words=f"chance of a hard limit by the forecast {now}, was {was}")


def _jobs(old: Orders, new: Orders) -> Iterator[Change]:
    pairs, gone, added = matched(old.jobs, new.jobs)
    for was, now in pairs:
        yield from _moved(was, now, new)
    for job in added:
        closing = "" if not _shuts(job) else f", closes {_when(new, job.closes)}"
        yield Change(topic=Topic.NEW_JOB, severity=Severity.WORSE, subject=job.job, when=job.start,
                     words=f"new job: “{job.job}” at {_when(new, job.start)}{closing}")
    for job in gone:
        yield _gone(job, old, new)


def matched(
    old: tuple[JobOrder, ...], new: tuple[JobOrder, ...]
) -> tuple[list[tuple[JobOrder, JobOrder]], list[JobOrder], list[JobOrder]]:
    """Jobs of two orders -> those in both (old, new), only in the old, only in the new. The same job twice in a night is matched by
    the times nearest to each other."""
    pairs = []
    near = sorted(((abs(was.start - now.start), i, k) for i, was in enumerate(old) for k, now in enumerate(new) if was.job == now.job))
    taken_old: set[int] = set()
    taken_new: set[int] = set()
    for _, i, k in near:
        if i not in taken_old and k not in taken_new:
            taken_old.add(i)
            taken_new.add(k)
            pairs.append((old[i], new[k]))
    left = [job for k, job in enumerate(new) if k not in taken_new]
    return sorted(pairs, key=lambda p: p[1].start), [job for i, job in enumerate(old) if i not in taken_old], left


def _moved(was: JobOrder, now: JobOrder, new: Orders) -> Iterator[Change]:
    name = f"“{now.job}”"
    if _shuts(now) and (not _shuts(was) or abs(now.closes - was.closes) >= LEAST):
        earlier = not _shuts(was) or now.closes < was.closes
        before = f"was {_when(new, was.closes)}" if _shuts(was) else "did not close before"
        yield Change(topic=Topic.CLOSES, severity=Severity.EARLIER if earlier else Severity.BETTER, subject=now.job, when=now.closes,
                     words=f"{name} now closes {_when(new, now.closes)}, {before}")
    elif _shuts(was) and not _shuts(now):
        yield Change(topic=Topic.CLOSES, severity=Severity.BETTER, subject=now.job, when=now.closes,
                     words=f"{name} no longer closes, as far as the forecast goes; was {_when(new, was.closes)}")
    if abs(now.start - was.start) >= LEAST:
        late = was.start <= new.made_at and now.start > was.start
        severity = Severity.EARLIER if now.start < was.start else Severity.SAME
        due = ", which has passed" if late else ""
        yield Change(topic=Topic.JOB_TIME, severity=severity, subject=now.job, when=now.start,
                     words=f"{name} now at {_when(new, now.start)}, was {_when(new, was.start)}{due}")


def _gone(job: JobOrder, old: Orders, new: Orders) -> Change:
    """A job that is no longer in the orders: done; shut before it was done; no longer possible; given up in a night that has become
    worse; or not needed any more."""
    before, after, present = (_positions(state) for state in (job.from_state, job.to_state, new.rig_state))
    wanted = {element: position for element, position in after.items() if before.get(element) != position}
    if wanted and all(present.get(element) == position for element, position in wanted.items()):
        return Change(topic=Topic.DONE, severity=Severity.SAME, subject=job.job, words=f"“{job.job}” is done")
    if _shuts(job) and job.closes < new.made_at:
        return Change(topic=Topic.NOT_DONE, severity=Severity.WORSE, subject=job.job, when=job.closes,
                      words=f"“{job.job}” was not done and closed at {_when(new, job.closes)}")
    if new.windows and not any(window.job == job.job and window.last_start >= new.made_at for window in new.windows):
        return Change(topic=Topic.NOT_DONE, severity=Severity.WORSE, subject=job.job,
                      words=f"“{job.job}” can no longer be done: it has no deck window left")
    if not new.forecast_chance <= old.forecast_chance + LEAST_CHANCE or old.feasible > new.feasible:
        return Change(topic=Topic.NO_JOB, severity=Severity.WORSE, subject=job.job,
                      words=f"“{job.job}” is no longer in the orders, and the night has become worse")
    return Change(topic=Topic.NO_JOB, severity=Severity.BETTER, subject=job.job, words=f"“{job.job}” is no longer needed")


def _positions(state: str) -> dict[str, str]:
    return dict(part.split(": ", 1) for part in state.split(" · ") if ": " in part)


def _shuts(job: JobOrder) -> bool:
    return job.closes_reason not in ("open", "forecast_ends")


def _shelters(old: Orders, new: Orders) -> Iterator[Change]:
    before = {shelter.name: shelter for shelter in old.shelters}
    for shelter in new.shelters:
        was = before.get(shelter.name)
        if was is None or was.turn_by == shelter.turn_by:
            continue
        if shelter.turn_by is None:
            yield Change(topic=Topic.SHELTER, severity=Severity.WORSE, subject=shelter.name,
                         words=f"{shelter.name} can no longer be reached in time: {shelter.reason}")
        elif was.turn_by is None:
            yield Change(topic=Topic.SHELTER, severity=Severity.BETTER, subject=shelter.name, when=shelter.turn_by,
                         words=f"{shelter.name} can be reached after all, turning by {_when(new, shelter.turn_by)}")
        elif abs(shelter.turn_by - was.turn_by) >= LEAST:
            severity = Severity.EARLIER if shelter.turn_by < was.turn_by else Severity.BETTER
            yield Change(topic=Topic.SHELTER, severity=severity, subject=shelter.name, when=shelter.turn_by,
                         words=f"turn for {shelter.name} by {_when(new, shelter.turn_by)}, was {_when(new, was.turn_by)}")


def _features(old: Orders, new: Orders) -> Iterator[Change]:
    left = list(new.outlook)
    for was in old.outlook:
        same = [f for f in left if _alike(f.kind) == _alike(was.kind) and abs(f.likely - was.likely) <= SAME_FEATURE]
        if same:
            now = min(same, key=lambda f: abs(f.likely - was.likely))
            left.remove(now)
            yield from _feature(was, now, new)
        elif was.late > new.made_at:
            yield Change(topic=Topic.FEATURE, severity=Severity.BETTER, subject=was.kind,
                         words=f"{was.kind} no longer expected, was about {_when(new, was.likely)}")
    for now in left:
        yield Change(topic=Topic.FEATURE, severity=Severity.WORSE, subject=now.kind, when=now.likely,
                     words=f"{now.kind} now expected about {_when(new, now.likely)}")


def _alike(kind: str) -> str:
    """Fronts and troughs are one: the same shift of wind is now called this, now that."""
    return "shift" if kind.endswith(("front", "trough", "shift")) else kind


def _feature(was: Feature, now: Feature, new: Orders) -> Iterator[Change]:
    parts, severity = [], Severity.SAME
    if abs(now.likely - was.likely) >= LEAST_FEATURE:
        earlier = now.likely < was.likely
        parts.append(f"{span(abs(now.likely - was.likely))} {'earlier' if earlier else 'later'}, about {_when(new, now.likely)}")
        severity = Severity.EARLIER if earlier else Severity.SAME
    if was.gust_kn is not None and now.gust_kn is None:
        parts.append("its gusts are not known any more")
        severity = Severity.WORSE
    elif now.gust_kn is not None and was.gust_kn is not None and abs(now.gust_kn - was.gust_kn) >= LEAST_KN:
        parts.append(f"gusts {now.gust_kn} kn, was {was.gust_kn}")
        severity = Severity.WORSE if now.gust_kn > was.gust_kn else max(severity, Severity.BETTER)
    if parts:
        yield Change(topic=Topic.FEATURE, severity=severity, subject=now.kind, when=now.likely,
                     words=f"{_called(was, now)} {', '.join(parts)}")


def _called(was: Feature, now: Feature) -> str:
    return now.kind if now.kind == was.kind else f"{now.kind} (was {was.kind})"


def _wind(old: Orders, new: Orders) -> Iterator[Change]:
    """The strongest planned gust of the hours that both orders cover."""
    before = {row.time: row.planning_gust_kn for row in old.steps}
    both = [(before[row.time], row.planning_gust_kn, row.time) for row in new.steps if row.time in before]
    lost = sum(now is None and was is not None for was, now, _ in both)
    known = [(was, now, time) for was, now, time in both if was is not None and now is not None]
    if lost:
        first = next(time for was, now, time in both if now is None and was is not None)
        yield Change(topic=Topic.WIND, severity=Severity.WORSE, subject="", when=first,
                     words=f"the gusts from {_when(new, first)} on are not known any more for {span(lost * timedelta(minutes=10))}")
    if not known:
        return
    was_kn, now_kn = max(was for was, _, _ in known), max(now for _, now, _ in known)
    if abs(now_kn - was_kn) >= LEAST_KN:
        when = next(time for _, now, time in known if now == now_kn)
        yield Change(topic=Topic.WIND, severity=Severity.WORSE if now_kn > was_kn else Severity.BETTER, subject="", when=when,
                     words=f"strongest gust planned for {-int(-now_kn // 1)} kn about {_when(new, when)}, was {-int(-was_kn // 1)}")


def _night(old: Orders, new: Orders) -> Iterator[Change]:
    if old.night is None or new.night is None or abs(old.night.dark_from - new.night.dark_from) > timedelta(hours=3):
        return
    was, now = (tuple(dict.fromkeys(night.plans)) for night in (old.night, new.night))
    if was != now and new.made_at < new.night.dark_from:
        yield Change(topic=Topic.NIGHT, severity=Severity.SAME, subject="", when=new.night.dark_from,
                     words=f"for the night: {', then '.join(now)}; was {', then '.join(was)}")
    least, before = new.night.least_margin_kn, old.night.least_margin_kn
    if least is None and before is not None:
        yield Change(topic=Topic.NIGHT, severity=Severity.WORSE, subject="", words=f"what is in hand tonight is not known any more, was {before} kn")
    elif least is not None and before is not None and abs(least - before) >= LEAST_KN:
        severity = Severity.WORSE if least < before else Severity.BETTER
        yield Change(topic=Topic.NIGHT, severity=severity, subject="", words=f"least in hand tonight {least} kn, was {before}")


def _unknown(old: Orders, new: Orders) -> Iterator[Change]:
    """What is newly not known, or known again. A sentence that only lists other fields in its brackets is the same sentence, unless
    its list has something new."""
    was, now = ({_heading(line): _listed(line) for line in _lasting(orders)} for orders in (old, new))
    for heading, fields in now.items():
        more = sorted(fields - was[heading]) if heading in was else []
        if heading not in was or more:
            words = f"not known: {heading}" + (f" ({', '.join(more)})" if more else "")
            yield Change(topic=Topic.UNKNOWN, severity=Severity.WORSE, subject="", words=words)
    for heading in was:
        if heading not in now:
            yield Change(topic=Topic.UNKNOWN, severity=Severity.BETTER, subject="", words=f"known again, or no longer asked for: {_short(heading)}")


def _lasting(orders: Orders) -> list[str]:
    """What is not known, without that her instruments cannot be compared yet: that comes and goes, and silent instruments are an alert."""
    passing = None if orders.compared is None else orders.compared.words
    return [line for line in orders.missing if line != passing]


def _short(sentences: str) -> str:
    """What a note is about, for one who has read it once: its first sentence, and of that no more than fits on a line or two."""
    first = re.split(r"(?<=[a-z)])\. |[:;] ", sentences, maxsplit=1)[0].rstrip(".")
    return first if len(first) <= SHORT else first[:SHORT].rpartition(" ")[0] + " ..."


def _heading(line: str) -> str:
    return re.sub(r" \([^)]*\)", "", line)


def _listed(line: str) -> set[str]:
    return {field for group in re.findall(r"\(([^)]*)\)", line) for field in group.split(", ")}


def _arrival(old: Orders, new: Orders) -> Iterator[Change]:
    if old.arrival and new.arrival and abs(new.arrival - old.arrival) >= LEAST_ARRIVAL:
        way = "earlier" if new.arrival < old.arrival else "later"
        yield Change(topic=Topic.ARRIVAL, severity=Severity.SAME, subject="", when=new.arrival,
                     words=f"there {span(abs(new.arrival - old.arrival))} {way}, about {_when(new, new.arrival)}")


def _when(orders: Orders, at: datetime) -> str:
    """'16:40' on the ship's day the orders were made, 'Sun 16:40' beyond; in ship's time."""
    ship = orders.ship_time
    return ship.clock(at) if ship.local(at).date() == ship.local(orders.made_at).date() else ship.day_clock(at)


def span(time: timedelta) -> str:
    """A length of time for people, to ten minutes.

    >>> span(timedelta(minutes=130)), span(timedelta(hours=2))
    ('2 h 10 min', '2 h')
    """
    tens = max(1, round(time / timedelta(minutes=10)))
    hours, minutes = divmod(tens * 10, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{minutes} min" if minutes else "") if part)
