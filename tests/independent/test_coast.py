"""The coast drawn on maps against the mask it comes from, by another program's test of what lies inside a line."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from matplotlib.path import Path as Outline

from watch.passage.land import CELLS, Land, load_land
from watch.render.coast import MOST_POINTS, SMOOTH, Box, Coast, Floats, coast, outlines, simplified

AZORES = Box(south=36.5, north=40.0, west=-32.0, east=-24.5)
DOT = (0.01, 0.013)


def inside(rings: tuple[Floats, ...], latitude: Floats, longitude: Floats) -> np.ndarray:
    """Even-odd: inside when inside an odd number of rings."""
    points = np.column_stack((latitude, longitude))
    hits = [Outline(np.vstack((r, r[:1])), closed=True).contains_points(points) for r in rings]
    return np.sum(hits, axis=0) % 2 == 1 if hits else np.zeros(len(points), dtype=bool)


def known_land(box: Box) -> Land:
    land = load_land(box.south, box.north, box.west, box.east)
    if land is None:
        pytest.skip("no land mask is installed")
    return land


@pytest.mark.source("shoelace-1")
@given(arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9))))
@settings(max_examples=60, deadline=None)
def test_outlines_hold_exactly_the_cells_they_were_made_of(cells: np.ndarray) -> None:
    rings = tuple(outlines(cells))
    rows, columns = (a.ravel() + 0.5 for a in np.indices(cells.shape))
    assert (inside(rings, rows, columns) == cells.ravel()).all()
    area = sum(float(np.sum(r[:, 1] * np.roll(r[:, 0], -1) - np.roll(r[:, 1], -1) * r[:, 0])) / 2 for r in rings)
    assert area == cells.sum(), "holes run the other way round and count against"


@given(arrays(bool, st.tuples(st.integers(2, 12), st.integers(2, 12))), st.sampled_from([SMOOTH, 1.5]))
@settings(max_examples=60, deadline=None)
def test_no_corner_left_out_is_farther_off_than_allowed(cells: np.ndarray, within: float) -> None:
    for ring in outlines(cells):
        kept = simplified(ring, within)
        line = np.vstack((kept, kept[:1]))
        for corner in ring:
            ways = np.diff(line, axis=0)
            along = np.clip(((corner - line[:-1]) * ways).sum(axis=1) / np.maximum((ways**2).sum(axis=1), 1e-12), 0, 1)
            assert np.hypot(*(line[:-1] + along[:, None] * ways - corner).T).min() <= within + 1e-9
        if within == SMOOTH:
            assert len(kept) >= 4, "an islet of one block does not fall together"


def test_the_coast_of_the_azores_is_that_of_the_mask_but_for_a_dot() -> None:
    land = known_land(AZORES)
    made = coast(land, AZORES, DOT)
    assert made.unknown == ()
    rng = np.random.default_rng(7)
    lat, lon = rng.uniform(AZORES.south, AZORES.north, 4000), rng.uniform(AZORES.west, AZORES.east, 4000)
    around = np.array([(y, x) for y in (-DOT[0], 0, DOT[0]) for x in (-DOT[1], 0, DOT[1])]) * 1.8
    near = np.array([land.on_land(lat + dy, lon + dx) for dy, dx in around])
    drawn = inside(made.land, lat, lon)
    assert not (drawn & ~near.any(axis=0)).any(), "no land is drawn where the mask has none within two dots"
    assert drawn[near.all(axis=0)].all(), "all that is land round about is drawn as land"
    assert drawn.any()


@pytest.mark.source("azores-summits-1")
@pytest.mark.parametrize(
    ("name", "latitude", "longitude", "is_land"),
    [
        ("Pico", 38.468, -28.399, True), ("Faial", 38.577, -28.713, True), ("São Jorge", 38.650, -28.077, True),
        ("Flores", 39.46, -31.22, True), ("Corvo", 39.71, -31.11, True), ("between Flores and Faial", 39.0, -29.9, False),
    ],
)  # fmt: skip
def test_islands_are_where_they_are(name: str, latitude: float, longitude: float, is_land: bool) -> None:
    made = coast(known_land(AZORES), AZORES, DOT)
    assert inside(made.land, np.array([latitude]), np.array([longitude]))[0] == is_land


@pytest.mark.source("fiji-1")
def test_the_antimeridian_is_no_seam() -> None:
    box = Box(south=-19.0, north=-15.5, west=176.0, east=184.0)
    made = coast(known_land(box), box, DOT)
    lat, lon = np.array([-17.8, -16.85, -17.0]), np.array([178.0, 180.03, 182.5])  # Viti Levu, Taveuni, open sea
    assert inside(made.land, lat, lon).tolist() == [True, True, False]
    assert all((ring[:, 1] >= 175.9).all() and (ring[:, 1] <= 184.1).all() for ring in made.land)
    widest = max(float(np.ptp(ring[:, 1])) for ring in made.land)
    assert widest < 3.0, "no line runs round the world"


def test_an_islet_of_one_cell_is_still_drawn_on_a_map_of_an_ocean() -> None:
    cells = np.zeros((40 * CELLS, 50 * CELLS), dtype=bool)
    cells[1234, 2345] = True
    land = Land(cells=cells, north_row=30 * CELLS, west_column=100 * CELLS)
    box = Box(south=21.0, north=59.0, west=-79.0, east=-31.0)
    made = coast(land, box, (0.2, 0.2))
    assert len(made.land) == 1
    lat, lon = 60.0 - 1234.5 / CELLS, -80.0 + 2345.5 / CELLS
    assert inside(made.land, np.array([lat]), np.array([lon])).all()


def test_where_the_land_is_not_known_is_told_apart_from_the_sea() -> None:
    land = Land(cells=np.zeros((CELLS, CELLS), dtype=bool), north_row=50 * CELLS, west_column=150 * CELLS)
    made: Coast = coast(land, Box(south=38.5, north=40.0, west=-30.5, east=-29.0), (1 / CELLS, 1 / CELLS))
    assert made.land == ()
    lat, lon = np.array([38.75, 39.5, 39.5]), np.array([-29.5, -30.25, -29.5])
    assert inside(made.unknown, lat, lon).tolist() == [True, True, False]


@pytest.mark.source("page-weight-1")
def test_a_ragged_coast_is_drawn_coarser_rather_than_heavier() -> None:
    box = Box(south=60.0, north=70.0, west=4.0, east=22.0)
    made = coast(known_land(box), box, (1 / CELLS, 1 / CELLS))
    assert 500 < sum(len(ring) for ring in made.land) <= MOST_POINTS
