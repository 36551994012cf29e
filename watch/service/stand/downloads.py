"""(I/O) Forecasts fetched by the watch itself: each source's newest run when it is usually there, within the limits that the sailor set."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

from pydantic import Field

from watch.boat.boat_file import read_boat
from watch.faults import BadInputError, Strict
from watch.files import named_path
from watch.forecast.box import Box
from watch.forecast.budget import Budget, Clock, Reason, megabytes
from watch.forecast.catalogue import Source, checked_url
from watch.forecast.contract import Name
from watch.forecast.download import Partial, estimate, read_sources
from watch.forecast.errands import Had, after_fetch, due
from watch.forecast.fetching import ALOFT, NEEDED, fetch_run, had_in, plan_run
from watch.forecast.intake import FORECASTS
from watch.passage.route_file import read_route
from watch.passage.shelters_file import read_shelters
from watch.ready import ready
from watch.service.area import box_within, fastest_kn, hours_for

# Reasons that only the sailor can do something about; all others pass by themselves, and an old forecast is a call of its own.
SAYS_SO = (Reason.TOO_BIG, Reason.DISK, Reason.WHOLE_ONLY, Reason.NOT_GRIB)
LOOKS_EVERY = timedelta(minutes=10)


class DownloadConfig(Strict):
    """The [download] part of watch.toml: nothing is fetched unless sources are named."""

    sources: Annotated[tuple[str, ...], Field(strict=False, description="names in the sources file", examples=[["us-global-box"]])] = ()
    sources_file: str | None = Field(default=None, min_length=1, description="a sources file of your own", examples=["sources.toml"])
    at_most_mb: float = Field(default=5.0, strict=False, gt=0, le=100_000, description="megabytes for one run", examples=[5])
    minutes: float = Field(default=30.0, strict=False, gt=0, le=720, description="minutes for one run", examples=[30])
    begin_if_over: bool = Field(default=False, description="true: the nearest days of a run that is too large, up to the limit")
    hours: int | None = Field(default=None, ge=3, le=384, description="hours ahead; else what the route takes", examples=[96])
    every_h: int = Field(default=3, ge=1, le=12, description="hours between steps, 1 to 12", examples=[3])
    aloft: bool = Field(default=False, description="true: also the fields aloft, for fronts and squalls; about twice the size")
    members: int | None = Field(default=None, ge=1, le=100, description="of an ensemble only the first so many", examples=[10])
    proxy: str | None = Field(default=None, description="address of a proxy, that of a satellite terminal say")


@dataclass
class Downloads:
    """Fetches what is due. where: the latest position, None while it is not known."""

    config: DownloadConfig
    sources: tuple[Source, ...]
    boat: Path
    route: Path
    shelters: tuple[Path, ...]
    kept: Path
    where: Callable[[], tuple[float, float] | None]
    clock: Clock = field(default_factory=lambda: Clock(now=lambda: datetime.now(UTC), monotonic_s=time.monotonic, sleep=time.sleep))
    name: str = "downloads"
    every: timedelta = LOOKS_EVERY
    said: str = "nothing was fetched yet"
    _tried: dict[tuple[str, datetime], Had] = field(default_factory=dict)

    def run(self, now: datetime) -> tuple[str, bool]:
        """Fetches what is due now -> a sentence when the sailor has to do something, else ""; and whether something came."""
        folder = self.kept / FORECASTS
        known = {(had.source, had.run): had for had in had_in(folder)}
        known |= {key: had for key, had in self._tried.items() if key not in known or not known[key].whole}
        wanted, came, told = due(self.sources, now, known.values()), False, list[str]()
        if not wanted:
            return "", False
        box, hours = self._area()
        for source, run in wanted:
            result = fetch_run(source, run, box, hours, folder, budget=self._budget(), clock=self.clock, every_h=self.config.every_h,
                               fields=NEEDED + ALOFT if self.config.aloft else NEEDED, members=self.config.members)
            key, part = (source.id, run), result if isinstance(result, Partial) else None
            reason, retry_at = (None, None) if part is None else (part.reason, part.retry_at)
            self._tried[key] = after_fetch(known.get(key), source.id, run, self.clock.now(), reason, retry_at)
            came = came or bool(result.paths)
            self.said = f"{source.id}, run of {run:%d %b %H:%M} UTC: {megabytes(result.spent.bytes)}" + ("" if part is None else f"; {part.sentence}")
            if part is not None and part.reason in SAYS_SO:
                told.append(f"{source.id}: {part.sentence}")
        self._tried = {key: had for key, had in self._tried.items() if now - had.run < timedelta(days=12)}
        return "; ".join(told), came

    def sizes(self) -> list[str]:
        """What the newest run of each source would cost, told before anything is spent."""
        box, hours = self._area()
        words = []
        for source, run in due(self.sources, self.clock.now(), ()):
            fields: tuple[Name, ...] = NEEDED + ALOFT if self.config.aloft else NEEDED
            made = plan_run(source, run, box, hours, every_h=self.config.every_h, fields=fields, members=self.config.members)
            found = estimate(made)
            over = "" if found.bytes <= self.config.at_most_mb * 1e6 else f"; OVER your limit of {self.config.at_most_mb:g} MB"
            words.append(f"{source.id} will be fetched at each run: {found.sentence}{over}.")
        return words

    def _area(self) -> tuple[Box, int]:
        route, place = read_route(self.route), self.where()
        ahead = route if place is None else route.from_position(*place)
        speed_kn = fastest_kn(read_boat(self.boat))
        hours = self.config.hours or hours_for(ahead, speed_kn)
        return box_within(route, place, hours * speed_kn, read_shelters(self.shelters).shelters if self.shelters else ()), hours

    def _budget(self) -> Budget:
        c = self.config
        return Budget(max_bytes=int(c.at_most_mb * 1e6), max_seconds=c.minutes * 60.0, begin_if_over=c.begin_if_over, proxy_url=c.proxy)


def chosen(config: DownloadConfig, folder: Path) -> tuple[Source, ...]:
    """The sources named in the settings. Raises BadInputError for one that is not known, or a proxy that is no address."""
    if config.proxy is not None:
        try:
            checked_url(config.proxy)
        except ValueError as error:
            raise BadInputError("download.proxy", [str(error)]) from None
    if not config.sources:
        return ()
    path = ready("config", "sources.toml") if config.sources_file is None else named_path(folder, config.sources_file)
    known = read_sources(path)
    strange = [name for name in config.sources if name not in known]
    if strange:
        raise BadInputError("download.sources", [f'"{strange[0]}" is not in {path}; known are {", ".join(known)}'])
    return tuple(known[name] for name in config.sources)
