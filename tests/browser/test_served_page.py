"""The page as the watch serves it, in a real browser: renewed, acknowledged, signed in to, cut off, and without orders."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from tests.browser.seen import PHONE, broken_rules
from tests.page_demo import FixedSource, alarm, among_islands, demo_orders
from watch.service.web_access import hash_passphrase

PASSPHRASE = "four words at sea"


@pytest.mark.source("wcag-1")
@pytest.mark.parametrize("what", ["calls", "no orders", "sign in"])
def test_no_rule_of_accessibility_is_broken_where_something_can_be_done(what: str, opened: Any, served: Any) -> None:
    """The buttons to acknowledge, in both palettes; and the two pages that stand in for the page."""
    calls = (alarm(), alarm(priority="warning", name="b"), alarm(priority="caution", awaits=False, name="c"))
    source = FixedSource(None if what == "no orders" else demo_orders(), calls)
    access = {"read_hash": hash_passphrase(PASSPHRASE, b"0123456789abcdef")} if what == "sign in" else {}
    page = opened(*PHONE, expects=("401", "503"), bypass_csp=True)
    page.goto(served(source, **access))
    assert broken_rules(page) == []
    if what == "calls":
        page.click("#colours")
        assert broken_rules(page) == []


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


NO_COUNTS = "document.querySelectorAll('.count').forEach(count => { count.textContent = ''; })"  # on a slow machine a minute turns meanwhile


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
    page.evaluate(NO_COUNTS)
    renewed = page.inner_text("main")
    html = page.evaluate("document.getElementById('main').innerHTML")
    page.reload()
    page.clock.run_for(2_000)
    page.evaluate(NO_COUNTS)
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


def test_without_the_network_the_page_stays_and_says_since_when(opened: Any, served: Any) -> None:
    page = opened(*PHONE, expects=("Failed to load resource", "ERR_INTERNET_DISCONNECTED"))
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(FixedSource(demo_orders())))
    page.clock.run_for(16_000)
    page.context.set_offline(True)
    for _ in range(20):  # the browser may take its time to give up what it was asking for
        page.clock.run_for(16_000)
        if "NO LONGER UPDATED" in page.inner_text("#stale"):
            break
        page.wait_for_timeout(200)
    assert "NO LONGER UPDATED" in page.inner_text("#stale")
    assert "CLOSES 11:00" in page.inner_text("#next"), "what was known stays to be read"
    page.context.set_offline(False)
    page.clock.run_for(16_000)
    page.wait_for_selector("#stale", state="hidden")
    assert not page.title().startswith("OLD")


def test_without_orders_the_page_waits_for_them_and_says_when_nobody_answers(opened: Any, served: Any) -> None:
    source = FixedSource(None, (alarm(),), well=False)
    page = opened(*PHONE, expects=("503", "Failed to load resource", "ERR_CONNECTION"))
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(source))
    assert "THERE ARE NO ORDERS" in page.inner_text("main")
    page.click(".ack button")
    page.wait_for_selector(".alert:not(.awaits)")
    assert len(source.acknowledged) == 1
    served.stop()
    page.clock.run_for(80_000)
    page.wait_for_selector("#stale", state="visible")
    assert "NO LONGER UPDATED" in page.inner_text("#stale")


def test_orders_that_come_at_last_take_the_place_of_the_notice(opened: Any, served: Any) -> None:
    source = FixedSource(None)
    page = opened(*PHONE, expects=("503",))
    page.clock.install(time=demo_orders().made_at + timedelta(minutes=2))
    page.goto(served(source))
    source.orders = demo_orders()
    page.clock.run_for(16_000)
    page.wait_for_selector("#next")


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
