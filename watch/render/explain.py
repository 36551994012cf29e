"""Why: the numbers, limits, reason and source behind a line of the orders, and behind the whole method."""

import inspect
import textwrap
from collections.abc import Iterator

import numpy as np

from watch.faults import BadInputError
from watch.orders import caught, margin, sensitivity, windows
from watch.orders.met import quantile
from watch.orders.schedule import Schedule, Task
from watch.orders.sensitivity import sensitivity_of
from watch.orders.tell import Teller, percent
from watch.orders.tempting import WORSE_CHANCE, tempting_of
from watch.orders.windows import deck_windows, outside
from watch.units import ms_to_kn
from watch.weather import unforecast
from watch.weather.errors import Widening
from watch.weather.own_errors import OwnWidths
from watch.when import STEPS_PER_HOUR, ShipTime

WIDTH = 80


def explain(schedule: Schedule, ship: ShipTime | None, line: int | None, widths: OwnWidths | None = None) -> str:
    """A schedule and the number of one of its jobs (or None for the method) -> text; widths: what it was widened by, None for the table.
    Raises BadInputError for a number it lacks."""
    tell = Teller(schedule, ship or ShipTime(0))
    if line is None:
        return "\n".join(_method(schedule, widths)) + "\n"
    if not 1 <= line <= len(schedule.tasks):
        raise BadInputError("why", [f"there is no job {line} in these orders; they have {len(schedule.tasks)}"])
    return "\n".join(_task(tell, schedule.tasks[line - 1], line)) + "\n"


def _task(tell: Teller, task: Task, number: int) -> Iterator[str]:
    job, found = task.job, tell.judged.chance_of(task.job)
    yield f"WHY job {number}: {job.name} (times in {tell.ship.name})"
    yield ""
    yield from _wrap(f"It changes {tell.night.rig.states[task.origin]} into {tell.night.rig.states[task.target]}.")
    yield from _wrap(f"What decided it: {tell.because(task)}.")
    yield from _wrap(
        f"It takes {job.minutes:g} minutes and {job.reserve_minutes:g} in reserve, so every ten-minute step from the start on, "
        f"{found.steps} of them, has to be inside its limits. They rest on: {job.words()}."
    )
    yield ""
    yield "Its start, hour by hour: chance that the whole job keeps inside each limit"
    yield from _hours(tell, task)
    yield ""
    yield "Its deck windows"
    for window in deck_windows(found, tell.night.aims.window_chance):
        yield from _wrap(f"- {tell.clock(window.first)} to {tell.clock(window.last)}: {tell.window_words(job, window)}", "  ")
    yield ""
    yield from _wrap(f"Closes {tell.clock(task.closes)}: {tell.closes_words(task)}.")
    missed = task.if_missed
    if missed is not None:
        yield from _wrap(
            f"If it is never done the night costs {missed.dearer:.0f} points more (one is an hour one knot over a working limit); "
            f"chance of a hard limit {percent(missed.risk.hard_chance)} instead of {percent(tell.schedule.risk.hard_chance)}."
        )
    for line in tell.shuts(task):
        yield from _wrap(f"Afterwards {line}.")
    yield from _tempting(tell, task)
    yield ""
    yield from _docstring(windows)


def _tempting(tell: Teller, task: Task) -> Iterator[str]:
    """The easier job in its place, and what it shuts."""
    found = tempting_of(tell.schedule, task)
    if found is None:
        return
    job = found.edge.job
    said = f"Easier now would be: {job.name} ({job.minutes:g} minutes, {job.place}). It would cost {found.dearer:.0f} points more"
    if found.risk.hard_chance > found.ordered_risk.hard_chance + WORSE_CHANCE:
        said += f", with a chance of a hard limit of {percent(found.risk.hard_chance)} instead of {percent(found.ordered_risk.hard_chance)}"
    shut = [f"“{later.sail_plan}” could {'no longer be had' if later.then is None else f'not be had before {tell.clock(later.then)}'} "
            f"(in these orders from {tell.clock(later.ordered)})" for later in found.shut]  # fmt: skip
    yield from _wrap(said + (f"; after it {', '.join(shut)}." if shut else "."))


def _hours(tell: Teller, task: Task) -> Iterator[str]:
    job, met, found = task.job, tell.met, tell.judged.chance_of(task.job)
    bad = outside(job, met, apparent=tell.night.apparent)
    yield f"  {'start':<10}{'all':>5}" + "".join(f"{r.words[:12]:>14}" for r in bad) + "   light"
    first = max(0, task.begins - 6 * STEPS_PER_HOUR)
    for t in range(first, min(met.steps, task.closes + 4 * STEPS_PER_HOUR), STEPS_PER_HOUR):
        span = slice(t, t + found.steps)
        each = [1.0 - float(met.weight @ b[:, span].any(axis=1)) for b in bad.values()]
        lit = "enough" if met.light_enough(job.light)[span].all() else "too dark"
        yield f"  {tell.clock(t):<10}{100 * found.chance[t]:>4.0f}%" + "".join(f"{100 * e:>13.0f}%" for e in each) + f"   {lit}"


def _method(schedule: Schedule, widths: OwnWidths | None) -> Iterator[str]:
    night = schedule.judged.night
    met, aims = night.met, night.aims
    yield "WHY these orders: the method and its numbers"
    yield ""
    yield from _wrap(
        f"{len(met.weight)} possible weathers, {met.steps} ten-minute steps, {len(night.rig.states)} rig states joined by "
        f"{len(night.rig.edges)} jobs. The orders are the cheapest path through them: one list of times for all the weathers."
    )
    yield from _wrap(
        f"A deck window is open where at least {aims.window_chance * 100:.0f} in 100 of the weathers let the whole job be done. The chance "
        f"of ever meeting a hard limit is counted over the weathers, and has to be {percent(aims.hard_ceiling)} or less; here it is "
        f"{percent(schedule.risk.forecast_chance)}, and no schedule whatever could have less than {percent(schedule.least_risk)}. The hard "
        f"limit was weighed {schedule.hard_times:g} times its first weight."
    )
    yield from _unforecast(schedule)
    yield ""
    yield "Points (all judgement; one point is an hour one knot over a working limit)"
    for name, points in night.weights.table():
        yield f"  {name.replace('_', ' '):<24}{points:>10g}"
    yield from _swings(schedule)
    yield ""
    yield "How far the forecast may be wrong (one standard deviation, by lead time; judgement)"
    wide = Widening() if widths is None else widths.widening
    yield f"  {'lead h':<18}" + "".join(f"{h:>7g}" for h in wide.lead_h)
    for label, row in (("strength m/s", wide.strength_ms), ("timing h", wide.timing_h), ("place nm", wide.place_nm)):
        yield f"  {label:<18}" + "".join(f"{v:>7.3g}" for v in row)
    yield from [] if widths is None else _wrap(widths.words, "  ")
    yield from _wrap(
        f"Strength is never less than {wide.strength_share:.2g} of the mean wind. The gust's height above the mean: {wide.gust_share:g} of it all "
        f"along, and {wide.gust_scatter:g} from one ten minutes to the next (measured). The sea: {wide.sea_share:g} of its height.", "  "
    )  # fmt: skip
    yield ""
    yield "The wind planned for, against the median and the worst, every six hours"
    for t in range(0, met.steps, 6 * STEPS_PER_HOUR):
        at = slice(t, t + 1)
        values = [float(quantile(met.gust_kn[:, at], met.weight, q)[0]) for q in (0.5, aims.planning_share)]
        worst = float(np.max(met.gust_kn[:, at]))
        yield f"  {Teller(schedule, ShipTime(0)).clock(t):<12} gust {values[0]:>5.0f} {values[1]:>5.0f} {worst:>5.0f} kn"
    yield ""
    yield from _docstring(windows)
    yield from _docstring(unforecast)
    yield from _docstring(caught)
    yield from _docstring(margin)
    yield from _docstring(sensitivity)


def _unforecast(schedule: Schedule) -> Iterator[str]:
    """Squalls that are in none of the weathers: how often, and what they may do here."""
    table = schedule.judged.night.unforecast
    if table.per_hour > 0.0:
        rates = ", ".join(f"{ms_to_kn(ms):.0f} kn once in {1.0 / float(table.rate_per_hour(ms)):.0f} h" for ms in (3.0, 5.0, 7.0))
        yield from _wrap(
            f"Squalls that no forecast shows are reckoned with beside the weathers: a gust so far above the weather's own comes in any hour, "
            f"{rates} (counted, source unforecast-1). By the end of these orders one breaks a hard limit with chance "
            f"{percent(schedule.risk.unforecast_chance)}. That is not held against the ceiling; its points are “squall caught” and “squall seen”."
        )


def _swings(schedule: Schedule) -> Iterator[str]:
    """What halving and doubling the weights does to the orders."""
    found, tell = sensitivity_of(schedule), Teller(schedule, ShipTime(0))
    if not found.swings:
        yield from _wrap(f"Each halved, and each doubled: none of the {found.tried} changes any job, or moves one by more than an hour.")
        return
    yield from _wrap(f"Each halved, and each doubled: {found.tried - len(found.swings)} of the {found.tried} change nothing. The others:")
    for swing in found.swings:
        jobs = ", ".join(f"{name} {tell.clock(begins)}" for name, begins in swing.jobs) or "no job at all"
        yield from _wrap(f"- {swing.weight.replace('_', ' ')} {'doubled' if swing.factor > 1 else 'halved'}: {jobs}", "  ")


def _docstring(module: object) -> Iterator[str]:
    """A rule's own page."""
    for paragraph in (inspect.getdoc(module) or "").split("\n\n"):
        yield from _wrap(" ".join(paragraph.split()))
        yield ""


def _wrap(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
