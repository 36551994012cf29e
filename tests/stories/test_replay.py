"""Weathers that happen, and what it comes to under each way to decide: counted by hand."""

from dataclasses import replace

import numpy as np
import pytest

from tests.stories.replays import NOON, by_hand, forecast, hours_on, kittiwake, outside, steady, truth
from watch.boat.model import Light
from watch.orders.met import quantile
from watch.orders.solve import Move
from watch.orders.weights import Aims
from watch.service.replay.outside import Outside
from watch.service.replay.planning import corrected, weathers_of
from watch.service.replay.play import Choice, Played, play
from watch.service.replay.policies import never, ours, policy, reactive
from watch.service.replay.tally import Tally, impossible, tally
from watch.units import kn_to_ms

# Kittiwake with all plain sail and the wind on the beam or aft of it: working limit 18 kn of mean wind, hard limit 28 kn of gust.


def came_to(o: Outside, name: str) -> tuple[Tally, Played]:
    played = play(o, policy(name, o))
    return tally(o, played), played


def jobs(o: Outside, played: Played) -> list[str]:
    return [o.ship.rig.edges[move.edge].job.name for move in played.moves]


def test_a_squall_of_forty_minutes_is_counted_to_the_step() -> None:
    o = outside(truth(steady(12.0, 16.0), 24.0, squalls={(5.0, 5.0 + 4 / 6): 36.0}))
    found, _ = came_to(o, "never")
    assert found.hard_hours == pytest.approx(4 / 6)
    assert found.hard_kn_hours == pytest.approx(8.0 * 4 / 6)
    assert found.working_hours == 0.0
    assert found.hours == 24.0
    assert found.changes == 0


def test_a_gust_exactly_at_the_limit_is_inside_and_a_hair_more_is_not() -> None:
    at = truth(steady(12.0, 16.0), 6.0)
    hard_ms = float(kn_to_ms(28.0))
    for gust_ms, hours in ((hard_ms * (1 - 1e-12), 0.0), (hard_ms * (1 + 1e-12), 1 / 6)):
        gust = at.gust_ms.copy()
        gust[20] = gust_ms
        assert came_to(outside(replace(at, gust_ms=gust)), "never")[0].hard_hours == pytest.approx(hours)


def test_what_is_not_known_counts_as_over() -> None:
    at = truth(steady(12.0, 16.0), 6.0)
    gust, mean = at.gust_ms.copy(), at.mean_ms.copy()
    gust[10:13], mean[10:12] = np.nan, np.nan
    found, _ = came_to(outside(replace(at, gust_ms=gust, mean_ms=mean)), "never")
    assert found.hard_hours == pytest.approx(3 / 6)
    assert found.working_hours == pytest.approx(2 / 6)


def test_while_a_job_is_in_hand_the_stricter_of_two_states_counts() -> None:
    """Ten minutes of 36 knots, which reef 2 bears (37) and reef 1 does not (34): just while the reef is shaken out, or just before."""
    shake = "shake out to the first reef"
    for begins, over_steps in ((11, 1), (12, 0), (9, 1)):
        o = outside(truth(steady(12.0, 16.0), 12.0, squalls={(11 / 6, 12 / 6): 36.0}), state="main: reef 2, genoa: half")
        played = play(o, by_hand({begins: shake}))
        if begins == 12:
            assert played.moves == ()  # begun on what was just seen: too much
        assert tally(o, played).hard_hours == pytest.approx(over_steps / 6)


def test_thresholds_act_in_the_step_after_the_limit_was_passed() -> None:
    """The wind goes from 12 to 24 knots at three o'clock and stays: over the working limit until sail is off her."""
    table = [(0.0, 12.0, 16.0), (3.0, 12.0, 16.0), (3.0001, 23.0, 29.0), (100.0, 23.0, 29.0)]
    o = outside(truth(table, 12.0))
    found, played = came_to(o, "reactive")
    first = played.moves[0]
    assert first.begins == 19  # the step from 3:00 to 3:10 is the first with more wind; she sees it at 3:10
    assert found.working_hours > 0.0
    assert not o.felt.carries(1, 1.0)[0]
    assert o.felt.carries(6, 1.0)[played.carried[-1]]  # and in the end she carries what this wind asks for


def test_a_job_wanted_and_not_possible_is_counted_once_an_episode() -> None:
    """Rolled genoa alone, at night, gusts past its limit: what would help is done by day only. Twice, a day's quiet between them."""
    state = "main: down, genoa: rolled"
    dark = {(14.0, 15.0): 55.0, (15.5, 16.0): 55.0, (38.0, 38.5): 55.0}
    o = outside(truth(steady(20.0, 25.0), 48.0, squalls=dark), state=state)
    for name in ("never", "reactive"):
        found, played = came_to(o, name)
        wishes = [(w.step // 6, o.ship.rig.edges[w.edge].job.name) for w in impossible(o, played)]
        if name == "never":
            assert wishes == [(14, "lower the genoa and stow it below"), (38, "lower the genoa and stow it below")]
        assert found.impossible == len(wishes)


def test_a_wish_to_make_sail_costs_way_alone_and_is_not_counted() -> None:
    """Two reefs in, in too much wind to shake one out: she wants to all the same."""
    o = outside(truth(steady(30.0, 38.0), 12.0), state="main: reef 2, genoa: rolled")
    more = play(o, by_hand({25: "shake out to the first reef"}))
    assert [w.step for w in more.in_vain if w.step == 25]
    assert 25 not in [w.step for w in impossible(o, more)]


def test_a_job_done_within_half_an_hour_of_the_wish_was_only_put_off() -> None:
    """Ten minutes too rough for the reef, and then it can be put in."""
    o = outside(truth(steady(16.0, 20.0), 12.0, squalls={(4.0, 4.0 + 1 / 6): 38.0}))
    wants = by_hand({25: "put in the first reef", 27: "put in the first reef"})
    played = play(o, wants)
    assert [move.begins for move in played.moves] == [27]
    assert played.in_vain
    assert impossible(o, played) == []


def test_work_on_the_foredeck_in_the_dark_is_counted_in_minutes() -> None:
    """The storm jib comes down at midnight (twenty minutes; here it needs no light), and at noon next day."""
    own = kittiwake()
    lit = tuple(job.model_copy(update={"light": Light.NONE}) if job.name == "lower the storm jib and stow it below" else job for job in own.job)
    o = outside(truth(steady(12.0, 16.0), 30.0), state="genoa: below, storm jib: set", own=own.model_copy(update={"job": lit}))
    for step, minutes in ((12 * 6, 20.0), (24 * 6, 0.0)):
        found = tally(o, play(o, by_hand({step: "lower the storm jib and stow it below"})))
        assert found.dark_foredeck_minutes == minutes
        assert found.changes == 1


@pytest.mark.parametrize(
    ("at", "wakes"),
    [((14.0,), 1), ((14.0, 14.5), 1), ((11.0, 15.0), 2), ((2.0,), 0), ((8.0, 22.0), 0)],
    ids=["one call", "two jobs in one waking", "two calls", "by day", "evening and morning"],
)
def test_sleep_broken_is_counted_by_wakings(at: tuple[float, ...], wakes: int) -> None:
    """She sleeps from 21:00 to 07:00 ship's time, 9 to 19 hours after the start at noon."""
    rolls = ["roll the genoa to half", "unroll the whole genoa"]
    o = outside(truth(steady(12.0, 15.0), 30.0))
    found = tally(o, play(o, by_hand({round(h * 6): rolls[k % 2] for k, h in enumerate(at)})))
    assert found.changes == len(at)
    assert found.wakes == wakes


def test_miles_lost_are_those_of_the_slower_sail_plan() -> None:
    """At 12 knots and 110 degrees her table says 6.2 knots, and one reef with the genoa is 0.96 of it."""
    o = outside(truth(steady(12.0, 15.0), 10.0), state="main: reef 1")
    assert came_to(o, "never")[0].lost_nm == pytest.approx(10.0 * 6.2 * 0.04, rel=1e-6)
    o = outside(truth(steady(12.0, 15.0), 10.0))
    assert came_to(o, "never")[0].lost_nm == pytest.approx(0.0, abs=1e-9)


def test_a_job_is_begun_on_the_last_twenty_minutes_and_not_on_what_is_to_come() -> None:
    o = outside(truth(steady(12.0, 16.0), 8.0, squalls={(4.0, 4.0 + 1 / 6): 37.0}))
    reef = next(e for e, edge in enumerate(o.ship.rig.edges) if edge.job.name == "put in the first reef" and edge.origin == 0)
    can = o.can[:, reef]
    assert not can[0]  # nothing has been seen yet
    assert can[1:25].all()  # also just before the squall: nobody knows of it
    assert not can[25:27].any()  # the squall was in the last twenty minutes
    assert can[27:46].all()
    assert not can[47:].any()  # the work and its rest end with the passage


def test_a_job_overtaken_by_the_weather_is_said() -> None:
    o = outside(truth(steady(12.0, 16.0), 8.0, squalls={(4.0, 4.0 + 1 / 6): 37.0}))
    assert tally(o, play(o, by_hand({24: "put in the first reef"}))).overtaken == 1
    assert tally(o, play(o, by_hand({30: "put in the first reef"}))).overtaken == 0


def test_she_reefs_before_a_gale_that_is_forecast_and_thresholds_reef_in_it() -> None:
    gale = [(0.0, 12.0, 15.0), (12.0, 14.0, 18.0), (18.0, 30.0, 40.0), (24.0, 33.0, 43.0), (36.0, 16.0, 20.0), (60.0, 12.0, 15.0)]
    o = outside(truth(gale, 48.0), forecasts=[(0, forecast(gale, 48.0))])
    (orders, played), (late, _), (best, _) = (came_to(o, name) for name in ("ours", "reactive", "foresight"))
    assert orders.hard_hours == 0.0
    assert late.hard_hours + late.working_hours > 1.0
    assert best.points <= orders.points <= late.points
    assert "put in the third reef" in jobs(o, played)


def test_without_any_forecast_the_orders_begin_nothing_while_no_limit_is_passed() -> None:
    o = outside(truth(steady(12.0, 16.0), 12.0))
    assert came_to(o, "ours")[0].changes == 0


def test_a_forecast_that_comes_late_is_not_used_before() -> None:
    gale = [(0.0, 12.0, 15.0), (12.0, 14.0, 18.0), (18.0, 30.0, 40.0), (60.0, 33.0, 43.0)]
    aboard = 8 * 6
    o = outside(truth(gale, 24.0), forecasts=[(aboard, forecast(gale, 48.0))])
    _, played = came_to(o, "ours")
    assert played.moves
    assert played.moves[0].begins >= aboard


def test_a_policy_that_wants_a_job_from_elsewhere_is_refused() -> None:
    o = outside(truth(steady(12.0, 16.0), 3.0), state="main: reef 1")
    wrong = next(e for e, edge in enumerate(o.ship.rig.edges) if edge.origin != 0)
    with pytest.raises(ValueError, match="a state she is not in"):
        play(o, lambda known, memory: Choice(edges=(wrong,)))


def test_the_names_of_the_policies_are_those_that_are_played() -> None:
    o = outside(truth(steady(12.0, 16.0), 2.0))
    assert [policy(name, o) for name in ("ours", "reactive", "never")] == [ours, reactive, never]


def test_rest_after_a_job_is_kept() -> None:
    o = outside(truth(steady(12.0, 16.0), 4.0), aims=Aims(rest_minutes=30.0))
    played = play(o, by_hand({6: "put in the first reef", 7: "put in the second reef", 9: "put in the second reef", 10: "put in the second reef"}))
    assert played.moves == (
        Move(edge=played.moves[0].edge, begins=6, done=7, over=10), Move(edge=played.moves[1].edge, begins=10, done=12, over=15),
    )  # fmt: skip
    assert NOON.hour == 15


def test_her_own_instruments_bring_an_early_gale_forward_in_the_orders() -> None:
    """The gale is three hours earlier than forecast, and stronger: what is planned for comes nearer to what is to come."""
    gale = [(0.0, 9.0, 12.0), (4.0, 10.0, 13.0), (14.0, 30.0, 38.0), (30.0, 36.0, 46.0), (60.0, 36.0, 46.0)]
    late = [(h + 3.0, m, g) for h, m, g in gale]
    happens = truth(gale, 36.0)
    o = outside(happens, forecasts=[(0, forecast(late, 60.0, run=hours_on(NOON, -6.0)))])
    step = 10 * 6
    known = o.known(step, 0, frozenset())
    weathers = weathers_of(replace(known, ship=replace(known.ship, compares=True)), known.forecasts)
    plain = weathers.between(step, step + 18)
    better = corrected(known, weathers, plain)
    met = happens.mean_ms[step : step + 18]
    errors = [float(np.abs(quantile(s["low_ms"].values, s["weight"].values, 0.5) - met).mean()) for s in (plain, better)]
    assert errors[1] < 0.6 * errors[0]
    assert known.seen.steps == step  # nothing of what is to come went into it


def test_with_and_without_instruments_the_rules_are_the_same() -> None:
    gale = [(0.0, 12.0, 15.0), (12.0, 14.0, 18.0), (18.0, 30.0, 40.0), (24.0, 33.0, 43.0), (36.0, 16.0, 20.0), (60.0, 12.0, 15.0)]
    o = outside(truth(gale, 30.0), forecasts=[(0, forecast(gale, 48.0))])
    with_them = replace(o, ship=replace(o.ship, compares=True))
    assert came_to(with_them, "ours")[0].hard_hours == came_to(o, "ours")[0].hard_hours == 0.0


def test_gusts_that_rise_fast_are_acted_upon_before_the_hard_limit() -> None:
    """A squall over all plain sail, 16 - 20 - 25 - 34 knots by ten minutes: at 25 she would be over 28 in the next, and rolls the genoa."""
    squall = {(5.0, 5.0 + 1 / 6): 20.0, (5.0 + 1 / 6, 5.0 + 2 / 6): 25.0, (5.0 + 2 / 6, 6.0): 29.5}
    o = outside(truth(steady(12.0, 16.0), 12.0, squalls=squall), forecasts=[(0, forecast(steady(12.0, 16.0), 24.0))])
    (orders, played), (late, _) = came_to(o, "ours"), came_to(o, "reactive")
    assert played.moves[0].begins == 32  # the step after the one with 25
    assert orders.hard_hours < late.hard_hours
    slow = {(5.0, 5.0 + 1 / 6): 19.0, (5.0 + 1 / 6, 5.0 + 2 / 6): 22.0, (5.0 + 2 / 6, 6.0): 25.0}
    o = outside(truth(steady(12.0, 16.0), 12.0, squalls=slow), forecasts=[(0, forecast(steady(12.0, 16.0), 24.0))])
    assert came_to(o, "ours")[0].changes == 0  # three knots in ten minutes is no squall


def test_a_dead_calm_is_no_rise() -> None:
    """No wind at all for hours, then a breeze: nothing is divided by it, and nothing is done."""
    calm = steady(0.0, 0.0)
    o = outside(truth(calm, 12.0, squalls={(5.0, 6.0): 8.0}), forecasts=[(0, forecast(steady(4.0, 5.0), 24.0))])
    assert came_to(o, "ours")[0].hard_hours == 0.0
