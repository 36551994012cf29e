"""The sun as printed: NREL's worked example, rises and sets of NREL and the US Naval Observatory, the bounds of twilight."""

import math
from datetime import datetime, timedelta

import numpy as np
import pytest

from watch.passage.light import Need, Sky, SkyEventKind, light_along, light_enough
from watch.when import parse_utc, to_np

GOLDEN = (39.742476, -105.1786)


def day_from(start: datetime, latitude: float, longitude: float) -> dict[SkyEventKind, datetime]:
    time = to_np(start) + np.arange(145) * np.timedelta64(600, "s")
    events = light_along(time, np.full(145, latitude), np.full(145, longitude)).events
    return {e.kind: e.time for e in reversed(events)}


@pytest.mark.source("spa-1")
def test_the_worked_example_of_the_solar_position_algorithm() -> None:
    when = parse_utc("2003-10-17T12:30:30-07:00")
    light = light_along(np.array([to_np(when)]), [GOLDEN[0]], [GOLDEN[1]])
    bare_deg = float(light.sun_deg[0])
    refraction_deg = 820 / 1010 * 283 / (273 + 11) * 1.02 / (60 * math.tan(math.radians(bare_deg + 10.3 / (bare_deg + 5.11))))
    assert 90.0 - bare_deg - refraction_deg == pytest.approx(50.111622, abs=0.005)


@pytest.mark.source("spa-2")
@pytest.mark.parametrize(
    ("start", "place", "rise", "sets"),
    [
        ("1996-07-05T00:00Z", (-35.0, 0.0), "1996-07-05T07:08:15Z", "1996-07-05T17:01:04Z"),
        ("2004-12-04T00:00Z", (-35.0, 0.0), "2004-12-04T04:38:57Z", "2004-12-04T19:02:03Z"),
        ("2015-01-02T00:00-07:00", GOLDEN, "2015-01-02T07:21:55-07:00", "2015-01-02T16:47:43-07:00"),
    ],
)
def test_sunrise_and_sunset_of_the_solar_position_algorithm(
    start: str, place: tuple[float, float], rise: str, sets: str
) -> None:
    events = day_from(parse_utc(start), *place)
    assert abs(events[SkyEventKind.SUNRISE] - parse_utc(rise)) <= timedelta(minutes=1)
    assert abs(events[SkyEventKind.SUNSET] - parse_utc(sets)) <= timedelta(minutes=1)


@pytest.mark.source("usno-1")
@pytest.mark.parametrize(
    ("start", "rise", "sets"),
    [
        ("2015-01-02T00:00-07:00", "2015-01-02T07:22-07:00", "2015-01-02T16:48-07:00"),
        ("2015-08-02T00:00-07:00", "2015-08-02T05:00-07:00", "2015-08-02T19:13-07:00"),
    ],
)
def test_sunrise_and_sunset_of_the_naval_observatory(start: str, rise: str, sets: str) -> None:
    events = day_from(parse_utc(start), *GOLDEN)
    assert abs(events[SkyEventKind.SUNRISE] - parse_utc(rise)) <= timedelta(minutes=1)
    assert abs(events[SkyEventKind.SUNSET] - parse_utc(sets)) <= timedelta(minutes=1)


@pytest.mark.source("twilight-1")
def test_the_sky_changes_at_50_minutes_6_12_and_18_degrees() -> None:
    time = np.datetime64("2026-05-14T12:00", "s") + np.arange(24 * 60 + 1) * np.timedelta64(60, "s")
    light = light_along(time, np.full(len(time), 32.4), np.full(len(time), -64.7))
    for sky, low, high in [
        (Sky.DAY, -50 / 60, 90.0), (Sky.CIVIL, -6.0, -50 / 60), (Sky.NAUTICAL, -12.0, -6.0),
        (Sky.ASTRONOMICAL, -18.0, -12.0), (Sky.NIGHT, -90.0, -18.0),
    ]:  # fmt: skip
        inside = (light.sun_deg >= low) & (light.sun_deg < high)
        assert inside.any()
        assert ((light.sky == sky) == inside).all()


@pytest.mark.source("twilight-1")
def test_day_for_work_on_deck_ends_with_civil_twilight() -> None:
    evening = day_from(parse_utc("2026-05-14T12:00Z"), 32.4, -64.7)
    dusk = evening[SkyEventKind.CIVIL_ENDS]
    around = np.array([to_np(dusk - timedelta(minutes=2)), to_np(dusk + timedelta(minutes=2))])
    assert light_enough(Need.DAY, around, [32.4, 32.4], [-64.7, -64.7]).tolist() == [True, False]
    assert light_enough(Need.NONE, around, [32.4, 32.4], [-64.7, -64.7]).all()
