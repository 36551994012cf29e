"""Words for the table of shelter, holding on and running off: plain, with the number that decides."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from watch.orders.document import ShelterOrder, TurnWindow
from watch.orders.schedule import Schedule
from watch.orders.sea_room import Room
from watch.orders.shelter import Turns
from watch.orders.shelter_reasons import TurnReason
from watch.orders.tell import percent
from watch.orders.weights import Aims
from watch.units import limit_down_kn, wind_up_kn

MOST_WINDOWS = 3


def in_a_hundred(chance: float) -> str:
    """A chance that all goes well, for people: in whole parts of 100, rounded down.

    >>> in_a_hundred(0.898), in_a_hundred(0.9), in_a_hundred(0.001), in_a_hundred(1.0)
    ('89 in 100', '90 in 100', 'below 1 in 100', 'all weathers seen')
    """
    if chance >= 1.0 - 1e-9:
        return "all weathers seen"
    whole = int(np.floor(chance * 100.0 + 1e-6))
    return f"{whole} in 100" if whole else "below 1 in 100"


def miles(distance_nm: float) -> str:
    """Whole miles, rounded up.

    >>> miles(0.0), miles(0.2), miles(41.3)
    ('no miles', '1 mile', '42 miles')
    """
    whole = int(np.ceil(distance_nm - 1e-9))
    return "no miles" if whole == 0 else f"{whole} mile{'s' if whole > 1 else ''}"


@dataclass(frozen=True, kw_only=True)
class ShelterTeller:
    """Times come from `clock`: an instant in ship's time, with the weekday when it is not today. begins: the start of the track."""

    clock: Callable[[datetime], str]
    aims: Aims
    begins: datetime

    def shelter(self, row: ShelterOrder, turns: Turns, at: int, reason: TurnReason) -> str:
        """One shelter: until when, what she meets, when she is there, what shuts it; or why there is none."""
        if row.turn_by is None:
            return self._none(row, turns, at, reason)
        said = [f"TURN BY {self.clock(row.turn_by)}{self._shuts(reason)}"]
        if len(row.windows) > 1:
            more = "; earlier ones are left out here" if len(row.windows) > MOST_WINDOWS else ""
            said.append(f"only turns {' or '.join(self._span(w) for w in row.windows[-MOST_WINDOWS:])} are good{more}")
        by_day = "by day" if row.daylight else "some of it in the dark" if turns.daylight[at] > 0.0 else "in the dark"
        said.append(f"from there {self._far(row, turns, at)}, {self._arrives(row)}, {by_day}")
        if row.stand_off_share is not None and row.stand_off_h is not None:
            said.append(self._stands_off(row.stand_off_share, row.stand_off_h, turns))
        said.append(f"chance of all of it {in_a_hundred(row.chance or 0.0)}")
        if row.gust_kn is not None:
            said.append(f"gusts to {row.gust_kn} kn on the way")
        if row.miles_lost_nm is not None:
            said.append(f"costs {miles(row.miles_lost_nm)}")
        return "; ".join(said) + self._after(turns)

    def _span(self, window: TurnWindow) -> str:
        if window.first == window.last:
            return f"at {self.clock(window.first)}"
        return f"from {self.clock(window.first)} to {self.clock(window.last)}"

    def _none(self, row: ShelterOrder, turns: Turns, at: int, reason: TurnReason) -> str:
        words = reason.words
        if reason is TurnReason.NO_WAY:
            words += f" at a resolution of {turns.resolution_nm:.1f} miles"
        if not row.chance:
            return f"NONE: {words}{self._after(turns)}"
        turn = self.clock(self.begins + timedelta(hours=at))
        best = f"{in_a_hundred(row.chance)}, by a turn at {turn}: {self._far(row, turns, at)}, {self._arrives(row)}"
        asked = f"{in_a_hundred(self.aims.shelter_chance)} asked for"
        return f"NONE good enough, {asked}. At best {best}. What most of the rest have against it: {words}{self._after(turns)}"

    def _shuts(self, reason: TurnReason) -> str:
        return ", as far as the forecast reaches" if reason is TurnReason.OPEN else f", for after that {reason.words}"

    def _far(self, row: ShelterOrder, turns: Turns, at: int) -> str:
        return f"{miles(row.distance_nm or 0.0)}{' round the land' if turns.round_land[at] else ''}"

    def _arrives(self, row: ShelterOrder) -> str:
        if row.arrival is None or row.arrival_early is None or row.arrival_late is None:
            return "arrival not known"
        return f"there about {self.clock(row.arrival)} ({self.clock(row.arrival_early)} to {self.clock(row.arrival_late)})"

    def _stands_off(self, share: float, hours: float, turns: Turns) -> str:
        """She comes before she may go in: how often, and how long she waits outside."""
        entrance = turns.shelter.entrance
        until = {(True, False): "until it is light", (False, True): "until the bar or lock is open"}.get(
            (entrance.daylight, entrance.open_at is not None), "until light and tide let her in"
        )  # fmt: skip
        often = "" if share >= 1.0 - 1e-3 else f" (in {percent(share)})"
        return f"first STANDS OFF up to {np.ceil(hours):.0f} h {until}{often}, which is counted in the chance"

    def _after(self, turns: Turns) -> str:
        unknown = turns.shelter.entrance.bar and turns.shelter.entrance.open_at is None
        bar = " There is a bar; its tide is not known here." if unknown else ""
        return f".{bar}"

    def hold_on(self, row: ShelterOrder, schedule: Schedule) -> str:
        gust = "gusts not known for all of it" if row.gust_kn is None else f"gusts to {row.gust_kn} kn"
        chance = schedule.risk.forecast_chance
        risk = "no weather seen breaks a hard limit" if chance <= 0 else f"chance of a hard limit {percent(chance)}"
        apart = " (squalls that no forecast shows not counted)" if schedule.risk.unforecast_chance > 0 else ""
        return f"as in these orders: {gust}, {risk}{apart}; no miles lost."

    def drifting(self, row: ShelterOrder, room: Room, hit: float, closest: tuple[float, float], hours: int) -> str:
        """Running off or lying to from now on; closest: gust and hard limit [kn] of the hour in which they are closest."""
        gust = "gusts not known for all of it" if row.gust_kn is None else f"gusts to {row.gust_kn} kn"
        risk = "none seen over it" if hit <= 0 else f"chance of more {percent(hit)}"
        lost = "" if row.miles_lost_nm is None else f"; {miles(row.miles_lost_nm)} lost by then"
        limit = "how close to her limits is not known"
        if np.isfinite(closest[0]):
            limit = f"closest to her hard limit {wind_up_kn(closest[0])} against {limit_down_kn(closest[1])}"
        return f"from now, for {hours} h: {gust}, {limit}, {risk} (squalls not counted){lost}. {self._room(room)}"

    def _room(self, room: Room) -> str:
        """Sea room from now, and the start on the track from which it is least."""
        near = f"{self.aims.sea_room_nm:g} miles"
        least, known = room.least_h(), float(room.known_h[0].min())
        if np.isinf(least[0]):
            now = f"No land within {near} to leeward until {self._hour(known)}, as far as was looked"
        elif least[0] < 1.0:
            now = f"NO SEA ROOM NOW: in the worst weather land lies within {near} to leeward"
        else:
            now = f"SEA ROOM RUNS OUT at {self._hour(float(least[0]))} in the worst weather: then land lies within {near} to leeward"
        worst = int(np.argmin(least))
        if worst == 0 or not np.isfinite(least[worst]) or least[worst] >= least[0]:
            return now + "."
        later = self._hour(float(room.starts[worst]))
        if least[worst] < 1.0:
            return f"{now}. Not at {later}: land then lies within {near} to leeward of her track."
        return f"{now}. Begun at {later}, only until {self._hour(float(room.starts[worst] + least[worst]))}."

    def _hour(self, hours: float) -> str:
        return self.clock(self.begins + timedelta(hours=float(np.floor(hours))))

    def land_unknown(self) -> str:
        return "sea room is not known: there is no mask of land here."

    def lee_shore(self, first: datetime, last: datetime, nearest_nm: float, mean_kn: float) -> str:
        return (
            f"LEE SHORE: from {self.clock(first)} to {self.clock(last)} {self._near(nearest_nm)} to leeward of "
            f"her track, in mean wind to {wind_up_kn(mean_kn)} kn."
        )

    def _near(self, nearest_nm: float) -> str:
        whole = int(np.floor(nearest_nm))
        return "land lies less than a mile" if whole < 1 else f"land lies {whole} mile{'s' if whole > 1 else ''}"

    def no_return(self, row: ShelterOrder) -> str:
        return (
            f"that is the last good turn, for {row.name}; after it no shelter of the file is left, only holding on, running off "
            "or lying to"
        )
