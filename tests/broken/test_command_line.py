"""What is wrong on the command line: one sentence, exit code 2, never a traceback."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from watch.cli import main

ROOT = Path(__file__).resolve().parents[2]
GRIB = str(ROOT / "fixtures" / "kittiwake-2026051612.grib2")
GOOD = {
    "--boat": str(ROOT / "config" / "boat-sloop.toml"),
    "--route": str(ROOT / "config" / "passage-bermuda-horta.toml"),
    "--forecast": GRIB,
    "--now": "2026-05-16T12:00Z",
    "--position": "36 30.0 N, 52 00.0 W",
}

#  one thing changed, and what is said
WRONG = [
    ({"--now": "2026-05-16T12:00"}, "2026-05-16T12:00:00 has no offset from UTC"),
    ({"--now": "noon"}, '"noon" is no time: write it like 2026-05-14T12:00Z'),
    ({"--ship-time": "-3"}, '"-3" is no offset from UTC: write it like -03:00'),
    ({"--position": "36.5"}, '"36.5" is no position'),
    ({"--position": "136 30.0 N, 52 0 W"}, "more than 90 degrees"),
    ({"--rig-state": "spinnaker: up"}, 'no element "spinnaker": Kittiwake has "main", "genoa", "storm jib"'),
    ({"--rig-state": "main: reef 9"}, 'main has no position "reef 9"'),
    ({"--rig-state": "storm jib: set"}, "two headsails on one stay"),
    ({"--rig-state": "main"}, '"main" is no element and position'),
    ({"--boat": "nowhere.toml"}, "no such boat file"),
    ({"--route": "nowhere.gpx"}, "nowhere.gpx"),
    ({"--forecast": "nowhere.grib2"}, "nowhere.grib2"),
    ({"--forecast": str(ROOT / "fixtures" / "small" / "cut-short.grib2")}, "cut-short.grib2"),
    ({"--forecast": str(ROOT / "fixtures" / "small" / "not-grib.grib2")}, "not-grib.grib2"),
    ({"--forecast": str(ROOT / "README.md")}, "README.md"),
    ({"--now": "2026-06-16T12:00Z"}, "fetch a newer one"),
    ({"--position": "10 0 S, 100 0 E"}, ""),
]


@pytest.mark.parametrize(("change", "said"), WRONG, ids=[f"{next(iter(c))} {next(iter(c.values()))[-30:]}" for c, _ in WRONG])
def test_what_is_wrong_is_said_in_a_sentence_with_exit_code_2(change: dict[str, str], said: str) -> None:
    arguments = [x for pair in (GOOD | change).items() for x in pair]
    result = CliRunner().invoke(main, ["brief", *arguments])
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert "Traceback" not in result.output
    assert result.stdout == ""


def test_without_a_position_after_departure_it_asks_for_one() -> None:
    arguments = [x for pair in GOOD.items() for x in pair if pair[0] != "--position"]
    result = CliRunner().invoke(main, ["brief", *arguments])
    assert result.exit_code == 2
    assert "say where she is" in result.stderr


def test_nothing_to_check_is_said() -> None:
    result = CliRunner().invoke(main, ["check"])
    assert result.exit_code == 2
    assert "Nothing to check" in result.stderr


@pytest.mark.parametrize("what", [["--boat", GOOD["--boat"]], ["--route", GOOD["--route"]], ["--forecast", GRIB]])
def test_check_says_what_was_understood(what: list[str]) -> None:
    result = CliRunner().invoke(main, ["check", *what])
    assert result.exit_code == 0, result.output
    assert len(result.stdout.splitlines()) > 3
