"""The page in a real browser: read, counted down, gone stale, acknowledged, with keyboard and by the rules of accessibility."""

from dataclasses import replace
from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from tests.page_demo import FixedSource, alarm, among_islands, blind_for_hours, demo_orders, health, not_good_enough, nothing_due, with_shelter
from watch.render.page import render_page
from watch.service.map_land import land_of_map
from watch.service.web_access import hash_passphrase

PHONE, DESKTOP = (390, 844), (1280, 900)
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PASSPHRASE = "four words at sea"


def a_file(folder: Path, html: str) -> str:
    path = folder / "page.html"
    path.write_text(html, encoding="utf-8")
    return path.as_uri()


def broken_rules(page: Any) -> list[str]:
    """What axe-core finds, as 'rule: element'."""
    found = find_spec("axe_playwright_python")
    if found is None or found.origin is None:
        pytest.skip("no axe-core: accessibility is not checked")
    if not page.evaluate("typeof axe !== 'undefined'"):
        page.evaluate((Path(found.origin).parent / "axe.min.js").read_text(encoding="utf-8"))
    result = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", RULES)
    assert len(result["passes"]) > 15, "axe-core looked at something"
    return [f"{v['id']}: {n['html'][:120]} {n['failureSummary']}" for v in result["violations"] for n in v["nodes"]]


NIGHTS = {
    "jobs": lambda: render_page(demo_orders(), now=demo_orders().made_at, invented=True),
    "nothing": lambda: render_page(nothing_due(), now=demo_orders().made_at, invented=True),
    "bad": lambda: render_page(not_good_enough(), now=demo_orders().made_at, invented=True, previous=demo_orders()),
    "blind": lambda: render_page(
        blind_for_hours(), now=demo_orders().made_at, invented=True, health=health(demo_orders().made_at, well=False),
        alerts=(alarm(), alarm(priority="warning", name="b"), alarm(priority="caution", awaits=False, name="c")),
    ),
    "shelter": lambda: render_page(with_shelter(), now=demo_orders().made_at, invented=True),
    "islands": lambda: render_page(
        among_islands(), now=demo_orders().made_at, invented=True, land=land_of_map(among_islands()), previous=not_good_enough(),
    ),
}  # fmt: skip


@pytest.mark.source("wcag-1")
@pytest.mark.parametrize("night", ["bad", "blind", "islands"])
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


def test_the_first_screen_of_a_phone_has_what_a_woken_sailor_needs(opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, NIGHTS["shelter"]()))
    for what in (".job-next h2", ".job-shuts .big", ".glance", ".verdict"):
        box = page.locator(what).bounding_box()
        assert box["y"] + box["height"] <= PHONE[1], f"{what} is below the first screen"
    text = page.inner_text("#next")
    for words in ("Next", "CLOSES 11:00 in 2 h 00", "Turn by\n14:00 Invented Bay", "Forecast", "Watch"):
        assert words in text


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


def test_a_page_no_longer_updated_says_so_loudly(opened: Any, served: Any) -> None:
    page = opened(*PHONE, expects=("Failed to load resource", "ERR_CONNECTION"))
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(FixedSource(demo_orders())))
    assert not page.is_visible("#stale")
    served.stop()
    page.clock.run_for(80_000)
    assert "NO LONGER UPDATED" in page.inner_text("#stale")
    assert page.title().startswith("OLD")


def test_an_alarm_is_acknowledged_by_the_keyboard_alone(opened: Any, served: Any) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    page = opened(*PHONE)
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(source))
    button = page.locator(".ack button")
    box = button.bounding_box()
    assert box["height"] >= 60
    assert box["width"] >= 300
    assert box["y"] + box["height"] <= PHONE[1], "the button is on the first screen"
    for _ in range(8):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('.ack') !== null"):
            break
    page.keyboard.press("Enter")
    page.wait_for_selector(".alert:not(.awaits)")
    assert [a[:2] for a in source.acknowledged] == [("front.20260516", 3)]
    assert page.locator(".ack").count() == 0


def test_an_acknowledgement_that_failed_is_not_taken_for_one(opened: Any, served: Any) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    page = opened(*PHONE, expects=("409",))
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(source))
    page.evaluate("document.querySelector('[name=revision]').value = '2'")
    page.click(".ack button")
    page.locator(".ack button", has_text="NOT acknowledged").wait_for()
    assert "it has changed since you read it" in page.inner_text(".ack button")
    assert source.acknowledged == []


def test_new_orders_come_by_themselves_and_what_is_read_stays_where_it_is(opened: Any, served: Any) -> None:
    """Something new above: what was unfolded, the place on the screen and every element that says the same are left alone."""
    source = FixedSource(demo_orders())
    page = opened(*PHONE)
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(source))
    page.click(".jobs details summary >> nth=2")
    page.evaluate("document.querySelector('.jobs li:nth-child(3)').scrollIntoView(); document.querySelector('#track svg').own = 1")
    page.evaluate("document.querySelectorAll('.jobs summary').forEach(s => { s.own = 1; }); document.querySelector('.jobs details[open] summary').focus()")
    before = page.evaluate("document.querySelector('.jobs li:nth-child(3)').getBoundingClientRect().top")
    source.alerts = (alarm(awaits=False, priority="caution"),)
    page.clock.run_for(16_000)
    page.wait_for_selector(".alert.is-caution")
    assert page.locator(".jobs details[open]").count() == 1
    assert abs(page.evaluate("document.querySelector('.jobs li:nth-child(3)').getBoundingClientRect().top") - before) < 2
    assert page.evaluate("[...document.querySelectorAll('.jobs summary')].every(s => s.own) && document.querySelector('#track svg').own") == 1
    assert page.evaluate("document.activeElement.closest('.jobs details') !== null"), "the keyboard is still there"


def test_new_orders_with_other_jobs_show_just_those(opened: Any, served: Any) -> None:
    """After the piecewise renewal the page is what a fresh load would be."""
    source = FixedSource(demo_orders(), (alarm(), alarm(priority="warning", name="b")))
    page = opened(*PHONE)
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    address = served(source)
    page.goto(address)
    source.orders, source.alerts, source.well = replace(among_islands(), jobs=demo_orders().jobs[2:]), (alarm(name="c"),), False
    page.clock.run_for(16_000)
    page.wait_for_selector("#unwell")
    page.clock.run_for(2_000)
    renewed = page.inner_text("main")
    html = page.evaluate("document.getElementById('main').innerHTML")
    page.reload()
    page.clock.run_for(2_000)
    assert page.inner_text("main") == renewed
    assert page.evaluate("document.getElementById('main').innerHTML") == html


def test_a_new_call_is_brought_into_view_and_each_has_its_own_button(opened: Any, served: Any) -> None:
    source = FixedSource(demo_orders())
    page = opened(*PHONE)
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(source))
    page.evaluate("window.scrollTo(0, 2000)")
    source.alerts = (alarm(), alarm(priority="warning", name="b"))
    page.clock.run_for(16_000)
    page.wait_for_selector(".alert.is-alarm")
    assert page.evaluate("window.scrollY") == 0
    assert page.title().startswith("CALL")
    assert page.locator(".ack button").count() == 2
    page.locator(".is-warning .ack button").click()
    page.wait_for_selector("#known .is-warning")
    assert [a[0] for a in source.acknowledged] == ["b"]
    assert page.locator(".ack button").count() == 1


@pytest.mark.source("wcag-1")
@pytest.mark.parametrize("night", ["blind", "islands"])
def test_everything_to_be_touched_is_large_enough_for_a_wet_thumb(night: str, opened: Any, tmp_path: Path) -> None:
    page = opened(*PHONE)
    page.goto(a_file(tmp_path, NIGHTS[night]()))
    small = page.evaluate("""() => [...document.querySelectorAll('button, summary, a:not(.skip)')].map(e => [e.textContent,
        e.getBoundingClientRect().height]).filter(e => e[1] < 44)""")
    assert small == []


def test_without_the_network_the_page_stays_and_says_since_when(opened: Any, served: Any) -> None:
    page = opened(*PHONE, expects=("Failed to load resource", "ERR_INTERNET_DISCONNECTED"))
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(FixedSource(demo_orders())))
    page.clock.run_for(16_000)
    page.context.set_offline(True)
    page.clock.run_for(80_000)
    assert "NO LONGER UPDATED" in page.inner_text("#stale")
    assert "CLOSES 11:00" in page.inner_text("#next"), "what was known stays to be read"
    page.context.set_offline(False)
    page.clock.run_for(16_000)
    page.wait_for_selector("#stale", state="hidden")
    assert not page.title().startswith("OLD")


def test_signing_in_gives_only_the_right_of_the_passphrase(opened: Any, served: Any) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    page = opened(*PHONE, expects=("401",))
    page.goto(served(source, read_hash=hash_passphrase(PASSPHRASE, b"0123456789abcdef")))
    assert "Kittiwake" not in page.content()
    page.fill("#passphrase", PASSPHRASE)
    page.keyboard.press("Enter")
    page.wait_for_selector("#next")
    assert page.locator(".ack").count() == 0
    assert "Not acknowledged" in page.inner_text(".alert")
    assert page.evaluate("document.cookie") == "", "the session is out of a script's reach"


def test_without_scripts_it_can_still_be_read_and_acknowledged(opened: Any, served: Any) -> None:
    source = FixedSource(demo_orders(), (alarm(),))
    page = opened(*PHONE, java_script_enabled=False)
    page.goto(served(source))
    assert "CLOSES 11:00" in page.inner_text("#next")
    page.click(".ack button")
    page.wait_for_selector(".alert:not(.awaits)")
    assert len(source.acknowledged) == 1


@pytest.mark.source("page-weight-1")
@pytest.mark.parametrize("night", NIGHTS)
def test_the_page_weighs_little(night: str) -> None:
    assert len(NIGHTS[night]().encode()) < 150_000
