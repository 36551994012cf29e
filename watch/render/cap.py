"""Warnings as a message of the Common Alerting Protocol, version 1.2 (source cap-1): what is coming, held against this boat.

Private in scope, addressed to the boat alone: it is no warning of a weather service and must not be taken for one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from xml.etree import ElementTree

from watch.alerts.situation import slug
from watch.orders.document import Feature, Orders, StepRow
from watch.render.margins import marked
from watch.when import utc

NAMESPACE = "urn:oasis:names:tc:emergency:cap:1.2"
NOTE = "Made aboard from a forecast and this boat's own limits. No official warning, and no substitute for one."
LEAST_RADIUS_KM = 50.0  # judgement: how far around her place the forecast along the track is taken to hold


@dataclass(frozen=True, kw_only=True)
class _Info:
    event: str
    urgency: str
    severity: str
    certainty: str
    onset: datetime
    expires: datetime
    headline: str
    description: str
    instruction: str


def cap_xml(orders: Orders, *, previous: Orders | None = None, exercise: bool = False) -> str | None:
    """Orders -> the message, or None when there is nothing to warn of. previous: orders whose message this one replaces.

    exercise: an invented weather; the message says so and is not to be acted on.
    """
    infos = list(_infos(orders))
    if not infos:
        return None
    ElementTree.register_namespace("", NAMESPACE)
    root = ElementTree.Element(f"{{{NAMESPACE}}}alert")
    old = None if previous is None or not any(True for _ in _infos(previous)) else previous
    head = [
        ("identifier", identifier(orders)), ("sender", sender(orders)), ("sent", stamp(orders.made_at)),
        ("status", "Exercise" if exercise else "Actual"), ("msgType", "Alert" if old is None else "Update"), ("scope", "Private"),
        ("addresses", sender(orders)), ("note", ("EXERCISE: invented weather. " if exercise else "") + NOTE),
    ]  # fmt: skip
    if old is not None:
        head.append(("references", f"{sender(old)},{identifier(old)},{stamp(old.made_at)}"))
    _add(root, head)
    for info in infos:
        _info(root, info, orders)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def stamp(instant: datetime) -> str:
    """A time as the standard wants it: whole seconds, UTC written -00:00, never Z.

    >>> from watch.when import parse_utc
    >>> stamp(parse_utc("2026-05-16T09:00-03:00"))
    '2026-05-16T12:00:00-00:00'
    """
    return utc(instant).strftime("%Y-%m-%dT%H:%M:%S-00:00")


def sender(orders: Orders) -> str:
    return f"{slug(orders.boat).replace('_', '-')}@nightorders.invalid"


def identifier(orders: Orders) -> str:
    return f"nightorders-{slug(orders.boat)}-{utc(orders.made_at):%Y%m%dT%H%M%S}"


def certainty(chance: float) -> str:
    """A chance -> the standard's word: Likely is more than even.

    >>> certainty(0.51), certainty(0.5), certainty(0.0)
    ('Likely', 'Possible', 'Unlikely')
    """
    if chance > 0.5:
        return "Likely"
    return "Possible" if chance > 0 else "Unlikely"


def urgency(onset: datetime, now: datetime) -> str:
    """Immediate: it is on her. Expected: within the hour. Future: later."""
    if onset <= now:
        return "Immediate"
    return "Expected" if onset - now <= timedelta(hours=1) else "Future"


def _infos(orders: Orders) -> Iterator[_Info]:
    if not orders.feasible:
        yield _bad_night(orders)
    for feature in orders.outlook:
        if feature.kind != "glass":
            yield _feature(orders, feature)


def _bad_night(orders: Orders) -> _Info:
    rows = [m.row.time for m in marked(orders) if not (m.row.hard_chance is not None and m.row.hard_chance <= orders.hard_ceiling)]
    onset = rows[0] if rows else orders.made_at
    return _Info(
        event="wind over the boat's hard limit", urgency=urgency(onset, orders.made_at), severity="Extreme",
        certainty=certainty(orders.forecast_chance), onset=onset, expires=orders.ends_at, headline="The night cannot be met within the limits",
        description=" ".join([orders.verdict, *orders.verdict_more]), instruction=_instruction(orders),
    )  # fmt: skip


def _feature(orders: Orders, feature: Feature) -> _Info:
    rows = [m for m in marked(orders) if feature.early <= m.row.time <= feature.late]
    over = [m for m in rows if feature.gust_kn is not None and not feature.gust_kn <= m.hard_kn]
    expires = max(feature.late, feature.early + timedelta(hours=1))
    return _Info(
        event=feature.kind, urgency=urgency(feature.early, orders.made_at),
        severity="Severe" if over or feature.gust_kn is None else "Moderate",
        certainty=certainty(feature.chance), onset=feature.early, expires=expires, headline=_headline(orders, feature),
        description=feature.words, instruction=_instruction(orders),
    )  # fmt: skip


def _headline(orders: Orders, feature: Feature) -> str:
    gust = "" if feature.gust_kn is None else f", gusts to {feature.gust_kn} kn"
    return f"{feature.kind.capitalize()} about {orders.ship_time.day_clock(feature.likely)} ({orders.ship_time.name}){gust}"


def _instruction(orders: Orders) -> str:
    job = orders.next_job
    if job is None:
        return "No job is ordered. Watch the sky and the glass."
    return f"Next job: {job.job}, at {job.start:%H:%M} UTC; until {job.closes:%H:%M} UTC at the latest."


def _info(root: ElementTree.Element, info: _Info, orders: Orders) -> None:
    node = ElementTree.SubElement(root, f"{{{NAMESPACE}}}info")
    _add(node, [
        ("language", "en"), ("category", "Met"), ("event", info.event), ("responseType", "Prepare"), ("urgency", info.urgency),
        ("severity", info.severity), ("certainty", info.certainty), ("effective", stamp(orders.made_at)), ("onset", stamp(info.onset)),
        ("expires", stamp(info.expires)), ("senderName", f"Night orders aboard {orders.boat}"), ("headline", info.headline),
        ("description", info.description), ("instruction", info.instruction),
    ])  # fmt: skip
    area = ElementTree.SubElement(node, f"{{{NAMESPACE}}}area")
    rows = [r for r in orders.steps if info.onset <= r.time <= info.expires] or [orders.steps[-1]]
    _add(area, [("areaDesc", f"Along the planned track of {orders.boat}"), ("circle", _circle(rows))])


def _circle(rows: list[StepRow]) -> str:
    """The middle of a stretch of the track and a radius [km] that holds it all."""
    middle = rows[len(rows) // 2]
    ends = (rows[0], rows[-1])
    far = max(abs(r.latitude_deg - middle.latitude_deg) + abs((r.longitude_deg - middle.longitude_deg + 180) % 360 - 180) for r in ends)
    return f"{middle.latitude_deg:.3f},{(middle.longitude_deg + 180) % 360 - 180:.3f} {LEAST_RADIUS_KM + far * 111.2:.0f}"


def _add(node: ElementTree.Element, values: list[tuple[str, str]]) -> None:
    for name, text in values:
        ElementTree.SubElement(node, f"{{{NAMESPACE}}}{name}").text = text
