"""The orders as one page: a whole HTML file with its style, script and pictures inside, that asks nothing of any network."""

import base64
import hashlib
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from watch.orders.document import Orders, PlanSpan
from watch.orders.tell import chance_words, percent
from watch.passage.land import Land
from watch.passage.position import show_position
from watch.render.changes import NOTHING, changes
from watch.render.glance import closing, is_hard_close, margin_words, shuts_first, turn_by
from watch.render.map_places import far_words
from watch.render.map_svg import NO_LAND, WITH_LAND, map_svg
from watch.render.margins import WORDS, level
from watch.render.night_span import light_changes, night_end
from watch.render.night_svg import night_svg
from watch.render.page_parts import PRIORITIES, PageAlert, PageHealth, Place, places_of
from watch.render.text import MOST_CHANGED, given_up, when
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
    made.globals["chance"] = chance_words
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
    style, page, notice = (_hash(page_file(name)) for name in ("page.css", "page.js", "notice.js"))
    return f"default-src 'none'; style-src '{style}'; script-src '{page}' '{notice}'; img-src data:; base-uri 'none'"


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
    land: Land | None = None,
    served: Served | None = None,
    invented: bool = False,
) -> str:
    """Orders, and what is known besides -> HTML.

    now: the time of making; the page's own clock goes on from there, and stands still in a file of `invented` orders (a demo of another day).
    places: on the map besides the orders' shelters. land: round the track, for the map; None: the map says that it shows none.
    health None: nobody keeps watch behind this page, which says so. served None: a file, which cannot renew itself and says so.
    """
    template = _environment().get_template("page.html.j2")
    return template.render(
        o=orders, health=health, alerts=_by_weight(alerts), changed=None if previous is None else changes(previous, orders),
        served=served, invented=invented, now=utc(now), at=lambda instant: when(orders, instant), style=Markup(page_file("page.css")),
        script=Markup(page_file("page.js")), policy=content_policy(), night=Markup(night_svg(orders)), map=Markup(map_svg(orders, places, land)),
        no_chart=NO_LAND if land is None else WITH_LAND,
        nothing=NOTHING, far=far_words(orders, (*places_of(orders), *places)),
        where=show_position(orders.latitude_deg, orders.longitude_deg), span=_span_at(orders, now), shuts=shuts_first(orders),
        closing=closing, hard=is_hard_close, level=level, margin=margin_words, level_words=WORDS, turn=turn_by(orders),
        colours=_colours_at(orders, now), darks=_darks(orders), newest=min(f.age_hours for f in orders.forecasts),
        given_up=lambda shut, until: given_up(shut, until, orders), most_changed=MOST_CHANGED,
        night_end=night_end(orders), old_after_hours=OLD_AFTER_HOURS, directions=[d.words for d in orders.margin],
    )  # fmt: skip


def render_notice(
    kind: str,
    *,
    wrong: bool = False,
    health: PageHealth | None = None,
    alerts: tuple[PageAlert, ...] = (),
    served: Served | None = None,
) -> str:
    """A page for when there is no page: kind 'sign-in', or 'no-orders', which says so loudly and loads itself again when there is news."""
    template = _environment().get_template("notice.html.j2")
    style = Markup(page_file("page.css"))
    return template.render(kind=kind, wrong=wrong, health=health, alerts=_by_weight(alerts), served=served, style=style,
                           script=Markup(page_file("notice.js")))  # fmt: skip


def _stamp(instant: datetime) -> str:
    return utc(instant).strftime("%Y-%m-%dT%H:%M:%SZ")


def _by_weight(alerts: tuple[PageAlert, ...]) -> list[PageAlert]:
    return sorted(alerts, key=lambda a: (not a.awaits, -PRIORITIES.index(a.priority)))


def _span_at(orders: Orders, now: datetime) -> PlanSpan:
    return next((p for p in orders.plans if p.end > now), orders.plans[-1])


def _darks(orders: Orders) -> str:
    """Times for the script: '<from>/<to>' of every stretch too dark for day colours."""
    return " ".join(f"{_stamp(a)}/{_stamp(b)}" for a, b, sky in light_changes(orders) if sky not in ("day", "dusk"))


def _colours_at(orders: Orders, now: datetime) -> str:
    here = next((sky for a, b, sky in light_changes(orders) if a <= now < b), "day")
    return "day" if here in ("day", "dusk") else "night"

