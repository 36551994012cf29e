"""What the watch says of a boat that a newcomer has described."""

import tomllib
from pathlib import Path

from watch.boat.model import BoatFile
from watch.boat.understood import understood

ROOT = Path(__file__).resolve().parents[2]
BARE = 'carries = { main = "reef 3", genoa = "below", "storm jib" = "below" }'


def told(text: str) -> str:
    return " ".join(understood(BoatFile.model_validate(tomllib.loads(text))).split())


def test_a_change_that_leads_through_a_state_held_to_less_is_a_trap_and_is_told() -> None:
    sloop = (ROOT / "config" / "boat-sloop.toml").read_text(encoding="utf-8")
    assert "is held to gusts of" not in told(sloop)
    assert sloop.count(BARE) == 1
    start = sloop.rindex("[[sail_plan]]", 0, sloop.index(BARE))
    end = sloop.index("[[sail_plan]]", sloop.index(BARE))
    found = told(sloop[:start] + sloop[end:] + '\n[[sail_plan]]\nname = "in between"\ncarries = "anything else"\nlimits = [{ working_kn = 12, hard_kn = 18 }]\n'
                 'course = "holds"\nspeed_factor = 0.5\nrests_on = "estimated"\n')  # fmt: skip
    assert "is held to gusts of 18 kn, since only “in between” covers a state" in found
    assert "“lower the genoa and stow it below”" in found
    assert "· genoa: below · storm jib: below (in between)" in found
