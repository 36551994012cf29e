"""What the watch says of a boat that a newcomer has described."""

import json
import re
import tomllib
from pathlib import Path

from click.testing import CliRunner

from watch.boat.model import BoatFile
from watch.boat.understood import understood
from watch.cli import main

ROOT = Path(__file__).resolve().parents[2]


SLOOP = (ROOT / "config" / "boat-sloop.toml").read_text(encoding="utf-8")
BARE = re.compile(r"forestay bare|(?:main|reefs) alone")  # names of the plans without any headsail
HEAD, *PLANS = SLOOP.split("[[sail_plan]]")
BARE_HELD_TO_LITTLE = f"""{HEAD}{"".join(f"[[sail_plan]]{plan}" for plan in PLANS if not BARE.search(plan))}
[[sail_plan]]
name = "in between"
carries = "anything else"
limits = [{{ working_kn = 12, hard_kn = 18 }}]
course = "holds"
speed_factor = 0.5
rests_on = "estimated"
"""


def told(text: str) -> str:
    return " ".join(understood(BoatFile.model_validate(tomllib.loads(text))).split())


def test_a_change_that_leads_through_a_state_held_to_less_is_a_trap_and_is_told() -> None:
    assert sum(BARE.search(plan) is not None for plan in PLANS) >= 3
    assert "is held to gusts of" not in told(SLOOP)
    found = told(BARE_HELD_TO_LITTLE)
    assert "is held to gusts of 18 kn, since only “in between” covers a state" in found
    assert "“lower the genoa and stow it below”" in found
    assert "· genoa: below · storm jib: below (in between)" in found


def test_a_limit_met_only_between_two_jobs_is_said_to_be_so(tmp_path: Path) -> None:
    boat = tmp_path / "boat.toml"
    boat.write_text(BARE_HELD_TO_LITTLE, encoding="utf-8")
    result = CliRunner().invoke(main, [
        "brief", "--json", "--boat", str(boat), "--route", str(ROOT / "config" / "passage-bermuda-horta.toml"), "--now", "2026-05-16T12:00Z",
        "--forecast", str(ROOT / "fixtures" / "kittiwake-2026051612.grib2"), "--position", "36 30.0 N, 52 00.0 W", "--rig-state", "main: reef 1",
    ])  # fmt: skip
    assert result.exit_code == 0, result.output
    verdict = json.loads(result.stdout)["verdict_more"]
    assert len(verdict) == 1
    assert verdict[0].startswith("It is met on the way only, between “lower the genoa and stow it below” and “bend on and set the storm jib”, while she")
    assert "genoa: below · storm jib: below" in verdict[0]
