"""Sun and moon against a full computation from a JPL ephemeris at each instant and place, poles included."""

import math
import warnings
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from watch.passage.light import Need, Sky, SkyEventKind, light_along
from watch.when import from_np, parse_utc, to_np

pytestmark = pytest.mark.source("skyfield-1")

BOUNDS_DEG = {
    SkyEventKind.SUNRISE: -50 / 60, SkyEventKind.SUNSET: -50 / 60, SkyEventKind.CIVIL_BEGINS: -6.0, SkyEventKind.CIVIL_ENDS: -6.0,
    SkyEventKind.NAUTICAL_BEGINS: -12.0, SkyEventKind.NAUTICAL_ENDS: -12.0, SkyEventKind.ASTRONOMICAL_BEGINS: -18.0,
    SkyEventKind.ASTRONOMICAL_ENDS: -18.0,
}  # fmt: skip
RISING = {
    SkyEventKind.SUNRISE, SkyEventKind.CIVIL_BEGINS, SkyEventKind.NAUTICAL_BEGINS, SkyEventKind.ASTRONOMICAL_BEGINS,
    SkyEventKind.MOONRISE,
}  # fmt: skip


class Reference:
    """skyfield, with its files from the installed package and never the network."""

    def __init__(self) -> None:
        from skyfield.api import Loader, wgs84
        from skyfield_data import get_skyfield_data_path

        self.wgs84 = wgs84
        load = Loader(get_skyfield_data_path(), verbose=False)
        self.bodies = load("de421.bsp")
        self.ts = load.timescale(builtin=True)

    def altitude_deg(self, body: str, when: list[datetime], latitude: Any, longitude: Any) -> np.ndarray:
        place = self.bodies["earth"] + self.wgs84.latlon(latitude, longitude)
        return np.asarray(place.at(self.ts.from_datetimes(when)).observe(self.bodies[body]).apparent().altaz()[0].degrees)

    def moonrise_deg(self, when: list[datetime]) -> np.ndarray:
        """Altitude of the moon's centre with its upper limb on the horizon: 34' of refraction and half its breadth."""
        distance_km = self.bodies["earth"].at(self.ts.from_datetimes(when)).observe(self.bodies["moon"]).distance().km
        return -34 / 60 - np.array([math.degrees(math.asin(1737.4 / d)) for d in distance_km])

    def moon_lit(self, when: list[datetime]) -> np.ndarray:
        moon = self.bodies["earth"].at(self.ts.from_datetimes(when)).observe(self.bodies["moon"]).apparent()
        return np.asarray(moon.fraction_illuminated(self.bodies["sun"]))


@pytest.fixture(scope="module")
def reference() -> Iterator[Reference]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the age of the package's tables is no matter here
        reference = Reference()
    yield reference
    reference.bodies.close()


def test_altitudes_anywhere_at_any_time(reference: Reference) -> None:
    rng = np.random.default_rng(11)
    for _ in range(40):
        start = np.datetime64("2015-01-01", "s") + np.timedelta64(int(rng.integers(0, 20 * 365 * 86400)), "s")
        time = start + np.arange(4) * np.timedelta64(int(rng.integers(600, 90000)), "s")
        lat, lon = rng.uniform(-89.0, 89.0, 4), rng.uniform(-180.0, 180.0, 4)
        light = light_along(time, lat, lon)
        when = [from_np(t) for t in time]
        assert np.allclose(light.sun_deg, reference.altitude_deg("sun", when, lat, lon), atol=0.01)
        assert np.allclose(light.moon_deg, reference.altitude_deg("moon", when, lat, lon), atol=0.02)
        assert np.allclose(light.moon_lit, reference.moon_lit(when), atol=0.005)


def test_the_events_of_a_moving_boat_are_within_the_minute(reference: Reference) -> None:
    """Each event lies where the full computation passes the same bound, in the same sense, within half a minute and a breath."""
    time = to_np(parse_utc("2026-05-14T12:00Z")) + np.arange(721) * np.timedelta64(600, "s")
    lat, lon = np.linspace(32.4, 38.5, 721), np.linspace(-64.6, -45.0, 721)
    events = light_along(time, lat, lon).events
    assert len([e for e in events if e.kind is SkyEventKind.SUNSET]) == 5
    assert [e.time for e in events] == sorted(e.time for e in events)
    seconds = (time - time[0]) / np.timedelta64(1, "s")
    for event in events:
        around = [event.time - timedelta(seconds=35), event.time + timedelta(seconds=35)]
        at_s = [float((to_np(a) - time[0]) / np.timedelta64(1, "s")) for a in around]
        place = np.interp(at_s, seconds, lat), np.interp(at_s, seconds, lon)
        if event.kind in BOUNDS_DEG:
            above = reference.altitude_deg("sun", around, *place) - BOUNDS_DEG[event.kind]
        else:
            above = reference.altitude_deg("moon", around, *place) - reference.moonrise_deg(around)
        assert (above[0] < 0 < above[1]) if event.kind in RISING else (above[0] > 0 > above[1])


@pytest.mark.parametrize(
    ("place", "day"),
    [
        ((32.4, -64.7), "2026-05-14T00:00Z"), ((-54.8, -68.3), "2026-12-21T00:00Z"), ((69.6, 18.9), "2026-03-20T00:00Z"),
        ((69.6, 18.9), "2026-06-21T00:00Z"), ((69.6, 18.9), "2026-12-21T00:00Z"), ((78.2, 15.6), "2026-12-21T00:00Z"),
        ((-66.0, 140.0), "2026-12-10T00:00Z"), ((88.5, 0.0), "2026-09-20T00:00Z"),
    ],
)  # fmt: skip
def test_no_rise_and_no_twilight_is_missed_or_made_up(reference: Reference, place: tuple[float, float], day: str) -> None:
    from skyfield import almanac

    start = parse_utc(day)
    time = to_np(start) + np.arange(145) * np.timedelta64(600, "s")
    light = light_along(time, np.full(145, place[0]), np.full(145, place[1]))
    where = reference.wgs84.latlon(*place)
    sky = almanac.dark_twilight_day(reference.bodies, where)
    span = reference.ts.from_datetime(start), reference.ts.from_datetime(start + timedelta(days=1))
    when, _ = almanac.find_discrete(*span, sky)
    ours = [e.time for e in light.events if e.kind in BOUNDS_DEG]
    assert len(ours) == len(when)
    for mine, theirs in zip(ours, when.utc_datetime(), strict=True):
        assert abs(mine - theirs) <= timedelta(minutes=1.2)
    theirs_sky = sky(reference.ts.from_datetimes([from_np(t) for t in time]))
    assert (4 - theirs_sky == light.sky).mean() > 0.98  # a mark may lie on the bound itself


@pytest.mark.parametrize(
    ("place", "day"),
    [((32.4, -64.7), "2026-05-14T00:00Z"), ((69.6, 18.9), "2026-06-21T00:00Z"), ((-66.0, 140.0), "2026-12-10T00:00Z")],
)
def test_the_moon_rises_and_sets_as_often_as_it_does(reference: Reference, place: tuple[float, float], day: str) -> None:
    """Three days, every five minutes: the same stretches above the horizon by the full computation, found slowly."""
    time = to_np(parse_utc(day)) + np.arange(3 * 288 + 1) * np.timedelta64(300, "s")
    events = light_along(time, np.full(len(time), place[0]), np.full(len(time), place[1])).events
    when = [from_np(t) for t in time]
    up = reference.altitude_deg("moon", when, *place) > reference.moonrise_deg(when)
    changes = [(when[i], bool(up[i + 1])) for i in np.flatnonzero(up[1:] != up[:-1])]
    ours = [(e.time, e.kind is SkyEventKind.MOONRISE) for e in events if e.kind in (SkyEventKind.MOONRISE, SkyEventKind.MOONSET)]
    assert [rises for _, rises in ours] == [rises for _, rises in changes]
    for (mine, _), (before, _) in zip(ours, changes, strict=True):
        assert before - timedelta(minutes=1) <= mine <= before + timedelta(minutes=6)


def test_polar_day_and_polar_night() -> None:
    summer = to_np(parse_utc("2026-06-21T00:00Z")) + np.arange(145) * np.timedelta64(600, "s")
    winter = to_np(parse_utc("2026-12-21T00:00Z")) + np.arange(145) * np.timedelta64(600, "s")
    lat, lon = np.full(145, 78.2), np.full(145, 15.6)
    light = light_along(summer, lat, lon)
    assert (light.sky == Sky.DAY).all()
    assert light.enough(Need.DAY).all()
    dark = light_along(winter, lat, lon)
    assert not dark.enough(Need.DAY).any()
    assert not [e for e in dark.events if e.kind in (SkyEventKind.SUNRISE, SkyEventKind.SUNSET)]
