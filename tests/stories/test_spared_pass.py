"""A fault in the program ends one part of a pass: orders are made without that part, and it is said in them and on the channels."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.page_demo import demo_orders
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.faults import BadInputError
from watch.instruments.series import Observed
from watch.service.gather import gather
from watch.service.one_pass import Asked, Pass
from watch.service.stand.passing import NEITHER, NO_INSTRUMENTS, NO_SHELTERS, spared_pass

ROOT = Path(__file__).resolve().parents[2]


def asked() -> Asked:
    boat = read_boat(ROOT / "config" / "boat-sloop.toml")
    gribs, route = [ROOT / "fixtures" / "kittiwake-2026051612.grib2"], ROOT / "config" / "passage-bermuda-horta.toml"
    found = gather(boat, parse_state(boat, "main: reef 1"), route, gribs, demo_orders().made_at, "36 30.0 N, 52 00.0 W", None, 24.0)
    return replace(found, observed=Observed(), sea_room=True)


def faulty(*parts: str):  # type: ignore[no-untyped-def]
    """A pass that comes to its end only where none of these is asked for."""

    def make(given: Asked) -> Pass:
        for part in parts:
            if getattr(given, part):
                raise IndexError(f"{part}: index 80 is out of bounds")
        return Pass(orders=demo_orders(), schedule=None, scenarios=None, track=None, faults=())  # type: ignore[arg-type]

    return make


@pytest.mark.parametrize(("parts", "said"), [(("sea_room",), NO_SHELTERS), (("observed",), NO_INSTRUMENTS), (("sea_room", "observed"), NEITHER)])
def test_orders_are_made_without_the_part_at_fault(parts: tuple[str, ...], said: str) -> None:
    made, words = spared_pass(asked(), faulty(*parts))
    assert words.startswith(said)
    assert "IndexError" in words
    assert made.orders.missing == (words, *demo_orders().missing)
    assert made.orders.jobs == demo_orders().jobs


def test_a_pass_without_a_fault_is_left_as_it_is() -> None:
    made, words = spared_pass(asked(), faulty())
    assert words == ""
    assert made.orders == demo_orders()


def test_a_fault_that_has_nothing_to_do_with_these_parts_is_not_hidden() -> None:
    with pytest.raises(IndexError, match="boat"):
        spared_pass(asked(), faulty("boat"))


def test_what_the_sailor_can_put_right_is_left_for_him_to_put_right() -> None:
    def make(given: Asked) -> Pass:
        raise BadInputError("the forecast", ["ends too soon"])

    with pytest.raises(BadInputError, match="ends too soon"):
        spared_pass(asked(), make)
