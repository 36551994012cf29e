"""What comes, in words: three lines a tired person understands."""

from datetime import datetime, timedelta

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.orders.document import Feature
from watch.orders.tell import of_weathers
from watch.units import ms_to_kn, wind_up_kn
from watch.weather.arrival import Arrival
from watch.weather.front_fields import Crossing, LineKind
from watch.weather.fronts import Kind
from watch.weather.glass import Pace
from watch.weather.look import Where
from watch.weather.mapped_fronts import MapFronts
from watch.weather.outlook import GlassFall, SquallSpell, fronts_ahead, glass_fall, squall_spells
from watch.weather.squalls import squall_words
from watch.when import ShipTime, ceil_step, floor_step, from_np

EARLY, LATE = 0.1, 0.9
NEAR_LINE = timedelta(hours=6)  # source front-lag-1: the wind may shift hours before the air changes
SPOKEN_FALL = (Pace.QUICKLY, Pace.VERY_RAPIDLY)


def outlook(
    scenarios: xr.Dataset, where: Where, pressure_hpa: NDArray[np.float64], ship: ShipTime, factor: float, maps: MapFronts | None = None
) -> tuple[Feature, ...]:
    """Scenarios along the track -> fronts, squalls and the glass, in order of time. factor: from 10 m to the height of the limits.
    maps: the fronts on the newest run's maps, which say it beside the wind, or alone."""
    words = Words(ship, from_np(where.time[0]), factor)
    ahead = fronts_ahead(scenarios, where)
    lines = () if maps is None else maps.crossings
    features = [words.front(a, next((c for c in lines if _same(a, c)), None)) for a in ahead]
    features += [words.mapped(c, maps) for c in lines if maps is not None and not any(_same(a, c) for a in ahead)]
    spells = squall_spells(scenarios)
    if spells:
        features += [words.squalls(s, where, str(scenarios.attrs["squall_basis"])) for s in spells]
    fall = glass_fall(where, pressure_hpa)
    if fall is not None and fall.pace in SPOKEN_FALL:
        features.append(words.glass(fall, where))
    return tuple(sorted(features, key=lambda f: f.likely))


class Words:
    """Times in ship's time, winds as the anemometer has them, rounded up."""

    def __init__(self, ship: ShipTime, start: datetime, factor: float):
        self.ship, self.start, self.factor = ship, start, factor

    def clock(self, when: datetime) -> str:
        same_day = self.ship.local(when).date() == self.ship.local(self.start).date()
        return self.ship.clock(when) if same_day else self.ship.day_clock(when)

    def knots(self, at_10m_kn: float) -> int:
        return wind_up_kn(at_10m_kn * self.factor)

    def mapped(self, crossing: Crossing, maps: MapFronts) -> Feature:
        """A front that only a map tells of: how likely it is nobody has counted, and the words say so (chance: a half)."""
        name = crossing.kind.value
        times = f"about {self.clock(floor_step(crossing.time))} (between {self.clock(crossing.earliest)} and {self.clock(crossing.latest)})"
        words = (
            f"{name[:1].upper()}{name[1:]} on the map of the run of {maps.run:%d %b %H:%M} UTC: its line crosses her {times}. The wind along the "
            f"track hardly tells of it; how likely it is, is not known (drawn on {maps.quantity.value})."
        )
        return Feature(
            kind=name, early=crossing.earliest, likely=floor_step(crossing.time), late=crossing.latest, chance=0.5, gust_kn=None, words=words
        )  # fmt: skip

    def front(self, arrival: Arrival, line: Crossing | None = None) -> Feature:
        """A front: when, how sure, from which wind to which, the strongest gust in it. line: the same on a map."""
        early, late = floor_step(arrival.time_at(EARLY)), ceil_step(arrival.time_at(LATE))
        likely = floor_step(arrival.middle)
        weights = np.array(arrival.weights) / sum(arrival.weights)
        passages = arrival.passages
        before_kn, after_kn = (float(weights @ [getattr(p, n) for p in passages]) for n in ("before_kn", "after_kn"))
        before, after = (_middle_deg([getattr(p, n) for p in passages], weights) for n in ("before_deg", "after_deg"))
        peak = max(p.peak_gust_kn for p in passages)
        turn = float(weights @ [p.turn_deg for p in passages])
        kind = {Kind.COLD: "Cold front", Kind.WARM: "Warm front", Kind.TROUGH: "Trough", Kind.SHIFT: "Wind shift"}[arrival.kind]
        words = (
            f"{kind} about {self.clock(likely)} (between {self.clock(early)} and {self.clock(late)}), in "
            f"{of_weathers(arrival.share)}: wind {'veers' if turn > 0 else 'backs'} from {before:03.0f}/{self.knots(before_kn)} to "
            f"{after:03.0f}/{self.knots(after_kn)} kn, gusts to {self.knots(peak)} kn in the worst of them."
        )
        if line is not None:
            changes = "begins to change" if line.kind is LineKind.COLD else "has changed"  # the line is the warm edge of the change
            words += f" On the map the air at 850 hPa {changes} about {self.clock(floor_step(line.time))}."
        return Feature(
            kind=arrival.kind.value, early=early, likely=likely, late=late, chance=round(arrival.share, 3),
            gust_kn=self.knots(peak), words=words,
        )  # fmt: skip

    def squalls(self, spell: SquallSpell, where: Where, basis: str) -> Feature:
        """A spell of squalls: from when to when, how likely, the gust in one."""
        first, last = from_np(where.time[spell.first]), from_np(where.time[spell.last - 1])
        gust = None if np.isnan(spell.gust_ms) else self.knots(float(ms_to_kn(spell.gust_ms)))
        bring = "" if gust is None else f"; a squall could bring {gust} kn"
        said = squall_words(spell.likelihood)
        words = f"{said[:1].upper()}{said[1:]} from {self.clock(first)} to {self.clock(last)}{bring} ({basis})."
        return Feature(
            kind="squalls", early=first, likely=first, late=last, chance=round(min(spell.likelihood, 1.0), 3), gust_kn=gust, words=words
        )

    def glass(self, fall: GlassFall, where: Where) -> Feature:
        """The glass, when it falls quickly or faster."""
        when = from_np(where.time[fall.step])
        words = f"The glass: {fall.pace.value}, {abs(fall.change_hpa):.1f} hPa down in the three hours to {self.clock(when)}."
        return Feature(kind="glass", early=when, likely=when, late=when, chance=1.0, gust_kn=None, words=words)


def _same(arrival: Arrival, line: Crossing) -> bool:
    """Whether a line on the map can be the front that the wind tells of."""
    return line.latest >= arrival.time_at(EARLY) - NEAR_LINE and line.earliest <= arrival.time_at(LATE) + NEAR_LINE


def _middle_deg(directions: list[float], weights: NDArray[np.float64]) -> float:
    """The weighted mean of directions, to ten degrees."""
    angle = np.radians(directions)
    mean = float(np.degrees(np.arctan2(weights @ np.sin(angle), weights @ np.cos(angle)))) % 360.0
    return round(mean / 10.0) * 10.0 % 360.0
