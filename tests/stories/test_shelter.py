"""By when to turn for shelter: weather in, the choice and what closes it out. All invented but the land."""

import numpy as np
import pytest

from tests.stories.seas import EASY, forecast, question, route, shelter
from watch.orders.against import over_hard
from watch.orders.leg_sails import Carried, LegWeather, sails_of
from watch.orders.sea_room import Drift, lee_shores, sea_room
from watch.orders.shelter import judge_shelters
from watch.orders.shelter_reasons import TurnReason
from watch.orders.turning import good_turns, last_turn_h
from watch.orders.weights import Aims
from watch.passage.land import load_land
from watch.passage.light import Need, light_enough
from watch.passage.shelters import Entrance
from watch.when import from_np

OUT = route((36.0, -52.0), (36.0, -42.0))  # due east; a shelter west of it lies farther astern with every hour
FRONT_H = 24.0
HUGE = 75.0  # gusts over every hard limit the sloop has


def front(hour, lat, lon, member):
    """South wind, and at 24 h (members an hour apart) a north-wester that no sail plan of hers may meet at sea."""
    after = hour >= FRONT_H + member - 2
    return np.where(after, 315.0, 180.0), np.where(after, 40.0, 15.0), np.where(after, HUGE, 19.0), np.where(after, 5.0, 1.5)


def quiet(hour, lat, lon, member):
    return 180.0, 15.0, 19.0, 1.5


def only(asked, found):
    """The one shelter's turns, and its windows at the asked-for chance."""
    turns = judge_shelters(asked)[0]
    return turns, good_turns(turns.chance, found if isinstance(found, float) else asked.aims.shelter_chance)


def test_an_island_to_leeward_of_a_front_has_to_be_reached_before_it() -> None:
    asked = question(forecast(front), [shelter("isle", 36.0, -53.0)], OUT)
    turns, windows = only(asked, None)
    assert len(windows) == 1
    assert windows[0].first == 0
    last = windows[0].last
    assert turns.reason[last + 1] == TurnReason.OVERTAKEN
    assert turns.late_h[last] <= FRONT_H - 2.0, "she is in before the earliest of the five fronts"
    assert turns.late_h[last] > FRONT_H - 2.0 - 3.5, "and not hours before it without need"


def test_reefing_for_a_front_does_not_let_it_catch_her() -> None:
    """Where minding the hard limit would make her too slow to be in before it, the faster list of sail plans counts."""
    def at_six_in_the_morning(hour, lat, lon, member):
        after = hour >= 18.0
        return np.where(after, 315.0, 180.0), np.where(after, 40.0, 15.0), np.where(after, HUGE, 19.0), 1.5

    found = forecast(at_six_in_the_morning)
    isle = [shelter("isle", 36.0, -52.5)]
    _, windows = only(question(found, isle, OUT), None)
    _, as_she_is = only(question(found, isle, OUT, aims=Aims(stay_hours=6, window_chance=2.0)), None)  # no deck window is ever open
    assert windows[-1].last >= as_she_is[-1].last


def test_the_turn_by_time_is_the_steady_one_by_hand() -> None:
    """Steady wind abeam both ways: as fast back as out, so half the time until the first front less what was in hand at the start."""
    asked = question(forecast(front), [shelter("isle", 36.0, -52.0)], OUT)
    _, windows = only(asked, 1.0)
    steps = asked.track.made_good_kn[: 10 * 6]
    out_kn, back_kn = float(steps.mean()), float(steps.mean())
    by_hand = last_turn_h(FRONT_H - 2.0 - 1.0, 0.0, out_kn, back_kn)  # the hour before the front already holds its gust
    assert windows[-1].last == pytest.approx(np.floor(by_hand), abs=1.0)


def test_a_harbour_open_to_the_new_wind_is_none_although_it_can_be_reached() -> None:
    open_to_it = shelter("bay", 36.0, -52.5, open_to_wind=((270.0, 360.0),), open_wind_kn=20.0)
    closed_to_it = shelter("cove", 36.0, -52.5, open_to_wind=((90.0, 200.0),), open_wind_kn=20.0)
    turns, windows = only(question(forecast(front), [open_to_it], OUT, aims=None), None)
    in_before = turns.late_h < FRONT_H - 8.0
    assert windows == () or windows[-1].last < 18
    soon = np.flatnonzero(~in_before & np.isfinite(turns.late_h) & (turns.late_h < FRONT_H - 3.0))
    assert len(soon)
    assert (turns.reason[soon] == TurnReason.EXPOSED).all(), "in before the veer, and then the wind blows into it"
    assert (turns.chance[soon] < 0.9).all()
    assert turns.chance[soon[-1]] == 0.0, "in all five the veer comes within six hours"
    good, _ = only(question(forecast(front), [closed_to_it], OUT), None)
    assert np.allclose(good.chance[soon], 1.0)


def test_an_entrance_that_wants_daylight_is_shut_by_the_dark() -> None:
    asked = question(forecast(quiet), [shelter("quay", 36.0, -52.3, entrance=EASY.model_copy(update={"daylight": True}))], OUT)
    turns, windows = only(asked, None)
    assert windows
    first = windows[0]
    assert turns.reason[first.last + 1] == TurnReason.DARK
    arrival = from_np(asked.weathers.hours[0] + np.timedelta64(int(turns.late_h[first.last] * 3600), "s"))
    time = np.array([np.datetime64(arrival.replace(tzinfo=None), "s")])
    assert light_enough(Need.DAY, time, np.array([[36.0]]), np.array([[-52.3]])).all()
    assert len(windows) > 1, "a turn so late that she is there next morning is good again, and is said"
    dark = np.flatnonzero(turns.reason == TurnReason.DARK)
    assert (turns.daylight[dark] < 1.0).all()


def test_an_entrance_is_not_taken_in_too_much_wind_or_sea() -> None:
    windy = shelter("cut", 36.0, -52.3, entrance=Entrance(mean_kn=14, sea_m=9, daylight=False, bar=False))
    rough = shelter("bar", 36.0, -52.3, entrance=Entrance(mean_kn=40, sea_m=1.4, daylight=False, bar=True))
    shut = shelter("mole", 36.0, -52.3, entrance=Entrance(mean_kn=40, sea_m=9, shut_to=((170, 190),), daylight=False, bar=False))
    for one, reason in ((windy, TurnReason.ENTRANCE_WIND), (rough, TurnReason.ENTRANCE_SEA), (shut, TurnReason.ENTRANCE_WIND)):
        turns, windows = only(question(forecast(quiet, hours=24), [one], OUT), None)
        assert windows == ()
        assert turns.reason[0] == reason


def test_swell_from_an_unknown_side_counts_as_from_the_open_one() -> None:
    swell = shelter("bay", 36.0, -52.3, open_to_swell=((0.0, 10.0),), swell_m=1.0)
    turns, windows = only(question(forecast(quiet, hours=24), [swell], OUT), None)
    assert windows == ()
    assert turns.reason[0] == TurnReason.SWELL


def test_to_windward_in_a_gale_is_said_to_be_ahead() -> None:
    def westerly(hour, lat, lon, member):
        return 270.0, 36.0, 40.0, 4.0

    asked = question(forecast(westerly, hours=36), [shelter("weather isle", 36.0, -53.5)], OUT, state="main: reef 3, genoa: rolled")
    turns, windows = only(asked, None)
    assert windows == ()
    assert (turns.reason[:10] == TurnReason.WIND_AHEAD).all()


def test_a_place_shut_in_by_land_has_no_way_over_water() -> None:
    land = load_land(37.0, 40.0, -30.0, -27.0)
    found = forecast(quiet, hours=24, box=(36.0, 40.0, -31.0, -26.0))
    asked = question(found, [shelter("the middle of Pico", 38.47, -28.38)], route((38.0, -29.0), (38.0, -27.5)), land=land)
    turns, windows = only(asked, None)
    assert windows == ()
    assert turns.reason[0] == TurnReason.NO_WAY
    assert turns.resolution_nm > 0.0


def test_while_a_job_is_in_hand_the_stricter_of_two_limits_counts() -> None:
    rig = question(forecast(quiet, hours=6), [], OUT).rig
    sails = sails_of(rig)
    weak, stout = int(np.argmin(sails.hard_kn[:, 90])), int(np.argmax(sails.hard_kn[:, 90]))
    between = 0.5 * float(sails.hard_kn[weak, 90] + sails.hard_kn[stout, 90])
    shape = (1, 2, 1)
    met = LegWeather(
        mean_kn=np.full(shape, 10.0), gust_kn=np.full(shape, between), tws_kn=np.full(shape, 10.0), sea_m=np.ones(shape),
        angle=np.full(shape, 90), hours=np.array([2]), day=np.ones((1, 2), bool), moon=np.ones((1, 2), bool), weight=np.ones(1),
    )  # fmt: skip
    for plan, into, over in ((weak, stout, True), (stout, weak, True), (stout, stout, False)):
        found = over_hard(sails, met, Carried(plan=np.full((1, 2), plan), into=np.full((1, 2), into)))
        assert (found == over).all()


def test_what_is_not_known_is_not_allowed() -> None:
    found = forecast(quiet, hours=24)
    for one in found.fields.values():
        one.values[2:, 4:] = np.nan  # three of five members end after three hours
    asked = question(found, [shelter("isle", 36.0, -52.6)], OUT)
    turns, windows = only(asked, None)
    assert windows == ()
    assert turns.chance.max() <= 0.4 + 1e-6
    assert turns.reason[0] == TurnReason.UNKNOWN


def test_too_far_for_the_forecast_is_an_answer() -> None:
    turns, windows = only(question(forecast(quiet, hours=12), [shelter("far", 36.0, -58.0)], OUT), None)
    assert windows == ()
    assert (turns.reason == TurnReason.TOO_FAR).all()


def test_sea_room_runs_out_at_three_in_the_morning() -> None:
    """Run off before a westerly at 7 kn from 39.45 N, 34.00 W: Flores lies 125 miles to leeward, 20 are asked for, 15 hours are left."""
    def westerly(hour, lat, lon, member):
        return 270.0, 30.0, 38.0, 4.0

    land = load_land(37.0, 42.0, -36.0, -28.0)
    assert land is not None
    found = forecast(westerly, hours=30, box=(36.0, 43.0, -38.0, -26.0))
    asked = question(found, [], route((39.45, -34.0), (39.45, -33.0)))
    room = sea_room(
        asked.weathers, land, np.array([0]), np.array([39.45]), np.array([-34.0]),
        Drift(speed_kn=lambda tws: np.full(tws.shape, 7.0), goes_deg=180.0), 20.0, 24,
    )  # fmt: skip
    runs_out = from_np(asked.weathers.hours[0] + np.timedelta64(int(room.least_h()[0]), "h"))
    assert runs_out.strftime("%H:%M") in ("02:00", "03:00", "04:00")
    assert (room.room_h.max(axis=1) - room.least_h() <= 1.0).all(), "steady weather: alike in all"
    more = sea_room(asked.weathers, land, np.array([0]), np.array([39.45]), np.array([-34.0]),
                    Drift(speed_kn=lambda tws: np.full(tws.shape, 7.0), goes_deg=180.0), 40.0, 24)  # fmt: skip
    assert more.least_h()[0] == pytest.approx(room.least_h()[0] - 20.0 / 7.0, abs=1.0)


def test_a_lee_shore_along_the_route_is_warned_of_and_a_weather_shore_is_not() -> None:
    land = load_land(37.0, 42.0, -36.0, -28.0)
    assert land is not None
    lat, lon = np.full(12, 39.45), np.linspace(-32.4, -31.5, 12)  # towards the west side of Flores

    def wind(from_deg, mean_kn):
        found = forecast(lambda h, a, b, k: (from_deg, mean_kn, mean_kn * 1.2, 3.0), hours=12, box=(36.0, 43.0, -38.0, -26.0))
        return question(found, [], route((39.45, -34.0), (39.45, -33.0))).weathers

    onto = lee_shores(wind(270.0, 30.0), land, lat, lon, 20.0)
    assert len(onto) == 1
    assert onto[0].last == 11
    assert onto[0].nearest_nm < 12.0
    assert onto[0].mean_kn == pytest.approx(30.0, abs=0.2)
    assert lee_shores(wind(90.0, 30.0), land, lat, lon, 20.0) == ()
    assert lee_shores(wind(270.0, 12.0), land, lat, lon, 20.0) == (), "a light wind makes no lee shore"
