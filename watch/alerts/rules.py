"""The rules: what holds now that the sailor has to know. Orders and what is known aboard in, situations out; each rule has its own page.

A rule that cannot be computed says so (situation.cannot_compute): then what it said before is held, not cleared.
"""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from watch.alerts.known import Known
from watch.alerts.rules_aboard import glass_falling, gusts_rising, instruments_lost, limit_passed
from watch.alerts.situation import Priority, Situation, cannot_compute, slug
from watch.orders.differences import SAME_FEATURE, Change, Severity, Topic, differences
from watch.orders.document import Feature, JobOrder, Orders
from watch.orders.tell import percent
from watch.when import ShipTime

CLOSING_SOON = timedelta(minutes=60)  # judgement: a window that closes so soon, its job not begun, is a warning of its own
GROUP_GAP = timedelta(hours=3)  # judgement: jobs called within so long of each other belong to one spell, and are one alert
SHELTER_SOON = timedelta(hours=3)  # judgement: a turn-by time so near is spoken of
BAD_SOON = timedelta(hours=12)  # judgement: a hard limit so near makes a bad night an alarm
ENDS_SOON = timedelta(hours=12)  # judgement: orders that end so soon leave the next night uncovered
FRONT_EARLY = timedelta(minutes=60)  # judgement: a front that comes so much sooner than was told is worth a call
FRONTS = ("front", "trough", "shift")
STALE = timedelta(hours=13)  # judgement: two six-hourly runs and their delay have been missed
VERY_STALE = timedelta(hours=25)
DISK_LOW_MB = 200.0
WORSE_CHANCE = 0.05  # judgement: so much more chance of a hard limit is worth a call of its own


def situations(known: Known) -> list[Situation]:
    """Known -> all situations that hold, each once."""
    return [s for rule in RULES for s in rule(known)]


def _clock(orders: Orders, instant: datetime) -> str:
    ship: ShipTime = orders.ship_time
    return ship.day_clock(instant)


def jobs_due(known: Known) -> Iterator[Situation]:
    """says: a job's call time has come, or its deck window closes within the hour and it is not begun.
    why: after the closing time the job can no longer be done, and what it was for still comes.
    example: call 09:50 for "lower the genoa", closes 11:00: warning at 09:50, alarm from 10:00.
    source: the call and closing times of the orders; one hour is judgement.
    """
    if known.orders is None:
        return
    for job, group in _grouped(known.orders):
        if job.job in known.done or known.now < job.call:
            continue
        stake = job.if_missed.forecast_chance > known.orders.hard_ceiling
        closing = job.closes - known.now <= CLOSING_SOON and job.closes_reason not in ("open", "forecast_ends")
        priority = Priority.ALARM if closing and stake else Priority.WARNING
        shut = f" {_until(known.orders, job)}." if job.closes_words else ""
        yield Situation(
            key=f"job.{slug(job.job)}.{job.start:%Y%m%d}", priority=priority, title=f"{job.job[:1].upper()}{job.job[1:]}",
            text=f"Begin {_clock(known.orders, job.start)}; {job.place}, {job.minutes:g} min.{shut}", why=job.because,
            clears="done (log it), or no longer in the orders", due=job.closes, group=group,
        )  # fmt: skip


def _until(orders: Orders, job: JobOrder) -> str:
    """Until when a job can be begun, as the orders head it."""
    clock = _clock(orders, job.closes)
    if job.closes_reason != "too_late":
        return f"It closes {clock}: {job.closes_words}"
    return f"Of use until {clock}: {job.closes_words}" if job.if_missed.sail_plan is not None else f"Worth doing until {clock}"


def _grouped(orders: Orders) -> Iterator[tuple[JobOrder, str]]:
    """Each job with the alert of its spell: one front is one call, not twenty."""
    group, last = "", None
    for job in orders.jobs:
        if last is None or job.call - last > GROUP_GAP:
            group = f"jobs.{job.start:%Y%m%d%H}"
        last = job.call
        yield job, group


def bad_night(known: Known) -> Iterator[Situation]:
    """says: no schedule keeps the chance of a hard limit under the asked-for ceiling.
    why: the sailor has to choose between the least bad schedule, running off and shelter while there is time.
    example: chance 23 in 100 of gusts to 54 kn against 44 about 05:20: alarm when that is within twelve hours, else a warning.
    source: the orders' joint chance, counted over the scenarios.
    """
    orders = known.orders
    if orders is None or orders.feasible:
        return
    first = next((p.start for p in orders.plans if p.forecast_chance > orders.hard_ceiling), orders.ends_at)
    near = first - known.now <= BAD_SOON
    yield Situation(
        key="orders.not_good_enough", priority=Priority.ALARM if near else Priority.WARNING, title="The night cannot be met within the limits",
        text=" ".join((orders.verdict, *orders.verdict_more)), why=f"chance {percent(orders.forecast_chance)}, asked for {percent(orders.hard_ceiling)}",
        clears="orders that keep the limits", due=first,
    )  # fmt: skip


def orders_worse(known: Known) -> Iterator[Situation]:
    """says: the new forecast has made the orders worse: more risk, or the next closing time earlier by half an hour or more.
    why: a plan slept on must not change behind the sailor's back.
    example: chance 3 in 100 became 12 in 100; the storm jib job closes 16:40, was 18:50.
    source: the two orders (watch.orders.differences, whose thresholds are judgement).
    """
    orders, before = known.orders, known.before
    if orders is None or before is None or orders.made_at <= before.made_at:
        return
    worse = [c for c in differences(before, orders) if c.severity in (Severity.WORSE, Severity.EARLIER) and _wakes(c, before, orders, known.now)]
    if worse:
        yield Situation(
            key="orders.worse", priority=Priority.WARNING, title="The orders have got worse", text="; ".join(c.words for c in worse) + ".",
            why=worse[0].words, clears="acknowledged, or better orders",
        )  # fmt: skip


def _wakes(change: Change, before: Orders, orders: Orders, now: datetime) -> bool:
    """Whether a difference is worth a call: of jobs only those on which a hard limit hangs, and soon; the rest is read in the orders."""
    if change.topic is Topic.HARD_CHANCE:
        return orders.forecast_chance - before.forecast_chance > WORSE_CHANCE
    if change.topic in (Topic.CLOSES, Topic.NEW_JOB):
        grave = any(j.job == change.subject and j.if_missed.forecast_chance > orders.hard_ceiling for j in orders.jobs)
        return grave and change.when is not None and change.when - now < BAD_SOON
    return change.topic in (Topic.VERDICT, Topic.NOT_DONE, Topic.SHELTER)


def front_early(known: Known) -> Iterator[Situation]:
    """says: a front within twelve hours is expected earlier than the sailor was told, or is new.
    why: the hours before it are the ones in which the deck can be worked.
    example: cold front 2 h earlier, about 20:30: warning.
    source: the two orders; an hour and twelve hours are judgement.
    """
    orders, before = known.orders, known.before
    if orders is None or before is None or orders.made_at <= before.made_at:
        return
    told = [f for f in before.outlook if f.kind.endswith(FRONTS)]
    for front in (f for f in orders.outlook if f.kind.endswith(FRONTS) and f.likely - known.now <= BAD_SOON and not _map_alone(f)):
        was = min((f.likely for f in told if abs(f.likely - front.likely) <= SAME_FEATURE), key=lambda at: abs(at - front.likely), default=None)
        if was is not None and was - front.likely < FRONT_EARLY:
            continue
        how = "not told of before" if was is None else f"told of about {_clock(orders, was)}"
        yield Situation(
            key=f"front.early.{front.likely:%Y%m%d}", priority=Priority.WARNING,
            title=f"{front.kind[:1].upper()}{front.kind[1:]} {'earlier' if was else 'now expected'}, about {_clock(orders, front.likely)}",
            text="See whether the next job still fits before it.", why=how, clears="acknowledged, or a later front", due=front.likely,
            group="orders.worse",
        )  # fmt: skip
        return


def _map_alone(front: Feature) -> bool:
    """A warm front that only a map tells of brings no wind of its own: it is told, and nobody is woken for it."""
    return front.kind == "warm front" and front.gust_kn is None


def turn_by(known: Known) -> Iterator[Situation]:
    """says: the time by which to turn for the best shelter is near, and the night at sea is not good enough, or is worse than there.
    why: the choice cannot be taken back late.
    example: turn for the anchorage by 14:20, three hours from now; holding on meets a hard limit with chance 23 in 100.
    source: the orders' turn-by times; three hours are judgement.
    """
    orders = known.orders
    if orders is None:
        return
    for shelter in sorted(orders.shelters, key=lambda s: s.rank):
        if shelter.turn_by is None or not timedelta(0) <= shelter.turn_by - known.now <= SHELTER_SOON:
            continue
        yield Situation(
            key=f"turn_by.{slug(shelter.name)}", priority=Priority.CAUTION if orders.feasible else Priority.WARNING,
            title=f"Turn-by time for {shelter.name}", text=f"The last time to turn is {_clock(orders, shelter.turn_by)}. {shelter.words}",
            why=shelter.reason, clears="turned, or the time is past", due=shelter.turn_by, group="turn_by",
        )  # fmt: skip
        return


def forecast_stale(known: Known) -> Iterator[Situation]:
    """says: the newest forecast is old, or the orders end soon, or there are none at all.
    why: silence must mean that everything needed was fresh; an old forecast is the commonest way of going blind.
    example: the newest run is 14 hours old: caution; 26 hours: warning; no orders: alarm.
    source: six-hourly runs with their usual delay; thirteen and twenty-five hours are judgement.
    """
    if known.orders is None:
        yield Situation(
            key="watch.no_orders", priority=Priority.ALARM, title="The watch is blind: there are no orders",
            text=f"{known.why_no_orders}. Keep the watch yourself.", why=known.why_no_orders, clears="a forecast that covers her", group="watch",
        )  # fmt: skip
        return
    orders = known.orders
    age = known.now - max(f.run for f in orders.forecasts)
    if age >= STALE:
        yield Situation(
            key="watch.stale", priority=Priority.WARNING if age >= VERY_STALE else Priority.CAUTION, title="The forecast is old",
            text="Fetch a newer one, or take the orders for less than they say.", why=f"newest run {age.total_seconds() / 3600:.0f} h old",
            clears="a newer run", group="watch",
        )  # fmt: skip
    if orders.ends_at - known.now <= ENDS_SOON:
        yield Situation(
            key="watch.ends", priority=Priority.WARNING, title="The orders end soon", text=f"{orders.ends_reason}.",
            why=f"they reach to {_clock(orders, orders.ends_at)}", clears="orders that reach farther", due=orders.ends_at, group="watch",
        )  # fmt: skip


def machine(known: Known) -> Iterator[Situation]:
    """says: the disk is nearly full, the clock jumped, or part of this pass failed.
    why: a watch that cannot keep its book, or has the wrong time, is no watch.
    example: 150 MB free: warning. The clock was set back 3600 s: warning.
    source: judgement.
    """
    m = known.machine
    if m.disk_free_mb is not None and m.disk_free_mb < DISK_LOW_MB:
        yield Situation(
            key="machine.disk", priority=Priority.WARNING, title="The disk is nearly full", text="Make room, or the watch cannot keep its book.",
            why=f"{m.disk_free_mb:.0f} MB free", clears="room on the disk", group="machine",
        )  # fmt: skip
    if abs(m.clock_jump_s) >= 120:
        yield Situation(
            key="machine.clock", priority=Priority.WARNING, title="The clock jumped", text="Check the computer's time: all orders hang on it.",
            why=f"by {m.clock_jump_s:+.0f} s", clears="acknowledged", group="machine",
        )  # fmt: skip
    for failure in m.failures:
        yield cannot_compute(f"pass_{slug(failure)[:40]}", title="Part of the watch failed", reason=failure, clears="a pass without it")


RULES: tuple[Callable[[Known], Iterator[Situation]], ...] = (
    jobs_due, bad_night, orders_worse, front_early, limit_passed, gusts_rising, turn_by, forecast_stale, instruments_lost, glass_falling, machine,
)  # fmt: skip
