"""What a page served by a standing watch says otherwise than a file."""

from dataclasses import replace

from tests.page_demo import alarm, demo_orders
from watch.render.page import Served, render_page

SERVED = Served(mark="1", may_acknowledge=True)


def test_the_clock_of_a_rehearsal_goes_on_and_that_of_a_demo_in_a_file_stands() -> None:
    orders = demo_orders()
    stood, kept = render_page(orders, now=orders.made_at, invented=True, served=SERVED), render_page(orders, now=orders.made_at, invented=True)
    for page in (stood, kept):
        assert "invented weather" in page
    assert 'data-stands="no"' in stood
    assert "stands still" not in stood
    assert 'data-stands="yes"' in kept
    assert "The clock of this page stands still." in kept


def test_an_alert_that_is_over_and_was_not_read_says_so_and_counts_down_to_nothing() -> None:
    orders = demo_orders()
    gone = replace(alarm(), state="rectified, unacknowledged", text="New: the main.\nLower the main: begin 12:10.")
    page = render_page(orders, now=orders.made_at, alerts=(gone,), served=SERVED)
    assert "It is over, and was not read." in page
    assert 'class="due"' not in page
    assert "<p>New: the main.</p>" in page
    assert "<p>Lower the main: begin 12:10.</p>" in page
    assert "It is over" not in render_page(orders, now=orders.made_at, alerts=(alarm(),), served=SERVED)
