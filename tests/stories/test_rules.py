"""What holds now: orders and instruments in, situations out, at the exact edges. The orders are the demo's, changed by one thing."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.page_demo import demo_orders, with_shelter
from watch.alerts.book import AlertBook
from watch.alerts.known import Aboard, Known, Machine
from watch.alerts.rules import RULES, STALE, VERY_STALE, situations
from watch.alerts.situation import Priority, Situation
from watch.alerts.step import step

SECOND = timedelta(seconds=1)
ORDERS = demo_orders()
NOW = ORDERS.made_at
GENOA = next(j for j in ORDERS.jobs if j.job == "lower the genoa and stow it below")


def held(key: str, **known: object) -> Situation | None:
    """The situation whose key begins so, from the demo's orders with these things changed; None when it does not hold."""
    given: dict[str, object] = {"now": NOW, "orders": ORDERS} | known
    return next((s for s in situations(Known(**given)) if s.key.startswith(key)), None)  # type: ignore[arg-type]


def test_a_job_calls_from_its_call_time_and_not_a_second_before() -> None:
    assert held("job.lower_the_genoa", now=GENOA.call - SECOND) is None
    called = held("job.lower_the_genoa", now=GENOA.call)
    assert called is not None
    assert called.due == GENOA.closes
    assert GENOA.closes_words in called.text


def test_a_grave_job_becomes_an_alarm_within_the_hour_of_its_closing() -> None:
    early, late = GENOA.closes - timedelta(hours=1) - SECOND, GENOA.closes - timedelta(hours=1)
    orders = replace(ORDERS, jobs=tuple(replace(j, call=NOW) for j in ORDERS.jobs))
    before, after = held("job.lower_the_genoa", orders=orders, now=early), held("job.lower_the_genoa", orders=orders, now=late)
    assert before is not None
    assert after is not None
    assert (before.priority, after.priority) == (Priority.WARNING, Priority.ALARM)


@pytest.mark.parametrize(("minutes", "calls"), [(-120, False), (0, False), (59, False), (60, True), (180, True)])
def test_a_front_that_is_early_by_an_hour_is_called(minutes: int, calls: bool) -> None:
    """The orders last told of had it so many minutes later."""
    front = next(f for f in ORDERS.outlook if f.kind == "cold front")
    now = front.likely - timedelta(hours=6)
    later = tuple(replace(f, likely=f.likely + timedelta(minutes=minutes)) if f is front else f for f in ORDERS.outlook)
    told = replace(ORDERS, outlook=later, made_at=ORDERS.made_at - timedelta(hours=1))
    found = held("front.early", now=now, before=told)
    assert (found is not None) == calls
    assert held("front.early", now=front.likely - timedelta(hours=12, seconds=1), before=told) is None


def test_a_front_nobody_was_told_of_is_called() -> None:
    front = next(f for f in ORDERS.outlook if f.kind == "cold front")
    told = replace(ORDERS, outlook=(), made_at=ORDERS.made_at - timedelta(hours=1))
    found = held("front.early", now=front.likely - timedelta(hours=6), before=told)
    assert found is not None
    assert "now expected" in found.title


def test_a_job_that_is_logged_as_done_is_silent() -> None:
    assert held("job.lower_the_genoa", now=GENOA.call, done=frozenset({GENOA.job})) is None


def test_one_front_is_one_call() -> None:
    """All jobs before the front are one alert, and so one call when they come due together."""
    at = max(j.call for j in ORDERS.jobs[:4])
    due = [s for s in situations(Known(now=at, orders=ORDERS)) if s.key.startswith("job.")]
    assert len(due) >= 3
    assert len({s.alert for s in due}) == 1
    _, calls = step(AlertBook(), due, [], at)
    assert len(calls) == 1


@pytest.mark.parametrize(("age", "priority"), [(STALE - SECOND, None), (STALE, Priority.CAUTION), (VERY_STALE, Priority.WARNING)])
def test_an_old_forecast_is_said_louder_with_age(age: timedelta, priority: Priority | None) -> None:
    found = held("watch.stale", now=max(f.run for f in ORDERS.forecasts) + age)
    assert (None if found is None else found.priority) == priority


def test_no_orders_at_all_is_an_alarm_and_says_why() -> None:
    blind = held("watch.no_orders", orders=None, why_no_orders="the forecast ends before now")
    assert blind is not None
    assert blind.priority is Priority.ALARM
    assert "the forecast ends before now" in blind.text


def test_a_bad_night_is_an_alarm_when_it_is_near() -> None:
    bad = replace(ORDERS, feasible=False, hard_chance=0.4, plans=tuple(replace(p, hard_chance=0.4) for p in ORDERS.plans))
    found = held("orders.not_good_enough", orders=bad)
    assert found is not None
    assert found.priority is Priority.ALARM
    assert held("orders.not_good_enough") is None


def test_the_limit_itself_is_not_over_it() -> None:
    at = Aboard(mean_kn=25.0, gust_kn=34.0, working_kn=25.0, hard_kn=34.0)
    assert held("limit", aboard=at) is None
    mean, gust = held("limit", aboard=replace(at, mean_kn=25.1)), held("limit", aboard=replace(at, gust_kn=34.1))
    assert mean is not None
    assert gust is not None
    assert (mean.priority, gust.priority) == (Priority.WARNING, Priority.ALARM)


@pytest.mark.source("glass-1")
@pytest.mark.parametrize(
    ("change", "priority"), [(-3.5, None), (-3.6, Priority.CAUTION), (-6.0, Priority.CAUTION), (-6.1, Priority.WARNING), (5.0, None)]
)
def test_the_glass_in_the_published_rates(change: float, priority: Priority | None) -> None:
    found = held("glass", aboard=Aboard(glass_3h_hpa=change))
    assert (None if found is None else found.priority) == priority


def test_a_position_that_was_never_heard_speaks_and_one_not_expected_does_not() -> None:
    assert held("instruments.position", aboard=Aboard(expects_position=True)) is not None
    assert held("instruments.position", aboard=Aboard(expects_position=False)) is None
    assert held("instruments.position", aboard=Aboard(expects_position=True, position_at=NOW - timedelta(minutes=20))) is None
    assert held("instruments.position", aboard=Aboard(expects_position=True, position_at=NOW - timedelta(minutes=20) - SECOND)) is not None


def test_turn_by_is_spoken_of_in_its_last_three_hours_only() -> None:
    orders = with_shelter()
    turn = next(s.turn_by for s in orders.shelters if s.turn_by is not None)
    assert held("turn_by", orders=orders, now=turn - timedelta(hours=3) - SECOND) is None
    assert held("turn_by", orders=orders, now=turn - timedelta(hours=3)) is not None
    assert held("turn_by", orders=orders, now=turn + SECOND) is None


def test_orders_that_got_worse_call_and_a_knot_more_or_less_does_not() -> None:
    later = replace(ORDERS, made_at=NOW + timedelta(hours=1))
    assert held("orders.worse", before=ORDERS, orders=later, now=later.made_at) is None
    riskier = replace(later, hard_chance=ORDERS.hard_chance + 0.06)
    assert held("orders.worse", before=ORDERS, orders=riskier, now=later.made_at) is not None
    squalls = replace(later, hard_chance=ORDERS.hard_chance + 0.3, unforecast_chance=ORDERS.unforecast_chance + 0.3)
    assert held("orders.worse", before=ORDERS, orders=squalls, now=later.made_at) is None, "no forecast made them likelier"
    assert held("orders.not_good_enough", orders=squalls) is None
    sooner = replace(later, jobs=tuple(replace(j, closes=j.closes - timedelta(minutes=40)) if j.job == GENOA.job else j for j in later.jobs))
    found = held("orders.worse", before=ORDERS, orders=sooner, now=later.made_at)
    assert found is not None
    assert GENOA.job in found.text


def test_what_failed_is_said_and_holds_what_it_said_before() -> None:
    found = held("pass_", machine=Machine(failures=("the instruments could not be compared",)))
    assert found is not None
    assert not found.computed
    assert held("machine.disk", machine=Machine(disk_free_mb=199.9)) is not None
    assert held("machine.disk", machine=Machine(disk_free_mb=200.0)) is None
    assert held("machine.clock", machine=Machine(clock_jump_s=-120)) is not None


def test_every_rule_carries_its_own_page() -> None:
    for rule in RULES:
        for word in ("says:", "why:", "example:", "source:"):
            assert word in (rule.__doc__ or ""), f"{rule.__name__} has no {word}"


@pytest.mark.source("glass-beyond-1")
@pytest.mark.parametrize(
    ("beyond", "priority"), [(None, None), (-1.4, None), (-1.5, Priority.CAUTION), (-2.9, Priority.CAUTION), (-3.0, Priority.WARNING), (2.0, None)]
)
def test_a_glass_that_falls_beyond_forecast_is_an_alert_of_its_own(beyond: float | None, priority: Priority | None) -> None:
    found = held("glass", aboard=Aboard(glass_3h_hpa=-2.0, glass_beyond_hpa=beyond))
    assert (None if found is None else found.priority) == priority
    assert found is None or (found.key, found.alert) == ("glass.beyond", "glass")


@pytest.mark.source("gusts-rising-1")
@pytest.mark.parametrize(
    ("before", "now", "hard", "told"),
    [
        (28.0, 32.0, 35.9, True),  # four knots in ten minutes, and four more are over the limit
        (28.0, 32.0, 36.0, False),  # the limit itself is not over it
        (28.1, 32.0, 33.0, False),  # less than four is not fast
        (None, 32.0, 33.0, False),  # nothing known of the ten minutes before
        (32.0, 28.0, 33.0, False),
    ],
)
def test_gusts_that_rise_fast_towards_the_limit_are_an_alarm(before: float | None, now: float, hard: float, told: bool) -> None:
    found = held("limit", aboard=Aboard(gust_kn=now, gust_before_kn=before, hard_kn=hard))
    assert (found is not None) == told
    assert found is None or (found.key, found.priority, found.alert) == ("limit.rising", Priority.ALARM, "limit")


def test_over_the_limit_already_it_is_the_limit_that_is_told() -> None:
    aboard = Aboard(gust_kn=34.0, gust_before_kn=25.0, hard_kn=33.0)
    assert [s.key for s in situations(Known(now=NOW, orders=ORDERS, aboard=aboard)) if s.key.startswith("limit")] == ["limit.hard"]


def test_a_warm_front_that_only_a_map_tells_of_wakes_nobody() -> None:
    warm = next(f for f in ORDERS.outlook if f.kind == "warm front")
    assert warm.gust_kn is None, "it is the map's alone"
    told = replace(ORDERS, outlook=tuple(f for f in ORDERS.outlook if f is not warm), made_at=ORDERS.made_at - timedelta(hours=1))
    assert held("front.early", now=warm.likely - timedelta(hours=1), before=told) is None
    asked = replace(ORDERS, outlook=tuple(replace(f, gust_kn=30) if f is warm else f for f in ORDERS.outlook))
    assert held("front.early", orders=asked, now=warm.likely - timedelta(hours=1), before=told) is not None
