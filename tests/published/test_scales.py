"""Knots, Beaufort forces and sea states as printed by their owners."""

import pytest

from watch.units import beaufort, kn_to_ms, ms_to_kn, sea_state

BEAUFORT_BOUNDS_KN = [(0, 0), (1, 1), (3, 1), (4, 2), (6, 2), (7, 3), (10, 3), (11, 4), (16, 4), (17, 5), (21, 5), (22, 6),
                      (27, 6), (28, 7), (33, 7), (34, 8), (40, 8), (41, 9), (47, 9), (48, 10), (55, 10), (56, 11), (63, 11),
                      (64, 12), (90, 12)]
SEA_BOUNDS_M = [(0.0, 0), (0.1, 1), (0.5, 2), (1.25, 3), (2.5, 4), (4.0, 5), (6.0, 6), (9.0, 7), (14.0, 8), (14.1, 9)]


@pytest.mark.source("nm-1")
def test_a_knot_is_a_nautical_mile_an_hour() -> None:
    assert kn_to_ms(1.0) == pytest.approx(1852 / 3600, rel=1e-15)
    assert ms_to_kn(kn_to_ms(37.0)) == pytest.approx(37.0)


@pytest.mark.source("beaufort-1")
@pytest.mark.parametrize(("mean_kn", "force"), BEAUFORT_BOUNDS_KN)
def test_beaufort_forces_begin_and_end_where_the_table_says(mean_kn: float, force: int) -> None:
    assert beaufort(float(mean_kn)) == force


@pytest.mark.source("sea-1")
@pytest.mark.parametrize(("height_m", "code"), SEA_BOUNDS_M)
def test_a_bound_belongs_to_the_lower_sea_state(height_m: float, code: int) -> None:
    assert sea_state(height_m) == code
    if height_m:
        assert sea_state(height_m + 0.001) == code + 1 or code == 9
