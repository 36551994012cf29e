"""Two orders compared, as the sailor is told of it in the middle of the night. The orders are invented."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from fixtures.make_demo import nominal_track
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.forecast.grib import read
from watch.instruments.ahead import apply
from watch.instruments.compare import compare
from watch.instruments.expected import Expected
from watch.instruments.steps import ObservedSteps, Step, WindHeight
from watch.orders.differences import Change, Severity, Topic, differences
from watch.orders.document import Feature, IfMissed, JobOrder, Orders, ShelterOrder, StepRow, WindowOrder
from watch.orders.met import quantile
from watch.service.gather import gather
from watch.service.one_pass import one_pass
from watch.units import kn_to_ms
from watch.weather.look import Where
from watch.weather.plain import plain_along
from watch.weather.scenarios import make_scenarios
from watch.when import ShipTime, from_np, parse_utc

ROOT = Path(__file__).resolve().parents[2]
SHIP = ShipTime(-180)
NOON = parse_utc("2026-05-16T15:00Z")


def at(clock: str) -> datetime:
    """Ship's time on the day, as in '18:50'."""
    return NOON + timedelta(hours=int(clock[:2]) - 12, minutes=int(clock[3:]))


def job(name: str, start: str, closes: str, reason: str = "gust", before: str = "main: reef 1", after: str = "main: reef 2") -> JobOrder:
    missed = IfMissed(hard_chance=0.4, sail_plan=None, when=None, gust_kn=None, hard_kn=None, instead=(), words="")
    return JobOrder(
        number=1, job=name, place="mast", minutes=15, reserve_minutes=10, heading="any", from_state=before, to_state=after,
        plan_before="", plan_after="", call=at(start) - timedelta(minutes=15), start=at(start), end=at(start) + timedelta(minutes=15),
        window=None, closes=at(closes), closes_reason=reason, closes_words="", chance=1.0, in_dark=False, limits_words="", because="",
        if_missed=missed, shuts=(), rests_on="",
    )  # fmt: skip


def window(name: str, first: str, last: str) -> WindowOrder:
    return WindowOrder(job=name, first_start=at(first), last_start=at(last), chance=1.0, reason="gust", words="")


def feature(likely: str, gust: int | None = 40, kind: str = "cold front") -> Feature:
    when = at(likely)
    two = timedelta(hours=2)
    return Feature(kind=kind, early=when - two, likely=when, late=when + two, chance=0.9, gust_kn=gust, words="")


def shelter(turn_by: str | None) -> ShelterOrder:
    return ShelterOrder(name="Horta", kind="shelter", distance_nm=100.0, turn_by=None if turn_by is None else at(turn_by), arrival=None,
                        arrival_early=None, arrival_late=None, chance=0.9, daylight=True, gust_kn=None, miles_lost_nm=None,
                        sea_room_h=None, reason="the swell", words="", rank=1)


def step(clock: str, gust: float | None) -> StepRow:
    names = StepRow.__dataclass_fields__
    empty = dict.fromkeys(names) | {"time": at(clock), "planning_gust_kn": gust}
    return StepRow(**empty)  # type: ignore[arg-type]


def orders(made: str = "13:00", *, jobs: tuple[JobOrder, ...] = (), state: str = "main: reef 1", **more: object) -> Orders:
    base = Orders(
        boat="Kittiwake", passage="", made_at=at(made), ship_time=SHIP, latitude_deg=36.0, longitude_deg=-50.0, to_go_nm=900.0,
        arrival=None, forecasts=(), weathers=40, rig_state=state, sail_plan="", jobs=jobs, plans=(), windows=(), night=None, wind=(),
        outlook=(), shelters=(), margin=(), hard_chance=0.01, hard_ceiling=0.05, least_hard_chance=0.0, feasible=True, verdict="",
        verdict_more=(), planning_share=0.9, window_chance=0.9, ends_at=at("23:00"), ends_reason="", missing=(), cautions=(), steps=(),
    )  # fmt: skip
    return replace(base, **more)  # type: ignore[arg-type]


def told(old: Orders, new: Orders) -> list[tuple[str, Severity]]:
    return [(change.words, change.severity) for change in differences(old, new)]


REEF, JIB = "put in the second reef", "bend on and set the storm jib"

CASES: list[tuple[Orders, Orders, list[tuple[str, Severity]]]] = [
    (orders(jobs=(job(JIB, "15:00", "18:50"),)), orders(jobs=(job(JIB, "15:00", "16:40"),)),
     [(f"“{JIB}” now closes 16:40, was 18:50", Severity.EARLIER)]),
    (orders(jobs=(job(JIB, "15:00", "16:40"),)), orders(jobs=(job(JIB, "15:00", "18:50"),)),
     [(f"“{JIB}” now closes 18:50, was 16:40", Severity.BETTER)]),
    (orders(jobs=(job(JIB, "15:00", "16:40"),)), orders(jobs=(job(JIB, "15:10", "16:30"),)), []),
    (orders(jobs=(job(JIB, "15:00", "22:00", "open"),)), orders(jobs=(job(JIB, "15:00", "17:00"),)),
     [(f"“{JIB}” now closes 17:00, did not close before", Severity.EARLIER)]),
    (orders(jobs=(job(JIB, "15:00", "17:00"),)), orders(jobs=(job(JIB, "15:00", "22:00", "open"),)),
     [(f"“{JIB}” no longer closes, as far as the forecast goes; was 17:00", Severity.BETTER)]),
    (orders(), orders(jobs=(job(REEF, "17:00", "19:00"),)), [(f"new job: “{REEF}” at 17:00, closes 19:00", Severity.WORSE)]),
    (orders(jobs=(job(REEF, "17:00", "19:00"),)), orders(), [(f"“{REEF}” is no longer needed", Severity.BETTER)]),
    (orders(jobs=(job(REEF, "17:00", "19:00"),)), orders(windows=(window(REEF, "12:00", "12:50"), window(JIB, "14:00", "15:00"))),
     [(f"“{REEF}” can no longer be done: it has no deck window left", Severity.WORSE)]),
    (orders(jobs=(job(REEF, "17:00", "19:00"),)), orders(windows=(window(REEF, "12:00", "13:50"),)),
     [(f"“{REEF}” is no longer needed", Severity.BETTER)]),
    (orders(jobs=(job(REEF, "17:00", "19:00"),)), orders(hard_chance=0.02501),
     [("chance of a hard limit by the forecast 3 in 100, was 1 in 100", Severity.WORSE),
      (f"“{REEF}” is no longer in the orders, and the night has become worse", Severity.WORSE)]),
    (orders(missing=("no waves (sea, period)",)), orders(missing=("no waves (period)",)), []),
    (orders(missing=("no waves (period)",)), orders(missing=("no waves (period, sea)",)), [("not known: no waves (sea)", Severity.WORSE)]),
    (orders(missing=("no waves",)), orders(), [("known again, or no longer asked for: no waves", Severity.BETTER)]),
    (orders(outlook=(feature("20:00", kind="trough"),)), orders(outlook=(feature("18:00"),)),
     [("cold front (was trough) 2 h earlier, about 18:00", Severity.EARLIER)]),
    (orders(jobs=(job(REEF, "14:00", "19:00"),)), orders("15:00", state="main: reef 2"), [(f"“{REEF}” is done", Severity.SAME)]),
    (orders(jobs=(job(REEF, "14:00", "15:00"),)), orders("16:00"), [(f"“{REEF}” was not done and closed at 15:00", Severity.WORSE)]),
    (orders(jobs=(job(REEF, "17:00", "20:00"),)), orders(jobs=(job(REEF, "15:30", "20:00"),)),
     [(f"“{REEF}” now at 15:30, was 17:00", Severity.EARLIER)]),
    (orders(jobs=(job(REEF, "14:00", "20:00"),)), orders("14:30", jobs=(job(REEF, "14:40", "20:00"),)),
     [(f"“{REEF}” now at 14:40, was 14:00, which has passed", Severity.SAME)]),
    (orders(hard_chance=0.01), orders(hard_chance=0.03), [("chance of a hard limit by the forecast 3 in 100, was 1 in 100", Severity.WORSE)]),
    (orders(hard_chance=0.03), orders(hard_chance=0.01), [("chance of a hard limit by the forecast 1 in 100, was 3 in 100", Severity.BETTER)]),
    (orders(), orders(feasible=False), [("the night can no longer be met within the limits", Severity.WORSE)]),
    (orders(outlook=(feature("20:00"),)), orders(outlook=(feature("18:00"),)), [("cold front 2 h earlier, about 18:00", Severity.EARLIER)]),
    (orders(outlook=(feature("18:00"),)), orders(outlook=(feature("20:00"),)), [("cold front 2 h later, about 20:00", Severity.SAME)]),
    (orders(outlook=(feature("18:00"),)), orders(outlook=(feature("18:10", 46),)), [("cold front gusts 46 kn, was 40", Severity.WORSE)]),
    (orders(outlook=(feature("18:00"),)), orders(outlook=(feature("18:00", None),)),
     [("cold front its gusts are not known any more", Severity.WORSE)]),
    (orders(), orders(outlook=(feature("18:00"),)), [("cold front now expected about 18:00", Severity.WORSE)]),
    (orders(outlook=(feature("14:00"),)), orders("19:00"), []),
    (orders(hard_chance=0.01), orders(hard_chance=0.31, unforecast_chance=0.3), []),  # squalls that no forecast shows: not the forecast's doing
    (orders(hard_chance=0.31, unforecast_chance=0.3), orders(hard_chance=0.34, unforecast_chance=0.31),
     [("chance of a hard limit by the forecast 3 in 100, was 1 in 100", Severity.WORSE)]),
    (orders(shelters=(shelter("20:00"),)), orders(shelters=(shelter("18:00"),)),
     [("turn for Horta by 18:00, was 20:00", Severity.EARLIER)]),
    (orders(shelters=(shelter("20:00"),)), orders(shelters=(shelter(None),)),
     [("Horta can no longer be reached in time: the swell", Severity.WORSE)]),
    (orders(), orders(missing=("no waves",)), [("not known: no waves", Severity.WORSE)]),
    (orders(steps=(step("14:00", 30.0), step("15:00", 31.2))), orders(steps=(step("15:00", 35.1), step("16:00", 60.0))),
     [("strongest gust planned for 36 kn about 15:00, was 32", Severity.WORSE)]),
    (orders(steps=(step("14:00", 30.0),)), orders(steps=(step("14:00", None),)),
     [("the gusts from 14:00 on are not known any more for 10 min", Severity.WORSE)]),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "expected"), CASES)
def test_what_is_told(old: Orders, new: Orders, expected: list[tuple[str, Severity]]) -> None:
    assert told(old, new) == expected


def test_the_worst_comes_first() -> None:
    old = orders(jobs=(job(JIB, "15:00", "18:50"), job(REEF, "17:00", "19:00")), outlook=(feature("20:00"),))
    new = orders(jobs=(job(JIB, "15:00", "16:40"),), outlook=(feature("18:00"),), hard_chance=0.2)
    changes = differences(old, new)
    assert [change.topic for change in changes] == [Topic.HARD_CHANCE, Topic.NO_JOB, Topic.CLOSES, Topic.FEATURE]
    assert [change.severity for change in changes] == sorted((change.severity for change in changes), reverse=True)


def test_the_same_job_twice_is_matched_by_its_time() -> None:
    twice = (job(REEF, "15:00", "16:00"), job(REEF, "21:00", "22:00"))
    assert differences(orders(jobs=twice), orders("15:30", jobs=twice[1:], state="main: reef 2")) == (
        Change(topic=Topic.DONE, severity=Severity.SAME, subject=REEF, words=f"“{REEF}” is done"),)


def test_beyond_the_day_the_weekday_is_said() -> None:
    later = replace(job(JIB, "15:00", "18:50"), closes=at("12:00") + timedelta(days=1))
    assert told(orders(jobs=(job(JIB, "15:00", "18:50"),)), orders(jobs=(later,)))[0][0] == f"“{JIB}” now closes Sun 12:00, was 18:50"


# The invented low of the demo (source demo-1): the run of midnight has its front two hours later and all of it 12 % weaker than the
# run of noon.


@cache
def demo(run: str) -> Orders:
    own = read_boat(ROOT / "config" / "boat-sloop.toml")
    asked = gather(own, parse_state(own, "main: reef 1"), ROOT / "config" / "passage-bermuda-horta.toml",
                   [ROOT / "fixtures" / f"kittiwake-{run}.grib2"], NOON, "36.5, -52.0", None, 30.0)
    return one_pass(asked).orders


@pytest.mark.source("demo-1")
def test_the_next_run_of_the_demo_is_told_as_earlier_and_stronger() -> None:
    changes = differences(demo("2026051600"), demo("2026051612"))
    front = next(c for c in changes if c.topic is Topic.FEATURE and "cold front" in c.subject)
    told = re.search(r"(\d+) h(?: (\d+) min)? earlier", front.words)
    assert told, front.words
    assert abs(60 * int(told[1]) + int(told[2] or 0) - 120) <= 30, "two hours, as invented, within half an hour: the middle of many weathers"
    assert front.severity is Severity.WORSE, "and stronger"
    assert any(c.topic is Topic.WIND and c.severity is Severity.WORSE for c in changes)
    assert differences(demo("2026051612"), demo("2026051612")) == ()


@pytest.mark.source("demo-1")
def test_the_same_is_seen_by_the_instruments_ten_minutes_by_ten() -> None:
    """The weather of the noon run observed, held against the run of midnight, an hour after the front has passed; and it is carried
    into the scenarios ahead."""
    forecasts = [read([ROOT / "fixtures" / f"kittiwake-{run}.grib2"]) for run in ("2026051600", "2026051612")]
    time = np.datetime64("2026-05-16T12:00:00", "s") + np.arange(30 * 6) * np.timedelta64(600, "s")
    where = Where(time=time, latitude=nominal_track(time)[0], longitude=nominal_track(time)[1])
    seen, plain = (plain_along(forecast, where) for forecast in reversed(forecasts))
    now = 18 * 6
    rows = [Step(start_s=float(t.astype(np.int64)), mean_ms=kn_to_ms(float(kn)), pressure_pa=float(p) * 100.0)
            for t, kn, p in zip(time[:now], seen["mean_kn"], seen["pressure_hpa"], strict=False)]
    scenarios = make_scenarios(forecasts[0], where)
    expected = Expected.of(scenarios, timing_width_h=2.0, plain_mean_ms=kn_to_ms(plain["mean_kn"]),
                           plain_pressure_pa=plain["pressure_hpa"] * 100.0)
    update = compare(replace(ObservedSteps.of(rows), height=WindHeight.TEN_METRES), expected, from_np(time[now]))
    assert 1.0 <= update.hours_early <= 2.6
    assert 1.03 <= update.strength <= 1.3
    ahead = scenarios.isel(time=slice(now, None))
    carried = apply(update, ahead)
    assert set(carried.data_vars) == set(ahead.data_vars)
    assert abs(float(carried["weight"].sum()) - 1.0) < 1e-9
    truth = kn_to_ms(seen["mean_kn"][now : now + 18])
    before, after = (np.abs(quantile(s["low_ms"].values, s["weight"].values, 0.5)[:18] - truth).mean() for s in (ahead, carried))
    assert after < before
