"""Words for the table of shelter, holding on and running off: plain, with the number that decides."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

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


@dataclass(frozen=True, kw_only=True)
class ShelterTeller:
    """Times come from `clock`: an instant in ship's time, with the weekday when it is not today."""

    clock: Callable[[datetime], str]
    aims: Aims

    def shelter(self, row: ShelterOrder, turns: Turns, at: int, reason: TurnReason) -> str:
        """One shelter: until when, what she meets, when she is there, what shuts it; or why there is none."""
        if row.turn_by is None:
            return self._none(row, turns, reason)
        said = [f"TURN BY {self.clock(row.turn_by)}{self._shuts(reason)}"]
        if len(row.windows) > 1:
            more = "; earlier ones are left out here" if len(row.windows) > MOST_WINDOWS else ""
            said.append(f"only turns {' or '.join(self._span(w) for w in row.windows[-MOST_WINDOWS:])} are good{more}")
        by_day = "by day" if row.daylight else "some of it in the dark" if turns.daylight[at] > 0.0 else "in the dark"
        said.append(f"from there {self._far(row, turns, at)}, {self._arrives(row)}, {by_day}")
        said.append(f"chance of all of it {percent(row.chance or 0.0)}")
        if row.gust_kn is not None:
            said.append(f"gusts to {row.gust_kn} kn on the way")
        if row.miles_lost_nm is not None:
            said.append(f"costs {row.miles_lost_nm:.0f} miles")
        return "; ".join(said) + self._after(turns)

    def _span(self, window: TurnWindow) -> str:
        if window.first == window.last:
            return f"at {self.clock(window.first)}"
        return f"from {self.clock(window.first)} to {self.clock(window.last)}"

    def _none(self, row: ShelterOrder, turns: Turns, reason: TurnReason) -> str:
        words = reason.words
        if reason is TurnReason.NO_WAY:
            words += f" at a resolution of {turns.resolution_nm:.1f} miles"
        if not row.chance:
            return f"NONE: {words}{self._after(turns)}"
        seen = f"at best {percent(row.chance)}, with {percent(self.aims.shelter_chance)} asked for"
        return f"NONE: {seen}; else {words}{self._after(turns)}"

    def _shuts(self, reason: TurnReason) -> str:
        return ", as far as the forecast reaches" if reason is TurnReason.OPEN else f": then {reason.words}"

    def _far(self, row: ShelterOrder, turns: Turns, at: int) -> str:
        return f"{row.distance_nm:.0f} miles{' round the land' if turns.round_land[at] else ''}"

    def _arrives(self, row: ShelterOrder) -> str:
        if row.arrival is None or row.arrival_early is None or row.arrival_late is None:
            return "arrival not known"
        return f"there about {self.clock(row.arrival)} ({self.clock(row.arrival_early)} to {self.clock(row.arrival_late)})"

    def _after(self, turns: Turns) -> str:
        bar = " There is a bar; its tide is not known here." if turns.shelter.entrance.bar else ""
        return f".{bar}"

    def hold_on(self, row: ShelterOrder, schedule: Schedule) -> str:
        gust = "gusts not known for all of it" if row.gust_kn is None else f"gusts to {row.gust_kn} kn"
        chance = schedule.risk.hard_chance
        risk = "no weather seen breaks a hard limit" if chance <= 0 else f"chance of a hard limit {percent(chance)}"
        return f"as in these orders: {gust}, {risk}; no miles lost."

    def drifting(self, row: ShelterOrder, room: Room, hit: float, closest: tuple[float, float], hours: int) -> str:
        """Running off or lying to from now on; closest: gust and hard limit [kn] of the hour in which they are closest."""
        gust = "gusts not known for all of it" if row.gust_kn is None else f"gusts to {row.gust_kn} kn"
        risk = "none seen over it" if hit <= 0 else f"chance of more {percent(hit)}"
        lost = "" if row.miles_lost_nm is None else f"; {row.miles_lost_nm:.0f} miles lost by then"
        limit = "how close to her limits is not known"
        if np.isfinite(closest[0]):
            limit = f"closest to her hard limit {wind_up_kn(closest[0])} against {limit_down_kn(closest[1])}"
        return f"from now, for {hours} h: {gust}, {limit}, {risk} (squalls not counted){lost}. {self._room(room)}"

    def _room(self, room: Room) -> str:
        """Sea room from now, and the start on the track from which it is least."""
        near = f"{self.aims.sea_room_nm:g} miles"
        least = room.least_h()
        known = float(room.known_h[0].min())
        if np.isfinite(least[0]):
            now = f"SEA ROOM RUNS OUT in {least[0]:.0f} h in the worst weather: then land lies within {near} to leeward"
        else:
            now = f"No land within {near} to leeward for {known:.0f} h"
        worst = int(np.argmin(least))
        if np.isfinite(least[worst]) and least[worst] < least[0] and worst > 0:
            now += f"; begun {room.starts[worst]} h from now, only for {least[worst]:.0f} h"
        return now + "."

    def land_unknown(self) -> str:
        return "sea room is not known: there is no mask of land here."

    def lee_shore(self, first: datetime, last: datetime, nearest_nm: float, mean_kn: float) -> str:
        return (
            f"LEE SHORE: from {self.clock(first)} to {self.clock(last)} land lies {np.floor(nearest_nm):.0f} miles to leeward of "
            f"her track, in mean wind to {wind_up_kn(mean_kn)} kn."
        )

    def no_return(self, row: ShelterOrder) -> str:
        return (
            f"that is the last good turn, for {row.name}; after it no shelter of the file is left, only holding on, running off "
            "or lying to"
        )
