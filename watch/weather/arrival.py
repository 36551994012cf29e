"""When it comes, over all scenarios: passages of the same front gathered from each, and the spread of their times."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from watch.units import Floats
from watch.weather.fronts import FrontPassage, Kind

GAP_H = 6.0  # judgement: passages with this long between them, in any scenario, are two events


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """One event over the scenarios. share: weight of those that have it, 0..1; who they are, their passages and their weights."""

    share: float
    scenarios: tuple[int, ...]
    passages: tuple[FrontPassage, ...]
    weights: tuple[float, ...]

    def time_at(self, quantile: float) -> datetime:
        """Time by which it has passed in this share (0..1) of the weight of those scenarios that have it.

        Each passage counts from its earliest to its latest instant, evenly: a forecast's own step is part of the doubt.
        """
        return _at(_spread_quantile(self.passages, np.array(self.weights), quantile))

    @property
    def middle(self) -> datetime:
        return self.time_at(0.5)

    @property
    def kind(self) -> Kind:
        """The kind that carries the most weight."""
        return max(Kind, key=lambda kind: sum(w for p, w in zip(self.passages, self.weights, strict=True) if p.kind is kind))

    def by(self, instant: datetime) -> float:
        """Chance that it has come by then: counted over all scenarios, also those that do not have it."""
        moment = instant.timestamp()
        passed = sum(w * _share_passed(p, moment) for p, w in zip(self.passages, self.weights, strict=True))
        return self.share * float(passed) / sum(self.weights)


def arrivals(passages: Sequence[Sequence[FrontPassage]], weights: ArrayLike | None = None, gap_h: float = GAP_H) -> list[Arrival]:
    """Passages of each scenario, and the scenarios' weights (n,), any sum -> events in order of time.

    says: this front comes between these times, in so many of the scenarios.
    why: a closing time rests on the early edge of the arrival, not on its middle.
    example: 20 members, 15 with a cold front between 22Z and 04Z: share 0.75, one in ten of them before 23Z.
    source: judgement (single-linkage clustering on time with one passage a scenario and event). Two passages of one scenario are
    never the same event: a chain that holds two of one scenario is cut at its widest gap until it holds one of each, so that a
    front and the trough behind it stay two.

    Raises ValueError for weights that do not fit, are negative or sum to zero.
    """
    weight = np.ones(len(passages)) if weights is None else np.asarray(weights, dtype=float)
    if weight.shape != (len(passages),) or (len(passages) and not ((weight >= 0).all() and weight.sum() > 0.0)):
        raise ValueError("weights: one non-negative weight a scenario, not all zero")
    chain = sorted(((p.time, i, p) for i, own in enumerate(passages) for p in own), key=lambda link: (link[0], link[1]))
    groups = _cut(chain, timedelta(hours=gap_h)) if chain else []
    total = float(weight.sum())
    events = []
    for group in groups:
        scenarios = tuple(i for _, i, _ in group)
        share = float(weight[list(scenarios)].sum()) / total
        if share > 0.0:
            own = tuple(float(weight[i]) for i in scenarios)
            events.append(Arrival(share=share, scenarios=scenarios, passages=tuple(p for _, _, p in group), weights=own))
    return events


Link = tuple[datetime, int, FrontPassage]


def _cut(chain: list[Link], gap: timedelta) -> list[list[Link]]:
    """A chain in order of time -> groups, cut at gaps wider than `gap`, and at the widest while a scenario is in one twice."""
    groups: list[list[Link]] = []
    waiting = [chain]
    while waiting:
        group = waiting.pop()
        steps = [later[0] - earlier[0] for earlier, later in pairwise(group)]
        doubled = len({i for _, i, _ in group}) < len(group)
        if steps and (max(steps) > gap or doubled):
            at = steps.index(max(steps)) + 1
            waiting += [group[at:], group[:at]]
        else:
            groups.append(group)
    return sorted(groups, key=lambda group: group[0][0])


def _share_passed(passage: FrontPassage, moment: float, at_its_instant: bool = True) -> float:
    """How much of a passage has passed; one without doubt counts at its instant, or only after it."""
    start, end = passage.earliest.timestamp(), passage.latest.timestamp()
    if end > start:
        return float(np.clip((moment - start) / (end - start), 0.0, 1.0))
    return float(moment >= start if at_its_instant else moment > start)


def _spread_quantile(passages: Sequence[FrontPassage], weights: Floats, quantile: float) -> float:
    """Seconds since 1970 at which the summed share of passages reaches the quantile; the earliest such moment."""
    if not 0.0 <= quantile <= 1.0:
        raise ValueError(f"quantile = {quantile}: a share between 0 and 1, like 0.1")
    total = float(weights.sum())
    mark, last = None, 0.0
    for moment in sorted({t.timestamp() for p in passages for t in (p.earliest, p.latest)}):
        just_before, passed = (
            sum(w * _share_passed(p, moment, counted) for p, w in zip(passages, weights, strict=True)) / total
            for counted in (False, True)
        )
        if mark is not None and just_before >= quantile - 1e-12 and just_before > last:
            return float(mark + (quantile - last) / (just_before - last) * (moment - mark))
        if passed >= quantile - 1e-12:
            return moment
        mark, last = moment, float(passed)
    return float("nan") if mark is None else mark


def _at(seconds: float) -> datetime:
    return datetime.fromtimestamp(round(seconds), UTC)
