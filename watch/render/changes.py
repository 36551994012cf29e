"""What is different from the last orders, in a few lines: what a person who read those has to unlearn."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from watch.orders.document import JobOrder, Orders, ShelterOrder
from watch.orders.tell import percent
from watch.render.text import when

MOVED = timedelta(minutes=30)  # judgement: closing times that move less are not worth a line


def changes(before: Orders, now: Orders) -> tuple[str, ...]:
    """The last orders and the present ones -> sentences, most pressing first; empty when they say the same."""
    return tuple(_changes(before, now))


def _changes(before: Orders, now: Orders) -> Iterator[str]:
    if before.feasible and not now.feasible:
        yield "The night can no longer be met within the limits."
    if now.feasible and not before.feasible:
        yield "The night can now be met within the limits."
    yield from _jobs(before, now)
    yield from _shelters(before, now)
    if before.night is not None and now.night is not None and before.night.least_margin_kn != now.night.least_margin_kn:
        yield f"In hand tonight: {_kn(now.night.least_margin_kn)}; it was {_kn(before.night.least_margin_kn)}."
    if abs(before.hard_chance - now.hard_chance) >= 0.01:
        yield f"Chance of meeting a hard limit: {percent(now.hard_chance)}; it was {percent(before.hard_chance)}."
    for line in now.missing:
        if line not in before.missing:
            yield f"No longer known: {line}"


def _jobs(before: Orders, now: Orders) -> Iterator[str]:
    old = {_key(j): j for j in before.jobs}
    new = {_key(j): j for j in now.jobs}
    for key, job in new.items():
        was = old.get(key)
        if was is None:
            yield f"New: {job.job}, at {when(now, job.start)}."
        elif abs(job.closes - was.closes) >= MOVED:
            earlier = "EARLIER" if job.closes < was.closes else "later"
            yield f"“{job.job}” closes {earlier}: {when(now, job.closes)}; it was {when(now, was.closes)}."
        elif abs(job.start - was.start) >= MOVED and job.start > now.made_at:
            yield f"“{job.job}” moves to {when(now, job.start)}; it was {when(now, was.start)}."
    for key, job in old.items():
        if key not in new:
            yield _gone(job, now)


def _gone(job: JobOrder, now: Orders) -> str:
    if now.rig_state == job.to_state:
        return f"Done: {job.job}."
    late = " Its time has passed." if job.closes < now.made_at else ""
    return f"No longer ordered: {job.job}.{late}"


def _shelters(before: Orders, now: Orders) -> Iterator[str]:
    old = {s.name: s for s in before.shelters}
    for shelter in now.shelters:
        was = old.get(shelter.name)
        if was is not None and _moved(was, shelter):
            yield f"Turn by for {shelter.name}: {_at(now, shelter.turn_by)}; it was {_at(now, was.turn_by)}."


def _moved(was: ShelterOrder, now: ShelterOrder) -> bool:
    if was.turn_by is None or now.turn_by is None:
        return was.turn_by is not now.turn_by
    return abs(was.turn_by - now.turn_by) >= MOVED


def _at(orders: Orders, instant: datetime | None) -> str:
    return "none" if instant is None else when(orders, instant)


def _key(job: JobOrder) -> tuple[str, str]:
    return job.job, job.to_state


def _kn(value: int | None) -> str:
    return "not known" if value is None else f"{value} kn"
