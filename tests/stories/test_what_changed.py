"""What is said to have changed since the last orders: the weather moved, a job was done, the night went bad."""

from dataclasses import replace
from datetime import timedelta

from tests.page_demo import demo_orders, not_good_enough, with_shelter
from watch.orders.document import Orders
from watch.render.changes import changes

NAME = "lower the genoa and stow it below"


def with_closing(minutes: int) -> Orders:
    orders = demo_orders()
    jobs = tuple(replace(j, closes=j.closes + timedelta(minutes=minutes)) if j.job == NAME else j for j in orders.jobs)
    return replace(orders, jobs=jobs)


def test_the_same_orders_say_nothing() -> None:
    assert changes(demo_orders(), demo_orders()) == ()


def test_a_closing_time_that_comes_earlier_is_said_in_capitals_and_one_that_hardly_moves_is_not() -> None:
    assert changes(demo_orders(), with_closing(-40)) == (f"“{NAME}” closes EARLIER: 10:20; it was 11:00.",)
    assert changes(demo_orders(), with_closing(30)) == (f"“{NAME}” closes later: 11:30; it was 11:00.",)
    assert changes(demo_orders(), with_closing(20)) == ()


def test_a_job_done_is_not_one_dropped() -> None:
    orders = demo_orders()
    first = orders.jobs[0]
    later = replace(orders, jobs=orders.jobs[1:], made_at=orders.made_at + timedelta(minutes=10))
    assert changes(orders, replace(later, rig_state=first.to_state)) == (f"Done: {first.job}.",)
    assert changes(orders, later) == (f"No longer ordered: {first.job}. Its time has passed.",)
    assert changes(later, orders) == (f"New: {first.job}, at 09:00.",)


def test_a_night_gone_bad_comes_first_and_a_turn_by_that_moved_is_said() -> None:
    assert changes(demo_orders(), not_good_enough())[0] == "The night can no longer be met within the limits."
    old = with_shelter()
    moved = replace(old, shelters=(replace(old.shelters[0], turn_by=None),))
    assert changes(old, moved) == ("Turn by for Invented Bay: none; it was 14:00.",)


def test_what_is_no_longer_known_is_said() -> None:
    blind = replace(demo_orders(), missing=(*demo_orders().missing, "no sea in it"))
    assert changes(demo_orders(), blind) == ("No longer known: no sea in it",)
