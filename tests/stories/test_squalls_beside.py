"""Nights in which squalls are reckoned with that no forecast shows: what changes for Kittiwake, and what must not. All invented."""

import pytest

from tests.stories.nights import Table, Told, night
from watch.boat.model import Place
from watch.orders.schedule import Schedule
from watch.orders.tell import Teller
from watch.orders.verdict import verdict
from watch.orders.weights import Aims
from watch.weather.unforecast import COUNTED, NONE
from watch.when import ShipTime

DARK_AT, LIGHT_AT = 8.0, 17.5  # hours after noon
#        hour  mean gust
TRADE = [(0, 15, 19), (36, 15, 19)]
LIGHT_AIRS = [(0, 8, 10), (36, 8, 10)]
SHOWERS = [(0, 18, 26), (36, 18, 26)]  # hard limit under one reef and the whole genoa: 31
FIRST, HALF = "put in the first reef", "roll the genoa to half"


def told(table: Table, state: str, **more: object) -> Told:
    return night(table, state=state, unforecast=COUNTED, **more)  # type: ignore[arg-type]


def foredeck(schedule: Schedule) -> list[str]:
    return [task.job.name for task in schedule.tasks if task.job.place is Place.FOREDECK]


def test_a_fair_night_in_the_trades_is_one_reef_before_dark_and_no_more() -> None:
    made = told(TRADE, "main: full")
    assert made.jobs == [FIRST]
    assert DARK_AT - 1.0 <= made.begins(FIRST) < DARK_AT, "the day is sailed under all plain sail"
    plain = night(TRADE, state="main: full")
    assert plain.jobs == []
    assert made.schedule.risk.unforecast_chance > 0.0
    assert made.schedule.keeps_ceiling, "what no forecast shows does not make a fair night one that is not good enough"


def test_in_light_airs_nothing_is_done() -> None:
    assert told(LIGHT_AIRS, "main: full").jobs == []


@pytest.mark.parametrize("table", [TRADE, LIGHT_AIRS, SHOWERS])
@pytest.mark.parametrize("state", ["", "main: reef 1", "main: reef 2, genoa: half"])
@pytest.mark.parametrize("angle", [60.0, 110.0, 150.0])
def test_without_a_gale_it_never_comes_to_the_storm_jib(table: Table, state: str, angle: float) -> None:
    made = told(table, state, angle=angle)
    assert foredeck(made.schedule) == []
    assert all("storm jib" not in made.schedule.judged.night.rig.plan_name(int(n)) for n in set(made.schedule.carried.tolist()))


def test_a_gusty_night_has_half_the_genoa_rolled_in_before_dark() -> None:
    made, plain = told(SHOWERS, "main: reef 1"), night(SHOWERS, state="main: reef 1")
    assert plain.jobs == []
    assert DARK_AT - 1.5 <= made.begins(HALF) < DARK_AT
    in_dark = made.schedule.carried[round(DARK_AT * 6) : round(LIGHT_AT * 6)]
    assert {"half genoa" in made.schedule.judged.night.rig.plan_name(int(n)) for n in in_dark} == {True}
    because = Teller(made.schedule, ShipTime(-180)).because(next(t for t in made.schedule.tasks if t.job.name == HALF))
    assert because.startswith("in the 12 h after it a squall that no forecast shows would find too much up with chance ")


def test_both_parts_are_said_and_only_the_forecasts_own_is_held_against_the_ceiling() -> None:
    made = told(SHOWERS, "main: reef 1", aims=Aims(hard_ceiling=0.0))
    risk = made.schedule.risk
    assert (risk.forecast_chance, made.schedule.keeps_ceiling) == (0.0, True)
    first, beside = verdict(Teller(made.schedule, ShipTime(-180)))
    assert first == "With these jobs done in time the limits are kept (no weather seen breaks a hard limit)."
    assert beside.startswith("Squalls that no forecast shows come on top: ")
    plain = night(SHOWERS, state="main: reef 1", unforecast=NONE)
    assert len(verdict(Teller(plain.schedule, ShipTime(-180)))) == 1
