"""The ship with her almanac, the weather outside as it is met aboard, and what may be known of it at a step: never what comes after."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting
from watch.boat.rig import Rig
from watch.forecast.contract import Forecast
from watch.orders.carry import felt, speed_table
from watch.orders.met import Met
from watch.orders.schedule import Judged, Night, busy_steps, judge
from watch.orders.weights import Aims, Weights
from watch.orders.windows import job_steps, outside
from watch.service.aboard import Steps, asleep, met_of
from watch.service.replay.truth import Truth
from watch.weather.errors import Widening
from watch.weather.unforecast import COUNTED, Unforecast
from watch.when import ShipTime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LOOK_STEPS = 2  # a job is begun on the last twenty minutes: the squall that has just gone by counts, the one to come is not known


@dataclass(frozen=True, kw_only=True, eq=False)
class Ship:
    """What she knows without any weather: her rig, from the state she begins in (state 0), her way, and what she asks for. compares:
    whether the orders are also corrected by her own wind and glass. unforecast: the squalls that her orders reckon with beside the
    weathers."""

    rig: Rig
    way: Steps
    aims: Aims = field(default_factory=Aims)
    weights: Weights = field(default_factory=Weights)
    widening: Widening = field(default_factory=Widening)
    compares: bool = False
    unforecast: Unforecast = COUNTED

    @property
    def ship_time(self) -> ShipTime:
        return ShipTime.for_longitude(float(self.way.longitude[0]))

    def night(self, met: Met, **more: object) -> Night:
        """The weather met -> a night of hers."""
        return Night(rig=self.rig, met=met, table=speed_table(self.rig.boat.speed), asleep=asleep(met, self.aims, self.ship_time),
                     aims=self.aims, weights=self.weights, **more)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Felt:
    """Mean and gust as each state's limits mean them, and its lasting limits at the angle it lies at: (N, steps) each [kn]."""

    mean_kn: Floats
    gust_kn: Floats
    working_kn: Floats
    hard_kn: Floats

    def until(self, step: int) -> "Felt":
        return Felt(self.mean_kn[:, :step], self.gust_kn[:, :step], self.working_kn[:, :step], self.hard_kn[:, :step])

    def carries(self, steps: int, factor: float = 1.0) -> Bools:
        """(N): the states whose limits held in each of the last steps, had the wind been so many times as strong. Unknown: none."""
        last = slice(-steps, None)
        working = self.mean_kn[:, last] * factor <= self.working_kn[:, last]
        held: Bools = np.all(working & (self.gust_kn[:, last] * factor <= self.hard_kn[:, last]), axis=1)
        return held

    def over_hard_kn(self, factor: float = 1.0) -> Floats:
        """(N): knots over the hard limit in the last step, had the wind been so many times as strong; unknown is far over."""
        return np.nan_to_num(np.maximum(factor * self.gust_kn[:, -1] - self.hard_kn[:, -1], 0.0), nan=np.inf)

    def over_working_kn(self) -> Floats:
        return np.nan_to_num(np.maximum(self.mean_kn[:, -1] - self.working_kn[:, -1], 0.0), nan=np.inf)


@dataclass(frozen=True, kw_only=True, eq=False)
class Outside:
    """The truth as this ship meets it: S = 1 scenario, T steps, N rig states, E edges."""

    ship: Ship
    truth: Truth
    arrivals: Sequence[tuple[int, Forecast]]  # the step from which each forecast is aboard

    @cached_property
    def met(self) -> Met:
        return met_of(self.ship.rig.boat, self.truth.way, self.truth.scenarios())

    @cached_property
    def judged(self) -> Judged:
        """The truth as a night of one scenario: what each state meets, and which jobs the weather lets her finish."""
        return judge(self.ship.night(self.met), reasons=False)

    @cached_property
    def can(self) -> Bools:
        """(T, E): whether each job can be begun at each step, by the last twenty minutes, the light and the time that is left. At the
        first step nothing has been seen yet, and nothing is begun."""
        steps, columns = self.met.steps, {}
        for edge in self.ship.rig.edges:
            job = edge.job
            if job.name in columns:
                continue
            bad = np.any(list(outside(job, self.met, apparent=self.judged.night.apparent).values()), axis=0)[0]
            ok = np.zeros(steps, dtype=bool)
            for t in range(1, steps):
                ok[t] = not bad[max(0, t - LOOK_STEPS) : t].any()
            dark = ~self.met.light_enough(job.light)
            ok &= np.array([not dark[t : t + job_steps(job)].any() for t in range(steps)])
            ok &= np.arange(steps) + busy_steps(job, self.ship.aims) <= steps
            columns[job.name] = ok
        return np.stack([columns[edge.job.name] for edge in self.ship.rig.edges], axis=1)

    @cached_property
    def felt(self) -> "Felt":
        rig, met = self.ship.rig, self.met
        rows = []
        for i, plan in enumerate(rig.plans):
            assert plan is not None, f"no sail plan covers {rig.states[i]}"
            angle, mean_kn, gust_kn = felt(rig, i, plan, met)
            rows.append((mean_kn[0], gust_kn[0], *(limit[0] for limit in lasting(plan, angle))))
        return Felt(*(np.array(rows).transpose(1, 0, 2)))

    def known(self, step: int, state: int, refused: frozenset[str]) -> "Known":
        """What is known at the beginning of a step."""
        return Known(
            step=step, state=state, refused=refused, ship=self.ship, can=self.can[step], felt=self.felt.until(step),
            seen=self.truth.cut(step), made_good=np.array([c.made_good_kn[max(step - 1, 0)] for c in self.judged.carriage.of_state]),
            forecasts=tuple(f for at, f in self.arrivals if at <= step),
            asleep=bool(self.judged.night.asleep[step]),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """All that a policy may look at, at the beginning of step `step` (>= 1). refused: jobs it wanted the step before, and could not do.

    can (E): which jobs can be begun now. seen: the weather so far; felt: its wind with her limits in it. made_good (N): knots made good under each
    state in the last step's wind. forecasts: those aboard by now. asleep: her sleeping hours.
    """

    step: int
    state: int
    refused: frozenset[str]
    ship: Ship
    can: Bools
    seen: Truth
    felt: Felt
    made_good: Floats
    forecasts: tuple[Forecast, ...]
    asleep: bool

    def is_over(self, state: int) -> bool:
        """Whether a limit of a state was passed in the step just gone; what is not known is over."""
        return not bool(self.felt.carries(1)[state])
