"""A whole watch through a whole storm: two hours early, 15 % stronger than its forecast, and nobody does what the orders say."""

import re
from datetime import datetime, timedelta

import numpy as np
import pytest

from tests.storm_stood import Stood, stand_a_storm
from watch.instruments.simulate import Script
from watch.orders.document import Compared, Orders

HOURS, EARLY_H, STRENGTH = 30.0, 2.0, 1.15


@pytest.fixture(scope="module")
def stood(tmp_path_factory: pytest.TempPathFactory) -> Stood:
    return stand_a_storm(tmp_path_factory.mktemp("storm"), hours=HOURS, early_h=EARLY_H, strength=STRENGTH, speed=4000.0)


def front_at(script: Script) -> datetime:
    """When the wind of the script veers most within an hour."""
    turn = (script.from_deg[6:] - script.from_deg[:-6] + 180.0) % 360.0 - 180.0
    return script.start + timedelta(minutes=10) * (int(np.argmax(turn)) + 3)


def learnt(orders: Orders) -> Compared:
    assert orders.compared is not None
    return orders.compared


def test_it_went_through_and_ended_in_good_order(stood: Stood):
    assert stood.exit_code == 0, stood.printed[-2000:]
    assert "Traceback" not in stood.printed
    assert "stumbled" not in stood.printed
    assert len(stood.orders) >= HOURS / 6, "orders were made all the way"
    assert "The clock jumped" not in stood.printed, "a clock that runs fast is not one that jumps"


def test_the_first_orders_are_made_before_the_weather_has_gone_by(stood: Stood):
    assert stood.orders[0].made_at <= stood.script.start + timedelta(minutes=30)


def test_the_orders_said_stronger(stood: Stood):
    later = [learnt(o) for o in stood.orders if o.made_at >= stood.script.start + timedelta(hours=6)]
    assert all(c.trusted for c in later)
    assert all("stronger than forecast" in c.glance for c in later)
    near = [c.strength for o, c in ((o, learnt(o)) for o in stood.orders) if front_at(stood.script) < o.made_at and c.strength is not None]
    assert min(near) >= 1.05
    assert np.median(near) == pytest.approx(STRENGTH, abs=0.12)


def test_the_orders_said_earlier_once_the_front_had_come_and_not_before(stood: Stood):
    front = front_at(stood.script)
    after = [learnt(o) for o in stood.orders if front + timedelta(hours=4) <= o.made_at <= front + timedelta(hours=11)]
    assert after
    assert all(c.hours_early == pytest.approx(EARLY_H, abs=0.8) for c in after)
    assert all("early" in c.glance for c in after)
    before = [learnt(o).hours_early or 0.0 for o in stood.orders if o.made_at <= front - timedelta(hours=3)]
    assert max(before) <= 1.2, "a wind that only rises tells little of when"


def test_one_front_is_one_alert_and_the_limits_were_called(stood: Stood):
    calls = [e.alert for e in stood.events if e.kind == "Call"]
    assert len({name for name in calls if name.startswith("jobs.")}) == 1
    assert len(set(calls)) <= 8, f"{sorted(set(calls))}: twenty alerts for a storm would be none"
    assert "limit" in calls
    assert "Gust above the hard limit of what is up" in stood.printed


def test_track_and_steps_are_in_the_store(stood: Stood):
    assert len(stood.steps) >= 6 * HOURS - 4
    assert np.isfinite([s.mean_ms for s in stood.steps]).mean() >= 0.97
    observed = np.array([s.mean_ms for s in stood.steps])
    wanted = stood.script.mean_ms[: len(observed)]
    assert np.nanmedian(np.abs(observed - wanted)) < 0.4
    times = [p.at for p in stood.track]
    assert times == sorted(times)
    assert stood.track[0].at <= stood.script.start + timedelta(minutes=10)
    assert stood.track[-1].at >= stood.end - timedelta(hours=1)
    assert stood.track[-1].longitude_deg - stood.track[0].longitude_deg == pytest.approx(HOURS * 6.0 / 60.0 / np.cos(np.radians(37.2)), abs=0.5)
    assert all(not re.search("skipper", p.source) for p in stood.track)
