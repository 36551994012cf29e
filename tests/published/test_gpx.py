"""GPX as its schema has it: what a document holds, in what order, and the ranges of its positions."""

from pathlib import Path

import pytest

from watch.passage.gpx import GpxError, read_gpx
from watch.passage.route_file import read_route

# Every element in the order of the schema's sequences: metadata, wpt, rte, trk; within a point ele, time, magvar, name, cmt, sym.
DOCUMENT = """<?xml version="1.0" encoding="UTF-8" standalone="no" ?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" version="1.1" creator="hand"
     xsi:schemaLocation="http://www.topografix.com/GPX/1/1 http://www.topografix.com/GPX/1/1/gpx.xsd">
  <metadata><name>harbours</name><desc>invented</desc><time>2026-01-01T00:00:00Z</time></metadata>
  <wpt lat="10.0" lon="-30.0"><name>rock</name></wpt>
  {routes}
  <trk><name>last year</name><trkseg>
    <trkpt lat="20.0" lon="-20.0"><ele>0</ele><time>2025-01-01T00:00:00Z</time></trkpt>
    <trkpt lat="21.0" lon="-19.0"><ele>0</ele></trkpt></trkseg><trkseg><trkpt lat="22.0" lon="-18.0"/></trkseg></trk>
  <extensions><other xmlns="urn:other"><wpt lat="99" lon="999"/></other></extensions>
</gpx>
"""
ROUTE = """<rte><name>out</name><cmt>c</cmt><number>1</number>
    <rtept lat="32.375" lon="-64.6333"><ele>0.0</ele><magvar>345.0</magvar><name>start</name><cmt>c</cmt><sym>Dot</sym></rtept>
    <rtept lat="38.5333" lon="-28.6167"><name>end</name></rtept></rte>"""


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "a.gpx"
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.source("gpx-1")
def test_a_route_goes_before_tracks_and_waypoints(tmp_path: Path) -> None:
    route = read_route(written(tmp_path, DOCUMENT.format(routes=ROUTE)))
    assert route.name == "out"
    assert [(w.name, w.latitude, w.longitude) for w in route.waypoints] == [
        ("start", 32.375, -64.6333), ("end", 38.5333, -28.6167),
    ]  # fmt: skip
    assert route.kind == "great circle"
    assert route.departure is None
    assert route.notes == (
        'the file has more than one way to sail: the route "out" is taken; left out: the track "last year", its waypoints',
    )


@pytest.mark.source("gpx-1")
def test_a_track_joins_its_segments_when_there_is_no_route(tmp_path: Path) -> None:
    route = read_route(written(tmp_path, DOCUMENT.format(routes="")))
    assert [(w.latitude, w.longitude) for w in route.waypoints] == [(20.0, -20.0), (21.0, -19.0), (22.0, -18.0)]
    assert [w.name for w in route.waypoints] == ["waypoint 1", "waypoint 2", "waypoint 3"]


@pytest.mark.source("gpx-1")
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_prefixed_names_and_other_encodings_are_the_same_document(tmp_path: Path, encoding: str) -> None:
    text = (
        '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><g:metadata><g:name>São Jorge</g:name>'
        '</g:metadata><g:wpt lat="-90e-1" lon="+180."/><g:wpt lat=" .5 " lon="-180"/></g:gpx>'
    )
    route = read_route(written(tmp_path, text, encoding))
    assert route.name == "São Jorge"
    assert [(w.latitude, w.longitude) for w in route.waypoints] == [(-9.0, 180.0), (0.5, -180.0)]


@pytest.mark.source("gpx-1")
def test_the_root_must_be_gpx() -> None:
    with pytest.raises(GpxError, match="its first element must be <gpx>"):
        read_gpx(b'<kml xmlns="http://www.opengis.net/kml/2.2"/>')
