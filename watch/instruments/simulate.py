"""A boat's instruments made up second by second from a ten-minute series: gusty wind, boat, glass; seeded.

The wind of each step has exactly the given mean and the given largest three-second mean; in between it wanders as turbulence
does: each second much like the one before. What it sends says "simulator" wherever the standard has a word for it.
"""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from watch.instruments.averages import STEP_S
from watch.instruments.nmea0183 import sentence
from watch.instruments.plausible import distance_m
from watch.instruments.streams import instant_of, seconds_of
from watch.units import Floats, ms_to_kn, wind_components_ms, wind_from_deg, wrap_180
from watch.when import floor_step, utc

STEP_LENGTH = int(STEP_S)  # one sample a second
LAG_S = 3  # the cups even out what is shorter (judgement)
EDDY_M = 100.0  # length of a gust along the wind; with the wind's speed it gives the time in which a gust passes (judgement)
VEER_DEG = 6.0  # standard deviation of direction and yaw (judgement)
YAW_DEG = 3.0
SURGE_MS = 0.15  # standard deviation of the boat's speed (judgement)
GLASS_PA = 5.0
GUSTIEST = 100.0  # gust over mean; more has no room in ten minutes of seconds
CALM_MS = 0.05
GLASS_EVERY_S = 10
TALKER = "II"


@dataclass(frozen=True, kw_only=True)
class Script:
    """What to play: n ten-minute steps from start (aware, on the ten-minute grid).

    Over each step, shape (n,): mean_ms, gust_ms (at the anemometer's height; a gust below the mean counts as the mean), from_deg,
    heading_deg [deg true]. At the n + 1 marks: pressure_pa, latitude_deg, longitude_deg; between marks they run straight, and
    course and speed follow from the positions. NaN is sent as missing. Raises ValueError when shapes or start do not fit.
    """

    start: datetime
    mean_ms: Floats
    gust_ms: Floats
    from_deg: Floats
    heading_deg: Floats
    pressure_pa: Floats
    latitude_deg: Floats
    longitude_deg: Floats

    def __post_init__(self) -> None:
        if floor_step(self.start) != utc(self.start):
            raise ValueError(f"{self.start.isoformat()} is not on the ten-minute grid")
        steps = self.mean_ms.size
        wanted = {"gust_ms": steps, "from_deg": steps, "heading_deg": steps, "pressure_pa": steps + 1, "latitude_deg": steps + 1,
                  "longitude_deg": steps + 1}
        wrong = [f"{name} has {getattr(self, name).size} values instead of {size}"
                 for name, size in wanted.items() if getattr(self, name).size != size]
        if wrong:
            raise ValueError("; ".join(wrong))


@dataclass(frozen=True, kw_only=True)
class Samples:
    """One step, second by second: arrays of shape (600,). seconds: since 1970, UTC."""

    seconds: Floats
    wind_ms: Floats
    from_deg: Floats
    apparent_ms: Floats
    apparent_deg: Floats
    heading_deg: Floats
    ground_speed_ms: Floats
    ground_course_deg: Floats
    pressure_pa: Floats
    latitude_deg: Floats
    longitude_deg: Floats


def wandering(count: int, time_s: float, rng: np.random.Generator) -> Floats:
    """count values a second apart of mean near 0 and standard deviation 1 whose correlation falls to 1/e in time_s [s]
    (first-order autoregression).

    >>> wandering(3, 10.0, np.random.default_rng(1)).shape
    (3,)
    """
    keep = math.exp(-1.0 / time_s)
    shocks = rng.standard_normal(count) * math.sqrt(1.0 - keep * keep)
    values = np.empty(count)
    value = rng.standard_normal()
    for i in range(count):
        value = keep * value + shocks[i]
        values[i] = value
    return values


def gusty(mean_ms: float, gust_ms: float, rng: np.random.Generator, count: int = STEP_LENGTH) -> Floats:
    """count speeds a second apart [m/s], never negative, with exactly this mean and this largest mean of three in a row.

    Turbulence is stretched by an exponential whose steepness is found by halving; NaN gives NaN.

    >>> speeds = gusty(10.0, 14.0, np.random.default_rng(1))
    >>> round(float(speeds.mean()), 6), round(float(np.convolve(speeds, np.ones(3) / 3, "valid").max()), 6)
    (10.0, 14.0)
    """
    if not (math.isfinite(mean_ms) and math.isfinite(gust_ms)):
        return np.full(count, np.nan)
    if mean_ms < CALM_MS or gust_ms <= mean_ms:
        return np.full(count, max(mean_ms, 0.0))
    eddies = wandering(count + LAG_S - 1, min(max(EDDY_M / mean_ms, 2.0), 30.0), rng)
    eddies = np.convolve(eddies, np.ones(LAG_S) / LAG_S, "valid")
    eddies -= eddies.max()
    wanted = min(gust_ms / mean_ms, GUSTIEST)

    def stretched(steepness: float) -> Floats:
        speeds = np.exp(steepness * eddies)
        scaled: Floats = speeds * (mean_ms / speeds.mean())
        return scaled

    def largest(steepness: float) -> float:
        return float(np.convolve(stretched(steepness), np.ones(3) / 3.0, "valid").max()) / mean_ms

    low, high = 0.0, 1.0
    while largest(high) < wanted and high < 1e3:
        high *= 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if largest(middle) < wanted else (low, middle)
    return stretched(high)


def samples_of(script: Script, step: int, seed: int) -> Samples:
    """One step of the script, second by second; the same for the same seed, whatever was played before."""
    rng = np.random.default_rng([seed, step])
    part = (np.arange(STEP_LENGTH) + 0.5) / STEP_LENGTH
    wind_ms = gusty(float(script.mean_ms[step]), float(script.gust_ms[step]), rng)
    veer_deg = VEER_DEG * wandering(STEP_LENGTH, 10.0, rng)
    east, north = wind_components_ms(wind_ms, veer_deg)
    off_deg = wrap_180(wind_from_deg(east.mean(), north.mean())) if np.hypot(east.mean(), north.mean()) > 0.0 else 0.0
    from_deg = (float(script.from_deg[step]) + veer_deg - off_deg) % 360.0
    heading_deg = (float(script.heading_deg[step]) + YAW_DEG * wandering(STEP_LENGTH, 5.0, rng)) % 360.0
    speed_ms, course_deg = made_good(script, step)
    surge_ms = SURGE_MS * wandering(STEP_LENGTH, 5.0, rng) if speed_ms > SURGE_MS else np.zeros(STEP_LENGTH)
    boat_ms = np.maximum(speed_ms + surge_ms - surge_ms.mean(), 0.0)
    east, north = wind_components_ms(wind_ms, from_deg)
    along = math.radians(course_deg)
    east, north = east - boat_ms * math.sin(along), north - boat_ms * math.cos(along)
    glass_pa = np.interp(part, [0.0, 1.0], script.pressure_pa[step : step + 2]) + GLASS_PA * rng.standard_normal(STEP_LENGTH)
    latitude = np.interp(part, [0.0, 1.0], script.latitude_deg[step : step + 2])
    across_deg = float(wrap_180(script.longitude_deg[step + 1] - script.longitude_deg[step]))
    return Samples(
        seconds=seconds_of(script.start) + step * STEP_S + np.arange(STEP_LENGTH, dtype=float),
        wind_ms=wind_ms,
        from_deg=from_deg,
        apparent_ms=np.hypot(east, north),
        apparent_deg=wrap_180(wind_from_deg(east, north) - heading_deg),
        heading_deg=heading_deg,
        ground_speed_ms=boat_ms if math.isfinite(speed_ms) else np.full(STEP_LENGTH, np.nan),
        ground_course_deg=np.full(STEP_LENGTH, course_deg),
        pressure_pa=glass_pa,
        latitude_deg=latitude,
        longitude_deg=wrap_180(script.longitude_deg[step] + part * across_deg),
    )


def made_good(script: Script, step: int) -> tuple[float, float]:
    """Speed [m/s] and course [deg true] over the ground from one mark to the next; NaN where a position is missing.

    >>> from watch.when import parse_utc
    >>> one, two = np.zeros(1), np.array([0.0, 1.0 / 60.0])
    >>> north = Script(start=parse_utc("2026-05-14T12:00Z"), mean_ms=one, gust_ms=one, from_deg=one, heading_deg=one,
    ...                pressure_pa=two, latitude_deg=two, longitude_deg=np.zeros(2))
    >>> [round(value, 1) for value in made_good(north, 0)]  # a mile in ten minutes
    [3.1, 0.0]
    """
    latitude, longitude = script.latitude_deg[step : step + 2], script.longitude_deg[step : step + 2]
    metres = float(distance_m(latitude[0], longitude[0], latitude[1], longitude[1]))
    north = float(latitude[1] - latitude[0])
    east = float(wrap_180(longitude[1] - longitude[0])) * math.cos(math.radians(float(latitude.mean())))
    return metres / STEP_S, math.degrees(math.atan2(east, north)) % 360.0


def _degrees(value: float, wide: int, letters: str) -> str:
    """A latitude or longitude in degrees and minutes as NMEA 0183 writes it; two empty fields when missing."""
    if not math.isfinite(value):
        return ","
    ten_thousandths = round(abs(value) * 600000.0)
    degrees, rest = divmod(ten_thousandths, 600000)
    return f"{degrees:0{wide}d}{rest / 10000.0:07.4f},{letters[0] if value >= 0.0 else letters[1]}"


def _number(value: float, form: str = ".1f") -> str:
    return format(value, form) if math.isfinite(value) else ""


def _angle(value: float) -> str:
    return _number(round(value % 360.0, 1) % 360.0)


def _knots(value: float) -> str:
    return _number(ms_to_kn(value))


def _rmc(s: Samples, i: int) -> str:
    at = instant_of(s.seconds[i])
    where = f"{_degrees(s.latitude_deg[i], 2, 'NS')},{_degrees(s.longitude_deg[i], 3, 'EW')}"
    valid = "A" if math.isfinite(s.latitude_deg[i]) else "V"
    moved = f"{_knots(s.ground_speed_ms[i])},{_angle(s.ground_course_deg[i])}"
    return f"RMC,{at:%H%M%S},{valid},{where},{moved},{at:%d%m%y},,,S"


def _mwv(s: Samples, i: int, reference: str) -> str:
    apparent = reference == "R"
    angle = s.apparent_deg[i] if apparent else s.from_deg[i] - s.heading_deg[i]
    speed = s.apparent_ms[i] if apparent else s.wind_ms[i]
    return f"MWV,{_angle(angle)},{reference},{_knots(speed)},N,{'A' if math.isfinite(speed) else 'V'}"


def _mwd(s: Samples, i: int) -> str:
    return f"MWD,{_angle(s.from_deg[i])},T,,M,{_knots(s.wind_ms[i])},N,{_number(s.wind_ms[i])},M"


def _xdr(s: Samples, i: int) -> str:
    return f"XDR,P,{_number(s.pressure_pa[i] / 1e5, '.5f')},B,Barometer" if i % GLASS_EVERY_S == 0 else ""


SENTENCES: dict[str, Callable[[Samples, int], str]] = {
    "RMC": _rmc,
    "HDT": lambda s, i: f"HDT,{_angle(s.heading_deg[i])},T",
    "VHW": lambda s, i: f"VHW,{_angle(s.heading_deg[i])},T,,M,{_knots(s.ground_speed_ms[i])},N,,K",
    "MWV R": lambda s, i: _mwv(s, i, "R"),
    "MWV T": lambda s, i: _mwv(s, i, "T"),
    "MWD": _mwd,
    "XDR": _xdr,
}
USUAL = ("RMC", "HDT", "VHW", "MWV R", "XDR")


def nmea0183_pieces(script: Script, *, seed: int = 0, what: tuple[str, ...] = USUAL,
                    tagged: bool = True) -> Iterator[tuple[datetime, bytes]]:
    """The script as NMEA 0183: for each second its time and the lines sent then. what: names of SENTENCES. tagged: each line has
    its time in a tag block, so that it can be played faster than real time."""
    for step in range(script.mean_ms.size):
        samples = samples_of(script, step, seed)
        for i in range(STEP_LENGTH):
            tag = f"c:{samples.seconds[i]:.0f}" if tagged else ""
            bodies = [SENTENCES[name](samples, i) for name in what]
            yield instant_of(samples.seconds[i]), "".join(sentence(TALKER + b, tag) for b in bodies if b).encode("ascii")


def signal_k_pieces(script: Script, *, seed: int = 0) -> Iterator[tuple[datetime, str]]:
    """The script as Signal K: for each second its time and one delta with all values."""
    for step in range(script.mean_ms.size):
        samples = samples_of(script, step, seed)
        for i in range(STEP_LENGTH):
            yield instant_of(samples.seconds[i]), _delta(samples, i)


def _delta(s: Samples, i: int) -> str:
    at = {"latitude": float(s.latitude_deg[i]), "longitude": float(s.longitude_deg[i])}
    values: dict[str, object] = {"navigation.position": at if all(map(math.isfinite, at.values())) else None}
    plain = {
        "navigation.speedOverGround": s.ground_speed_ms[i],
        "navigation.speedThroughWater": s.ground_speed_ms[i],
        "environment.wind.speedApparent": s.apparent_ms[i],
        "environment.outside.pressure": s.pressure_pa[i],
        "navigation.courseOverGroundTrue": math.radians(s.ground_course_deg[i]),
        "navigation.headingTrue": math.radians(s.heading_deg[i]),
        "environment.wind.angleApparent": math.radians(s.apparent_deg[i]),
    }
    values.update({path: round(float(value), 6) if math.isfinite(value) else None for path, value in plain.items()})
    stamp = f"{instant_of(s.seconds[i]):%Y-%m-%dT%H:%M:%S}.000Z"
    update = {"$source": "simulator", "timestamp": stamp, "values": [{"path": p, "value": v} for p, v in values.items()]}
    return json.dumps({"context": "vessels.self", "updates": [update]})
