"""A front is found whatever minute it is now: the forecasts' own instants are full hours, and a pass is made at any ten minutes."""

from datetime import timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from watch.forecast.contract import Forecast
from watch.forecast.grib import read
from watch.weather.look import Where
from watch.weather.outlook import fronts_ahead
from watch.weather.scenarios import make_scenarios
from watch.when import grid, parse_utc

ROOT = Path(__file__).resolve().parents[2]
NOON = parse_utc("2026-05-16T12:00Z")
STEPS = 6 * 30


@cache
def forecasts() -> tuple[Forecast, ...]:
    return tuple(read([ROOT / "fixtures" / "kittiwake-2026051612-ensemble.grib2"], None))


@pytest.mark.parametrize("minutes", [0, 10, 20, 30, 40, 50, 70])
def test_the_demo_s_front_is_seen_from_any_minute_at_the_same_time(minutes: int) -> None:
    time = grid(NOON + timedelta(minutes=minutes), STEPS)[:-1]
    where = Where(time=time, latitude=np.full(STEPS, 36.5), longitude=np.full(STEPS, -51.0))
    found = fronts_ahead(make_scenarios(forecasts(), where), where)
    front = max(found, key=lambda arrival: arrival.share)
    assert front.share > 0.9
    assert abs((front.middle - parse_utc("2026-05-17T03:30Z")).total_seconds()) < 5400
