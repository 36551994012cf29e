"""The question of shelter in the whole brief: text, JSON, what is missing, and that nothing is asked when nobody asks."""

import json
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from tests.stories.seas import EASY, shelter
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.cli import main
from watch.orders.document import Orders
from watch.passage.land import NOT_KNOWN, load_land
from watch.render.as_json import as_json, schema
from watch.render.text import as_text
from watch.service.gather import gather
from watch.service.one_pass import Asked, one_pass
from watch.when import parse_utc

ROOT = Path(__file__).resolve().parents[2]
RUN = ROOT / "fixtures" / "kittiwake-2026051612-ensemble.grib2"
ISLES = (
    shelter("isle E", 36.7, -50.5, entrance=EASY), shelter("isle N", 37.1, -51.6, kind="harbour", entrance=EASY),
    shelter("far isle", 39.5, -40.0, entrance=EASY),
)  # fmt: skip


@cache
def asked(boat: str = "sloop") -> Asked:
    own = read_boat(ROOT / "config" / f"boat-{boat}.toml")
    route = ROOT / "config" / "passage-bermuda-horta.toml"
    return gather(own, parse_state(own, "main: reef 1"), route, [RUN], parse_utc("2026-05-16T12:00Z"), "36 30.0 N, 52 00.0 W", None, None)


@cache
def orders(boat: str = "sloop", with_land: bool = True) -> Orders:
    land = load_land(28.0, 46.0, -66.0, -24.0) if with_land else None
    passed = one_pass(replace(asked(boat), shelters=ISLES, land=land))
    assert passed.faults == ()
    return passed.orders


def test_the_table_is_ranked_and_holds_every_choice_once() -> None:
    table = orders().shelters
    assert [row.rank for row in table] == list(range(1, len(table) + 1))
    assert {row.name for row in table} == {"hold on", "run off", "isle E", "isle N", "far isle"}
    good = [row.chance is not None and row.chance >= 0.9 - 1e-9 for row in table]
    assert good == sorted(good, reverse=True), "what keeps the asked-for chance stands first"
    lost = [row.miles_lost_nm for row, keeps in zip(table, good, strict=True) if keeps]
    assert lost == sorted(lost), "and of that, what costs the fewest miles"


def test_no_return_is_the_last_turn_by_of_all() -> None:
    turns = [row.turn_by for row in orders().shelters if row.turn_by is not None]
    assert turns
    found = orders().no_return
    assert found is not None
    assert found.time == max(turns)
    assert any(row.name == found.shelter and row.turn_by == found.time for row in orders().shelters)
    for row in orders().shelters:
        if row.turn_by is not None:
            assert row.windows[-1].last == row.turn_by
            assert all(w.chance >= 0.9 - 1e-3 for w in row.windows)
            assert row.arrival_early is not None
            assert row.arrival is not None
            assert row.arrival_late is not None
            assert row.turn_by < row.arrival_early <= row.arrival <= row.arrival_late


@pytest.mark.parametrize("boat", ["sloop", "cutter"])
def test_it_reads_in_eighty_columns_and_says_what_decides(boat: str) -> None:
    text = as_text(orders(boat))
    assert max(len(line) for line in text.splitlines()) <= 80
    told = text[text.index("SHELTER, HOLDING ON, RUNNING OFF") :]
    assert "TURN BY" in told
    assert "NO RETURN after" in text
    assert "far isle: NONE" in told
    assert "no chart" in text
    names = {row.name for row in orders(boat).shelters}
    ways = {"heave to", "lie to a drogue"}
    assert ways <= names if boat == "cutter" else not ways & names, "only what the boat file has is a choice"


def test_the_json_is_as_its_schema_says() -> None:
    written = json.loads(as_json(orders()))
    jsonschema.validate(written, json.loads((ROOT / "watch" / "render" / "orders.schema.json").read_text(encoding="utf-8")))
    assert json.loads((ROOT / "watch" / "render" / "orders.schema.json").read_text(encoding="utf-8")) == schema()
    assert written["no_return"]["time"].endswith("Z")
    assert len(written["shelters"]) == 5


def test_without_a_mask_land_is_said_aloud_not_to_be_known() -> None:
    found = orders(with_land=False)
    assert NOT_KNOWN in found.missing
    off = next(row for row in found.shelters if row.name == "run off")
    assert "not known" in off.words
    assert off.chance is None
    assert off.rank == len(found.shelters) or off.rank == len(found.shelters) - 1


def test_nobody_asked_so_nothing_is_said() -> None:
    found = one_pass(asked()).orders
    assert found.shelters == ()
    assert found.no_return is None
    assert "SHELTER" not in as_text(found)
    assert asked().land is None, "and the mask of land was not read"


def test_sea_room_can_be_asked_for_without_shelters() -> None:
    land = load_land(28.0, 46.0, -66.0, -24.0)
    found = one_pass(replace(asked(), sea_room=True, land=land)).orders
    assert [row.name for row in found.shelters] in (["hold on", "run off"], ["run off", "hold on"])
    assert found.no_return is None


def test_the_commands_take_shelters(tmp_path: Path) -> None:
    example = ROOT / "config" / "shelters-north-atlantic.toml"
    said = CliRunner().invoke(main, ["check", "--shelters", str(example)])
    assert said.exit_code == 0
    for entry in tomllib.loads(example.read_text(encoding="utf-8"))["shelter"]:
        assert entry["name"] in said.output
    assert "ON LAND" not in said.output
    ashore = tmp_path / "s.toml"
    ashore.write_text(example.read_text(encoding="utf-8").replace('"28 36.0 W"', '"28 42.0 W"'), encoding="utf-8")
    assert "ITS PLACE IS ON LAND" in CliRunner().invoke(main, ["check", "--shelters", str(ashore)]).output
    refused = CliRunner().invoke(main, ["check", "--shelters", str(tmp_path / "absent.toml")])
    assert refused.exit_code == 2
    assert "no such shelters file" in refused.output
