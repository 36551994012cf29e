"""The interval of the share of the gap closed, against SciPy's bootstrap of the same ratio."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from watch.service.replay.gap import gap_closed
from watch.service.replay.results import Result
from watch.service.replay.tally import NOTHING, Tally
from watch.service.replay.words import as_table


def passages(reactive: list[float], ours: list[float], foresight: list[float]) -> list[dict[str, Tally]]:
    columns = {"reactive": reactive, "ours": ours, "foresight": foresight}
    return [{name: replace(NOTHING, hard_hours=values[k]) for name, values in columns.items()} for k in range(len(reactive))]


@pytest.mark.source("bootstrap-1")
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_interval_is_that_of_another_program(seed: int) -> None:
    rng = np.random.default_rng(seed)
    reactive = rng.gamma(1.0, 2.0, 80)
    ours, foresight = reactive * rng.uniform(0.0, 0.5, 80), reactive * rng.uniform(0.0, 0.1, 80)

    def share(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> float:
        return float((a.sum() - b.sum()) / (a.sum() - c.sum()))

    found = gap_closed(passages(reactive.tolist(), ours.tolist(), foresight.tolist()), "hard_hours")
    theirs = stats.bootstrap((reactive, ours, foresight), share, paired=True, vectorized=False, method="percentile", n_resamples=4000, random_state=seed)
    assert found.share == pytest.approx(share(reactive, ours, foresight))
    assert found.low == pytest.approx(theirs.confidence_interval.low, abs=0.02)
    assert found.high == pytest.approx(theirs.confidence_interval.high, abs=0.02)


def test_without_a_gap_nothing_is_said_of_it() -> None:
    found = gap_closed(passages([1.0, 0.0], [1.0, 0.0], [1.0, 0.0]), "hard_hours")
    assert np.isnan(found.share)
    assert np.isnan(found.low)


def test_worse_than_thresholds_is_less_than_nothing() -> None:
    assert gap_closed(passages([2.0], [3.0], [1.0]), "hard_hours").share == -1.0


@pytest.mark.parametrize(
    ("reactive", "ours", "foresight", "said"),
    [
        (10.0, 3.0, 2.0, "these orders save 88 in 100."),
        (0.0, 7.0, 0.0, "In hours over hard limits these orders did worse than acting by thresholds."),
        (2.0, 3.0, 1.0, "In hours over hard limits these orders did worse than acting by thresholds."),
        (1.0, 1.0, 1.0, "In hours over hard limits there is nothing between thresholds and foresight"),
    ],
)
def test_the_words_say_it_when_the_orders_did_worse(reactive: float, ours: float, foresight: float, said: str) -> None:
    """Also where there was nothing to be gained, and so no share to be told."""
    results = [Result(name="1", tallies=tallies) for tallies in passages([reactive], [ours], [foresight])]
    assert said in as_table(results, "by hand")
