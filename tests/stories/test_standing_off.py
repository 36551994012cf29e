"""Coming to an entrance before it may be taken: she waits outside, if she can, and what she meets meanwhile counts. All invented but the land."""

from datetime import timedelta

import numpy as np
import pytest

from tests.stories.seas import EASY, NOON, forecast, question, route, shelter
from watch.orders.leg_sails import sails_of
from watch.orders.shelter import judge_shelters
from watch.orders.shelter_reasons import TurnReason
from watch.orders.standing_off import waiting_limits_kn
from watch.passage.land import load_land
from watch.passage.light import Need, light_enough
from watch.when import from_np

BY_DAY = EASY.model_copy(update={"daylight": True})
PLACE = (36.0, -52.3)
OUT = route((36.0, -52.0), (36.0, -42.0))
SEA = load_land(33.0, 39.0, -56.0, -40.0)  # open ocean: no land in it
AZORES = load_land(36.0, 42.0, -36.0, -26.0)


def quiet(hour, lat, lon, member):
    return 180.0, 15.0, 19.0, 1.5


def judged(weather=quiet, land=SEA, entrance=BY_DAY, **given):
    asked = question(forecast(weather), [shelter("quay", *PLACE, entrance=entrance)], OUT, land=land, **given)
    return asked, judge_shelters(asked)[0]


def test_in_a_quiet_night_she_waits_for_the_light_and_the_turn_is_good() -> None:
    asked, turns = judged()
    _, at_any_hour = judged(entrance=EASY)
    dark = np.flatnonzero((turns.waits > 0.5) & np.isfinite(turns.middle_h))
    assert len(dark) > 3
    assert np.allclose(turns.chance[dark], 1.0)
    for h in dark:
        goes_in = from_np(asked.weathers.hours[0]) + timedelta(hours=float(turns.middle_h[h]))
        mark = np.array([np.datetime64(goes_in.replace(tzinfo=None), "s")])
        before = mark - np.timedelta64(10, "m")
        assert light_enough(Need.DAY, mark, [[PLACE[0]]], [[PLACE[1]]]).all(), "she goes in at first light"
        assert not light_enough(Need.DAY, before, [[PLACE[0]]], [[PLACE[1]]]).any(), "and not later than that"
        assert turns.middle_h[h] == pytest.approx(at_any_hour.middle_h[h] + turns.waits_h[h], abs=0.2)
    by_day = np.flatnonzero(turns.waits == 0.0)
    assert np.array_equal(turns.middle_h[by_day], at_any_hour.middle_h[by_day], equal_nan=True), "by day nothing is waited for"


def test_where_land_is_not_known_she_does_not_wait() -> None:
    _, turns = judged(land=None)
    assert not (turns.waits > 0.0).any()
    assert (turns.reason == TurnReason.DARK).any()


def gusts_by_night(hour, lat, lon, member):
    """A gale in the small hours, from four to six UTC, that is over by first light."""
    night = (hour >= 16) & (hour <= 18)
    return 180.0, np.where(night, 40.0, 15.0), np.where(night, 70.0, 19.0), 1.5


def test_a_gale_while_she_waits_is_what_shuts_it() -> None:
    _, turns = judged(gusts_by_night)
    _, quiet_turns = judged()
    before = np.flatnonzero((quiet_turns.waits > 0.5) & (quiet_turns.middle_h - quiet_turns.waits_h < 15.0))
    assert len(before), "there before the gale, but in the dark"
    assert (turns.chance[before] == 0.0).all()
    assert turns.reason[before[0]] == TurnReason.WAIT_GUST
    assert np.isin(turns.reason[before], [TurnReason.WAIT_GUST, TurnReason.OVERTAKEN]).all(), "or it meets a later one on the way"
    free, _ = judged(gusts_by_night, entrance=EASY)
    assert judge_shelters(free)[0].chance[before[0]] == 1.0, "who may go in by night lies safe before it"


def test_a_night_with_no_forecast_is_no_night_to_wait_in() -> None:
    def unknown(hour, lat, lon, member):
        gap = (hour >= 16) & (hour <= 18)
        return 180.0, np.where(gap, np.nan, 15.0), np.where(gap, np.nan, 19.0), 1.5

    _, turns = judged(unknown)
    _, quiet_turns = judged()
    waits = np.flatnonzero((quiet_turns.waits > 0.5) & (quiet_turns.middle_h - quiet_turns.waits_h < 15.0))
    assert len(waits)
    assert (turns.chance[waits] == 0.0).all()
    assert (turns.reason[waits] == TurnReason.UNKNOWN).all()


def test_no_waiting_off_a_lee_shore() -> None:
    """Off the west side of Flores by night in a force 7: from the west the island is under her lee, from the east it shelters her."""
    place = (39.45, -31.45)

    def blowing(from_deg):
        def weather(hour, lat, lon, member):
            return from_deg, 29.0, 33.0, 2.0

        return weather

    found = {}
    for from_deg in (270.0, 90.0):
        box = (36.0, 43.0, -38.0, -27.0)
        asked = question(forecast(blowing(from_deg), hours=48, box=box, start=NOON), [shelter("west bay", *place, entrance=BY_DAY)],
                         route((39.45, -31.6), (39.2, -34.0)), land=AZORES, state="main: reef 2, genoa: rolled")  # fmt: skip
        found[from_deg] = judge_shelters(asked)[0]
    onto, off = found[270.0], found[90.0]
    dark = np.flatnonzero((onto.waits > 0.9) & np.isfinite(onto.middle_h))
    assert len(dark)
    assert (onto.reason[dark] == TurnReason.WAIT_LAND).all()
    dark = np.flatnonzero((off.waits > 0.9) & np.isfinite(off.middle_h))
    assert len(dark)
    assert not (off.reason == TurnReason.WAIT_LAND).any()


def test_a_bar_is_passed_only_at_the_times_of_the_file() -> None:
    spans = ((NOON + timedelta(hours=14), NOON + timedelta(hours=16)), (NOON + timedelta(hours=26), NOON + timedelta(hours=28)))
    _, turns = judged(entrance=EASY.model_copy(update={"bar": True, "open_at": spans}))
    known = np.isfinite(turns.middle_h) & (turns.chance > 0.9)
    inside = [(14 <= h <= 16) or (26 <= h <= 28) for h in turns.middle_h[known]]
    assert len(inside) > 10
    assert all(inside)
    assert turns.waits[0] == 1.0, "there soon, she waits for the first of them"
    assert turns.middle_h[0] == pytest.approx(14.0)
    late = np.flatnonzero(np.isfinite(turns.middle_h) & (turns.middle_h > 28.0))
    assert len(late)
    assert (turns.reason[late] == TurnReason.TIDE).all(), "after the last of them nothing is known of it"


def test_only_the_boat_that_can_heave_to_does_and_it_lets_her_wait_in_more() -> None:
    limits = {}
    for name in ("sloop", "cutter"):
        rig = question(forecast(quiet, hours=6), [], OUT, boat_name=name, state="main: reef 1").rig
        sails = sails_of(rig)
        limits[name] = (dict(zip(sails.plan_names, waiting_limits_kn(rig, sails), strict=True)), sails)
    found, sails = limits["sloop"]
    for p, name in enumerate(sails.plan_names):
        assert found[name] in (-np.inf, pytest.approx(float(sails.hard_kn[p].min()))), "under sail, at the lowest of its limits"
    assert found["bare poles, forestay bare"] == -np.inf, "nobody goes to and fro under bare poles"
    found, sails = limits["cutter"]
    hove_to = {n for p, n in enumerate(sails.plan_names) if found[n] > float(sails.hard_kn[p].min())}
    assert hove_to == {"three reefs alone", "three reefs and staysail"}, "what its file heaves to under, and more than it bears under sail"
