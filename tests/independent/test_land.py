"""Land, legs and ways over water against an atlas, a reference program and slow twins."""

import importlib.util
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from watch.passage import land as land_
from watch.passage.around import ways_over_water
from watch.passage.land import NEAR_NM, Land, arc_nm, load_land, on_the_way

#          latitude longitude land
PLACES = [
    (32.30, -64.77, True), (38.58, -28.70, True), (38.47, -28.40, True), (39.45, -31.20, True), (39.70, -31.10, True),
    (32.10, -64.60, False), (38.53, -28.57, False), (38.30, -29.50, False), (39.58, -31.15, False), (36.50, -52.00, False),
]  # fmt: skip


@cache
def azores() -> Land:
    found = load_land(36.0, 41.0, -34.0, -24.0)
    assert found is not None
    return found


@pytest.mark.source("land-places-1")
@pytest.mark.source("land-mask-1")
def test_known_places_are_on_land_or_at_sea() -> None:
    found = load_land(30.0, 42.0, -66.0, -24.0)
    assert found is not None
    lat, lon, land = (np.array(column) for column in zip(*PLACES, strict=True))
    assert found.on_land(lat, lon).tolist() == land.tolist()
    assert found.near_land(lat, lon)[land].all()


@pytest.mark.source("land-places-1")
def test_a_box_across_the_antimeridian_and_one_in_the_south() -> None:
    fiji = load_land(-19.0, -15.0, 177.0, -178.0)
    assert fiji is not None
    assert fiji.on_land([-16.85, -17.8, -15.3], [-179.95, 178.0, -179.0]).tolist() == [True, True, False]
    assert fiji.on_land(-16.85, 180.05).tolist() is True, "longitudes are matched round the globe"
    assert fiji.distance_to_land_to_leeward(-16.85, -179.4, 270.0, 40.0) < 40.0, "land on the other side of 180"


def test_what_is_outside_the_box_or_missing_is_not_clear() -> None:
    assert azores().on_land([20.0, np.nan], [-28.0, -28.0]).tolist() == [True, True]
    assert azores().leg_crosses_land(39.0, -33.0, 39.0, -36.0).tolist() == [True]
    assert azores().leg_crosses_land(39.0, -33.0, np.nan, -32.5).tolist() == [True]
    assert np.isnan(azores().distance_to_land_to_leeward(39.0, -33.0, np.nan, 20.0))


def test_without_the_package_land_is_unknown_and_not_absent(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(name: str) -> Any:
        return None if name == land_.PACKAGE else importlib.util.find_spec(name)

    monkeypatch.setattr(land_, "find_spec", none)
    assert load_land(36.0, 41.0, -34.0, -24.0) is None


@pytest.mark.source("geodesic-1")
def test_lengths_and_places_along_legs_against_a_reference_program() -> None:
    rng = np.random.default_rng(5)
    lat1, lat2 = rng.uniform(-60, 60, 200), rng.uniform(-60, 60, 200)
    lon1 = rng.uniform(-180, 180, 200)
    lon2 = lon1 + rng.uniform(-30, 30, 200)
    ours = arc_nm(lat1, lon1, lat2, lon2)
    for i in range(200):
        line = Geodesic.WGS84.InverseLine(lat1[i], lon1[i], lat2[i], lon2[i])
        assert ours[i] == pytest.approx(line.s13 / 1852.0, rel=0.006)
        middle = line.Position(line.s13 / 2)
        lat, lon = on_the_way(lat1[i : i + 1], lon1[i : i + 1], lat2[i : i + 1], lon2[i : i + 1], ours[i : i + 1] / 2)
        off = Geodesic.WGS84.Inverse(float(lat[0]), float(lon[0]), middle["lat2"], middle["lon2"])["s12"] / 1852.0
        assert off < 0.003 * ours[i] + 0.01


def test_legs_against_a_dense_walk() -> None:
    """The slow twin looks every tenth of a mile, at land itself and at a ring of a mile round each look."""
    rng = np.random.default_rng(7)
    lat, lon = rng.uniform(38.0, 40.0, (2, 60)), rng.uniform(-32.0, -27.0, (2, 60))
    found = azores().leg_crosses_land(lat[0], lon[0], lat[1], lon[1])
    for i in range(60):
        whole = float(arc_nm(lat[0, i], lon[0, i], lat[1, i], lon[1, i]))
        along = np.arange(NEAR_NM, whole - NEAR_NM, 0.1)
        here = on_the_way(*(np.full(along.shape, x) for x in (lat[0, i], lon[0, i], lat[1, i], lon[1, i])), along)
        if azores().on_land(*here).any():
            assert found[i], "a leg over land is never called clear"
        if found[i]:
            ring = np.radians(np.arange(0, 360, 30))[:, None]
            near = [azores().on_land(here[0] + r * np.cos(ring) / 60, here[1] + r * np.sin(ring) / 60 / np.cos(np.radians(here[0]))).any()
                    for r in (0.0, 0.5, 1.0, 1.5, 2.0)]  # fmt: skip
            assert any(near), "a leg refused has land within two miles of it"
    assert 10 < found.sum() < 55, "the legs tried are of both kinds"


def test_land_to_leeward_against_a_dense_walk_straight_down() -> None:
    rng = np.random.default_rng(9)
    lat, lon, bearing = rng.uniform(38.2, 38.9, 80), rng.uniform(-29.3, -27.6, 80), rng.uniform(0, 360, 80)
    found = azores().distance_to_land_to_leeward(lat, lon, bearing, 30.0)
    for i in range(80):
        miles = np.arange(0.0, 30.0, 0.05)
        there = [Geodesic.WGS84.Direct(lat[i], lon[i], bearing[i], m * 1852.0) for m in miles[::10]]
        straight = azores().on_land([t["lat2"] for t in there], [t["lon2"] for t in there])
        if straight.any():
            assert found[i] <= miles[::10][np.argmax(straight)] + 1.0, "the sector's nearest is never farther than straight down"
    assert 15 < np.isfinite(found).sum() < 75


def test_ways_round_land_never_cross_it_and_are_near_the_shortest() -> None:
    lat, lon = np.linspace(38.0, 39.2, 25), np.full(25, -29.4)
    end = (38.53, -28.60)  # between Faial and Pico
    ways = ways_over_water(azores(), lat, lon, end)
    straight = azores().leg_crosses_land(lat, lon, end[0], end[1])
    assert straight.any()
    for i, way in enumerate(ways.found):
        assert way is not None
        points = [(lat[i], lon[i]), *way.points]
        for a, b in pairwise(points):
            whole = float(arc_nm(*(np.array(x) for x in (*a, *b))))
            along = np.arange(0.0, whole, 0.1)
            here = on_the_way(*(np.full(along.shape, x) for x in (*a, *b)), along)
            far = np.array([min(Geodesic.WGS84.Inverse(x, y, *p)["s12"] for p in (points[0], end)) / 1852.0 > NEAR_NM
                            for x, y in zip(*here, strict=True)])  # fmt: skip
            assert not azores().on_land(*here)[far].any(), "looked at every tenth of a mile, but for two miles round start and end"
        direct = Geodesic.WGS84.Inverse(lat[i], lon[i], *end)["s12"] / 1852.0
        assert way.length_nm >= 0.994 * direct
        assert way.length_nm <= 1.35 * direct, "Faial is twelve miles across: no way round it costs more"
        assert (len(way.points) == 1) == (not straight[i])


def test_a_place_shut_in_by_land_has_no_way() -> None:
    starts = np.array([38.0, 38.0, 38.7, 38.6]), np.array([-29.0, -28.2, -28.4, -27.6])
    ways = ways_over_water(azores(), *starts, (38.47, -28.38))  # the middle of Pico
    assert ways.found == (None,) * 4
    assert 0.7 < ways.resolution_nm < 3.0


def test_without_a_mask_ways_are_straight() -> None:
    ways = ways_over_water(None, np.array([38.6]), np.array([-29.0]), (38.6, -28.4))
    assert ways.found[0] is not None
    assert ways.found[0].points == ((38.6, -28.4),)
