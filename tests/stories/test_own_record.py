"""What a passage teaches of its forecasts: from the orders and the ten minutes that the watch keeps to wider scenarios, and what is said."""

import math
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.page_demo import demo_orders
from tests.watchkeeping import BOAT, Trial
from watch.boat.boat_file import read_boat
from watch.cli import main
from watch.faults import BadInputError
from watch.instruments.steps import ObservedSteps, Step
from watch.orders.document import Orders
from watch.ready import ready
from watch.service.home import book_of
from watch.service.own_record import foretold, widths_of_record
from watch.service.stand.learning import Learning, learnt_in
from watch.service.stand.passing import PassInputs, make_pass
from watch.service.stand.watch_file import read_watch_file
from watch.service.store.store import Store
from watch.units import kn_to_ms, ms_to_kn
from watch.weather.errors import Widening
from watch.weather.own_errors import OwnWidths, expected_ms, own_widths, scaled
from watch.weather.wind import to_10m
from watch.when import STEP, parse_utc

NOON = parse_utc("2026-05-16T12:00Z")
WIND_MS, PASSES, ROWS = 10.0, 13, 144
TO_10M = float(to_10m(1.0, read_boat(BOAT).boat.anemometer_height_m))


def place(at: datetime) -> tuple[float, float]:
    return 36.5, -52.0 + (at - NOON) / timedelta(hours=1) * 0.1


@cache
def orders_of(number: int) -> Orders:
    """Orders made six hours after one another, from a run of the hour, that foretell a steady ten metres a second for a day."""
    made, row = NOON + timedelta(hours=6 * number), demo_orders().steps[0]
    rows = [
        replace(row, time=at, latitude_deg=place(at)[0], longitude_deg=place(at)[1], forecast_mean_kn=float(ms_to_kn(WIND_MS)))
        for at in (made + k * STEP for k in range(ROWS))
    ]
    used = tuple(replace(f, run=made, age_hours=0.0) for f in demo_orders().forecasts[:1])
    return replace(demo_orders(), made_at=made, steps=tuple(rows), forecasts=used, jobs=(), plans=demo_orders().plans)


def met(times: float, *, miles_off: float = 0.0, fixes: bool = True) -> list[Step]:
    """Three days in which the wind was so many times the table's error off what was foretold, above and below it in turn."""
    steps = []
    for k in range(72 * 6):
        at = NOON + k * STEP
        lead_h = (at - NOON) / timedelta(hours=1) % 6.0
        off = times * float(expected_ms(lead_h, WIND_MS, 0.0, Widening())) * (-1.0) ** (k // 36)
        lat, lon = place(at)
        steps.append(Step(start_s=at.timestamp(), mean_ms=(WIND_MS + off) / TO_10M, latitude_deg=lat + miles_off / 60.0 if fixes else math.nan,
                          longitude_deg=lon))  # fmt: skip
    return steps


def learnt(steps: list[Step], passes: int = PASSES) -> OwnWidths:
    told = [first_hours(k) for k in range(passes)]
    return widths_of_record(told, ObservedSteps.of(steps).to_ten_metres(TO_10M))


def first_hours(number: int):  # type: ignore[no-untyped-def]
    """Only the first six hours of each forecast, so that each hour is foretold once."""
    whole = foretold(orders_of(number))
    return replace(whole, **{name: getattr(whole, name)[:36] for name in whole.__dataclass_fields__})


def test_the_pairs_are_those_of_the_same_time_and_lead() -> None:
    steps = met(1.8)
    lead = np.arange(72 * 6) / 6.0 % 6.0
    by_hand = own_widths(np.arange(72 * 6) / 6.0, lead, WIND_MS, np.array([s.mean_ms for s in steps]) * TO_10M)
    found = learnt(steps)
    assert by_hand.spells == 12
    assert (found.times, found.spells) == (pytest.approx(by_hand.times, abs=1e-9), by_hand.spells)
    assert found.seen_times == pytest.approx(1.8)
    assert found.times == pytest.approx(math.sqrt((20 + 12 * 1.8**2) / 32))


def test_forecasts_that_were_good_leave_the_table() -> None:
    found = learnt(met(0.4))
    assert found.seen_times == pytest.approx(0.4)
    assert found.widening == Widening()


def test_far_from_the_place_that_was_forecast_for_or_without_a_fix_nothing_is_learnt() -> None:
    assert learnt(met(2.0, miles_off=25.0)).spells == 12
    for steps in (met(2.0, miles_off=40.0), met(2.0, fixes=False), []):
        found = learnt(steps)
        assert (found.spells, found.widening) == (0, Widening())
        assert "Too little" in found.words


def test_nothing_kept_yet_is_too_little() -> None:
    assert learnt(met(2.0), passes=0).widening == Widening()


def test_a_wind_that_changes_is_allowed_to_come_at_another_time() -> None:
    rows = tuple(replace(row, forecast_mean_kn=20.0 + 0.5 * k) for k, row in enumerate(orders_of(0).steps))
    told = foretold(replace(orders_of(0), steps=rows))
    assert told.change_ms_h[20] == pytest.approx(float(kn_to_ms(3.0)))
    assert told.lead_h[18] == pytest.approx(3.0)
    unknown = foretold(replace(orders_of(0), steps=(replace(rows[0], forecast_mean_kn=None), *rows[1:])))
    assert np.isnan(unknown.mean_ms[0])


@pytest.fixture(scope="module")
def kept_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The home of a watch that kept three days."""
    home = tmp_path_factory.mktemp("home")
    with Store.open(book_of(home), NOON) as store:
        for number in range(PASSES):
            for later_min in (0, 10):
                made = orders_of(number).made_at + timedelta(minutes=later_min)
                store.keep_pass(replace(orders_of(number), made_at=made), made, None, "as it is")
        store.add_step(*met(1.8))
    return home


def test_the_watch_learns_from_its_own_store_and_tells_the_keeper_and_keeps_it(kept_home: Path) -> None:
    told: list[OwnWidths] = []
    now = NOON + timedelta(hours=72)
    with Store.open(book_of(kept_home), now) as store:
        errand = Learning(store, BOAT, told.append)
        assert errand.run(now) == ("", False)
        assert len(errand._told) == PASSES, "one of each six hours"
        assert told[0].times > 1.2
        assert learnt_in(store) == told[0]
        errand.run(now + timedelta(days=11))
        assert told[1].spells == 0, "what is older than ten days counts no more"
        assert not errand._told
        errand.run(now)
    t = Trial(now)
    assert t.keeper.inputs(now, []).widths is None
    t.keeper.learnt(told[0])
    assert t.keeper.inputs(now, []).widths == told[0]


def test_a_store_that_cannot_be_read_is_said_and_harms_nothing(tmp_path: Path) -> None:
    with Store.open(book_of(tmp_path), NOON) as store:
        words, asks = Learning(store, tmp_path / "none.toml", lambda found: None).run(NOON)
        assert "none.toml" in words
        assert not asks
        store.put("own_widths", {"of": "another version"})
        assert learnt_in(store) is None


@cache
def passed(times: float | None):  # type: ignore[no-untyped-def]
    widths = None if times is None else OwnWidths(widening=scaled(Widening(), times), times=times, seen_times=times, spells=12)
    gribs = (ready("fixtures", "kittiwake-2026051612.grib2"),)
    inputs = PassInputs(boat=BOAT, route=ready("config", "passage-bermuda-horta.toml"), shelters=(), gribs=gribs, now=NOON,
                        rig_state="main: reef 1", latitude=36.5, longitude=-52.0, hours=24.0, widths=widths)  # fmt: skip
    return make_pass(inputs).orders, widths


def test_wider_errors_are_planned_for_and_the_orders_say_so() -> None:
    table, _ = passed(None)
    wide, widths = passed(1.8)
    planned, before = (max(row.planning_mean_kn for row in one.steps if row.planning_mean_kn is not None) for one in (wide, table))
    assert planned >= before + 2.0
    assert widths.words in wide.missing
    assert "1.8 times as wide" in widths.words
    assert not any("spells of six hours" in line for line in table.missing)


def test_why_prints_the_widths_that_were_learnt(kept_home: Path) -> None:
    now = NOON + timedelta(hours=72)
    with Store.open(book_of(kept_home), now) as store:
        Learning(store, BOAT, lambda found: None).run(now)
        found = learnt_in(store)
    assert found is not None
    words = [
        "why", "--boat", str(BOAT), "--route", str(ready("config", "passage-bermuda-horta.toml")), "--hours", "12",
        "--forecast", str(ready("fixtures", "kittiwake-2026051612.grib2")), "--now", f"{NOON:%Y-%m-%dT%H:%MZ}", "--position", "36 30.0 N, 52 00.0 W",
    ]  # fmt: skip
    said = CliRunner().invoke(main, [*words, "--learnt", str(kept_home)])
    assert said.exit_code == 0, said.output
    text = " ".join(said.output.split())
    assert found.words in text
    assert f"{found.widening.timing_h[2]:.3g}" in text.split("timing h")[1].split("place nm")[0]
    assert "spells of six hours" not in CliRunner().invoke(main, words).output


@pytest.mark.parametrize("kept", [False, True])
def test_why_refuses_a_home_that_has_learnt_nothing(tmp_path: Path, kept: bool) -> None:
    from watch.commands.orders import learnt_widths

    if kept:
        Store.open(book_of(tmp_path), NOON).close()
    with pytest.raises(BadInputError, match="learn_widths = true" if kept else "no watch was ever kept there"):
        learnt_widths(tmp_path)


def test_it_is_off_unless_the_settings_ask_for_it(tmp_path: Path) -> None:
    text = ready("config", "watch.toml").read_text(encoding="utf-8")
    folder = ready("config", "watch.toml").parent
    text = text.replace('"boat-sloop', f'"{folder}/boat-sloop').replace('"passage-', f'"{folder}/passage-').replace('"shelters-', f'"{folder}/shelters-')
    for asked in (False, True):
        path = tmp_path / "watch.toml"
        path.write_text(text.replace("# learn_widths", "learn_widths") if asked else text)
        found = read_watch_file(path)
        assert found.config.stand.learn_widths is asked
        assert any("teaches" in line for line in found.in_words()) is asked
