"""What a choice gives up, and what is left of the night to sleep in. All invented."""

from dataclasses import replace

import numpy as np
import pytest

from tests.stories.nights import night
from watch.orders.options import Ways, shut_by_doing, shut_by_waiting, ways_of
from watch.orders.schedule import Schedule, busy_steps, make_schedule
from watch.orders.sleep import longest_sleep
from watch.when import steps_for

STOW = "lower the genoa and stow it below"
GALE_AT_MIDNIGHT = [(0, 15, 19), (4, 18, 23), (8, 24, 30), (12, 33, 52), (15, 32, 48), (20, 26, 34), (36, 14, 18)]


def test_waiting_past_its_time_to_stow_the_genoa_gives_up_the_storm_jib_for_the_night() -> None:
    told = night(GALE_AT_MIDNIGHT)
    ways = ways_of(told.schedule.judged)
    stow = next(t for t in told.schedule.tasks if t.job.name == STOW)
    shut = {s.sail_plan: s for s in shut_by_waiting(ways, stow)}
    storm = shut["three reefs and storm jib"]
    assert stow.begins <= storm.last <= stow.closes
    assert storm.again is None or storm.again / 6 > 15.0, "not before the worst of it is over"
    assert [s.hard_kn for s in shut.values()] == sorted((s.hard_kn for s in shut.values()), reverse=True), "the stoutest first"


def test_stowing_it_gives_up_the_genoa_and_only_what_was_open() -> None:
    told = night(GALE_AT_MIDNIGHT)
    ways = ways_of(told.schedule.judged)
    stow = next(t for t in told.schedule.tasks if t.job.name == STOW)
    given_up = {s.sail_plan for s in shut_by_doing(ways, stow)}
    assert given_up
    assert all("genoa" in name for name in given_up)
    assert not any("storm jib" in name for name in given_up)
    assert given_up <= ways.open_in_time(stow.origin, stow.begins)


def test_what_does_not_close_gives_up_nothing_by_waiting() -> None:
    told = night(GALE_AT_MIDNIGHT)
    ways = ways_of(told.schedule.judged)
    stow = next(t for t in told.schedule.tasks if t.job.name == STOW)
    assert shut_by_waiting(ways, stow)
    assert shut_by_waiting(ways, replace(stow, closes=ways.steps - 1)) == ()


def slow_twin(ways: Ways, state: int, step: int) -> dict[str, int]:
    """Every rig state at every step, one after the other."""
    can = np.zeros((ways.steps + 1, len(ways.rig.states)), dtype=bool)
    can[step, state] = True
    for t in range(step, ways.steps):
        can[t + 1] |= can[t]
        for edge in ways.rig.edges:
            done = t + busy_steps(edge.job, ways.aims)
            if can[t, edge.origin] and ways.next_open[edge.job.name][t] == t and done <= ways.steps:
                can[done, edge.target] = True
    found: dict[str, int] = {}
    for s, plan in enumerate(ways.rig.plans):
        if plan is not None and ways.rig.mode_of(s) is None and can[:, s].any():
            found[plan.name] = min(int(np.argmax(can[:, s])), found.get(plan.name, ways.steps + 1))
    return found


@pytest.mark.parametrize("boat_name", ["sloop", "cutter"])
@pytest.mark.parametrize("step", [0, 30, 60, 100])
def test_the_soonest_way_is_that_of_the_slow_twin(boat_name: str, step: int) -> None:
    ways = ways_of(night(GALE_AT_MIDNIGHT, boat_name=boat_name, scenarios=5, spread=1.0).schedule.judged)
    for state in (0, len(ways.rig.states) // 2, len(ways.rig.states) - 1):
        assert ways.soonest(state, step) == slow_twin(ways, state, step)


#        sleeping hours as steps, busy (first, end), longest sleep
NIGHTS = [
    ((10, 70), [], (10, 70)),
    ((10, 70), [(30, 34)], (34, 70)),
    ((10, 70), [(50, 52)], (10, 50)),
    ((10, 70), [(0, 12), (40, 42), (66, 80)], (12, 40)),
    ((10, 70), [(0, 80)], None),
    ((10, 70), [(-5, 3)], (10, 70)),
]


@pytest.mark.parametrize(("asleep", "busy", "sleep"), NIGHTS)
def test_the_longest_sleep(asleep: tuple[int, int], busy: list[tuple[int, int]], sleep: tuple[int, int] | None) -> None:
    hours = np.zeros(90, dtype=bool)
    hours[slice(*asleep)] = True
    assert longest_sleep(hours, busy) == sleep
    assert longest_sleep(np.zeros(90, dtype=bool), busy) is None


def test_only_the_coming_night_counts() -> None:
    hours = np.zeros(200, dtype=bool)
    hours[10:40] = hours[110:190] = True
    assert longest_sleep(hours, []) == (10, 40)


def test_sleep_is_an_aim_she_is_not_called_for_a_little_way() -> None:
    """The wind eases at one in the morning: she could have more sail up, but sleeps; were sleep worth nothing, she would be called."""
    told = night([(0, 20, 25), (13, 20, 25), (15, 9, 12), (30, 9, 12)], state="main: reef 1, genoa: half")
    own = told.schedule.judged.night
    careless = make_schedule(replace(own, weights=replace(own.weights, wake=0.0, up_hour=0.0)))

    def sleep(schedule: Schedule) -> int:
        busy = [(t.begins - steps_for(t.job.ready_minutes), t.begins + busy_steps(t.job, own.aims)) for t in schedule.tasks]
        found = longest_sleep(own.asleep, busy)
        return 0 if found is None else found[1] - found[0]

    assert sleep(told.schedule) >= 9 * 6
    assert sleep(careless) < sleep(told.schedule)
