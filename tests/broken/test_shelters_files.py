"""Shelters files with one fault each, and the exact sentence the sailor reads; and waypoints with the same facts."""

from pathlib import Path

import pytest

from watch.faults import BadInputError
from watch.passage.shelters_file import read_shelters

EXAMPLE = (Path(__file__).resolve().parents[2] / "config" / "shelters-north-atlantic.toml").read_text(encoding="utf-8")
SECTOR = "a list of sectors that wind or swell comes from, each from and to in degrees true, clockwise; [] for none"
OPEN_AT = ("a list of times between which a bar or lock can be passed by your own tide table, each from and to with Z and without quotes, like "
           "[[2026-05-18T04:00:00Z, 2026-05-18T07:30:00Z]]")

ONE_FAULT = [
    ('kind = "harbour"', 'kind = "marina"', 'shelter[0].kind = "marina": "harbour", "anchorage" or "lee" (the lee of an island), like "harbour"'),
    ('kind = "harbour"', "", 'shelter[0].kind: missing; "harbour", "anchorage" or "lee" (the lee of an island), like "harbour"'),
    ('latitude = "32 22.5 N"', 'latitude = "32 72.5 N"', 'shelter[0].latitude: "32 72.5 N" has 72.5 minutes: minutes run from 0 to under 60, like "32 18.5 N"'),
    ('latitude = "32 22.5 N"', "latitude = 132.0",
     'shelter[0].latitude = 132.0: a latitude from -89 to 89 in degrees (south negative) or degrees and minutes, like "38 31.5 N"'),
    ("open_to_wind = []", "open_to_wind = [[20, 400]]", f"shelter[0].open_to_wind[0][1] = 400: {SECTOR}, like [[20, 110]]"),
    ("open_to_wind = []", "", f"shelter[0].open_to_wind: missing; {SECTOR}, like [[20, 110]]"),
    ("open_to_wind = []", "open_to_wind = [[200, 290]]",
     "shelter[0].open_wind_kn: missing; it is open to some sectors, so say the mean wind out of an open sector it is no shelter above, like 20"),
    ("open_to_swell = []", "open_to_swell = [[200, 290]]",
     "shelter[0].swell_m: missing; it is open to some sectors, so say the sea outside out of an open sector it is no shelter above, like 2"),
    ("hold_gust_kn = 70", 'hold_gust_kn = "70kts"',
     'shelter[0].hold_gust_kn = "70kts": a number in knots: the gust from any side it is not trusted to hold above, like 60'),
    ("hold_gust_kn = 70", "hold_gust_kn = nan",
     "shelter[0].hold_gust_kn = nan: a number in knots: the gust from any side it is not trusted to hold above, like 60"),
    ("hold_gust_kn = 70", "hold_gusts_kn = 70", "shelter[0].hold_gusts_kn: not a key known here; is `hold_gust_kn` meant?"),
    ("mean_kn = 28\n", "", "shelter[0].entrance.mean_kn: missing; a number in knots: the mean wind it is not taken above, like 25"),
    ("gust_kn = 38", "gust_kn = 20", "shelter[0].entrance.gust_kn = 20: not below mean_kn: no gust is"),
    ("daylight = true", 'daylight = "yes"', 'shelter[0].entrance.daylight = "yes": true when it is taken only by day, else false, like true'),
    ("bar = false", "bar = true\nopen_at = [[2026-05-18T04:00:00, 2026-05-18T07:30:00Z]]",
     f"shelter[0].entrance.open_at[0][0] = 2026-05-18T04:00:00: {OPEN_AT}"),
    ("bar = false", 'bar = true\nopen_at = [["4:00", 2026-05-18T07:30:00Z]]', f'shelter[0].entrance.open_at[0][0] = "4:00": {OPEN_AT}'),
    ("bar = false", "bar = true\nopen_at = [[2026-05-18T07:30:00Z, 2026-05-18T04:00:00Z]]",
     "shelter[0].entrance.open_at[0]: ends before it begins; write the earlier time first"),
    ('name = "Horta (example)"', 'name = "Velas (example)"', 'shelter[4].name = "Velas (example)": another name; shelter[3] has it already'),
    ('latitude = "38 32.0 N"\nlongitude = "28 36.0 W"', 'latitude = "38 40.0 N"\nlongitude = "28 12.6 W"',
     "shelter[4]: the place of Horta (example): write the two as one"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), ONE_FAULT, ids=[said[:50] for _, _, said in ONE_FAULT])
def test_each_fault_is_said_with_its_place_and_a_good_value(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in EXAMPLE
    path = tmp_path / "shelters.toml"
    path.write_text(EXAMPLE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_shelters([path])
    assert f"{path} {said}" in str(refused.value).splitlines()


def test_all_faults_are_said_at_once(tmp_path: Path) -> None:
    path = tmp_path / "shelters.toml"
    path.write_text(EXAMPLE.replace('kind = "harbour"', 'kind = "bay"', 1).replace("hold_gust_kn = 70", "hold_gust_kn = -1"), encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_shelters([path])
    assert len(refused.value.faults) == 2


WHOLE_FILES = [
    ("absent.toml", None, "no such shelters file; give the path of one, or start from an example in config/"),
    ("s.txt", b"", "a shelters file ends in .toml or .gpx; this name does not"),
    ("s.toml", b"\xff\xfe", "this shelters file is not text in UTF-8"),
    ("s.toml", b"shelter = [", "is not TOML: "),
    ("s.toml", b"", "shelter: missing; one [[shelter]] or more, 200 at the most"),
    ("s.gpx", b"<gpx></gpx>", 'has no waypoint with the facts of a shelter in its <desc>, like: kind = "anchorage"'),
    ("s.gpx", b"<gpx><wpt", "is not XML that can be read"),
]


@pytest.mark.parametrize(("name", "data", "said"), WHOLE_FILES, ids=[said[:40] for _, _, said in WHOLE_FILES])
def test_a_file_that_is_no_shelters_file_is_refused_in_a_sentence(tmp_path: Path, name: str, data: bytes | None, said: str) -> None:
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(BadInputError) as refused:
        read_shelters([path])
    assert said in str(refused.value)


FACTS = """kind = "anchorage"
open_to_wind = [[90, 200]]
open_wind_kn = 18
open_to_swell = []
entrance = { mean_kn = 25, sea_m = 3, daylight = true, bar = false }"""


def gpx(facts: str, name: str = "Baia") -> str:
    return (f'<gpx xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="38.5" lon="-28.1"><name>{name}</name><desc>{facts}</desc></wpt>'
            '<wpt lat="38.6" lon="-28.2"><name>a rock</name></wpt></gpx>')  # fmt: skip


def test_waypoints_with_the_facts_in_their_description_are_shelters(tmp_path: Path) -> None:
    path = tmp_path / "s.gpx"
    path.write_text(gpx(FACTS), encoding="utf-8")
    read = read_shelters([path])
    assert [(s.name, s.latitude, s.longitude, s.open_to_wind) for s in read.shelters] == [("Baia", 38.5, -28.1, ((90.0, 200.0),))]
    assert read.notes == ("s.gpx: 1 waypoint without a description left out",)


@pytest.mark.parametrize(("facts", "said"), [
    ("a nice bay", 'line 1 desc: is not the facts of a shelter, like kind = "anchorage"'),
    (FACTS.replace('"anchorage"', '"bay"'), 'line 1 kind = "bay": "harbour", "anchorage" or "lee"'),
    (FACTS.replace("mean_kn = 25, ", ""), "line 1 entrance.mean_kn: missing; a number in knots: the mean wind it is not taken above"),
    ('name = "other"\n' + FACTS, "line 1 desc: name stands in the waypoint itself; take it out of the description"),
])  # fmt: skip
def test_a_description_that_is_no_such_facts_is_a_fault(tmp_path: Path, facts: str, said: str) -> None:
    path = tmp_path / "s.gpx"
    path.write_text(gpx(facts), encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_shelters([path])
    assert said in str(refused.value)


def test_two_files_may_not_have_the_same_shelter(tmp_path: Path) -> None:
    one, two = tmp_path / "a.gpx", tmp_path / "b.gpx"
    one.write_text(gpx(FACTS), encoding="utf-8")
    two.write_text(gpx(FACTS), encoding="utf-8")
    with pytest.raises(BadInputError, match="another name"):
        read_shelters([one, two])
