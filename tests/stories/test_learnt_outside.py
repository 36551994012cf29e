"""What the instruments change in the orders: the invented front of the demo, come early, stronger, or as forecast. Kittiwake sails on."""

import json
import math
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.instruments.align import Pair, align
from watch.instruments.readings import Doubt, DoubtKind
from watch.instruments.series import Observed
from watch.instruments.steps import ObservedSteps, Step
from watch.instruments.widths import Widths
from watch.orders.document import Compared, Orders
from watch.passage.shelters import Entrance, Shelter
from watch.render.as_json import as_json, schema
from watch.render.from_json import from_json
from watch.render.text import as_text
from watch.service.gather import gather
from watch.service.observing import forecast_as_it_stood, sailed
from watch.service.one_pass import Asked, Pass, one_pass
from watch.units import kn_to_ms
from watch.weather.look import Where
from watch.weather.wind import at_height
from watch.when import from_np, grid, parse_utc, to_np

ROOT = Path(__file__).resolve().parents[2]
EVENING = parse_utc("2026-05-16T22:00Z")
NOON = parse_utc("2026-05-16T12:00Z")
RUNS = ("kittiwake-2026051612", "kittiwake-2026051600", "kittiwake-2026051612-ensemble")


@cache
def asked(now: datetime, *runs: str) -> Asked:
    own = read_boat(ROOT / "config" / "boat-sloop.toml")
    rig = "main: reef 3, genoa: below, storm jib: set" if now == EVENING else "main: reef 1"
    gribs = [ROOT / "fixtures" / f"{run}.grib2" for run in runs or RUNS]
    route = ROOT / "config" / "passage-bermuda-horta.toml"
    return gather(own, parse_state(own, rig), route, gribs, now, "36 40.0 N, 51 00.0 W", None, 40.0)


def seen(now: datetime, early_h: float = 0.0, strength: float = 1.0, *, hours: float = 12.0, fixes: bool = True,
         doubts: tuple[Doubt, ...] = ()) -> Observed:  # fmt: skip
    """What she saw on her way at six knots from the west when the forecast's own weather comes so early and so strong."""
    count, boat = round(6 * hours), asked(now).boat.boat
    time = to_np(now) + np.arange(-count, 0) * np.timedelta64(600, "s")
    latitude, longitude = np.full(count, 36.667), -51.0 - np.arange(count, 0, -1) / 48.0
    there = Where(time=time + np.timedelta64(round(3600 * early_h), "s"), latitude=latitude, longitude=longitude)
    plain = forecast_as_it_stood(asked(now).forecasts, there)
    mean = at_height(kn_to_ms(plain["mean_kn"]), boat.anemometer_height_m) * strength
    rows = zip(time.astype(np.int64), mean, plain["pressure_hpa"], latitude, longitude, strict=True)
    nowhere = math.nan
    store = Observed()
    store.resume([
        Step(start_s=float(s), mean_ms=float(m), gust_ms=1.3 * float(m), pressure_pa=100.0 * float(p), doubts=doubts,
             latitude_deg=float(y) if fixes else nowhere, longitude_deg=float(x) if fixes else nowhere)
        for s, m, p, y, x in rows], now)  # fmt: skip
    return store


@cache
def evening(early_h: float | None = None, strength: float = 1.0) -> Pass:
    observed = None if early_h is None else seen(EVENING, early_h, strength)
    return one_pass(replace(asked(EVENING), observed=observed))


def learnt(made: Pass) -> Compared:
    assert made.orders.compared is not None
    return made.orders.compared


def strongest_kn(orders: Orders) -> float:
    return max(step.planning_gust_kn for step in orders.steps if step.planning_gust_kn is not None)


def test_a_front_that_comes_early_and_stronger_changes_the_orders_and_they_say_what() -> None:
    made = evening(2.0, 1.15)
    found = learnt(made)
    assert found.trusted
    assert found.hours_early is not None
    assert 0.5 <= found.hours_early <= 2.3
    assert found.strength is not None
    assert 1.1 <= found.strength <= 1.3
    assert "stronger than forecast" in found.words
    assert found.glance.split(",")[0] in found.words
    assert "stronger than forecast" in found.glance
    assert strongest_kn(made.orders) >= strongest_kn(evening().orders) + 3
    assert any(line.startswith("cold front") and "earlier" in line for line in found.changed)
    assert any(line.startswith("strongest gust planned for") and "was" in line for line in found.changed)
    assert made.faults == ()


def test_as_forecast_changes_next_to_nothing() -> None:
    made, alone = evening(0.0), evening()
    assert abs(made.orders.hard_chance - alone.orders.hard_chance) <= 0.03
    gusts = [(a.planning_gust_kn, b.planning_gust_kn) for a, b in zip(made.orders.steps, alone.orders.steps, strict=True)]
    ratios = [a / b for a, b in gusts if a is not None and b is not None]
    assert min(ratios) >= 1.0 - Widths().calmer_share - 0.001, "never much calmer than planned for without the instruments"
    assert max(ratios) <= 1.08, "a step or two of the ninth tenth of 45 weathers"
    assert made.orders.feasible == alone.orders.feasible
    assert learnt(made).hours_early == pytest.approx(0.0, abs=0.1)
    assert learnt(made).strength == pytest.approx(1.0, abs=0.02)
    assert learnt(made).glance == "", "as forecast: no line for it"


def squally(now: datetime, *, at_h: tuple[float, ...]) -> Observed:
    """As forecast, but with squalls of twenty minutes, 20 knots over the gusts, so many hours ago."""
    plain = seen(now).closed()
    hit = {len(plain) - round(6 * h) + k for h in at_h for k in (0, 1)}
    store = Observed()
    store.resume([replace(s, gust_ms=s.gust_ms + kn_to_ms(20.0)) if i in hit else s for i, s in enumerate(plain)], now)
    return store


def test_squalls_met_are_reckoned_with_and_the_orders_say_it() -> None:
    quiet = one_pass(replace(asked(NOON), observed=seen(NOON)))
    made = one_pass(replace(asked(NOON), observed=squally(NOON, at_h=(5.0, 2.0))))
    assert learnt(quiet).squalls == ""
    assert learnt(made).squalls.startswith("Squalls met in the last 12 h: 2, gusts up by")
    assert learnt(made).squalls in " ".join(as_text(made.orders).split())
    assert from_json(as_json(made.orders)).compared == made.orders.compared
    gusts = [(a.planning_gust_kn, b.planning_gust_kn) for a, b in zip(made.orders.steps[:60], quiet.orders.steps[:60], strict=True)]
    assert min(a - b for a, b in gusts if a is not None and b is not None) > -3.0
    assert gusts[0][0] is not None
    assert gusts[0][1] is not None
    assert gusts[0][0] > gusts[0][1] + 10.0, "half of the weathers have one, so it is planned for"
    assert made.orders.hard_chance >= quiet.orders.hard_chance


def test_without_instruments_nothing_is_said_of_them() -> None:
    alone = evening()
    assert alone.orders.compared is None
    assert alone.against is None
    assert "BY HER INSTRUMENTS" not in as_text(alone.orders)


def test_instruments_that_have_said_nothing_yet_change_nothing_and_it_is_said() -> None:
    made, alone = one_pass(replace(asked(EVENING), observed=Observed())), evening()
    found = learnt(made)
    assert not found.trusted
    assert (found.hours_early, found.strength, found.changed) == (None, None, ())
    assert found.words in made.orders.missing, "it is among what is not known"
    same = replace(made.orders, compared=None, missing=alone.orders.missing)
    assert same == alone.orders


def test_in_the_text_and_in_the_json() -> None:
    orders = evening(2.0, 1.15).orders
    text = " ".join(as_text(orders).split())
    assert "BY HER INSTRUMENTS - The weather is" in text
    assert "So, against the forecast alone: the night can no longer be met within the limits" in text
    assert "The glass: " in text
    assert max(map(len, as_text(orders).splitlines())) <= 80
    for made in (orders, evening().orders):
        jsonschema.validate(json.loads(as_json(made)), schema())
        assert from_json(as_json(made)).compared == made.compared


def test_a_run_that_has_just_begun_is_not_early_for_that() -> None:
    """Noon, both newest runs begin now: what was observed lies before them, and was as the older run had it."""
    made = one_pass(replace(asked(NOON), observed=seen(NOON)))
    assert made.against is not None
    assert abs(made.against.update.rest_early_h) <= 0.3
    assert abs(learnt(made).hours_early or 0.0) <= 0.3
    assert not any("front" in line or "squalls" in line for line in learnt(made).changed)


def test_with_no_older_run_nothing_is_compared() -> None:
    made = one_pass(replace(asked(NOON, RUNS[0]), observed=seen(NOON)))
    assert not learnt(made).trusted
    assert "there is no forecast for the hours observed" in learnt(made).words


@pytest.mark.parametrize(("begins_h", "known"), [(0.0, False), (-2.0, False), (-4.0, False), (-7.0, False), (-9.0, True), (-12.0, True)])
def test_a_forecast_must_reach_back_for_early_and_for_late(begins_h: float, known: bool) -> None:
    """A run that begins so long before now, in which the wind rises an hour after it was observed to rise."""
    count, margin = 72, 36
    hours = (np.arange(-count - margin, margin)) / 6.0
    rise = 5.0 + 8.0 / (1.0 + np.exp(-(hours + 3.0)))
    forecast = np.where(hours >= begins_h, rise, np.nan)[None]
    observed = (5.0 + 8.0 / (1.0 + np.exp(-(hours + 4.0))))[margin:-margin]
    trust = np.exp(-np.arange(count, 0, -1) / 36.0)
    pair = Pair(observed=observed, forecast=forecast, before=margin, trust=trust, width=np.full(count, 1.0), factor_width=0.2, bias_width=0.5)
    lag = float(align((pair,), lag_width_h=1.3, most_h=6.0).lag_h[0])
    assert np.isfinite(lag) == known
    if known:
        assert -1.2 <= lag <= -0.6


def test_readings_whose_place_is_not_known_are_left_out_and_it_is_said() -> None:
    made = one_pass(replace(asked(EVENING), observed=seen(EVENING, 2.0, 1.3, fixes=False)))
    assert not learnt(made).trusted
    assert learnt(made).doubts == ("12.0 h of readings were left out: her position then is not known",)
    assert "In doubt: 12.0 h of readings were left out" in " ".join(as_text(made.orders).split())
    assert strongest_kn(made.orders) == strongest_kn(evening().orders)


def test_doubts_that_differ_only_in_their_numbers_are_said_once() -> None:
    late = tuple(Doubt(DoubtKind.JUMP, f"jumped by {by} m/s at 12:{by:02d}") for by in range(11, 19))
    made = one_pass(replace(asked(EVENING), observed=seen(EVENING, 2.0, 1.4, doubts=late)))
    assert learnt(made).doubts == ("jumped by 18 m/s at 12:18 (8 like it in the last hour)",)


def test_doubts_of_the_last_hour_are_said_gravest_first() -> None:
    mild = Doubt(DoubtKind.NO_CHECKSUM, "lines without a checksum")
    grave = Doubt(DoubtKind.INSTRUMENTS_DISAGREE, "two anemometers say 20 and 38 kn: one of the two is wrong")
    made = one_pass(replace(asked(EVENING), observed=seen(EVENING, 2.0, 1.4, doubts=(mild, grave))))
    assert learnt(made).doubts == (str(grave), str(mild))
    assert not learnt(made).trusted
    assert strongest_kn(made.orders) == strongest_kn(evening().orders)


@cache
def chances(early_h: float | None, strength: float) -> dict[str, float]:
    """The gust met on each way out of the night, by what her instruments say; None: without them."""
    harbour = Shelter(
        name="invented", kind="lee", latitude=36.8, longitude=-50.2, open_to_wind=(), open_wind_kn=None, open_to_swell=(),
        entrance=Entrance(mean_kn=60, gust_kn=80, sea_m=9, daylight=False, bar=False),
    )  # fmt: skip
    observed = None if early_h is None else seen(EVENING, early_h, strength)
    orders = one_pass(replace(asked(EVENING), hours=30.0, observed=observed, shelters=(harbour,), sea_room=True)).orders
    assert not any("by the forecast alone" in line for line in orders.missing)
    return {s.name: float(s.gust_kn) for s in orders.shelters if s.gust_kn is not None}


def test_shelters_are_judged_by_what_the_instruments_say() -> None:
    alone, stronger, as_forecast = chances(None, 1.0), chances(0.0, 1.3), chances(0.0, 1.0)
    assert "invented" in alone
    assert len(alone) >= 2
    for name in alone:
        assert stronger[name] >= alone[name] + 3, name
        assert abs(as_forecast[name] - alone[name]) <= 3, name


def test_where_she_was_is_read_from_the_fixes_over_the_date_line_too() -> None:
    """East over the date line at six knots: fixes every hour for six hours, then her track."""
    track = evening().track
    start, first = grid(EVENING, 0)[0], to_np(EVENING - timedelta(hours=6))
    rows = [Step(start_s=float((first + np.timedelta64(600 * k, "s")).astype(np.int64)),
                 latitude_deg=40.0 if k % 6 == 5 else math.nan, longitude_deg=((179.9 + 0.02 * k + 180.0) % 360.0 - 180.0) if k % 6 == 5
                 else math.nan) for k in range(36)]  # fmt: skip
    moved = replace(track, latitude=np.full_like(track.latitude, 40.0), longitude=-179.38 + 0.02 * np.arange(len(track.longitude)))
    where, near = sailed(ObservedSteps.of(rows), moved, from_np(start), Widths())
    ahead = where.time >= start
    step_deg = np.diff(where.longitude)
    assert np.all(np.abs((step_deg + 180.0) % 360.0 - 180.0) <= 0.03), "no leap round the world"
    assert np.all((where.longitude >= -180.0) & (where.longitude < 180.0))
    at = np.flatnonzero(where.time == to_np(EVENING - timedelta(hours=3)))[0]
    assert where.longitude[at] == pytest.approx(179.9 + 0.02 * 18 - 360.0, abs=0.03)
    assert near[~ahead].sum() == 6 * 8, "three hours before the first fix, at the end of the first hour, to now"
