"""What is written beside the orders, read back by other programs: calendar, warnings, track, page, short form."""

import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import gpxpy
import pytest
import vobject
from click.testing import CliRunner

from tests.page_demo import blind_for_hours, demo_orders, not_good_enough, nothing_due, with_shelter
from watch.alerts.situation import slug
from watch.cli import main
from watch.faults import BadInputError
from watch.orders.document import Orders
from watch.render.calendar import calendar
from watch.render.cap import NAMESPACE, cap_xml
from watch.render.page_parts import Place
from watch.render.short import short
from watch.render.track_gpx import track_gpx
from watch.service.give_out import Outputs, write_out

CAP = {"cap": NAMESPACE}


def later(orders: Orders, by: timedelta = timedelta(hours=6)) -> Orders:
    """Orders made later, without the first job."""
    return replace(orders, made_at=orders.made_at + by, jobs=orders.jobs[1:])


def events(text: str) -> dict[str, vobject.base.Component]:
    return {e.uid.value: e for e in vobject.readOne(text).vevent_list}


@pytest.mark.source("icalendar-1")
def test_another_reader_of_calendars_finds_every_window_and_alarm() -> None:
    orders = demo_orders()
    read = vobject.readOne(calendar(orders))
    read.validate(raiseException=True)
    assert read.method.value == "PUBLISH"
    found = {e.summary.value.lower(): e for e in read.vevent_list}
    windows = {w.job for w in orders.windows if w.last_start >= orders.made_at}
    named = {way.split(" at ")[0] for job in orders.jobs for way in job.if_missed.instead}
    ways_out = {f"not ordered: {name}" for name in (named & windows) - {j.job for j in orders.jobs}}
    assert ways_out, "the demo has a job with a way out"
    not_ordered = {name for name in found if name.startswith("not ordered: ")}
    assert set(found) == {j.job for j in orders.jobs} | not_ordered
    assert ways_out <= not_ordered
    assert {name.removeprefix("not ordered: ") for name in not_ordered} <= windows & (named | {j.job for j in orders.jobs})
    assert not any(hasattr(found[name], "valarm") for name in not_ordered), "nobody is woken for what is not ordered"
    for job in orders.jobs:
        event = found[job.job]
        event.validate(raiseException=True)
        assert event.dtend.value > event.dtstart.value
        triggers = [a.trigger.value for a in event.valarm_list]
        assert job.call in triggers, "an alarm at the call, as an instant of its own"
        for one in event.valarm_list:
            assert {one.action.value} == {"DISPLAY"}
            assert one.description.value
    grave = found["lower the genoa and stow it below"]
    closes = next(j for j in orders.jobs if j.job == "lower the genoa and stow it below").closes
    assert grave.dtend.value == closes
    assert closes - timedelta(minutes=30) in [a.trigger.value for a in grave.valarm_list]


@pytest.mark.source("icalendar-1")
def test_lines_are_folded_and_end_as_the_standard_says() -> None:
    text = calendar(demo_orders()).encode()
    assert text.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(len(line) for line in text.split(b"\r\n")) <= 75
    assert b"TRIGGER;VALUE=DATE-TIME:" in text


@pytest.mark.source("icalendar-1")
def test_a_newer_calendar_replaces_the_older_and_takes_back_what_is_gone() -> None:
    old, new = demo_orders(), later(demo_orders())
    before, after = events(calendar(old)), events(calendar(new, previous=old))
    assert set(before) <= set(after), "the same identifiers, and none is left to stand"
    for uid, event in after.items():
        assert uid not in before or int(event.sequence.value) > int(before[uid].sequence.value)
    cancelled = {uid.split(".")[0] for uid, e in after.items() if e.status.value == "CANCELLED"}
    first = "roll_the_genoa_to_half"
    assert first in cancelled
    assert not {slug(j.job) for j in new.jobs} & cancelled


@pytest.mark.source("icalendar-1")
def test_a_window_keeps_its_identifier_when_its_job_becomes_ordered_or_moves_an_hour() -> None:
    orders = demo_orders()
    third = orders.jobs[2]
    moved = replace(third, start=third.start + timedelta(hours=1), closes=third.closes + timedelta(hours=1))
    later_ = replace(orders, jobs=(*orders.jobs[:2], moved, *orders.jobs[3:]), made_at=orders.made_at + timedelta(minutes=10))
    assert set(events(calendar(orders))) == set(events(calendar(later_)))
    only = replace(orders, jobs=(replace(third, if_missed=replace(third.if_missed, instead=("bend on and set the storm jib at 12:00",))),))
    storm_jib = {uid for uid in events(calendar(orders)) if uid.startswith("bend_on")}
    found = events(calendar(only))
    assert storm_jib & set(found)
    assert found[next(iter(storm_jib))].status.value == "TENTATIVE"
    assert "A way out if “lower the genoa and stow it below” is missed." in found[next(iter(storm_jib))].description.value


def test_the_same_job_twice_is_two_events() -> None:
    orders = demo_orders()
    twice = replace(orders, jobs=(orders.jobs[0], orders.jobs[0]), windows=())
    assert len(events(calendar(twice))) == 2


CAP_REQUIRED = ["identifier", "sender", "sent", "status", "msgType", "scope"]
INFO_REQUIRED = ["category", "event", "urgency", "severity", "certainty"]
CAP_WORDS = {
    "status": {"Actual", "Exercise", "System", "Test", "Draft"}, "msgType": {"Alert", "Update", "Cancel", "Ack", "Error"},
    "scope": {"Public", "Restricted", "Private"}, "category": {"Geo", "Met", "Safety", "Transport", "Other"},
    "urgency": {"Immediate", "Expected", "Future", "Past", "Unknown"}, "severity": {"Extreme", "Severe", "Moderate", "Minor", "Unknown"},
    "certainty": {"Observed", "Likely", "Possible", "Unlikely", "Unknown"},
}  # fmt: skip
ORDER = ["identifier", "sender", "sent", "status", "msgType", "source", "scope", "restriction", "addresses", "code", "note", "references",
         "incidents", "info"]  # fmt: skip
INFO_ORDER = ["language", "category", "event", "responseType", "urgency", "severity", "certainty", "audience", "eventCode", "effective",
              "onset", "expires", "senderName", "headline", "description", "instruction", "web", "contact", "parameter", "resource",
              "area"]  # fmt: skip


@pytest.mark.source("cap-1")
@pytest.mark.parametrize("orders", [demo_orders, not_good_enough, blind_for_hours])
def test_a_warning_has_what_the_standard_requires_in_its_order_and_words(orders: object) -> None:
    assert callable(orders)
    text = cap_xml(orders(), exercise=True)
    assert text is not None
    root = ElementTree.fromstring(text.encode())
    assert root.tag == f"{{{NAMESPACE}}}alert"
    names = [child.tag.split("}")[1] for child in root]
    assert sorted(names, key=ORDER.index) == names
    assert set(CAP_REQUIRED) <= set(names)
    assert "addresses" in names, "a private message names whom it is for"
    assert not set(root.findtext("cap:identifier", "", CAP)) & set(" ,<&")
    infos = root.findall("cap:info", CAP)
    assert infos
    for info in infos:
        inside = [child.tag.split("}")[1] for child in info]
        assert sorted(inside, key=INFO_ORDER.index) == inside
        assert set(INFO_REQUIRED) <= set(inside)
        assert info.findtext("cap:area/cap:areaDesc", "", CAP)
        assert len(info.findtext("cap:headline", "", CAP)) <= 160
    for node in root.iter():
        name, value = node.tag.split("}")[1], (node.text or "").strip()
        if name in CAP_WORDS:
            assert value in CAP_WORDS[name], name
        if name in ("sent", "effective", "onset", "expires"):
            assert value.endswith("-00:00")
            assert datetime.fromisoformat(value).tzinfo is not None


@pytest.mark.source("cap-1")
def test_a_newer_warning_names_the_one_it_replaces() -> None:
    old, new = demo_orders(), later(demo_orders(), timedelta(minutes=30))
    first, second = cap_xml(old), cap_xml(new, previous=old)
    assert first is not None
    assert second is not None
    a, b = ElementTree.fromstring(first.encode()), ElementTree.fromstring(second.encode())
    assert (a.findtext("cap:msgType", "", CAP), b.findtext("cap:msgType", "", CAP)) == ("Alert", "Update")
    said = ",".join(a.findtext(f"cap:{n}", "", CAP) for n in ("sender", "identifier", "sent"))
    assert b.findtext("cap:references", "", CAP) == said


def test_nothing_to_warn_of_is_no_message_and_is_said(tmp_path: Path) -> None:
    calm = replace(nothing_due(), outlook=())
    assert cap_xml(calm) is None
    said = write_out(calm, Outputs(cap=tmp_path / "warning.xml"))
    assert said == (f"{tmp_path / 'warning.xml'} not written: these orders have nothing to warn of.",)
    assert list(tmp_path.iterdir()) == []


def test_another_reader_of_tracks_finds_every_point_in_time_order() -> None:
    orders = demo_orders()
    read = gpxpy.parse(io.StringIO(track_gpx(orders, (Place(name="Invented Bay", latitude_deg=37.0, longitude_deg=-190.0),))))
    points = read.tracks[0].segments[0].points
    assert points[0].time == orders.steps[0].time
    assert points[-1].time == orders.steps[-1].time
    assert all(a.time < b.time for a, b in pairwise(points))
    assert (points[0].latitude, points[0].longitude) == (orders.steps[0].latitude_deg, orders.steps[0].longitude_deg)
    assert [w.name for w in read.waypoints] == [f"{j.number}. {j.job}" for j in orders.jobs] + ["Invented Bay"]
    assert read.waypoints[-1].longitude == 170.0


def with_long_names() -> Orders:
    orders = demo_orders()
    job = replace(orders.jobs[0], job="a job with a name that goes on " * 6)
    return replace(orders, jobs=(job, *orders.jobs[1:]), boat="A boat with a name that goes on and on")


@pytest.mark.parametrize("orders", [demo_orders, nothing_due, not_good_enough, blind_for_hours, with_shelter, with_long_names])
def test_the_short_form_fits_and_keeps_the_gravest(orders: object) -> None:
    assert callable(orders)
    text = short(orders())
    assert len(text) < 160
    assert text.isascii()
    assert text.isprintable()
    assert ("LIMITS NOT KEPT" in text) == (not orders().feasible)
    if orders().missing:
        assert "NOT ALL KNOWN" in text, "what is missing is never taken for calm"


def test_the_short_form_of_the_demo_says_what_shuts_first() -> None:
    text = short(demo_orders())
    assert "16/1200Z roll the genoa to half." in text
    assert "SHUTS 16/1400Z lower the genoa and stow it below." in text


def test_the_demo_writes_all_of_it_and_says_it_is_invented(tmp_path: Path) -> None:
    files = {name: tmp_path / f"night.{end}" for name, end in
             (("html", "html"), ("calendar", "ics"), ("cap", "xml"), ("gpx", "gpx"), ("picture", "svg"))}  # fmt: skip
    result = CliRunner().invoke(main, ["demo", "--short", *(a for k, v in files.items() for a in (f"--{k}", str(v)))])
    assert result.exit_code == 0, result.output
    assert len(result.stdout) < 161
    assert all(f.stat().st_size > 1000 for f in files.values())
    assert "Invented boat, invented weather" in files["html"].read_text(encoding="utf-8")
    assert "<status>Exercise</status>" in files["cap"].read_text(encoding="utf-8")
    assert {f.name for f in tmp_path.iterdir()} == {f.name for f in files.values()}, "nothing half-written is left"


def test_a_file_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"cannot be written .* give a path in a folder you may write to"):
        write_out(demo_orders(), Outputs(html=tmp_path / "no" / "such" / "night.html"))
    with pytest.raises(BadInputError, match=r"ends in none of \.png, \.svg, \.pdf; name it like night\.pdf"):
        write_out(demo_orders(), Outputs(picture=tmp_path / "night.jpg"))
    assert list(tmp_path.iterdir()) == []


def test_times_are_utc_whatever_the_ships_time() -> None:
    stamps = [e.dtstamp.value for e in events(calendar(demo_orders())).values()]
    assert {s.astimezone(UTC) for s in stamps} == {demo_orders().made_at}
