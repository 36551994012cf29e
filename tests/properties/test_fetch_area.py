"""The box that is fetched: every place that she can reach in time lies in it, with the margin, whatever the route."""

from itertools import pairwise

from hypothesis import assume, given
from hypothesis import strategies as st

from watch.passage.earth import distance_nm
from watch.passage.route import Route, Waypoint, leg_faults, leg_nm
from watch.service.area import EVERY_NM, along, box_within

places = st.lists(st.tuples(st.floats(-65, 65), st.floats(-180, 180)), min_size=2, max_size=4)


def made(points: list[tuple[float, float]], kind: str) -> Route:
    waypoints = tuple(Waypoint(name=str(n), latitude=lat, longitude=lon) for n, (lat, lon) in enumerate(points))
    assume(all(leg_nm(a, b, "great circle") > 1 for a, b in pairwise(waypoints)))
    assume(not leg_faults(waypoints, kind))  # type: ignore[arg-type]
    return Route(name="any", waypoints=waypoints, kind=kind)  # type: ignore[arg-type]


@given(places, st.sampled_from(["great circle", "rhumb line"]), st.floats(10, 4000))
def test_the_box_holds_all_that_can_be_reached_and_its_surroundings(points: list[tuple[float, float]], kind: str, reach_nm: float) -> None:
    route = made(points, kind)
    box = box_within(route, None, reach_nm)
    sailed = along(route, reach_nm)
    assert (sailed[0], all(bool(box.contains(*place)) for place in sailed)) == (points[0], True)
    for latitude, longitude in sailed:
        for north, east in ((3.3, 0.0), (-3.3, 0.0), (0.0, 3.3), (0.0, -3.3)):  # just under 200 nm; to the east and west less, in miles
            assert bool(box.contains(max(-90.0, min(90.0, latitude + north)), longitude + east)) or box.width_deg == 360.0


@given(places, st.floats(10, 4000))
def test_the_places_are_close_and_end_at_the_reach_or_at_the_end(points: list[tuple[float, float]], reach_nm: float) -> None:
    route = made(points, "great circle")
    sailed = along(route, reach_nm)
    steps = [distance_nm(*a, *b) for a, b in pairwise(sailed)]
    assert all(step <= EVERY_NM * 1.02 for step in steps)
    total = sum(leg_nm(a, b, "great circle") for a, b in pairwise(route.waypoints))
    assert min(total, reach_nm) * 0.98 <= sum(steps) <= min(total, reach_nm + EVERY_NM) * 1.02
