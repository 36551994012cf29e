"""A shore station for tests of the download: a source on this machine, files and their indexes, and a clock that only waits."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests.shell.wire import Wire, message, text_index
from watch.forecast.box import Box
from watch.forecast.budget import Budget, Clock
from watch.forecast.catalogue import Source, parse
from watch.forecast.contract import Name
from watch.forecast.download import Fetched, Partial, fetch
from watch.forecast.sources import Plan, plan

RUN = datetime(2026, 5, 14, 12, tzinfo=UTC)
BOX = Box(30.0, 46.0, -66.0, -26.0)
WANTED = (Name.U10_MS, Name.V10_MS, Name.GUST_MS, Name.CAPE_JKG)  # two that touch, one apart, and the last of the file

SOURCES = """
[[source]]
id = "shore"
title = "A shore station"
kind = "single"
layout = "{layout}"
base_url = "{base}"
attribution = "Forecast: invented"
licence = "none"
soonest_h = 3.0
usual_h = 5.0
kept_days = 3.0
[[source.cycle]]
hours = [0, 6, 12, 18]
steps = [[0, 48, 3]]
[[source.file]]
url = "{url}"
index = "{index}"
index_bytes = 400
[source.file.fields]
u10_ms = {{ var = "UGRD", level = "10 m above ground", bytes = 40000 }}
v10_ms = {{ var = "VGRD", level = "10 m above ground", bytes = 30000 }}
gust_ms = {{ var = "GUST", level = "surface", bytes = 20000 }}
cape_jkg = {{ var = "CAPE", level = "surface", bytes = 25000 }}
rain_kgm2s = {{ var = "APCP", level = "surface", bytes = 25000 }}
"""


def source(base: str, layout: str = "text-index", path: str = "/{yyyymmdd}{HH}.f{step:03}") -> Source:
    url = "{base}" + path + ("?{fields}&box={west},{south},{east},{north}" if layout == "query" else "")
    return parse(SOURCES.format(base=base, layout=layout, url=url, index="{base}" + path + ".idx"), "sources.toml")["shore"]


def messages(step: int = 3) -> list[bytes]:
    """What a file at a step holds: six messages, of which the first two touch; sizes that differ from step to step."""
    sizes = (40_000, 30_000, 9_000, 20_000, 50_000, 25_000)
    return [message(size + step, seed=10 * step + number) for number, size in enumerate(sizes)]


def wanted_bytes(step: int = 3) -> bytes:
    u, v, _, gust, _, cape = messages(step)
    return u + v + gust + cape


def path_of(step: int) -> str:
    return f"/2026051412.f{step:03d}"


def stock(shore: Wire, *steps: int) -> None:
    for step in steps:
        shore.files[path_of(step)] = b"".join(messages(step))
        shore.files[path_of(step) + ".idx"] = text_index(messages(step), "2026051412", f"{step} hour fcst")


@dataclass
class ShipClock:
    """Time that passes only while waiting, or when told to."""

    at: datetime = field(default_factory=lambda: RUN + timedelta(hours=5))
    passed_s: float = 0.0
    waits: list[float] = field(default_factory=list)

    def sleep(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.passed_s += seconds

    @property
    def clock(self) -> Clock:
        return Clock(now=lambda: self.at + timedelta(seconds=self.passed_s), monotonic_s=lambda: self.passed_s, sleep=self.sleep)


def plan_for(shore: Wire, *steps: int, layout: str = "text-index", fields: tuple[Name, ...] = WANTED) -> Plan:
    return plan(source(shore.base, layout), RUN, BOX, steps, fields)


def fetched(
    made: Plan, folder: Path, ship: ShipClock | None = None, progress: Any = None, is_readable: Any = None, **limits: Any,
) -> Fetched | Partial:
    budget = Budget(**{"stall_s": 5.0, "connect_s": 5.0, **limits})
    more = {} if is_readable is None else {"is_readable": is_readable}
    return fetch(made, folder, budget, (ship or ShipClock()).clock, progress or (lambda _: None), random=lambda: 0.5, **more)


def whole(found: Fetched | Partial) -> Fetched:
    assert isinstance(found, Fetched), found
    return found


def partly(found: Fetched | Partial) -> Partial:
    assert isinstance(found, Partial), found
    return found
