"""The orders as one page: a whole HTML file with its style, script and pictures inside, that asks nothing of any network."""

import base64
import hashlib
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from watch.orders.document import JobOrder, Orders, PlanSpan, ShelterOrder
from watch.orders.tell import percent
from watch.render.changes import changes
from watch.render.map_svg import map_svg
from watch.render.margins import WORDS, level
from watch.render.night_svg import is_hard_close, light_changes, night_end, night_svg
from watch.render.page_parts import PRIORITIES, PageAlert, PageHealth, Place
from watch.render.text import position, when
from watch.when import utc

OLD_AFTER_HOURS = 7  # judgement: two forecasts come within this; orders older than it are no longer to be leaned on


@dataclass(frozen=True, kw_only=True)
class Served:
    """What a page needs to know of the program that serves it. mark: changes with what is shown; may_acknowledge: this reader may."""

    mark: str
    may_acknowledge: bool


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("watch.render", "page_files"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    made.filters |= {"percent": percent, "capital": lambda text: text[:1].upper() + text[1:], "stamp": _stamp}
    return made


def page_file(name: str) -> str:
    """The text of one of the page's own files (style, script)."""
    env = _environment()
    assert env.loader is not None
    return env.loader.get_source(env, name)[0]


@cache
def content_policy() -> str:
    """What the page may do: its own style and script, by their hashes, and nothing from anywhere else."""
    style, script = (_hash(page_file(name)) for name in ("page.css", "page.js"))
    return f"default-src 'none'; style-src '{style}'; script-src '{script}'; img-src data:; base-uri 'none'"


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def render_page(
    orders: Orders,
    *,
    now: datetime,
    health: PageHealth | None = None,
    alerts: tuple[PageAlert, ...] = (),
    previous: Orders | None = None,
    places: tuple[Place, ...] = (),
    served: Served | None = None,
    invented: bool = False,
) -> str:
    """Orders, and what is known besides -> HTML.

    now: the time of making; the page's own clock goes on from there, and stands still when `invented` (a demo of another day).
    health None: nobody keeps watch behind this page, which says so. served None: a file, which cannot renew itself and says so.
    """
    template = _environment().get_template("page.html.j2")
    return template.render(
        o=orders, health=health, alerts=_by_weight(alerts), changed=None if previous is None else changes(previous, orders),
        served=served, invented=invented, now=utc(now), at=lambda instant: when(orders, instant), style=Markup(page_file("page.css")),
        script=Markup(page_file("page.js")), policy=content_policy(), night=Markup(night_svg(orders)), map=Markup(map_svg(orders, places)),
        where=position(orders.latitude_deg, orders.longitude_deg), span=_span_at(orders, now), shuts=shuts_first(orders),
        closing=closing, hard=is_hard_close, level=level, margin=margin_words, level_words=WORDS, turn=turn_by(orders),
        colours=_colours_at(orders, now), darks=_darks(orders), newest=min(f.age_hours for f in orders.forecasts),
        night_end=night_end(orders), old_after_hours=OLD_AFTER_HOURS, directions=[d.words for d in orders.margin],
    )  # fmt: skip


def _stamp(instant: datetime) -> str:
    return utc(instant).strftime("%Y-%m-%dT%H:%M:%SZ")


def _by_weight(alerts: tuple[PageAlert, ...]) -> list[PageAlert]:
    return sorted(alerts, key=lambda a: (not a.awaits, -PRIORITIES.index(a.priority)))


def _span_at(orders: Orders, now: datetime) -> PlanSpan:
    return next((p for p in orders.plans if p.end > now), orders.plans[-1])


def shuts_first(orders: Orders) -> JobOrder | None:
    """Of the jobs that matter for a hard limit, the one that closes first, when it is not the next one anyway."""
    grave = [j for j in orders.jobs if j.if_missed.sail_plan is not None and is_hard_close(j)]
    first = min(grave, key=lambda j: j.closes, default=None)
    return None if first is None or first == orders.next_job else first


def closing(job: JobOrder) -> str:
    """How the closing time of a job is headed."""
    if job.closes_reason in ("open", "forecast_ends"):
        return "Open to the forecast's end"
    if job.closes_reason == "too_late":
        return "Of use until" if job.if_missed.sail_plan is not None else "Worth doing until"
    return "CLOSES"


def margin_words(margin_kn: int | None) -> str:
    """Knots in hand -> words.

    >>> margin_words(4), margin_words(-2), margin_words(None)
    ('4 kn in hand', 'OVER by 2 kn', 'not known')
    """
    if margin_kn is None:
        return "not known"
    return f"{margin_kn} kn in hand" if margin_kn >= 0 else f"OVER by {-margin_kn} kn"


def turn_by(orders: Orders) -> ShelterOrder | None:
    """The choice of shelter whose turn-by time comes first."""
    return min((s for s in orders.shelters if s.turn_by is not None), key=lambda s: s.turn_by or orders.ends_at, default=None)


def _darks(orders: Orders) -> str:
    """Times for the script: '<from>/<to>' of every stretch too dark for day colours."""
    return " ".join(f"{_stamp(a)}/{_stamp(b)}" for a, b, sky in light_changes(orders) if sky not in ("day", "dusk"))


def _colours_at(orders: Orders, now: datetime) -> str:
    here = next((sky for a, b, sky in light_changes(orders) if a <= now < b), "day")
    return "day" if here in ("day", "dusk") else "night"


def facts(orders: Orders) -> dict[str, Any]:
    """The few numbers that say at a glance what a page shows; for the mark that tells one page from the next."""
    job = orders.next_job
    return {"made": _stamp(orders.made_at), "job": None if job is None else job.job, "feasible": orders.feasible}
