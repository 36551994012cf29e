"""Boat files with one fault each, and the exact sentence the sailor reads. The faulty file is the sloop's with one thing changed."""

from collections.abc import Callable
from pathlib import Path

import pytest

from watch.boat.boat_file import read_boat
from watch.faults import BadInputError

SLOOP = (Path(__file__).resolve().parents[2] / "config" / "boat-sloop.toml").read_text(encoding="utf-8")

#  what is changed, into what, and what is said of it
ONE_FAULT = [
    ('name = "Kittiwake"', "", "boat.name: missing; a name, like \"Kittiwake\""),
    ("hard_kn = 25", 'hard_kn = "25kts"',
     'sail_plan[0].limits[0].hard_kn = "25kts": a number in knots: the gust that must not be met with this up, like 34'),
    ("hard_kn = 25", "hard_kn = -25", "sail_plan[0].limits[0].hard_kn = -25: a number in knots: the gust that must not be met with this up, like 34"),
    ("hard_kn = 25", "hard_kn = nan", "sail_plan[0].limits[0].hard_kn = nan: a number in knots: the gust that must not be met with this up, like 34"),
    ("hard_kn = 25", "hard_kn = 15",
     "sail_plan[0].limits[0].hard_kn = 15: not below working_kn = 16: the hard limit is the gust that must not be met"),
    ("angle_deg = [0, 75], working_kn = 16", "angle_deg = [0, 70], working_kn = 16",
     "sail_plan[0].limits: no limit without up_to_minutes at 71 degrees; cover every true wind angle from 0 to 180"),
    ("angle_deg = [0, 75], working_kn = 16", "angle_deg = [75, 0], working_kn = 16",
     "sail_plan[0].limits[0].angle_deg = [75, 0]: rising angles from 0 to 180, like [0, 75]"),
    ('limits_are = "true wind"', 'limits_are = "real wind"', 'boat.limits_are = "real wind": "true wind" or "apparent wind", like "true wind"'),
    ('place = "cockpit"', 'place = "bow"', 'job[9].place = "bow": "cockpit", "mast" or "foredeck", like "mast"'),
    ("sea_m = 4\n", "seas_m = 4\n", "job[0].seas_m: not a key known here; is `sea_m` meant?"),
    ('to = "reef 1"\nplace = "mast"\nminutes = 10\nreserve_minutes = 5\nheading = "any"\nmean_kn = 28',
     'to = "reef 9"\nplace = "mast"\nminutes = 10\nreserve_minutes = 5\nheading = "any"\nmean_kn = 28',
     'job[0].to.main = "reef 9": one of "full", "reef 1", "reef 2", "reef 3", "down"'),
    ('element = "storm jib"\nfrom = "below"', 'element = "jib"\nfrom = "below"',
     'job[15].from = "jib": an element of this boat: "main", "genoa", "storm jib"'),
    ("mean_kn = 28\ngust_kn = 36\nsea_m = 4\n", "mean_kn = 38\ngust_kn = 36\nsea_m = 4\n",
     "job[0].gust_kn = 36: not below mean_kn = 38: a gust is never less than the mean"),
    ("practised_to_kn = 26\n", "", "job[0].practised_to_kn: missing; up to which mean wind was it practised, like 24"),
    ('rests_on = "estimated"\n\n[[job]]\nname = "hoist the main', 'rests_on = "estimated"\npractised_to_kn = 20\n\n[[job]]\nname = "hoist the main',
     'job[3].practised_to_kn = 20: goes only with rests_on = "practised"'),
    ("speed_factor = 1.0\n", "", "sail_plan[0].speed_factor: give a speed_factor or a speed table of its own, one of the two"),
    ("wind_kn = [4, 8, 12, 16, 20, 30]", "wind_kn = [4, 8, 12, 12, 20, 30]", "speed.wind_kn: numbers that rise, none below zero"),
    ('usual_state = { main = "full", genoa = "full", "storm jib" = "below" }', 'usual_state = { main = "full", genoa = "full" }',
     'boat.usual_state: "storm jib" is missing; give its usual position'),
    ('usual_state = { main = "full", genoa = "full", "storm jib" = "below" }',
     'usual_state = { main = "full", genoa = "full", "storm jib" = "set" }',
     "boat.usual_state: main: full · genoa: full · storm jib: set cannot be: two headsails on one stay, or something it needs is missing"),
    ('carries = { main = "reef 3", "storm jib" = "set" }', 'carries = { main = "reef 3", genoa = "rolled", "storm jib" = "set" }',
     'sail_plan: no sail plan covers main: reef 3 · genoa: below · storm jib: set; add one, or one that says carries = "anything else", '
     "with limits low enough for all it may be"),
    ("under_kn = 11", "under_kn = 40", "sail_plan[3].under_kn = 40: below the working limit 22"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), ONE_FAULT, ids=[said[:60] for _, _, said in ONE_FAULT])
def test_each_fault_is_said_with_its_place_and_a_good_value(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in SLOOP
    path = tmp_path / "boat.toml"
    path.write_text(SLOOP.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_boat(path)
    assert f"{path} {said}" in str(refused.value).splitlines()


def test_all_faults_are_said_at_once(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(SLOOP.replace("hard_kn = 25", 'hard_kn = "25kts"').replace('place = "cockpit"', 'place = "bow"', 1), encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_boat(path)
    assert len(refused.value.faults) == 2


def test_two_headsails_on_one_stay_are_found_as_a_plan_no_job_reaches(tmp_path: Path) -> None:
    both = '\n[[sail_plan]]\nname = "both"\ncarries = { main = "reef 3", genoa = "half", "storm jib" = "set" }\n'
    both += 'limits = [{ working_kn = 20, hard_kn = 30 }]\ncourse = "holds"\nspeed_factor = 0.9\nrests_on = "estimated"\n'
    path = tmp_path / "boat.toml"
    path.write_text(SLOOP + both, encoding="utf-8")
    with pytest.raises(BadInputError, match="no chain of jobs reaches it"):
        read_boat(path)


WHOLE_FILES: list[tuple[Callable[[Path], object], str]] = [
    (lambda p: None, "no such boat file; give the path of one, or start from an example in config/"),
    (lambda p: p.mkdir(), "this boat file cannot be read: Is a directory"),
    (lambda p: p.write_bytes(b"\xff\xfe\x00"), "this boat file is not text in UTF-8"),
    (lambda p: p.write_text("boat = ["), "is not TOML: "),
    (lambda p: p.write_text("# " + "x" * 1_100_000), "larger than 1 MB, which no boat file is; is it the right file?"),
    (lambda p: p.write_text(""), "boat: missing; a [boat] table"),
]


@pytest.mark.parametrize(("make", "said"), WHOLE_FILES, ids=[said[:40] for _, said in WHOLE_FILES])
def test_a_file_that_is_no_boat_file_is_refused_in_a_sentence(tmp_path: Path, make: Callable[[Path], object], said: str) -> None:
    path = tmp_path / "boat.toml"
    make(path)
    with pytest.raises(BadInputError) as refused:
        read_boat(path)
    assert said in str(refused.value)
    assert str(refused.value).startswith(str(path))


def said_of(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "boat.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_boat(path)
    return [line.removeprefix(f"{path} ") for line in str(refused.value).splitlines()]


def test_a_key_one_level_too_high_is_told_where_it_belongs(tmp_path: Path) -> None:
    said = said_of(tmp_path, SLOOP.replace('course = "holds"\n', 'course = "holds"\nhard_kn = 25\n', 1))
    assert said == [
        "sail_plan[0].hard_kn: not a key known here; it belongs inside `limits`, like limits = [{ angle_deg = [0, 180], working_kn = 26, hard_kn = 34 }]"
    ]


def test_a_fault_within_a_list_is_not_told_of_the_list_as_well(tmp_path: Path) -> None:
    one = SLOOP[: SLOOP.index("[[job]]")] + SLOOP[SLOOP.index("[[job]]") : SLOOP.index("[[job]]", SLOOP.index("[[job]]") + 1)]
    said = said_of(tmp_path, one.replace('heading = "any"\n', "") + SLOOP[SLOOP.index("[[sail_plan]]") :])
    assert said == ['job[0].heading: missing; "any", "head to wind" or "off the wind", like "any"']


def test_many_states_without_a_plan_are_one_fault(tmp_path: Path) -> None:
    start = SLOOP.index("[[sail_plan]]")
    said = said_of(tmp_path, SLOOP[: SLOOP.index("[[sail_plan]]", start + 1)])
    assert len(said) == 1
    assert said[0].startswith("sail_plan: no sail plan covers ")
    assert 'carries = "anything else"' in said[0]
    assert "; and " in said[0]
