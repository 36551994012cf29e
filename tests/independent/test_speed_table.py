"""The speed table against a general interpolator and a slow search; and the many tables put together against each alone."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import minimize_scalar

from watch.passage.carriage import Carriage, put_together
from watch.passage.speed import SpeedTable

WINDS = [4.0, 8.0, 12.0, 16.0, 20.0, 30.0]
ANGLES = [45.0, 60.0, 90.0, 120.0, 150.0, 180.0]
SPEEDS = [
    [1.8, 2.4, 2.9, 2.6, 1.9, 1.5], [4.0, 4.7, 5.3, 4.9, 3.8, 3.1], [5.0, 5.6, 6.2, 6.0, 5.1, 4.4],
    [5.5, 6.0, 6.6, 6.6, 5.9, 5.3], [5.7, 6.2, 6.8, 7.0, 6.5, 6.0], [5.5, 6.2, 6.9, 7.3, 7.1, 6.8],
]  # fmt: skip
TABLE = SpeedTable(tws_kn=WINDS, twa_deg=ANGLES, speed_kn=SPEEDS)


def test_between_its_numbers_the_table_is_bilinear() -> None:
    reference = RegularGridInterpolator((np.array([0.0, *WINDS]), np.array(ANGLES)), np.array([[0.0] * 6, *SPEEDS]))
    rng = np.random.default_rng(3)
    tws, twa = rng.uniform(0.0, 30.0, 500), rng.uniform(45.0, 180.0, 500)
    assert np.allclose(TABLE.at(tws, twa), reference((tws, twa)), atol=1e-12)
    assert np.allclose(TABLE.at(tws, -twa), reference((tws, twa)), atol=1e-12)


@pytest.mark.parametrize("upwind", [True, False])
@pytest.mark.parametrize("tws", [3.0, 6.0, 10.0, 17.5, 30.0, 45.0])
def test_the_best_angle_gains_what_a_search_finds(tws: float, upwind: bool) -> None:
    sign = 1.0 if upwind else -1.0

    def loss(angle: float) -> float:
        return -sign * float(TABLE.at(tws, angle)) * float(np.cos(np.radians(angle)))


    pieces = pairwise(ANGLES)
    best = min(float(minimize_scalar(loss, bounds=piece, method="bounded", options={"xatol": 1e-6}).fun) for piece in pieces)
    best = min(best, *(loss(a) for a in ANGLES))
    assert loss(float(TABLE.best_vmg_angle(tws, upwind))) == pytest.approx(best, rel=1e-4)


def test_no_ground_is_gained_in_a_calm_or_by_a_boat_that_only_runs() -> None:
    only_runs = SpeedTable(tws_kn=[20.0], twa_deg=[120.0, 180.0], speed_kn=[[4.0, 4.0]])
    assert np.isnan(TABLE.best_vmg_angle(0.0, upwind=True))
    assert np.isnan(only_runs.best_vmg_angle([10.0, 30.0], upwind=True)).all()
    assert TABLE.best_vmg_angle(12.0, upwind=True, closest_deg=70.0) == 70.0


def test_the_edges_of_the_table() -> None:
    assert TABLE.at([40.0, 2.0, 0.0], 90.0).tolist() == [6.9, 1.45, 0.0]
    assert TABLE.at(12.0, [44.9, 45.0, 180.0]).tolist() == [0.0, 5.0, 4.4]
    assert np.isnan(TABLE.at([np.nan, 12.0], [90.0, np.nan])).all()
    assert TABLE.beyond([30.0, 30.1, np.nan]).tolist() == [False, True, True]
    assert TABLE.at([0.0, 1.0, 3.9, 12.0], [0.0, 90.0, 10.0, 10.0], motoring_kn=5.0).tolist() == [5.0, 5.0, 5.0, 0.0]


def test_tables_put_together_read_as_each_alone() -> None:
    other = SpeedTable(tws_kn=[6.0, 11.0, 25.0], twa_deg=[52.0, 110.0, 165.0], speed_kn=[[3, 4, 3], [5, 6, 5], [6, 8, 7]])
    carriages = (Carriage(table=TABLE), Carriage(table=TABLE, factor=0.6), Carriage(table=other), Carriage(steady_kn=4.5))
    together = put_together(carriages)
    rng = np.random.default_rng(4)
    tws, twa, which = rng.uniform(0.0, 60.0, 800), rng.uniform(52.0, 180.0, 800), rng.integers(0, 4, 800)
    alone = np.array([TABLE.at(tws, twa), 0.6 * TABLE.at(tws, twa), other.at(tws, twa), np.full(800, 4.5)])
    assert np.allclose(together.table_kn(which, tws, np.radians(twa)), alone[which, np.arange(800)], atol=1e-9)


@pytest.mark.parametrize(
    ("tws", "twa", "speeds", "sentence"),
    [
        ([8, 8], [50, 90], [[1, 2], [3, 4]], "its wind speeds must rise, but 8 kn is followed by 8 kn"),
        ([8, 10], [90, 50], [[1, 2], [3, 4]], "its wind angles must rise, but 90 deg is followed by 50 deg"),
        ([8, np.nan], [50, 90], [[1, 2], [3, 4]], "its wind speeds must be a list of numbers"),
        ([-1, 8], [50, 90], [[1, 2], [3, 4]], "its wind speeds must not be negative, and one must be above 0 kn"),
        ([8], [50, 190], [[1, 2]], "its wind angles must be from 0 to 180 deg"),
        ([8, 10], [50, 90], [[1, 2]], "it needs a speed for each of 2 wind speeds (rows) and 2 wind angles (columns)"),
        ([8, 10], [50, 90], [[1, 2], [3, -4]], "its speed at 10 kn and 90 deg is -4: a number from 0 to 100 kn"),
        ([8, 10], [50, 90], [[1, np.nan], [3, 4]], "its speed at 8 kn and 90 deg is nan: a number from 0 to 100 kn"),
        ([0, 10], [50, 90], [[0, 1], [3, 4]], "its speed in no wind must be 0"),
    ],
)
def test_a_table_that_does_not_fit_together_is_refused(
    tws: list[float], twa: list[float], speeds: list[list[float]], sentence: str
) -> None:
    with pytest.raises(ValueError) as caught:
        SpeedTable(tws_kn=tws, twa_deg=twa, speed_kn=speeds)
    assert str(caught.value) == sentence


def test_tables_with_the_same_numbers_are_equal_and_cannot_be_changed() -> None:
    again = SpeedTable(tws_kn=WINDS, twa_deg=ANGLES, speed_kn=SPEEDS)
    assert again == TABLE
    assert hash(again) == hash(TABLE)
    assert again != SpeedTable(tws_kn=WINDS, twa_deg=ANGLES, speed_kn=np.array(SPEEDS) + 0.1)
    with pytest.raises(ValueError, match="read-only"):
        again.speed_kn[0, 0] = 9.0
