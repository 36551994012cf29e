"""Hand-made weathers that happen, for the replay's tests: a table of hours and winds becomes the truth that Kittiwake meets."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from tests.stories.nights import boat
from watch.boat.model import BoatFile
from watch.boat.rig import Edge, parse_state, rig_from
from watch.forecast.contract import Forecast
from watch.orders.weights import Aims
from watch.service.replay.outside import Known, Outside, Ship
from watch.service.replay.play import Choice
from watch.service.replay.truth import Series, Truth, series_forecast, truth_of
from watch.units import kn_to_ms
from watch.when import grid, parse_utc

NOON = parse_utc("2026-05-16T15:00Z")  # noon by ship's time, at 50 W; dark from about 22:25Z to 08:20Z
Table = Sequence[tuple[float, float, float]]  # hours from the start, mean kn, gust kn


def kittiwake(**more: Any) -> BoatFile:
    """The example sloop with her limits meant at 10 m, so that the numbers of a table are the numbers aboard."""
    own = boat()
    return own.model_copy(update={"boat": own.boat.model_copy(update={"limits_at": "10 m"}), **more})


def series(table: Table, hours: float, *, start: datetime = NOON, step_min: int = 10, angle_deg: float = 110.0, sea_m: float = 1.5) -> Series:
    """A table, linear between its rows -> a series at marks step_min apart, on a course of due east at 5 knots."""
    count = round(hours * 60 / step_min) + 1
    h = np.arange(count) * step_min / 60.0
    at, mean, gust = (np.array(column, dtype=float) for column in zip(*table, strict=True))
    ones = np.ones(count)
    return Series(
        time=grid(start, round(hours * 6))[:: step_min // 10].astype("datetime64[s]"), mean_ms=kn_to_ms(np.interp(h, at, mean)),
        gust_ms=kn_to_ms(np.interp(h, at, gust)), from_deg=(90.0 + angle_deg) % 360.0 * ones, pressure_pa=101300.0 * ones, sea_m=sea_m * ones,
        cape_jkg=np.nan * ones, lat_deg=36.0 * ones, lon_deg=-50.0 * ones,
    )  # fmt: skip


def truth(table: Table, hours: float, *, squalls: Mapping[tuple[float, float], float] | None = None, **more: Any) -> Truth:
    """What happens, by ten minutes. squalls: {(from hour, to hour): gust in knots}, exactly so long."""
    made = truth_of(series(table, hours, **more), "hand-made", course_deg=90.0, boat_kn=5.0)
    gust = made.gust_ms.copy()
    for (first, last), gust_kn in (squalls or {}).items():
        gust[round(first * 6) : round(last * 6)] = kn_to_ms(gust_kn)
    return replace(made, gust_ms=gust)


def forecast(table: Table, hours: float, *, run: datetime = NOON, **more: Any) -> Forecast:
    """A three-hourly run of the same kind of table."""
    return series_forecast(series(table, hours, start=run, step_min=180, **more), run)


def outside(
    happens: Truth, *, state: str = "", forecasts: Sequence[tuple[int, Forecast]] = (), own: BoatFile | None = None, aims: Aims | None = None
) -> Outside:
    """The truth as she meets it, starting in a rig state."""
    own = own or kittiwake()
    ship = Ship(rig=rig_from(own, parse_state(own, state)), way=happens.way, aims=aims or Aims())
    return Outside(ship=ship, truth=happens, arrivals=forecasts)


def steady(mean_kn: float, gust_kn: float) -> Table:
    return [(0.0, mean_kn, gust_kn), (1000.0, mean_kn, gust_kn)]


def edge_named(known: Known, job: str) -> int:
    """The edge of a job from the state she is in."""
    edges: Sequence[Edge] = known.ship.rig.edges
    return next(e for e, edge in enumerate(edges) if edge.job.name == job and edge.origin == known.state)


def by_hand(jobs: Mapping[int, str]) -> Callable[[Known, Any], Choice]:
    """A policy that begins these jobs at these steps, whatever the weather."""
    return lambda known, _: Choice(edges=(edge_named(known, jobs[known.step]),) if known.step in jobs else ())


def hours_on(start: datetime, hours: float) -> datetime:
    return start + timedelta(hours=hours)
