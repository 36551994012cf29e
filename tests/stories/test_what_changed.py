"""What is said to have changed since the last orders, on the page and in the text: the finding is told of in test_two_orders."""

from dataclasses import replace
from datetime import timedelta

from tests.page_demo import by_instruments, demo_orders, not_good_enough, with_shelter
from watch.orders.document import Orders
from watch.render.changes import NOTHING, changes
from watch.render.page import render_page
from watch.render.text import WIDTH, as_text

NAME = "lower the genoa and stow it below"


def with_closing(minutes: int) -> Orders:
    orders = demo_orders()
    jobs = tuple(replace(j, closes=j.closes + timedelta(minutes=minutes)) if j.job == NAME else j for j in orders.jobs)
    return replace(orders, jobs=jobs)


def said(before: Orders, now: Orders) -> list[tuple[str, bool]]:
    return [(c.words, c.heavy) for c in changes(before, now)]


def test_the_same_orders_say_nothing() -> None:
    assert changes(demo_orders(), demo_orders()) == ()
    assert f"- {NOTHING}" in as_text(demo_orders(), previous=demo_orders())
    assert NOTHING in render_page(demo_orders(), now=demo_orders().made_at, previous=demo_orders())


def test_what_leaves_less_time_is_heavy_and_what_hardly_moves_is_not_said() -> None:
    assert said(demo_orders(), with_closing(-40)) == [(f"“{NAME}” now closes 10:20, was 11:00.", True)]
    assert said(demo_orders(), with_closing(30)) == [(f"“{NAME}” now closes 11:30, was 11:00.", False)]
    assert said(demo_orders(), with_closing(10)) == []


def test_a_job_done_is_not_one_dropped() -> None:
    orders = demo_orders()
    first = orders.jobs[0]
    later = replace(orders, jobs=orders.jobs[1:], made_at=orders.made_at + timedelta(minutes=10))
    assert said(orders, replace(later, rig_state=first.to_state)) == [(f"“{first.job}” is done.", False)]
    assert said(orders, later) == [(f"“{first.job}” was not done and closed at 09:00.", True)]


def test_a_night_gone_bad_comes_first_and_a_shelter_that_is_lost_is_said() -> None:
    assert said(demo_orders(), not_good_enough())[0] == ("The night can no longer be met within the limits.", True)
    old = with_shelter()
    moved = replace(old, shelters=(replace(old.shelters[0], turn_by=None),))
    assert said(old, moved) == [("Invented Bay can no longer be reached in time: wind.", True)]


def test_page_and_text_say_it_before_the_rest_and_without_the_last_orders_say_nothing_of_it() -> None:
    now = with_closing(-40)
    text = as_text(now, previous=demo_orders())
    assert f"! “{NAME[:1].lower()}" in text
    assert text.index("CHANGED SINCE THE LAST ORDERS") < text.index("WHAT COMES")
    assert all(len(line) <= WIDTH for line in text.split("\n"))
    page = render_page(now, now=now.made_at, previous=demo_orders())
    assert f"<strong>“{NAME}” now closes 10:20, was 11:00.</strong>" in page
    assert "Changed since the last orders: 1 thing<" in page
    for alone in (as_text(now), render_page(now, now=now.made_at)):
        assert "changed since the last orders" not in alone.lower()


def test_what_is_no_longer_known_is_said() -> None:
    blind = replace(demo_orders(), missing=(*demo_orders().missing, "no sea in it"))
    assert said(demo_orders(), blind) == [("Not known: no sea in it.", True)]


def test_a_sentence_that_has_its_stop_gets_no_second_and_a_known_note_is_told_in_short() -> None:
    long = "kwbc has no gusts: mean wind times 1.23 is taken (a published factor at sea)."
    wordy = "Something that nobody can say in a few words and which goes on " + "and on " * 20 + "to its end."
    before = replace(demo_orders(), missing=(long, wordy))
    told = [words for words, _ in said(before, replace(before, missing=()))]
    assert told[0] == "Known again, or no longer asked for: kwbc has no gusts."
    assert told[1].startswith("Known again, or no longer asked for: Something that nobody")
    assert len(told[1]) < 140
    assert said(demo_orders(), replace(demo_orders(), missing=(*demo_orders().missing, "There is no sea in it.")))[0][0] == "Not known: There is no sea in it."


def test_that_the_instruments_cannot_be_compared_yet_is_no_change() -> None:
    orders = by_instruments()
    assert orders.compared is not None
    waiting = replace(orders.compared, trusted=False, words="Observed and forecast cannot be compared: fewer than three hours. Wait.")
    not_yet = replace(orders, compared=waiting, missing=(*orders.missing, waiting.words))
    assert said(not_yet, orders) == said(orders, not_yet) == []
    assert said(orders, replace(not_yet, missing=(*not_yet.missing, "No sea"))) == [("Not known: No sea.", True)]


def test_less_in_hand_tonight_is_said_from_three_knots_on() -> None:
    orders = demo_orders()
    assert orders.night is not None
    least = orders.night.least_margin_kn
    assert least is not None

    def tonight(kn: int | None) -> Orders:
        assert orders.night is not None
        return replace(orders, night=replace(orders.night, least_margin_kn=kn))

    assert said(orders, tonight(least - 2)) == []
    assert said(orders, tonight(least - 3)) == [(f"Least in hand tonight {least - 3} kn, was {least}.", True)]
    assert said(orders, tonight(least + 3)) == [(f"Least in hand tonight {least + 3} kn, was {least}.", False)]
    assert said(orders, tonight(None)) == [(f"What is in hand tonight is not known any more, was {least} kn.", True)]
