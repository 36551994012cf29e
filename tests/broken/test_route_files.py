"""Route files with one fault each, and the exact sentence a sailor reads."""

from pathlib import Path

import pytest

from watch.faults import BadInputError
from watch.passage.route_file import MOST_BYTES, read_route

ROOT = Path(__file__).resolve().parents[2]
HEAD = '[passage]\nname = "out"\n'
A, B = '[[waypoint]]\nlatitude = 32.0\nlongitude = -64.0\n', '[[waypoint]]\nlatitude = "33 10.0 N"\nlongitude = "60 00 W"\n'


def waypoint(latitude: str, longitude: str = "-60.0") -> str:
    return f"[[waypoint]]\nlatitude = {latitude}\nlongitude = {longitude}\n"


def gpx(inside: str) -> str:
    return f'<?xml version="1.0"?>\n<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">\n{inside}\n</gpx>'


LATITUDE = 'a latitude from -89 to 89 in degrees (south negative) or degrees and minutes, like "32 18.5 N"'
LONGITUDE = 'a longitude from -180 to 180 in degrees (west negative) or degrees and minutes, like "64 40.2 W"'
UNKNOWN_KEY = "not a key known here; check its spelling or take it out"
TWO = "a route needs two places or more, from where she starts to where she is bound"

TOML = [
    (HEAD, f": has no waypoint: {TWO}"),
    (HEAD + A, f": has one waypoint: {TWO}"),
    (HEAD + A + A, f": has all its waypoints in one place: {TWO}"),
    (A + B, " passage: missing; a [passage] table"),
    ("[passage]\n" + A + B, ' passage.name: missing; a name, like "Bermuda to Horta"'),
    (HEAD + 'kind = "loxodrome"\n' + A + B,
     ' passage.kind = "loxodrome": how the legs run, "great circle" or "rhumb line", like "great circle"'),
    (HEAD + 'speed = 6\n' + A + B, f" passage.speed: {UNKNOWN_KEY}"),
    (HEAD + A + B + "depth = 3\n", f" waypoint[1].depth: {UNKNOWN_KEY}"),
    (HEAD + A + waypoint("95.0"), f" waypoint[1].latitude = 95.0: {LATITUDE}"),
    (HEAD + A + waypoint("89.5"), f" waypoint[1].latitude = 89.5: {LATITUDE}"),
    (HEAD + A + waypoint("nan"), f" waypoint[1].latitude = nan: {LATITUDE}"),
    (HEAD + A + waypoint("true"), f" waypoint[1].latitude = True: {LATITUDE}"),
    (HEAD + A + waypoint("33.0", "190"), f" waypoint[1].longitude = 190: {LONGITUDE}"),
    (HEAD + A + "[[waypoint]]\nlatitude = 33.0\n", f" waypoint[1].longitude: missing; {LONGITUDE}"),
    (HEAD + A + waypoint('"33 61.0 N"'),
     ' waypoint[1].latitude: "33 61.0 N" has 61 minutes: minutes run from 0 to under 60, like "32 18.5 N"'),
    (HEAD + A + waypoint('"33 10.0"'),
     ' waypoint[1].latitude: "33 10.0" is no latitude: write degrees, minutes and N or S, like "32 18.5 N"'),
    (HEAD + A + waypoint('"33 10.0 W"'),
     ' waypoint[1].latitude: "33 10.0 W" is no latitude: write degrees, minutes and N or S, like "32 18.5 N"'),
    (HEAD + A + waypoint("33.0", '"33.5 10 W"'),
     ' waypoint[1].longitude: "33.5 10 W" has a fraction of degrees and minutes too: write it like "64 40.2 W"'),
    (HEAD + A + waypoint("33.0", '"181 00 W"'),
     ' waypoint[1].longitude: "181 00 W" is more than 180 degrees: write a longitude like "64 40.2 W"'),
    (HEAD + "departure = 2026-05-14T12:00:00\n" + A + B,
     " passage.departure: 2026-05-14T12:00:00 has no offset from UTC: write it like 2026-05-14T12:00:00Z"),
    (HEAD + 'departure = "2026-05-14 12:00"\n' + A + B,
     " passage.departure: 2026-05-14T12:00:00 has no offset from UTC: write it like 2026-05-14T12:00:00Z"),
    (HEAD + 'departure = "noon"\n' + A + B, ' passage.departure: "noon" is no time: write it like 2026-05-14T12:00Z'),
    (HEAD + "departure = 2026-05-14\n" + A + B,
     " passage.departure: 2026-05-14 is no date and time: write it like 2026-05-14T12:00Z"),
    (HEAD + "departure = 20260514\n" + A + B,
     ' passage.departure = 20260514: the time of departure with its offset from UTC, like "2026-05-14T12:00Z"'),
    (HEAD + 'name = "twice"\n', ": is not TOML: Cannot overwrite a value (at line 3, column 15)"),
    (HEAD + "x = " + "[" * 20000, ": is not TOML: tables nested too deep"),
    (HEAD + waypoint("0.0", "0.0") + waypoint("0.0", "175.0"),  # along the equator: 175 x 60.1077 nm
     ": waypoint 1 to waypoint 2 is 10519 nm, nearly half way round the earth: put a waypoint between"),
    (HEAD + waypoint("80.0", "0.0") + waypoint("80.0", "179.0"),
     ": the great circle from waypoint 1 to waypoint 2 passes within a degree of a pole: put waypoints between that keep clear "
     'of it, or make the route a "rhumb line"'),
]  # fmt: skip

GPX = [
    ("", ": is not XML that can be read: no element found at line 1"),
    ("not xml", ": is not XML that can be read: syntax error at line 1"),
    ('<gpx version="1.1"><rte>', ": is not XML that can be read: no element found at line 1"),
    ("<kml/>", ": is XML but not GPX: its first element must be <gpx>"),
    (gpx(""), ": has no route, track or waypoints in it"),
    (gpx("<rte><name>empty</name></rte>"), ": has no route, track or waypoints in it"),
    (gpx('<wpt lat="1" lon="2"/>'), f": has one waypoint: {TWO}"),
    (gpx('<rte><rtept lat="1" lon="2"/>\n<rtept lat="95" lon="2"/></rte>'),
     ' line 4 lat = "95": a latitude from -89 to 89, like 32.3083'),
    (gpx('<rte><rtept lat="1" lon="2"/>\n<rtept lat="5"/></rte>'),
     " line 4 lon: missing; a longitude from -180 to 180, like -64.67"),
    (gpx('<rte><rtept lat="nan" lon="2"/><rtept lat="5" lon="6"/></rte>'),
     ' line 3 lat = "nan": a latitude from -89 to 89, like 32.3083'),
    (gpx('<rte><rtept lat="1_0" lon="2"/><rtept lat="5" lon="6"/></rte>'),
     ' line 3 lat = "1_0": a latitude from -89 to 89, like 32.3083'),
    (gpx('<rte><rtept lat="1,5" lon="2"/><rtept lat="5" lon="6"/></rte>'),
     ' line 3 lat = "1,5": a latitude from -89 to 89, like 32.3083'),
    ('<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
     "<gpx><metadata><name>&b;</name></metadata></gpx>",
     ": declares a document type, which no GPX file needs and a harmful one may use: it is not read"),
    ('<!DOCTYPE gpx SYSTEM "file:///etc/passwd"><gpx/>',
     ": declares a document type, which no GPX file needs and a harmful one may use: it is not read"),
    (gpx("<metadata><name>&b;</name></metadata>"), ": is not XML that can be read: undefined entity at line 3"),
    (gpx("<extensions>" + "<a>" * 5000 + "</a>" * 5000 + "</extensions>"),
     ": has elements more than 100 deep, which no GPX file has"),
    (gpx("<rte>" + '<rtept lat="1" lon="2"/>' * 5001 + "</rte>"),
     ": has more than 5000 points, which is a log and no route: make a route of its turning points"),
    ('<?xml version="1.0" encoding="no-such-code"?><gpx/>', ": is in a text encoding not known here: save it as UTF-8"),
]  # fmt: skip


def said(path: Path) -> str:
    with pytest.raises(BadInputError) as caught:
        read_route(path)
    return str(caught.value)


@pytest.mark.parametrize(("text", "sentence"), TOML)
def test_a_toml_route_with_one_fault(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "out.toml"
    path.write_text(text, encoding="utf-8")
    assert said(path) == f"{path}{sentence}"


@pytest.mark.parametrize(("text", "sentence"), GPX)
def test_a_gpx_route_with_one_fault(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "out.GPX"
    path.write_text(text, encoding="utf-8")
    assert said(path) == f"{path}{sentence}"


def test_a_document_type_hidden_in_another_encoding_is_refused_too(tmp_path: Path) -> None:
    path = tmp_path / "out.gpx"
    path.write_bytes('<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "b">]><gpx>&a;</gpx>'.encode("utf-16"))
    assert said(path).endswith("it is not read")


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "out.toml"
    path.write_text('[passage]\nname = "x"\nkind = "straight"\n' + waypoint("95") + waypoint('"1 N"', '"x"'), encoding="utf-8")
    assert [line.split(" ")[1].rstrip(":") for line in said(path).splitlines()] == [
        "passage.kind", "waypoint[0].latitude", "waypoint[1].longitude",
    ]  # fmt: skip
    path = tmp_path / "out.gpx"
    path.write_text(gpx("<rte>" + '<rtept lat="95" lon="x"/>' * 30 + "</rte>"), encoding="utf-8")
    lines = said(path).splitlines()
    assert len(lines) == 21
    assert lines[-1] == f"{path}: and 40 more positions like these"


def test_a_million_points_are_refused_before_they_are_taken_in(tmp_path: Path) -> None:
    path = tmp_path / "log.gpx"
    path.write_text(gpx("<trk><trkseg>" + '<trkpt lat="1" lon="2"/>' * 300_000 + "</trkseg></trk>"), encoding="utf-8")
    assert said(path) == f"{path}: has more than 5000 points, which is a log and no route: make a route of its turning points"
    with path.open("ab") as out:
        out.truncate(MOST_BYTES + 1)
    assert said(path) == f"{path}: is larger than 8 MB, which no route is; is it the right file?"


def test_what_is_no_route_file_at_all(tmp_path: Path) -> None:
    assert said(tmp_path / "gone.gpx").endswith(
        "gone.gpx: no such route file; give the path of one, or start from an example in config/"
    )
    assert said(tmp_path / "plan.kml").endswith("plan.kml: a route file ends in .gpx or .toml; this name does not")
    (tmp_path / "folder.toml").mkdir()
    assert said(tmp_path / "folder.toml").endswith("folder.toml: this route file cannot be read: Is a directory")
    (tmp_path / "latin.toml").write_bytes(b'[passage]\nname = "S\xe3o Jorge"\n')
    assert said(tmp_path / "latin.toml").endswith("latin.toml: this route file is not text in UTF-8")


def test_a_leg_of_no_length_is_dropped_and_said(tmp_path: Path) -> None:
    path = tmp_path / "out.toml"
    again = '[[waypoint]]\nname = "the same rock"\nlatitude = "32 00.0 N"\nlongitude = -64\n'
    path.write_text(HEAD + A + again + B, encoding="utf-8")
    route = read_route(path)
    assert [w.name for w in route.waypoints] == ["waypoint 1", "waypoint 3"]
    assert route.notes == ("the same rock is in the same place as waypoint 1 before it: left out",)


def test_the_example_passage_reads_without_a_note() -> None:
    route = read_route(ROOT / "config" / "passage-bermuda-horta.toml")
    assert route.notes == ()
    assert route.departure is not None
    assert route.departure.isoformat() == "2026-05-14T12:00:00+00:00"
    assert route.waypoints[-1].name == "Horta"
    assert route.waypoints[0].latitude == pytest.approx(32.375)
    assert route.waypoints[0].longitude == pytest.approx(-(64 + 38 / 60))
