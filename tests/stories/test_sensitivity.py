"""Do the orders hang on the weights? Nights where they do, and nights where they do not."""

from dataclasses import replace

import numpy as np

from tests.stories.nights import Told, night
from watch.orders.schedule import make_schedule
from watch.orders.sensitivity import Swing, sensitivity_of
from watch.orders.weights import Weights
from watch.render.explain import explain

GALE = [(0.0, 14.0, 17.0), (6.0, 14.0, 17.0), (9.0, 34.0, 42.0), (16.0, 34.0, 42.0)]


def weights_of(told: Told, weights: Weights) -> list[tuple[str, int]]:
    """The jobs with other weights, solved from the very beginning."""
    schedule = make_schedule(replace(told.schedule.judged.night, weights=weights), told.schedule.start)
    return [(task.job.name, task.begins) for task in schedule.tasks]


def test_a_calm_night_hangs_on_no_weight() -> None:
    told = night([(0.0, 12.0, 15.0), (12.0, 12.0, 15.0)], state="")
    assert told.jobs == []
    found = sensitivity_of(told.schedule)
    assert found.swings == ()
    assert found.tried == 34
    assert "none of the 34 changes any job" in " ".join(explain(told.schedule, None, None).split())


def test_before_a_gale_the_shortening_hangs_on_no_weight() -> None:
    """Every variant comes to the gale in a state whose limits it keeps."""
    told = night(GALE)
    carriage = told.schedule.judged.carriage
    edges = told.schedule.judged.night.rig.edges
    for swing in sensitivity_of(told.schedule).swings:
        state = told.schedule.start
        for name, _ in swing.jobs:
            state = next(edge.target for edge in edges if edge.origin == state and edge.job.name == name)
        assert float(np.nanmax(carriage[state].over_hard_kn)) == 0.0, swing


def test_what_is_told_of_a_weight_is_what_a_night_with_that_weight_gives() -> None:
    """A few knots over the working limit for two hours: whether a reef is worth the work hangs on what work costs."""
    told = night([(0.0, 17.0, 20.0), (3.0, 17.0, 20.0), (4.0, 19.2, 22.0), (5.0, 19.2, 22.0), (6.0, 17.0, 20.0), (12.0, 17.0, 20.0)], state="")
    found = sensitivity_of(told.schedule)
    assert found.swings
    plain = Weights()
    for swing in found.swings:
        other = replace(plain, **{swing.weight: swing.factor * getattr(plain, swing.weight)})
        assert list(swing.jobs) == weights_of(told, other)
    told_of = {(swing.weight, swing.factor) for swing in found.swings}
    now = [(task.job.name, task.begins) for task in told.schedule.tasks]
    for name, points in plain.table():
        for factor in (0.5, 2.0):
            jobs = weights_of(told, replace(plain, **{name: factor * points}))
            near = len(jobs) == len(now) and all(a[0] == b[0] and abs(a[1] - b[1]) <= 6 for a, b in zip(now, jobs, strict=True))
            assert near == ((name, factor) not in told_of), (name, factor)
    words = " ".join(explain(told.schedule, None, None).split())
    swing: Swing = found.swings[0]
    assert f"{swing.weight.replace('_', ' ')} {'doubled' if swing.factor > 1 else 'halved'}:" in words
