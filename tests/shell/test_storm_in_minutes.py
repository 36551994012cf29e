"""A whole watch through a front: two hours early, 15 % stronger than its forecast, and nobody does what the orders say.

What is played waits for the watch, so that nothing here depends on how quick the computer is.
"""

from datetime import timedelta

import numpy as np
import pytest

from tests.storm_stood import Played, Stood, stand_a_storm
from watch.orders.document import Compared, Orders

STORM = Played(hours=12.0, begins_h=5.0, early_h=2.0, strength=1.15, hold_h=3.0, ahead_h=36, members=False)


@pytest.fixture(scope="module")
def stood(tmp_path_factory: pytest.TempPathFactory) -> Stood:
    return stand_a_storm(tmp_path_factory.mktemp("storm"), STORM)


def learnt(orders: Orders) -> Compared:
    assert orders.compared is not None
    return orders.compared


def test_it_went_through_and_ended_in_good_order(stood: Stood):
    assert stood.exit_code == 0, stood.printed[-2000:]
    for words in ("Traceback", "stumbled", "Part of the watch failed", "The clock jumped"):
        assert words not in stood.printed, stood.printed[-3000:]
    assert stood.orders[0].made_at <= stood.script.start + timedelta(minutes=10), "before the weather has gone by"
    assert stood.orders[-1].made_at >= stood.end - timedelta(minutes=10), "and up to the last"
    assert len(stood.orders) <= 6 * STORM.hours + 6, "passes are never heaped up"


def test_the_orders_said_stronger(stood: Stood):
    later = [learnt(o) for o in stood.orders if o.made_at >= stood.script.start + timedelta(hours=5)]
    assert all(c.trusted for c in later)
    assert all("stronger than forecast" in c.glance for c in later)
    assert min(c.strength or 0.0 for c in later) >= 1.05
    assert np.median([c.strength or 0.0 for c in later]) == pytest.approx(STORM.strength, abs=0.12)


def test_the_orders_said_earlier_once_the_front_had_come_and_not_before(stood: Stood):
    after = [learnt(o) for o in stood.orders if o.made_at >= stood.front + timedelta(hours=3, minutes=50)]
    assert after
    assert all(c.hours_early == pytest.approx(STORM.early_h, abs=0.8) for c in after)
    assert all("early" in c.glance for c in after)
    before = [learnt(o).hours_early or 0.0 for o in stood.orders if o.made_at <= stood.front - timedelta(hours=1)]
    assert len(before) >= 3
    assert max(before) <= 1.2, "a wind that only rises tells little of when"


def test_what_the_passage_itself_teaches_is_said_in_the_orders(stood: Stood):
    assert any("spells of six hours" in line for line in stood.orders[-1].missing)


def test_one_front_is_one_alert_and_the_limits_were_called(stood: Stood):
    calls = [e.alert for e in stood.events if e.kind == "Call"]
    assert len({name for name in calls if name.startswith("jobs.")}) == 1
    assert len(set(calls)) <= 8, f"{sorted(set(calls))}: twenty alerts for a storm would be none"
    assert "limit" in calls
    assert "Gust above the hard limit of what is up" in stood.printed


def test_track_and_steps_are_in_the_store(stood: Stood):
    assert len(stood.steps) >= 6 * STORM.hours - 4
    assert np.isfinite([s.mean_ms for s in stood.steps]).mean() >= 0.97
    observed = np.array([s.mean_ms for s in stood.steps])
    wanted = stood.script.mean_ms[: len(observed)]
    assert np.nanmedian(np.abs(observed - wanted)) < 0.4
    assert len(stood.track) >= 4, "at least one for each time it was waited for"
    times = [p.at for p in stood.track]
    assert times == sorted(times)
    assert stood.track[0].at <= stood.script.start + timedelta(minutes=10)
    assert stood.track[-1].at >= stood.end - timedelta(hours=1)
    sailed_deg = STORM.hours * 6.0 / 60.0 / np.cos(np.radians(37.2))
    assert stood.track[-1].longitude_deg - stood.track[0].longitude_deg == pytest.approx(sailed_deg, abs=0.5)
    assert all("skipper" not in p.source for p in stood.track)
