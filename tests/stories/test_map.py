"""The small map as a sailor reads it: shelters by name, where to turn for them, which way the far ones lie, and what it does not know."""

import re
from dataclasses import replace
from datetime import timedelta
from itertools import combinations
from xml.etree import ElementTree

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.page_demo import among_islands, demo_orders, with_shelter
from watch.orders.document import Orders
from watch.render.map_frame import LETTER, LINE, WIDTH, Labels, bearing_deg, distance_nm, frame_of
from watch.render.map_places import compass, far_words, turn_spots
from watch.render.map_svg import NO_LAND, WITH_LAND, map_svg
from watch.render.page import render_page
from watch.render.page_parts import Place, places_of
from watch.render.picture import picture
from watch.service.map_land import land_of_map


def drawn(orders: Orders, **more: object) -> ElementTree.Element:
    return ElementTree.fromstring(map_svg(orders, **more))  # type: ignore[arg-type]


def words(root: ElementTree.Element) -> list[str]:
    return [node.text or "" for node in root.iter() if node.tag.endswith("text")]


def marks(root: ElementTree.Element, klass: str) -> list[ElementTree.Element]:
    return [node for node in root.iter() if klass in node.get("class", "").split()]


def test_shelters_near_enough_are_drawn_by_name_with_the_time_to_turn() -> None:
    root = drawn(among_islands())
    said = words(root)
    for name in ("Lajes das Flores (example)", "Horta (example)"):
        assert name in said
    assert "turn by 12:00" in said
    assert "turn by 16:00" in said
    assert len(marks(root, "turn")) == len(marks(root, "turn-way")) == 2
    assert "Turn for Horta (example) by Sat 16:00." in (root.findtext("{http://www.w3.org/2000/svg}desc") or "")


def test_the_turn_is_where_she_is_at_that_time() -> None:
    orders = among_islands()
    first = turn_spots(orders, places_of(orders))[0]
    row = next(r for r in orders.steps if r.time == orders.made_at + timedelta(hours=3))
    assert (first.latitude_deg, first.longitude_deg) == (row.latitude_deg, row.longitude_deg)
    x, y = frame_of(orders, places_of(orders)).at(row.latitude_deg, row.longitude_deg)
    rings = [(float(n.get("cx", "")), float(n.get("cy", ""))) for n in marks(drawn(orders), "turn")]
    assert min(abs(a - x) + abs(b - y) for a, b in rings) < 0.2


def test_far_shelters_do_not_shrink_the_track_but_are_named_with_distance_and_direction() -> None:
    orders = demo_orders()
    assert marks(drawn(orders), "turn") == []
    said = far_words(orders, places_of(orders))
    assert said.startswith("Too far to draw: St George's (example) 67")
    assert "miles WSW; Lajes das Flores (example) 10" in said
    assert said.endswith("; and 1 more.")
    assert said.replace("'", "&#39;") in render_page(orders, now=orders.made_at)
    near = replace(orders, shelters=())
    assert far_words(near, ()) == ""
    assert frame_of(orders, places_of(orders)) == frame_of(near, ())


def test_a_shelter_without_a_position_is_no_mark() -> None:
    assert places_of(with_shelter()) == ()
    assert marks(drawn(with_shelter()), "place") == []


def test_distance_and_direction_of_a_far_place() -> None:
    """On the flat, so only roughly as on the ellipsoid: good enough for the edge of a map."""
    orders = demo_orders()
    for place in places_of(orders):
        true = Geodesic.WGS84.Inverse(orders.latitude_deg, orders.longitude_deg, place.latitude_deg, place.longitude_deg)["s12"] / 1852.0
        assert distance_nm(orders, place) == pytest.approx(true, rel=0.02)
    north = Place(name="", latitude_deg=orders.latitude_deg + 2, longitude_deg=orders.longitude_deg)
    west = Place(name="", latitude_deg=orders.latitude_deg, longitude_deg=orders.longitude_deg - 3 + 360)
    assert (compass(bearing_deg(orders, north)), compass(bearing_deg(orders, west))) == ("N", "W")


def test_land_is_drawn_when_it_is_known_and_said_to_be_missing_when_not() -> None:
    orders = among_islands()
    land = land_of_map(orders)
    if land is None:
        pytest.skip("no land mask is installed")
    assert len(marks(drawn(orders, land=land), "land")) == 1
    assert marks(drawn(orders), "land") == []
    assert WITH_LAND in render_page(orders, now=orders.made_at, land=land)
    assert NO_LAND in render_page(orders, now=orders.made_at)
    assert land_of_map(replace(orders, jobs=())) is land, "read once for orders that follow each other"


def test_the_sheet_has_land_and_shelters_in_black_and_white() -> None:
    orders = among_islands()
    sheet = picture(orders, "svg", land=land_of_map(orders), invented=True).decode()
    for text in ("Lajes das Flores (example)", "turn by 12:00", "turn by 16:00", "Too far to draw: St George's (example)"):
        assert text in sheet
    for colour in set(re.findall(r"(?:fill|stroke): ?#([0-9a-f]{6})", sheet)):
        assert colour[:2] == colour[2:4] == colour[4:], f"#{colour} is no grey"


@given(st.lists(st.tuples(st.floats(0, WIDTH), st.floats(0, 300), st.integers(1, 30), st.booleans()), max_size=25))
@settings(max_examples=80, deadline=None)
def test_names_never_lie_on_each_other_nor_outside(spots: list[tuple[float, float, int, bool]]) -> None:
    labels = Labels(height=300.0)
    found = [(labels.find(("x" * n, "y") if two else ("x" * n,), (x, y), off=9.0), n, two) for x, y, n, two in spots]
    boxes = [(p[0], p[1], p[0] + n * LETTER, p[1] + LINE * (2 if two else 1)) for p, n, two in found if p is not None]
    for left, top, right, bottom in boxes:
        assert left >= 3
        assert right <= WIDTH - 3 + 1e-9
        assert top >= 0
        assert bottom <= 300
    for a, b in combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_across_the_antimeridian_the_track_is_one_line() -> None:
    orders = among_islands()
    steps = tuple(replace(s, longitude_deg=(s.longitude_deg + 210.0 + 180.0) % 360.0 - 180.0) for s in orders.steps)
    there = replace(orders, longitude_deg=179.4, steps=steps, shelters=())
    assert {s.longitude_deg > 0 for s in steps} == {True, False}
    here = replace(orders, shelters=())
    assert [n.get("cx") for n in marks(drawn(there), "dot")] == pytest.approx([n.get("cx") for n in marks(drawn(here), "dot")])
