"""The command `replay`: from invented storms and from files, stopped and gone on with, and every wrong request in one sentence."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from watch.cli import main
from watch.service.replay.invented import InventedStorms
from watch.service.replay.results import Result

ROOT = Path(__file__).resolve().parents[2]
NEW, OLD = (str(ROOT / "fixtures" / f"kittiwake-{run}.grib2") for run in ("2026051612", "2026051600"))
ROUTE = str(ROOT / "config" / "passage-bermuda-horta.toml")
FILES = ["--truth", NEW, "--forecast", OLD, "--route", ROUTE, "--position", "36 30.0 N, 52 00.0 W", "--hours", "30", "--workers", "1"]
QUICK = ["--policy", "never", "--policy", "reactive", "--workers", "1"]


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["replay", *arguments])
    assert "Traceback" not in result.output
    return result.exit_code, result.stdout, result.stderr


def test_invented_storms_say_that_they_are_invented_and_add_up() -> None:
    code, out, err = run("--storms", "3", "--seed", "1000", *QUICK)
    assert (code, err) == (0, "")
    assert out.startswith("Kittiwake in invented storms 1000 to 1002: no real weather.\n3 passages, 432 hours in all.\n")
    assert "Of what foresight would save" not in out  # foresight was not asked for
    data = json.loads(run("--storms", "3", "--seed", "1000", "--json", *QUICK)[1])
    for name in ("never", "reactive"):
        hours = [one["policies"][name]["hard_hours"] for one in data["passages"]]
        assert data["policies"][name]["sum"]["hard_hours"] == pytest.approx(sum(hours))
    assert [one["passage"] for one in data["passages"]] == ["1000", "1001", "1002"]


def test_a_later_run_as_the_truth_and_an_earlier_one_as_the_forecast() -> None:
    code, out, err = run(*FILES)
    assert (code, err) == (0, "")
    assert "Kittiwake in the weather of kittiwake-2026051612.grib2." in out
    assert "1 passage, 30 hours in all." in out
    for words in ("these orders", "by thresholds", "no change", "foresight", "Official warnings and your own judgement come first."):
        assert words in out
    data = json.loads(run(*FILES, "--json")[1])
    hard = {name: data["policies"][name]["sum"]["hard_hours"] for name in ("ours", "reactive", "never", "foresight")}
    assert hard["foresight"] <= hard["ours"] < hard["never"]  # the front's gusts of 49 knots with all plain sail up


def test_more_starts_along_the_same_truth(tmp_path: Path) -> None:
    arguments = [*FILES, "--policy", "never", "--starts", "3", "--apart", "6", "--json"]
    data = json.loads(run(*arguments)[1])
    assert [one["passage"] for one in data["passages"]] == ["2026-05-16T12:00Z", "2026-05-16T18:00Z", "2026-05-17T00:00Z"]


def test_a_stopped_replay_goes_on_and_comes_to_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept, asked = tmp_path / "kept.jsonl", ["--storms", "3", "--seed", "1000", *QUICK]
    whole = run(*asked)[1]
    plain, played = InventedStorms.__call__, []

    def stopping(self: InventedStorms, seed: str) -> Result:
        played.append(seed)
        if len(played) == 2:
            raise KeyboardInterrupt
        return plain(self, seed)

    monkeypatch.setattr(InventedStorms, "__call__", stopping)
    code, out, err = run(*asked, "--keep", str(kept))
    assert code == 130
    assert "1 passage, 144 hours in all." in out
    assert f"Stopped: 1 of 3 passages are done; the same command goes on from there, by {kept}." in err
    kept.write_bytes(kept.read_bytes() + b'{"passage": "1001", "sett')
    code, out, _ = run(*asked, "--keep", str(kept))
    assert (code, out) == (0, whole)
    assert played == ["1000", "1001", "1001", "1002"]
    assert run(*asked, "--keep", str(kept))[1] == whole
    assert len(played) == 4


#  what is asked, and what is said
WRONG = [
    (["--hours", "24"], "--hours: goes with --truth"),
    (["--now", "2026-05-16T12:00Z"], "--now: goes with --truth"),
    (["--forecast", OLD], "--forecast: goes with --truth"),
    ([*FILES, "--storms", "3"], "--storms: is for invented storms"),
    ([*FILES, "--seed", "3"], "--seed: is for invented storms"),
    (["--truth", NEW, "--route", ROUTE], "--forecast: missing; a replay against --truth needs the earlier runs"),
    (["--truth", NEW, "--forecast", OLD], "--route: missing; a replay against --truth needs a route"),
    (["--truth", NEW, "--forecast", NEW, "--route", ROUTE], "both as --truth and as --forecast"),
    (["--truth", "nowhere.grib2", "--forecast", OLD, "--route", ROUTE], "nowhere.grib2"),
    (["--truth", NEW, "--forecast", "nowhere.grib2", "--route", ROUTE], "nowhere.grib2"),
    (["--truth", NEW, "--forecast", OLD, "--route", "nowhere.gpx"], "nowhere.gpx"),
    (["--truth", str(ROOT / "fixtures" / "small" / "wave-only.grib2"), "--forecast", OLD, "--route", ROUTE], "no wind at 10 m"),
    (["--truth", str(ROOT / "fixtures" / "small" / "not-grib.grib2"), "--forecast", OLD, "--route", ROUTE], "not-grib.grib2"),
    ([*FILES, "--now", "2026-06-16T12:00Z"], "what happened is known until 2026-05-20 00:00"),
    ([*FILES, "--starts", "9"], "--starts: the last would be at 2026-05-24 12:00 UTC"),
    ([*FILES, "--now", "2026-05-16T12:00"], "has no offset from UTC"),
    ([*FILES, "--boat", "nowhere.toml"], "no such boat file"),
    ([*FILES, "--rig-state", "spinnaker: up"], 'no element "spinnaker"'),
    (["--storms", "1", "--rig-state", "main: reef 9", *QUICK], 'no position "reef 9"'),
    (["--storms", "1", "--dask", "nowhere", *QUICK], "--dask"),
    (["--storms", "1", "--keep", str(ROOT / "pyproject.toml"), *QUICK], "pyproject.toml line 1: not a kept result"),
]


@pytest.mark.parametrize(("asked", "said"), WRONG, ids=[said[:40] for _, said in WRONG])
def test_what_is_wrong_is_said_in_a_sentence_with_exit_code_2(asked: list[str], said: str) -> None:
    code, out, err = run(*asked)
    assert code == 2, out + err
    assert said in err
    assert out == ""


def test_with_instruments_is_another_replay_and_is_not_mixed_with_one_without(tmp_path: Path) -> None:
    kept = str(tmp_path / "kept.jsonl")
    asked = [*FILES, "--policy", "ours", "--keep", kept]
    assert run(*asked, "--instruments")[0] == 0
    code, _, err = run(*asked)
    assert code == 2
    assert "line 1: a result of another boat, other weather or other settings" in err
