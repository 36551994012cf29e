"""The orders written as JSON and read back: the same text again, for nights as the program makes them and for any that it could."""

import json
import math
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.page_demo import blind_for_hours, demo_orders, not_good_enough, nothing_due, with_shelter
from tests.stories.test_shelter_brief import orders as shelter_orders
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.faults import BadInputError
from watch.orders.document import Orders
from watch.render.as_json import as_json
from watch.render.from_json import from_json
from watch.service.gather import gather
from watch.service.one_pass import one_pass
from watch.when import ShipTime, parse_utc

ROOT = Path(__file__).resolve().parents[2]


@cache
def cutter() -> Orders:
    boat = read_boat(ROOT / "config" / "boat-cutter.toml")
    asked = gather(boat, parse_state(boat, "main: reef 1"), ROOT / "config" / "passage-bermuda-horta.toml",
                   [ROOT / "fixtures" / "kittiwake-2026051612-ensemble.grib2"], parse_utc("2026-05-16T12:00Z"), "36 30.0 N, 52 00.0 W", None,
                   30.0)  # fmt: skip
    return one_pass(asked).orders


@pytest.mark.parametrize("made", [demo_orders, cutter, shelter_orders, with_shelter, not_good_enough, nothing_due, blind_for_hours])
def test_orders_read_back_and_written_again_are_the_same_text(made: Callable[[], Orders]) -> None:
    orders = made()
    back = from_json(as_json(orders))
    assert as_json(back) == as_json(orders)
    assert back == orders
    assert back.ship_time == orders.ship_time


def any_of(kind: Any) -> st.SearchStrategy[Any]:
    """Anything that a field of this type can hold."""
    if kind is ShipTime:
        return st.integers(-840, 840).map(ShipTime)
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        return st.fixed_dictionaries({f.name: any_of(hints[f.name]) for f in fields(kind)}).map(lambda values: kind(**values))  # type: ignore[operator]
    if get_origin(kind) is tuple:
        arguments = get_args(kind)
        if arguments[-1] is Ellipsis:
            return st.lists(any_of(arguments[0]), max_size=2).map(tuple)
        return st.tuples(*map(any_of, arguments))
    if get_args(kind):
        return st.one_of(st.none(), *(any_of(argument) for argument in get_args(kind) if argument is not type(None)))
    return {
        str: st.text(max_size=8), bool: st.booleans(), int: st.integers(-(10**9), 10**9),
        float: st.floats(allow_infinity=False) | st.integers(-99, 99),
        datetime: st.datetimes(datetime(1970, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)).map(lambda t: t.replace(microsecond=0)),  # noqa: DTZ001
    }[kind]  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(any_of(Orders))
def test_any_orders_at_all_come_back(orders: Orders) -> None:
    text = as_json(orders)
    assert as_json(from_json(text)) == text


def test_a_number_that_is_not_known_is_never_a_number_again() -> None:
    plain = json.loads(as_json(demo_orders()))
    plain["to_go_nm"] = None
    plain["steps"][3]["planning_gust_kn"] = None
    back = from_json(json.dumps(plain))
    assert math.isnan(back.to_go_nm)
    assert back.steps[3].planning_gust_kn is None


def spoilt(change: Callable[[dict[str, Any]], object]) -> str:
    plain = json.loads(as_json(demo_orders()))
    change(plain)
    return json.dumps(plain)


@pytest.mark.parametrize(("change", "place"), [
    (lambda o: o.pop("verdict"), "verdict"),
    (lambda o: o.update(news=1), "news"),
    (lambda o: o["jobs"][1].update(call="2026-05-16T18:40"), "jobs[1].call"),
    (lambda o: o["jobs"][1].update(call="soonZ"), "jobs[1].call"),
    (lambda o: o["jobs"][0].update(minutes="25"), "jobs[0].minutes"),
    (lambda o: o["jobs"][0].update(minutes=True), "jobs[0].minutes"),
    (lambda o: o["jobs"][0].update(number=1.0), "jobs[0].number"),
    (lambda o: o["jobs"][0]["if_missed"].update(instead="reef"), "jobs[0].if_missed.instead"),
    (lambda o: o["plans"].append(None), "plans["),
    (lambda o: o.update(feasible=1), "feasible"),
    (lambda o: o["light_events"].append(["2026-05-16T18:40:00Z"]), "light_events["),
    (lambda o: o.update(schema="nightorders-orders-2"), "schema"),
])  # fmt: skip
def test_what_is_not_of_this_form_is_refused_with_its_place(change: Callable[[dict[str, Any]], object], place: str) -> None:
    with pytest.raises(BadInputError) as refused:
        from_json(spoilt(change))
    assert str(refused.value).startswith(f"the orders {place}")
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", '{"schema": "nightorders-orders-1"}', '{"schema": NaN}', "[" * 100_000])
def test_what_is_no_document_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match="the orders"):
        from_json(text)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_document_cut_short_or_changed_anywhere_is_refused_or_reads(data: st.DataObject) -> None:
    text = as_json(demo_orders())
    at = data.draw(st.integers(0, len(text) - 1))
    changed = data.draw(st.sampled_from([text[:at], text[:at] + text[at + 1 :], text[:at] + data.draw(st.characters(codec="utf-8")) + text[at:]]))
    try:
        orders = from_json(changed)
    except BadInputError:
        return
    assert json.loads(as_json(orders)) == json.loads(changed)
