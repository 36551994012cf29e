"""The page as a file in a real browser: read, counted down, gone stale, by the rules of accessibility."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.browser.seen import DESKTOP, PHONE, a_file, broken_rules
from tests.page_demo import (
    alarm,
    among_islands,
    blind_for_hours,
    by_instruments,
    demo_orders,
    health,
    not_good_enough,
    nothing_due,
    with_shelter,
)
from watch.render.page import render_page
from watch.service.map_land import land_of_map

NIGHTS = {
    "jobs": lambda: render_page(demo_orders(), now=demo_orders().made_at, invented=True),
    "nothing": lambda: render_page(nothing_due(), now=demo_orders().made_at, invented=True),
    "bad": lambda: render_page(not_good_enough(), now=demo_orders().made_at, invented=True, previous=demo_orders()),
    "blind": lambda: render_page(
        blind_for_hours(), now=demo_orders().made_at, invented=True, health=health(demo_orders().made_at, well=False),
        alerts=(alarm(), alarm(priority="warning", name="b"), alarm(priority="caution", awaits=False, name="c")),
    ),
    "outside": lambda: render_page(
        replace(by_instruments(), shelters=with_shelter().shelters), now=demo_orders().made_at, invented=True, previous=not_good_enough(),
    ),
    "shelter": lambda: render_page(with_shelter(), now=demo_orders().made_at, invented=True),
    "islands": lambda: render_page(
        among_islands(), now=demo_orders().made_at, invented=True, land=land_of_map(among_islands()), previous=not_good_enough(),
    ),
}  # fmt: skip


@pytest.mark.source("wcag-1")
@pytest.mark.parametrize("night", ["bad", "blind", "islands", "outside"])
def test_no_rule_of_accessibility_is_broken_by_day_or_by_night(night: str, opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE, bypass_csp=True)
    page.goto(a_file(tmp_path, NIGHTS[night]()))
    assert broken_rules(page) == []
    before = page.evaluate("document.documentElement.dataset.colours")
    page.click("#colours")
    assert page.evaluate("document.documentElement.dataset.colours") != before
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert broken_rules(page) == []


@pytest.mark.parametrize("size", [PHONE, DESKTOP])
@pytest.mark.parametrize("night", NIGHTS)
def test_nothing_is_cut_off_at_the_side(night: str, size: tuple[int, int], opened: Any, tmp_path: Path) -> None:
    page = opened(*size)
    page.goto(a_file(tmp_path, NIGHTS[night]()))
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    outside = page.evaluate("""() => [...document.querySelectorAll('svg')].flatMap(svg => {
        const frame = svg.getBoundingClientRect();
        return [...svg.querySelectorAll('text')].filter(t => { const b = t.getBoundingClientRect();
            return b.left < frame.left - 1 || b.right > frame.right + 1; }).map(t => t.textContent); })""")
    assert outside == []
    assert page.evaluate("(e => e.scrollWidth - e.clientWidth)(document.querySelector('.wide'))") <= 0, "the table of winds is all there"


@pytest.mark.parametrize("night", ["shelter", "outside"])
def test_the_first_screen_of_a_phone_has_what_a_woken_sailor_needs(night: str, opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, NIGHTS[night]()))
    for what in (".job-next h2", ".job-shuts .big", ".glance", ".verdict"):
        box = page.locator(what).bounding_box()
        assert box["y"] + box["height"] <= PHONE[1], f"{what} is below the first screen"
    text = page.inner_text("#next")
    for words in ("Next", "CLOSES 11:00 in 2 h 00", "Turn by\n14:00 Invented Bay", "Forecast", "Watch"):
        assert words in text


def test_what_her_instruments_say_is_on_the_first_screen_in_a_line_and_below_in_full(opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, NIGHTS["outside"]()))
    box = page.locator("[data-key=outside]").bounding_box()
    assert box["y"] + box["height"] <= PHONE[1]
    assert page.inner_text("[data-key=outside]") == "Outside, by her instruments\n20 % stronger than forecast, 40 min early"
    page.click("text=By her instruments: 1 in doubt")
    text = page.inner_text("#outside")
    for words in ("give or take 20 min", "The glass: falling", "Difference 6.", "2 smaller differences", "In doubt: two anemometers"):
        assert words in text
    assert "Difference 7." not in text
    page.click("text=2 smaller differences")
    assert "Difference 8." in page.inner_text("#outside")


def test_without_anything_material_the_first_screen_has_no_line_for_it(opened: Any, tmp_path: Path) -> None:
    orders = by_instruments()
    assert orders.compared is not None
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, render_page(replace(orders, compared=replace(orders.compared, glance="", changed=())), now=orders.made_at, invented=True)))
    assert page.locator("[data-key=outside]").count() == 0
    assert "much as they would be by the forecast alone" in page.inner_text("#outside")


def test_what_a_job_gives_up_and_the_longest_sleep_are_told(opened: Any, tmp_path: Path) -> None:
    orders = by_instruments()
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, NIGHTS["outside"]()))
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    text = page.inner_text("#jobs")
    assert "Doing it gives up “two reefs and half genoa” (else open until 12:00, not again as far as the forecast reaches)." in text
    assert "Putting it off gives up “two reefs and half genoa” (after 12:00, not again" in text
    assert orders.night is not None
    local = orders.ship_time.local(orders.night.dark_from)
    assert f"Longest sleep {local:%H:%M} to" in page.inner_text("#night")


def test_it_asks_nothing_of_any_network(opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    page.goto(a_file(tmp_path, NIGHTS["jobs"]()))
    page.wait_for_timeout(300)
    assert [u for u in asked if not u.startswith(("file:", "data:"))] == []


def test_colours_follow_the_light_and_the_choice_is_kept(opened: Any, tmp_path: Path) -> None:
    orders = demo_orders()
    assert orders.night is not None
    dark = render_page(orders, now=orders.night.dark_from + timedelta(hours=2), invented=True)
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, dark))
    assert page.evaluate("document.documentElement.dataset.colours") == "night"
    page.click("#colours")
    page.reload()
    assert page.evaluate("document.documentElement.dataset.colours") == "day"


def test_a_file_that_has_grown_old_says_so(opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    page.clock.install(time=demo_orders().made_at + timedelta(hours=6))
    page.goto(a_file(tmp_path, render_page(demo_orders(), now=demo_orders().made_at)))
    assert not page.is_visible("#stale")
    page.clock.fast_forward("01:10:00")
    assert "OLD: these orders were made 7 h 10 ago" in page.inner_text("#stale")
    assert "Watch\nnobody keeps it" in page.inner_text(".glance")


def test_countdown_goes_down_and_a_job_due_stands_out(opened: Any, tmp_path: Path) -> None:
    orders = demo_orders()
    page = opened(*PHONE)
    page.clock.install(time=orders.made_at + timedelta(minutes=10, seconds=30))
    page.goto(a_file(tmp_path, render_page(orders, now=orders.made_at)))
    assert "in 1 h 49" in page.inner_text(".job-shuts .big"), "a minute begun is no longer there to be used"
    assert "10 min ago" in page.inner_text(".job-next .big")
    assert page.locator(".job-next.due").count() == 1
    page.clock.fast_forward("02:00:00")
    assert "10 min ago" in page.inner_text(".job-shuts .big")


@pytest.mark.source("wcag-1")
@pytest.mark.parametrize("night", ["blind", "islands"])
def test_everything_to_be_touched_is_large_enough_for_a_wet_thumb(night: str, opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, NIGHTS[night]()))
    small = page.evaluate("""() => [...document.querySelectorAll('button, summary, a:not(.skip)')].map(e => [e.textContent,
        e.getBoundingClientRect().height]).filter(e => e[1] < 44)""")
    assert small == []


@pytest.mark.source("page-weight-1")
@pytest.mark.parametrize("night", NIGHTS)
def test_the_page_weighs_little(night: str) -> None:
    assert len(NIGHTS[night]().encode()) < 150_000
