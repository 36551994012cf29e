"""The planned track as GPX 1.1 with a time at every point, the jobs and the given places as waypoints, for a plotter."""

from datetime import datetime
from xml.etree import ElementTree

from watch.orders.document import Orders, StepRow
from watch.render.page_parts import Place
from watch.render.text import when
from watch.when import STEPS_PER_HOUR, utc

NAMESPACE = "http://www.topografix.com/GPX/1/1"
POINT_STEPS = STEPS_PER_HOUR // 2  # a point every half hour, and the last


def track_gpx(orders: Orders, places: tuple[Place, ...] = ()) -> str:
    """Orders -> the text of a GPX file. Elements stand in the order the standard's schema has them: metadata, wpt, trk."""
    ElementTree.register_namespace("", NAMESPACE)
    root = ElementTree.Element(f"{{{NAMESPACE}}}gpx", {"version": "1.1", "creator": "nightorders"})
    head = _sub(root, "metadata")
    _sub(head, "name", f"Night orders for {orders.boat}")
    _sub(head, "desc", "Planned from a forecast; no chart, and no land looked at here.")
    _sub(head, "time", _stamp(orders.made_at))
    for job in orders.jobs:
        row = next((r for r in orders.steps if r.time >= job.start), orders.steps[-1])
        point = _point(root, "wpt", row.latitude_deg, row.longitude_deg)
        _sub(point, "time", _stamp(job.start))
        _sub(point, "name", f"{job.number}. {job.job}")
        _sub(point, "desc", f"{when(orders, job.start)} ship's time; until {when(orders, job.closes)}. {job.plan_after}.")
    for place in places:
        _sub(_point(root, "wpt", place.latitude_deg, place.longitude_deg), "name", place.name)
    track = _sub(root, "trk")
    _sub(track, "name", f"{orders.boat}, {orders.passage}")
    segment = _sub(track, "trkseg")
    for row in _thinned(orders.steps):
        point = _point(segment, "trkpt", row.latitude_deg, row.longitude_deg)
        _sub(point, "time", _stamp(row.time))
        _sub(point, "name", row.sail_plan)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _thinned(rows: tuple[StepRow, ...]) -> tuple[StepRow, ...]:
    kept = rows[::POINT_STEPS]
    return kept if kept[-1] is rows[-1] else (*kept, rows[-1])


def _point(root: ElementTree.Element, name: str, latitude: float, longitude: float) -> ElementTree.Element:
    east = (longitude + 180.0) % 360.0 - 180.0
    return ElementTree.SubElement(root, f"{{{NAMESPACE}}}{name}", {"lat": f"{latitude:.5f}", "lon": f"{east:.5f}"})


def _sub(node: ElementTree.Element, name: str, text: str | None = None) -> ElementTree.Element:
    made = ElementTree.SubElement(node, f"{{{NAMESPACE}}}{name}")
    made.text = text
    return made


def _stamp(instant: datetime) -> str:
    return utc(instant).strftime("%Y-%m-%dT%H:%M:%SZ")
