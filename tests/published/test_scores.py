"""Scores as printed or worked by others."""

import math

import numpy as np
import pytest

from watch.weather.scores import (
    Table,
    brier,
    chance_upper_bound,
    crps_ensemble,
    crps_normal,
    crps_truncated_normal,
    neighbourhood_maximum_probability,
    neighbourhood_probability,
)

FINLEY = Table(hits=28, false_alarms=72, misses=23, correct_negatives=2680)


@pytest.mark.source("finley-1")
@pytest.mark.parametrize(
    ("score", "value"),
    [("pod", 0.54902), ("far", 0.72), ("csi", 0.227642), ("ets", 0.216046), ("hss", 0.355325), ("pss", 0.522857)],
)
def test_finley(score: str, value: float) -> None:
    assert getattr(FINLEY, score) == pytest.approx(value, abs=6e-7 if value != 0.54902 else 6e-6)


@pytest.mark.source("value-1")
@pytest.mark.parametrize(("cost_loss", "value"), [(51 / 2803, 0.522857), (0.05, 0.474716), (0.1, 0.392157), (0.28, 0.0)])
def test_what_finley_was_worth(cost_loss: float, value: float) -> None:
    assert FINLEY.economic_value(cost_loss) == pytest.approx(value, abs=6e-7)


@pytest.mark.source("finley-1")
def test_no_events_no_score() -> None:
    quiet = Table(hits=0, false_alarms=0, misses=0, correct_negatives=10)
    assert all(math.isnan(x) for x in (quiet.pod, quiet.far, quiet.csi, quiet.ets, quiet.hss, quiet.pss))
    with pytest.raises(ValueError, match=r"like 0\.05"):
        quiet.economic_value(1.0)


@pytest.mark.source("brier-1")
def test_brier() -> None:
    assert brier([0.9, 0.1, 0.5, 0.7, 0.2, np.nan], [1, 0, 1, 0, 0, 1]) == pytest.approx(0.16, abs=1e-12)
    assert math.isnan(brier([np.nan], [1.0]))


@pytest.mark.source("crps-1")
def test_crps() -> None:
    assert float(crps_ensemble([1.0, 2.0, 4.0, 5.0], 3.0)) == pytest.approx(0.625)
    assert float(crps_ensemble([5.0, np.nan, 1.0, 4.0, 2.0], 3.0)) == pytest.approx(0.625)
    assert float(crps_ensemble([1.0, 2.0, 4.0], 3.0, [1.0, 1.0, 2.0])) == pytest.approx(
        float(crps_ensemble([1.0, 2.0, 4.0, 4.0], 3.0))
    )
    assert math.isnan(crps_ensemble([np.nan, np.nan], 3.0))
    assert math.isnan(crps_ensemble([1.0, 2.0], np.nan))
    assert float(crps_normal(0.0, 1.0, 0.0)) == pytest.approx(0.233695, abs=5e-7)
    assert float(crps_normal(10.0, 2.0, 13.0)) == pytest.approx(1.988848, abs=5e-7)


@pytest.mark.source("crps-2")
@pytest.mark.parametrize(("mean", "sigma", "seen", "value"), [(2.0, 3.0, 4.0, 0.707578), (8.0, 2.0, 11.0, 1.988780)])
def test_crps_of_a_wind_that_cannot_be_negative(mean: float, sigma: float, seen: float, value: float) -> None:
    assert float(crps_truncated_normal(mean, sigma, seen)) == pytest.approx(value, abs=5e-7)


@pytest.mark.source("neighbour-1")
def test_neighbourhoods() -> None:
    members = np.zeros((3, 3, 3))
    members[0, 1, 1] = 1.0
    members[1, 0, 0] = 1.0
    assert members[:, 1, 1].mean() == pytest.approx(1 / 3)
    assert neighbourhood_probability(members, 15.0, (10.0, 10.0))[1, 1] == pytest.approx(2 / 27)
    assert neighbourhood_maximum_probability(members, 15.0, (10.0, 10.0))[1, 1] == pytest.approx(2 / 3)
    assert neighbourhood_maximum_probability(members, 10.0, (10.0, 10.0))[1, 1] == pytest.approx(1 / 3)
    members[2] = np.nan
    assert neighbourhood_maximum_probability(members, 15.0, (10.0, 10.0))[1, 1] == pytest.approx(1.0)
    assert np.isnan(neighbourhood_probability(np.full((1, 2, 2), np.nan), 1.0, (1.0, 1.0))).all()


@pytest.mark.source("clopper-1")
@pytest.mark.parametrize(("over", "of", "percent"), [(0, 31, 9.2), (1, 31, 14.4), (0, 50, 5.8), (2, 50, 12.1)])
def test_what_few_members_cannot_rule_out(over: int, of: int, percent: float) -> None:
    assert 100.0 * chance_upper_bound(over, of) == pytest.approx(percent, abs=0.05)
    assert chance_upper_bound(of, of) == 1.0
