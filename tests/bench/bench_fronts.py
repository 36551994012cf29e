"""Prints what the front and squall rules find in real series: hits, misses, false alarms; in the halves they were tuned on, and blind.

Run: python -m tests.bench.bench_fronts [folder of station files]
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.bench.events import AIRPORT_PLACE, AIRPORTS, DAYS, EVENTS, WindlessEvidence, airports, buoy, windless
from watch.units import kn_to_ms
from watch.weather.fronts import FrontPassage, find_passages
from watch.weather.scores import Table
from watch.weather.series import WeatherSeries
from watch.weather.squalls import Squall, observed_squalls, reported_squalls

BUOY_PLACE = (42.0, -75.0)
EVENT_WITHIN_H, STRONG_WITHIN_H = 3.0, 5.0


def hour_of(found: FrontPassage | Squall) -> float:
    return (found.time if isinstance(found, FrontPassage) else found.peak_time).timestamp() / 3600.0


def fronts_and_squalls(
    series: WeatherSeries, place: tuple[float, float], step_h: float | None = None
) -> tuple[list[float], list[float]]:
    gust = None if series.gust_kn is None else kn_to_ms(series.gust_kn)
    squalls = reported_squalls(series.time, kn_to_ms(series.wind_kn), gust)
    return [hour_of(p) for p in find_passages(series, *place, own_step_h=step_h)], [hour_of(s) for s in squalls]


def near(hour: float, others: list[float], within_h: float) -> bool:
    return any(abs(hour - other) <= within_h for other in others)


@dataclass(frozen=True)
class Score:
    """One station: passages found; strong fronts found of all, and of those that brought 20 kn or more there; false alarms."""

    found: int
    strong: tuple[int, int]
    strong_and_windy: tuple[int, int]
    false: int

    @property
    def false_in_ten_days(self) -> float:
        return 10.0 * self.false / DAYS


def score(series: WeatherSeries, passages: list[float], evidence: WindlessEvidence) -> Score:
    strong = evidence.strong_fronts
    windy = [h for h in strong if np.nanmax(series.squall_peak_kn()[np.abs(series.hours - h) <= 6.0]) >= 20.0]
    hit = [sum(near(h, passages, STRONG_WITHIN_H) for h in some) for some in (strong, windy)]
    return Score(len(passages), (hit[0], len(strong)), (hit[1], len(windy)), sum(not evidence.confirms(h) for h in passages))


def variants(series: WeatherSeries) -> dict[str, tuple[WeatherSeries, float | None]]:
    """The same station read hourly, at a forecast's steps, and with instruments missing."""
    no_air = replace(series, temperature_c=None, dew_point_c=None)
    return {
        "hourly": (series, None),
        "every 3 h": (series.at(series.hours % 3.0 == 0.0), 3.0),
        "every 6 h": (series.at(series.hours % 6.0 == 0.0), 6.0),
        "wind and glass": (no_air, None),
        "wind alone": (replace(no_air, pressure_hpa=None), None),
    }


def known_events(stations: dict[str, WeatherSeries]) -> list[tuple[str, str, str, bool]]:
    rows = []
    for when, station, what in EVENTS:
        if station not in stations:
            continue
        place = AIRPORT_PLACE if station != "buoy" else BUOY_PLACE
        passages, squalls = fronts_and_squalls(stations[station], place)
        hour = np.datetime64(when, "s").astype(np.int64) / 3600.0
        rows.append((when, station, what, near(hour, passages + squalls, EVENT_WITHIN_H)))
    return rows


def halves(folder: Path | None) -> None:
    """The same counts for the halves that rules were tuned on and for those that they were not: strong fronts by a criterion without wind."""
    print(f"{'':22}{'days':>6}{'strong fronts':>15}{'found':>7}{'missed':>8}{'with 20 kn: found':>19}{'missed':>8}{'false in ten days':>19}{'squalls':>9}")
    for held_out in (False, True):
        stations = airports(held_out)
        evidence = windless(stations)
        for name in AIRPORTS:
            series, half = stations[name], "blind" if held_out else "tuned on"
            passages, squalls = fronts_and_squalls(series, AIRPORT_PLACE)
            s, days = score(series, passages, evidence), (series.hours[-1] - series.hours[0]) / 24.0
            (hit, of), (windy, of_windy) = s.strong, s.strong_and_windy
            print(f"{name:10}{half:12}{days:6.0f}{of:15}{hit:7}{of - hit:8}{windy:19}{of_windy - windy:8}{10.0 * s.false / days:19.2f}"
                  f"{len(squalls):9}")  # fmt: skip
        hits, misses, alone = cross_station(stations)
        print(f"{'one against two others':22}{half:>10}: {hits} found, {misses} missed, {alone} alone")
        for name in ("hourly", "wind-10min") if folder else ():
            one = buoy(folder / f"station-{name}-2020-2021.csv.gz", held_out)
            days = (one.hours[-1] - one.hours[0]) / 24.0
            print(f"{name:12}{half:10}{days:6.0f} {10 * len(find_passages(one, *BUOY_PLACE)) / days:.2f} passages in ten days, none to check by")


def main(folder: Path | None) -> None:
    halves(folder)
    stations = airports()
    evidence = windless(stations)
    if folder:
        stations["buoy"] = buoy(folder / "station-hourly-2020-2021.csv.gz")
    print("known events")
    for when, station, what, hit in known_events(stations):
        print(f"  {when}Z {station:5} {what:7} {'found' if hit else 'MISSED'}")
    chance = evidence.something.mean()
    print(f"fronts found without wind: {len(evidence.strong_fronts)}; chance that any hour is confirmed: {chance:.2f}")
    print(f"{'station':8}{'read':16}{'passages':>9}{'strong found':>15}{'with 20 kn':>13}{'false':>7}{'in ten days':>13}")
    for name in AIRPORTS:
        for how, (series, step) in variants(stations[name]).items():
            s = score(series, fronts_and_squalls(series, AIRPORT_PLACE, step)[0], evidence)
            strong, windy = (f"{hit} of {of}" for hit, of in (s.strong, s.strong_and_windy))
            print(f"{name:8}{how:16}{s.found:9}{strong:>15}{windy:>13}{s.false:7}{s.false_in_ten_days:13.2f}")
    hits, misses, false = cross_station(stations)
    table = Table(hits=hits, false_alarms=false, misses=misses, correct_negatives=0)
    counts = f"{hits} hits, {misses} misses, {false} alone; POD {table.pod:.2f}, FAR {table.far:.2f}"
    print(f"one station against the other two, within 4 h: {counts}")
    for name in AIRPORTS:
        print(f"jumps in the reports at {name}: {len(fronts_and_squalls(stations[name], AIRPORT_PLACE)[1])} in {DAYS:.0f} days")
    if folder:
        year = len(find_passages(stations["buoy"], *BUOY_PLACE))
        print(f"hourly station, 2020: {year} passages, {10 * year / 366:.2f} in ten days")
        ten = buoy(folder / "station-wind-10min-2020-2021.csv.gz")
        print(
            f"ten-minute station, 2020: {len(observed_squalls(ten.time, kn_to_ms(ten.wind_kn)))} squalls, "
            f"{10 * len(find_passages(ten, 40.0)) / 366:.2f} passages in ten days by wind alone"
        )


def cross_station(stations: dict[str, WeatherSeries]) -> tuple[int, int, int]:
    """A passage at both other stations within four hours is an event: is it found at the third, is the third's ever alone?"""
    found = {name: fronts_and_squalls(stations[name], AIRPORT_PLACE)[0] for name in AIRPORTS}
    hits = misses = false = 0
    for name in AIRPORTS:
        one, two = (found[other] for other in AIRPORTS if other != name)
        events = [h for h in one if near(h, two, 4.0)]
        hits += sum(near(h, found[name], 4.0) for h in events)
        misses += sum(not near(h, found[name], 4.0) for h in events)
        false += sum(not near(h, one + two, 4.0) for h in found[name])
    return hits, misses, false


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
