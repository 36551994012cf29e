"""(I/O) Passages from the sailor's own files: what happened (later runs, or analyses), and the earlier runs she would have had."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from watch.boat.rig import rig_from
from watch.faults import BadInputError
from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.passage.route import Route
from watch.passage.route_file import read_route
from watch.service.gather import box_of
from watch.service.going import Going, sail_along
from watch.service.one_pass import MOST_HOURS, Asked, going_of
from watch.service.replay.joined import GridsDifferError, joined
from watch.service.replay.passages import DELAY_H, Asking, Passage, outside_of, play_all
from watch.service.replay.play import play
from watch.service.replay.policies import foresight
from watch.service.replay.results import Result
from watch.service.replay.truth import Truth, truth_along
from watch.when import STEPS_PER_HOUR, ceil_step, from_np, parse_utc, to_np


@dataclass(frozen=True, kw_only=True)
class PassagesFromFiles:
    """Plays a start along a route under every policy asked for; can be sent to another process, which reads the files once."""

    asking: Asking
    route: Path
    truth: tuple[Path, ...]
    forecasts: tuple[Path, ...]
    position: tuple[float, float] | None = None
    hours: float | None = None
    delay_h: float = DELAY_H

    def key(self) -> dict[str, object]:
        files = [[path.name, path.stat().st_size] for path in (*self.truth, *self.forecasts)]
        return {"weather": files, "route": self.route.read_text(encoding="utf-8", errors="replace"), "hours": self.hours,
                "position": self.position, "delay_h": self.delay_h, **self.asking.key()}  # fmt: skip

    def first_start(self) -> datetime:
        """The first ten minutes of which it is known what happened."""
        return ceil_step(from_np(_happened(self).fields[Name.U10_MS]["time"].values[0]))

    def starts(self, first: datetime, count: int, apart_h: float) -> list[str]:
        """So many starts, so many hours apart. Raises BadInputError when the last is later than what happened is known."""
        _earlier(self)  # what is wrong with these files is said before anything is played
        last, ends = first + timedelta(hours=(count - 1) * apart_h), from_np(_happened(self).fields[Name.U10_MS]["time"].values[-1])
        if last >= ends:
            raise BadInputError("--starts", [f"the last would be at {last:%Y-%m-%d %H:%M} UTC, and what happened is known until {ends:%Y-%m-%d %H:%M}"])
        return [f"{first + timedelta(hours=k * apart_h):%Y-%m-%dT%H:%MZ}" for k in range(count)]

    def __call__(self, start: str) -> Result:
        passage = self.passage(ceil_step(parse_utc(start)))
        return Result(name=start, tallies=play_all(passage, self.asking))

    def passage(self, start: datetime) -> Passage:
        """The passage that begins then. Raises BadInputError when what happened is not known, or no forecast was there in time."""
        happened = _happened(self)
        going = self._going(happened, start)
        passage = Passage(truth=_along(self, going, np.zeros(going.steps, dtype=np.int64)), forecasts=_earlier(self), delay_h=self.delay_h)
        outside = outside_of(passage, self.asking)
        carried = play(outside, foresight(outside)).carried
        carried = np.concatenate([carried, np.full(going.steps - len(carried), carried[-1])])
        passage = replace(passage, truth=_along(self, going, carried))
        if not any(step < passage.truth.steps for step, _ in passage.arrivals()):
            raise BadInputError("--forecast", [f"none of these runs was made before the passage of {start:%Y-%m-%d %H:%M} UTC ended"])
        return passage

    def _going(self, happened: Forecast, start: datetime) -> Going:
        """What her track is made from: she goes in the weather that happens, and the way is the same for all policies."""
        ends = happened.fields[Name.U10_MS]["time"].values[-1]
        reach = int((ends - to_np(start)) / np.timedelta64(3600, "s") * STEPS_PER_HOUR)
        if reach < 1:
            raise BadInputError(_names(self.truth), [f"ends at {from_np(ends):%Y-%m-%d %H:%M} UTC, before {start:%Y-%m-%d %H:%M}"])
        steps = min(reach, int((self.hours or MOST_HOURS) * STEPS_PER_HOUR))
        latitude, longitude = self.position or (None, None)
        asked = Asked(boat=self.asking.boat, route=_route(self.route), forecasts=(happened,), now=start, state=self.asking.state,
                      latitude=latitude, longitude=longitude)  # fmt: skip
        return Going(asked=asked, rig=rig_from(self.asking.boat, self.asking.state), start=start, steps=max(1, steps))


def _along(setup: PassagesFromFiles, going: Going, carried: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Truth:
    """What happens along her track, until she arrives or it is no longer known."""
    track = sail_along(going, carried)
    way = going_of(track)
    at_sea = int(np.argmax(track.arrived)) if track.arrived.any() else going.steps
    truth = truth_along(going.asked.forecasts, way.part(0, max(1, at_sea)), f"from {going.start:%Y-%m-%d %H:%M} UTC")
    known = truth.known_steps()
    if known == 0:
        where = f"{float(way.latitude[0]):.2f}, {float(way.longitude[0]):.2f} at {going.start:%Y-%m-%d %H:%M} UTC"
        raise BadInputError(_names(setup.truth), [f"does not cover {where}; give --now, --position or another file"])
    return truth.cut(known)


@lru_cache(maxsize=4)
def _read(paths: tuple[Path, ...], route: Path, position: tuple[float, float] | None) -> tuple[Forecast, ...]:
    found = tuple(read(list(paths), box_of(_route(route), position)))
    if not any(f.has(Name.U10_MS, Name.V10_MS) for f in found):
        raise BadInputError(_names(paths), ["no wind at 10 m in it; give one with 10 m wind"])
    return tuple(f for f in found if f.has(Name.U10_MS, Name.V10_MS))


@lru_cache(maxsize=4)
def _route(path: Path) -> Route:
    return read_route(path)


def _happened(setup: PassagesFromFiles) -> Forecast:
    try:
        return joined(_read(setup.truth, setup.route, setup.position))
    except GridsDifferError as error:
        raise BadInputError(_names(setup.truth), [str(error)]) from None


def _earlier(setup: PassagesFromFiles) -> tuple[Forecast, ...]:
    return _read(setup.forecasts, setup.route, setup.position)


def _names(paths: Sequence[Path]) -> str:
    return ", ".join(path.name for path in paths)
