"""One passage to be replayed: the weather that happens, the forecasts and when each comes aboard; and what every policy made of it."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any, Protocol

import numpy as np

from watch.boat.model import BoatFile
from watch.boat.rig import RigState, rig_from
from watch.forecast.contract import Forecast
from watch.orders.weights import Aims, Weights
from watch.service.replay.outside import Outside, Ship
from watch.service.replay.play import play
from watch.service.replay.policies import policy
from watch.service.replay.tally import Tally, tally
from watch.service.replay.truth import Along, Truth, series_forecast, truth_of
from watch.weather.errors import Widening
from watch.weather.unforecast import COUNTED, Unforecast
from watch.when import STEP, Times, from_np

RUNS_EVERY_H = 6
DELAY_H = 5.0  # from a run's base time until it is aboard: common practice of the centres, and some time to fetch it
FIRST_RUN_H = -12  # runs from so long before the start on are aboard: some of them already at the start


class Storms(Protocol):
    """Invented passages by seed: the truth along a track, and what the run of a base time gives of it."""

    START: np.datetime64

    def truth(self, seed: int, /) -> Along: ...
    def forecast(self, seed: int, base: np.datetime64, /) -> Along: ...
    def bases(self, every_h: int, /) -> Times: ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Passage:
    """truth: what happens. forecasts: all that will come, each aboard delay_h after its base time."""

    truth: Truth
    forecasts: Sequence[Forecast]
    delay_h: float = DELAY_H

    def arrivals(self) -> list[tuple[int, Forecast]]:
        """(the step from which it is aboard, forecast); one aboard before the start has step 0."""
        start = from_np(self.truth.way.time[0])
        return [(_step(start, f.run + timedelta(hours=self.delay_h)), f) for f in self.forecasts]


def _step(start: datetime, aboard: datetime) -> int:
    return max(0, -int((start - aboard) // STEP))


@dataclass(frozen=True, kw_only=True)
class Asking:
    """Who is played, and how she decides: the boat, the rig state she begins in, what the sailor asks for, the policies. compares:
    whether the orders are also corrected by her own wind and glass, every three hours."""

    boat: BoatFile
    state: RigState
    policies: tuple[str, ...]
    aims: Aims = field(default_factory=Aims)
    weights: Weights = field(default_factory=Weights)
    widening: Widening = field(default_factory=Widening)
    compares: bool = False
    unforecast: Unforecast = COUNTED

    def key(self) -> dict[str, Any]:
        """All of it as plain values: two askings with the same key give the same results."""
        return {"boat": self.boat.model_dump(mode="json"), "state": str(self.state), "policies": list(self.policies),
                "aims": asdict(self.aims), "weights": asdict(self.weights), "widening": asdict(self.widening),
                "compares": self.compares, "unforecast": asdict(self.unforecast)}  # fmt: skip


def outside_of(passage: Passage, asking: Asking) -> Outside:
    """A passage as this boat meets it."""
    ship = Ship(rig=rig_from(asking.boat, asking.state), way=passage.truth.way, aims=asking.aims, weights=asking.weights,
                widening=asking.widening, compares=asking.compares, unforecast=asking.unforecast)  # fmt: skip
    return Outside(ship=ship, truth=passage.truth, arrivals=passage.arrivals())


def play_all(passage: Passage, asking: Asking) -> Mapping[str, Tally]:
    """One passage under every policy asked for -> what each came to."""
    outside = outside_of(passage, asking)
    return {name: tally(outside, play(outside, policy(name, outside))) for name in asking.policies}


def storm_passage(storms: Storms, seed: int, every_h: int = RUNS_EVERY_H, delay_h: float = DELAY_H) -> Passage:
    """The invented passage of a seed, with runs every so many hours from half a day before the start."""
    truth = truth_of(storms.truth(seed), f"invented storm {seed}")
    hour = np.timedelta64(1, "h")
    before = storms.START - np.arange(every_h, -FIRST_RUN_H + 1, every_h)[::-1] * hour
    bases = np.concatenate([before.astype("datetime64[s]"), storms.bases(every_h)])
    runs = [series_forecast(storms.forecast(seed, base), from_np(base), centre="invented") for base in bases]
    return Passage(truth=truth, forecasts=runs, delay_h=delay_h)
