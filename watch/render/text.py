"""The orders as plain text: 80 columns, no colour, made to be read aloud."""

import textwrap
from collections.abc import Iterator
from datetime import datetime
from itertools import groupby

from watch.orders.document import Compared, JobOrder, Orders, PlanShut, PlanSpan, WindBlock
from watch.orders.tell import chance_words, percent
from watch.passage.position import show_position
from watch.render.changes import NOTHING, ChangeLine, changes
from watch.render.glance import shuts_first

WIDTH = 80
NAME_WIDTH = 10
MOST_GIVEN_UP = 3
SHELTER_KINDS = ("harbour", "anchorage", "lee")


def as_text(orders: Orders, previous: Orders | None = None) -> str:
    """Orders, and those before them when known -> text of at most 80 columns, ending in a newline."""
    return "\n".join(line.rstrip() for line in _lines(orders, previous)) + "\n"


def _lines(orders: Orders, previous: Orders | None) -> Iterator[str]:
    yield from _head(orders)
    yield ""
    yield from _first(orders)
    if previous is not None:
        yield from _title("CHANGED SINCE THE LAST ORDERS")
        for change in changes(previous, orders) or (ChangeLine(words=NOTHING, heavy=False),):
            yield from _wrap(f"{'!' if change.heavy else '-'} {change.words}", "  ")
    if orders.missing:
        yield from _title("NOT KNOWN")
        for line in orders.missing:
            yield from _wrap(f"- {line}", "  ")
    if orders.compared is not None:
        yield from _title("BY HER INSTRUMENTS")
        yield from _compared(orders.compared)
    yield from _title("WHAT COMES")
    yield from _outlook(orders)
    if orders.jobs:
        yield from _title("JOBS, in the order of their time")
        for job in orders.jobs:
            yield from _job(job, orders)
            yield ""
    else:
        yield ""
    yield from _title("SAIL PLANS carried, against what they meet", gap=False)
    for span in orders.plans:
        yield from _plan(span, orders)
    if orders.shelters:
        yield from _title("SHELTER, HOLDING ON, RUNNING OFF")
        for words, same in groupby(orders.shelters, key=lambda s: s.words):
            alike = list(same)
            names = ", ".join(s.name for s in alike)
            yield from _wrap(f"{alike[0].rank}. {names}: {words}", "   ")
    yield from _title("WHAT WOULD CHANGE THESE ORDERS")
    for direction in orders.margin:
        yield from _wrap(f"- {_capital(direction.words)}.", "  ")
    yield from _title("CAUTIONS")
    for line in orders.cautions:
        yield from _wrap(f"- {line}", "  ")


def _head(orders: Orders) -> Iterator[str]:
    ship = orders.ship_time
    yield f"NIGHT ORDERS for {orders.boat}"
    yield f"{ship.local(orders.made_at):%A %d %B %Y, %H:%M} ship's time ({ship.name}), {orders.made_at:%H:%M} UTC"
    where = show_position(orders.latitude_deg, orders.longitude_deg)
    arrive = f"; there about {when(orders, orders.arrival)}" if orders.arrival else ""
    yield from _wrap(f"At {where}; {orders.passage}, {orders.to_go_nm:.0f} miles to go{arrive}.", "")
    for used in orders.forecasts:
        yield from _wrap(
            f"Forecast: {used.centre}, run of {used.run:%a %d %b %H:%M} UTC, {used.age_hours:.0f} h old, {used.kind}.", "  "
        )
    yield from _wrap(
        f"{orders.weathers} possible weathers. All times below are ship's time; winds are {orders.height_words}. "
        f"Planned for the wind that {orders.planning_share * 100:.0f} in 100 of the weathers stay below.", ""
    )  # fmt: skip


def _first(orders: Orders) -> Iterator[str]:
    yield from _wrap(orders.verdict, "")
    for line in orders.verdict_more:
        yield from _wrap(line, "")
    yield ""
    yield from _wrap(f"{'NOW':<{NAME_WIDTH}}{orders.sail_plan} ({orders.rig_state}).", " " * NAME_WIDTH)
    job = orders.next_job
    if job is None:
        yield from _wrap(f"{'NEXT':<{NAME_WIDTH}}nothing to do before {when(orders, orders.ends_at)}.", " " * NAME_WIDTH)
    else:
        yield from _wrap(
            f"{'NEXT':<{NAME_WIDTH}}{when(orders, job.start)}  {job.job}. Call {when(orders, job.call)}. "
            f"{_closes(job, orders)}.", " " * NAME_WIDTH
        )  # fmt: skip
    first = shuts_first(orders)
    if first is not None:
        yield from _wrap(f"{'SHUTS':<{NAME_WIDTH}}first: {first.job}. {_closes(first, orders)}.", " " * NAME_WIDTH)
    if orders.night is not None:
        n = orders.night
        margin = "margin not known" if n.least_margin_kn is None else _margin(n.least_margin_kn)
        calls = "no calls" if n.calls == 0 else f"{n.calls} call{'s' if n.calls > 1 else ''}"
        fore = f", {n.foredeck_calls} to the foredeck" if n.foredeck_calls else ""
        chance = "" if n.hard_chance <= 0 else f"; chance of a hard limit tonight {chance_words(n.hard_chance, n.unforecast_chance)}"
        plans = ", then ".join(dict.fromkeys(n.plans))
        yield from _wrap(
            f"{'NIGHT':<{NAME_WIDTH}}dark {when(orders, n.dark_from)} to {when(orders, n.dark_to)}: {plans}; {margin}; {calls}{fore}"
            f"{_sleep(orders)}{chance}.", " " * NAME_WIDTH,
        )
    if orders.no_return is not None:
        yield from _wrap(f"{'SHELTER':<{NAME_WIDTH}}NO RETURN after {when(orders, orders.no_return.time)}: {orders.no_return.words}.",
                         " " * NAME_WIDTH)  # fmt: skip
    elif any(s.kind in SHELTER_KINDS for s in orders.shelters):
        yield from _wrap(f"{'SHELTER':<{NAME_WIDTH}}none that can be counted on; below is why.", " " * NAME_WIDTH)
    yield from _wrap(f"{'ENDS':<{NAME_WIDTH}}{when(orders, orders.ends_at)}: {orders.ends_reason}.", " " * NAME_WIDTH)


def _sleep(orders: Orders) -> str:
    """The longest unbroken sleep, when there is a night to sleep in."""
    night = orders.night
    if night is None or night.sleep_from is None or night.sleep_to is None:
        return ""
    return f"; longest sleep {when(orders, night.sleep_from)} to {when(orders, night.sleep_to)}"


def _margin(margin_kn: int) -> str:
    return f"{margin_kn} kn in hand to its hard limit" if margin_kn >= 0 else f"OVER its hard limit by {-margin_kn} kn"


def _closes(job: JobOrder, orders: Orders) -> str:
    if job.closes_reason in ("open", "forecast_ends"):
        return "Does not close before the forecast ends"
    if job.closes_reason == "too_late":
        if job.if_missed.sail_plan is None:
            return f"Worth doing until {when(orders, job.closes)}"
        return f"OF USE UNTIL {when(orders, job.closes)}: {job.closes_words}"
    return f"CLOSES {when(orders, job.closes)}: {job.closes_words}"


MOST_CHANGED = 6  # differences shown; the JSON has all


def _compared(found: Compared) -> Iterator[str]:
    yield from _wrap(f"- {found.words}", "  ")
    yield from _wrap(f"- {found.glass}", "  ")
    if found.squalls:
        yield from _wrap(f"- {found.squalls}", "  ")
    if found.changed:
        more = len(found.changed) - MOST_CHANGED
        and_more = f"; and {more} smaller differences" if more > 0 else ""
        yield from _wrap(f"- So, against the forecast alone: {'; '.join(found.changed[:MOST_CHANGED])}{and_more}.", "  ")
    elif found.trusted:
        yield from _wrap("- These orders are much as they would be by the forecast alone.", "  ")
    for doubt in found.doubts:
        yield from _wrap(f"- In doubt: {doubt}.", "  ")


def _outlook(orders: Orders) -> Iterator[str]:
    for feature in orders.outlook:
        yield from _wrap(f"- {feature.words}", "  ")
    yield "                     wind from      mean kn       gust kn     sea m"
    yield "                     (degrees)    likely  plan   plan  worst   plan"
    for b in orders.wind:
        cells = [_cell(v) for v in (b.median_mean_kn, b.planning_mean_kn, b.planning_gust_kn, b.worst_gust_kn)]
        sea = "?" if b.sea_m is None else f"{b.sea_m:.1f}"
        ship = orders.ship_time
        dark = "  dark" if b.dark_share > 0.95 else ("  part dark" if b.dark_share > 0 else "")
        yield (
            f"  {ship.day_clock(b.start)} to {ship.clock(b.end)}   {_turn(b):<10} {cells[0]:>6} {cells[1]:>6} {cells[2]:>6} {cells[3]:>6}"
            f" {sea:>6}{dark}"
        )


def _turn(block: WindBlock) -> str:
    """Where the wind comes from over a block: '210' or '210 > 280'."""
    if block.from_deg is None or block.from_deg_at_end is None:
        return "?"
    a, b = f"{block.from_deg:03d}", f"{block.from_deg_at_end:03d}"
    return a if a == b else f"{a} > {b}"


def _cell(value: int | None) -> str:
    return "?" if value is None else str(value)


def _job(job: JobOrder, orders: Orders) -> Iterator[str]:
    yield from _wrap(f"{job.number}. {when(orders, job.start)}  {job.job.upper()}", "   ")
    dark = " IN THE DARK." if job.in_dark else ""
    yield from _wrap(
        f"   Call {when(orders, job.call)}. {_capital(job.place)}, {job.minutes:g} min and {job.reserve_minutes:g} in reserve"
        f"{'' if job.heading == 'any' else ', ' + job.heading}.{dark}", "   "
    )  # fmt: skip
    yield from _wrap(f"   {_closes(job, orders)}.", "   ")
    window = job.window
    if window is not None:
        yield from _wrap(
            f"   Deck open {when(orders, window.first_start)} to {when(orders, window.last_start)}, chance {percent(job.chance)} "
            f"of finishing it; limits {job.limits_words} ({job.rests_on}).", "   "
        )  # fmt: skip
    yield from _wrap(f"   Then: {job.plan_after}.", "   ")
    yield from _wrap(f"   Why: {job.because}.", "   ")
    if job.if_missed.sail_plan is None:
        yield from _wrap(f"   If missed: {job.if_missed.words}.", "   ")
    elif job.if_missed.instead:
        yield from _wrap(f"   If missed, the best left: {'; '.join(job.if_missed.instead)}.", "   ")
    for line in job.shuts:
        yield from _wrap(f"   Afterwards {line}.", "   ")
    for shut, words, until in (
        (job.plans_shut, "Doing it gives up", "else open until"), (job.plans_shut_by_waiting, "Putting it off gives up", "after"),
    ):  # fmt: skip
        if shut:
            yield from _wrap(f"   {words} {given_up(shut, until, orders)}.", "   ")


def given_up(shut: tuple[PlanShut, ...], until: str, orders: Orders) -> str:
    """Sail plans until when each could be begun for, and when again; the stoutest few."""
    def told(last: datetime, again: datetime | None) -> str:
        back = "not again as far as the forecast reaches" if again is None else f"not again before {when(orders, again)}"
        return f"{until} {when(orders, last)}, {back}"

    same = groupby(shut[:MOST_GIVEN_UP], key=lambda s: told(s.last, s.again))
    words = "; ".join(f"{', '.join(f'“{s.sail_plan}”' for s in some)} ({why})" for why, some in same)
    more = len(shut) - MOST_GIVEN_UP
    return words + (f"; and {more} lighter sail plan{'s' if more > 1 else ''}" if more > 0 else "")


def _plan(span: PlanSpan, orders: Orders) -> Iterator[str]:
    gust = "gusts not known" if span.planning_gust_kn is None else f"gusts to {span.planning_gust_kn} kn"
    worst = "" if span.worst_gust_kn is None else f" (worst seen {span.worst_gust_kn})"
    chance = "" if span.hard_chance <= 0 else f", chance of it {chance_words(span.hard_chance, span.unforecast_chance)}"
    margin = "" if span.margin_kn is None else f": {_margin(span.margin_kn)}"
    yield from _wrap(
        f"{when(orders, span.start)} to {when(orders, span.end)}  {span.sail_plan}: {gust}{worst} against {span.hard_kn}"
        f"{margin}{chance}. Rests on {span.rests_on}.", "   "
    )  # fmt: skip
    if span.beyond_practice:
        yield from _wrap(f"   Beyond practice: {span.beyond_practice} kn.", "   ")


def when(orders: Orders, instant: datetime) -> str:
    """Clock in ship's time; with the weekday when it is not the day the orders are made."""
    ship = orders.ship_time
    same_day = ship.local(instant).date() == ship.local(orders.made_at).date()
    return ship.clock(instant) if same_day else ship.day_clock(instant)


def _title(text: str, *, gap: bool = True) -> Iterator[str]:
    if gap:
        yield ""
    yield text


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _wrap(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False) or [""]
