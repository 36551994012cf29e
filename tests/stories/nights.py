"""Small weathers as a sailor would tell them, for the stories: a table of hours and winds becomes a night for Kittiwake."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from watch.boat.boat_file import read_boat
from watch.boat.model import BoatFile
from watch.boat.rig import parse_state, rig_from
from watch.orders.carry import speed_table
from watch.orders.met import Met
from watch.orders.schedule import Night, Schedule, make_schedule
from watch.orders.weights import Aims
from watch.weather.unforecast import NONE, Unforecast
from watch.when import from_np, grid, parse_utc

ROOT = Path(__file__).resolve().parents[2]
NOON = parse_utc("2026-05-16T15:00Z")  # noon by ship's time, UTC-3
Table = list[tuple[float, float, float]]  # hours from noon, mean kn, gust kn


@cache
def boat(name: str = "sloop") -> BoatFile:
    return read_boat(ROOT / "config" / f"boat-{name}.toml")


@dataclass(frozen=True, kw_only=True)
class Told:
    """A schedule, told as (clock, job, closes, reason)."""

    schedule: Schedule

    @property
    def jobs(self) -> list[str]:
        return [task.job.name for task in self.schedule.tasks]

    def clock(self, step: int) -> str:
        hour = (from_np(self.schedule.judged.night.met.time[step]) - NOON).total_seconds() / 3600 + 12
        return f"{int(hour) % 24:02d}:{round(hour % 1 * 60):02d}"

    def begins(self, job: str) -> float:
        """Hours after noon at which a job begins."""
        return next(task.begins for task in self.schedule.tasks if task.job.name == job) / 6

    def closes(self, job: str) -> tuple[float, str]:
        task = next(task for task in self.schedule.tasks if task.job.name == job)
        return task.closes / 6, task.closes_reason.name

    @property
    def plan_at_worst(self) -> str:
        met = self.schedule.judged.night.met
        worst = int(np.argmax(np.nanmax(np.nan_to_num(met.gust_kn, nan=0.0), axis=0)))
        return self.schedule.judged.night.rig.plan_name(int(self.schedule.carried[worst]))


def night(
    table: Table, *, state: str = "main: reef 1", hours: float | None = None, sea_m: float = 1.5, spread: float = 0.0,
    dark: tuple[float, float] = (8.0, 17.5), moon: bool = False, boat_name: str = "sloop", angle: float = 110.0, scenarios: int = 1,
    unknown_from: float | None = None, aims: Aims | None = None, unforecast: Unforecast = NONE,
) -> Told:  # fmt: skip
    """A table of (hours from noon, mean, gust) -> the schedule. spread: standard deviation of timing in hours over the scenarios.
    unforecast: squalls reckoned with that are in none of them."""
    end = hours if hours is not None else table[-1][0]
    steps = round(end * 6)
    h = (np.arange(steps) + 0.5) / 6
    at, mean, gust = (np.array(c, dtype=float) for c in zip(*table, strict=True))
    late = spread * np.linspace(-2, 2, scenarios)[:, None] if scenarios > 1 else np.zeros((1, 1))
    mean_kn, gust_kn = np.interp(h[None] - late, at, mean), np.interp(h[None] - late, at, gust)
    if unknown_from is not None:
        mean_kn[:, h > unknown_from] = np.nan
        gust_kn[:, h > unknown_from] = np.nan
    hour = h % 24
    day = ~((hour > dark[0]) & (hour < dark[1]))
    weight = np.exp(-0.5 * np.linspace(-2, 2, scenarios) ** 2) if scenarios > 1 else np.ones(1)
    shape = mean_kn.shape
    met = Met(
        time=grid(NOON, steps), weight=weight / weight.sum(), mean_kn=mean_kn, gust_kn=gust_kn, low_kn=mean_kn,
        angle_deg=np.full(shape, angle), sea_m=np.full(shape, sea_m), steepness=np.full(shape, 0.03), boat_kn=np.full(steps, 6.0),
        day=day, moon=np.full(steps, moon),
    )  # fmt: skip
    own = boat(boat_name)
    rig = rig_from(own, parse_state(own, state))
    return Told(schedule=make_schedule(Night(
        rig=rig, met=met, table=speed_table(own.speed), asleep=~day, aims=aims or Aims(), unforecast=unforecast,
    )))  # fmt: skip
