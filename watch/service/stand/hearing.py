"""(I/O) The instruments as the keeper wants them: where she is, what is outside now, and the ten-minute steps kept for a restart."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from watch.alerts.known import Aboard
from watch.boat.boat_file import read_boat
from watch.boat.model import BoatFile
from watch.boat.rig import RigState, UnknownStateError, parse_state
from watch.faults import BadInputError
from watch.instruments.series import Observed
from watch.instruments.steps import Step
from watch.service.listening import Listening
from watch.service.observing import GlassForecast
from watch.service.outside_now import outside_now
from watch.service.stand.keeper import Keeper
from watch.service.stand.reckoning import Place

KEEP_EVERY = timedelta(minutes=10)


class Hearing:
    """Listens to all instruments of the settings; looked at by the daemon once a second, and by the keeper at each look at the rules."""

    def __init__(self, listening: Listening, boat: Path, keep: Callable[[tuple[Step, ...]], None]) -> None:
        self._listening, self._boat_file, self._keep_steps = listening, boat, keep
        self._boat: tuple[float, BoatFile] | None = None
        self._kept_at: datetime | None = None
        self._kept_to: datetime | None = None
        self.glass_forecast: GlassForecast | None = None

    def look(self, keeper: Keeper, now: datetime) -> None:
        """The latest position to the keeper; every ten minutes the closed steps to the store."""
        fix = self._listening.position(now)
        if fix is not None:
            keeper.heard(Place(at=fix.when, latitude=fix.latitude_deg, longitude=fix.longitude_deg, source=fix.source))
        if self._kept_at is None or not timedelta(0) <= now - self._kept_at < KEEP_EVERY:
            self._kept_at = now
            steps = self._listening.steps(now, self._kept_to)
            if steps and keeper.keeps(lambda: self._keep_steps(steps)):
                self._kept_to = datetime.fromtimestamp(steps[-1].start_s, tz=now.tzinfo)

    def observed(self, now: datetime) -> tuple[Observed, datetime]:
        """A snapshot for a pass, and the time it is of."""
        return self._listening.timed_snapshot(now)

    def aboard(self, now: datetime, rig_state: str) -> Aboard:
        """What is outside now, against what she carries."""
        position, wind = self._listening.config.expects()
        down = self._listening.links_down()
        try:
            boat = self._read_boat()
            state: RigState = parse_state(boat, rig_state)
        except (BadInputError, UnknownStateError, OSError):  # said by the pass, which reads the same file
            return Aboard(expects_position=position, expects_wind=wind, links_down=down)
        seen, as_of = self._listening.timed_snapshot(now)
        return outside_now(
            seen, as_of, boat=boat, state=state, glass_forecast=self.glass_forecast, expects_position=position,
            expects_wind=wind, links_down=down,
        )  # fmt: skip

    def _read_boat(self) -> BoatFile:
        changed = self._boat_file.stat().st_mtime
        if self._boat is None or self._boat[0] != changed:
            self._boat = changed, read_boat(self._boat_file)
        return self._boat[1]

    def close(self) -> None:
        self._listening.stop()
