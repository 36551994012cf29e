"""Has the computer's clock jumped? Wall time against seconds that only go forward."""

from dataclasses import dataclass
from datetime import datetime, timedelta

JUMP_S = 30.0  # judgement: a clock that is set right by less is only drifting
REMEMBERED = timedelta(hours=1)  # of steady time after a jump


@dataclass(frozen=True, kw_only=True)
class Clock:
    """The last look at both clocks, and the last jump (positive: set forward) with the steady seconds at which it was seen."""

    wall: datetime
    steady_s: float
    jump_s: float = 0.0
    jumped_at_s: float = 0.0
    jumped_now: bool = False

    def looked(self, wall: datetime, steady_s: float) -> "Clock":
        """The clock after a look: jumped_now is True at the look that finds a jump; jumps within the hour are added up.

        >>> from watch.when import parse_utc
        >>> clock = Clock(wall=parse_utc("2026-05-16T12:00Z"), steady_s=0.0)
        >>> clock.looked(parse_utc("2026-05-16T13:00:01Z"), 1.0).jump_s
        3600.0
        """
        jump_s = (wall - self.wall).total_seconds() - (steady_s - self.steady_s)
        if abs(jump_s) >= JUMP_S:
            both = jump_s + self.remembered_s(steady_s)
            return Clock(wall=wall, steady_s=steady_s, jump_s=both, jumped_at_s=steady_s, jumped_now=True)
        return Clock(wall=wall, steady_s=steady_s, jump_s=self.jump_s, jumped_at_s=self.jumped_at_s)

    def remembered_s(self, steady_s: float) -> float:
        """The jump of the last hour [s], 0 when there was none."""
        return self.jump_s if steady_s - self.jumped_at_s < REMEMBERED.total_seconds() else 0.0
