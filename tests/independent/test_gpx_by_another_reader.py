"""The same GPX files read by a general library."""

from pathlib import Path

import gpxpy
import gpxpy.gpx
import numpy as np
import pytest

from watch.passage.route_file import read_route


@pytest.mark.source("gpxpy-1")
@pytest.mark.parametrize("kind", ["route", "track", "waypoints"])
def test_what_a_general_library_writes_is_read_as_it_reads_it(tmp_path: Path, kind: str) -> None:
    rng = np.random.default_rng(5)
    places = np.cumsum(np.vstack([[0.0, 0.0], rng.uniform(0.1, 1.0, (49, 2))]), axis=0).round(6) * [1.0, -2.0]
    written = gpxpy.gpx.GPX()
    if kind == "route":
        written.routes.append(gpxpy.gpx.GPXRoute(name="Ilha & <mar>"))
        written.routes[0].points = [gpxpy.gpx.GPXRoutePoint(a, b, name=f"p{i} <é>") for i, (a, b) in enumerate(places)]
    elif kind == "track":
        written.tracks.append(gpxpy.gpx.GPXTrack(name="Ilha & <mar>"))
        halves = [[gpxpy.gpx.GPXTrackPoint(a, b, elevation=1.0) for a, b in part] for part in (places[:20], places[20:])]
        written.tracks[0].segments = [gpxpy.gpx.GPXTrackSegment(points=half) for half in halves]
    else:
        written.waypoints = [gpxpy.gpx.GPXWaypoint(a, b, name=f"p{i} <é>") for i, (a, b) in enumerate(places)]
        written.name = "Ilha & <mar>"
    path = tmp_path / "a.gpx"
    path.write_text(written.to_xml(), encoding="utf-8")
    route = read_route(path)
    theirs = gpxpy.parse(path.read_text(encoding="utf-8"))
    points = {
        "route": [p for r in theirs.routes for p in r.points], "track": list(theirs.walk(only_points=True)),
        "waypoints": theirs.waypoints,
    }[kind]  # fmt: skip
    assert [(w.latitude, w.longitude) for w in route.waypoints] == [(p.latitude, p.longitude) for p in points]
    assert route.name == "Ilha & <mar>"
    assert kind == "track" or [w.name for w in route.waypoints] == [p.name for p in points]
