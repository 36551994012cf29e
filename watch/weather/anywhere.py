"""The possible weathers at any place and hour: the same scenarios as along the track, asked for at thousands of places at once.

says: for scenario k at a place and hour, what `make_scenarios` would say there, hour by hour instead of every ten minutes.
why: whether a shelter can be reached is counted over the same weathers as the orders themselves. How it differs, all to the stronger
side or small: the strongest of the whole hour counts; a single run's shift in time is rounded to whole hours; without wave fields the sea
is what a day of the strongest wind of the last twelve hours raises (`watch.weather.sea.carter`), which can be less than an old sea that is
still running. source: watch.weather.scenarios, its slow twin in the tests.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from watch.forecast.contract import Forecast, Name
from watch.weather import blocks, sample
from watch.weather.blocks import Blocks
from watch.weather.errors import ENSEMBLE_SPOTS, Widening, normal_chance
from watch.weather.gust_scatter import hourly_scatter, scattered
from watch.weather.look import ALOFT, has_convection, sources
from watch.weather.near_fronts import FrontsByHour, fronts_by_hour
from watch.weather.scenarios import EAST, NM_PER_DEG, NORTH, SEA, SQUALL, TIMING, Drawn, draw
from watch.weather.sea import OPEN_OCEAN_FETCH_KM, UNKNOWN_PAST_H, carter
from watch.weather.squalls import GUST_RATIO, SquallInputs, front_gust_ms, squall_outlook
from watch.weather.widened import widened
from watch.when import Times, to_np

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]

OF_SQUALLS = (Name.CAPE_JKG, Name.RAIN_KGM2S, *ALOFT)
HIGH_UP = (Name.U850_MS, Name.U500_MS)  # with one of these the wind at 10 m is wanted too, for the shear


Fields = dict[str, list[tuple[bool, Blocks]]]
LATELY_H = 12  # judgement: for so long a sea that nothing is said of is taken to stand as the strongest wind raised it
RAISING_MS = np.linspace(0.0, 80.0, 321)
RAISED_M = carter(RAISING_MS, OPEN_OCEAN_FETCH_KM, UNKNOWN_PAST_H).height_m


@dataclass(frozen=True, kw_only=True)
class Weather:
    """S scenarios at C places and hours, (C, S) each, at 10 m: the strongest mean and gust of the hour; u, v: the plain wind of its middle
    towards east and north, made as strong as the scenario is; sea: significant height, the highest of the hour. Missing is NaN."""

    mean_ms: Floats32
    gust_ms: Floats32
    u_ms: Floats32
    v_ms: Floats32
    sea_m: Floats32


@dataclass(frozen=True, kw_only=True)
class Group:
    """Scenarios that look into one run at one spot: which they are, its members, place and shift, and the draws (scenarios, 7) of each.
    fields: as of its run, with the run's own members cut down to these."""

    scenarios: Ints
    members: Ints
    east: float
    north: float
    shift: float
    z: Floats
    fields: Fields


@dataclass(frozen=True, kw_only=True)
class Run:
    """One run, its groups, and its quantities by the hour, best first: whether they are its own, and the blocks. first: the number of its
    first scenario. scatter (H, its scenarios): of gusts, see watch.weather.gust_scatter."""

    drawn: Drawn
    first: int
    scatter: Floats32 = field(repr=False)
    groups: tuple[Group, ...]
    fields: Fields
    fronts: FrontsByHour = field(repr=False)

    def scatter_of(self, hour: Ints, scenarios: Ints) -> Floats32:
        """(C, S of these); outside the marks, where nothing is known anyway, that of the nearest hour."""
        return self.scatter[np.clip(hour, 0, len(self.scatter) - 1)[:, None], scenarios - self.first]

    @cached_property
    def known_hours(self) -> tuple[int, int] | None:
        """The first and the last hour in which its wind is known anywhere."""
        known = np.flatnonzero(np.isfinite(self.fields["mean"][0][1].values).any(axis=(1, 2)))
        return (int(known[0]), int(known[-1])) if len(known) else None

    def kept(self, hour: Ints, late: Ints) -> Ints:
        """The hours to look at for weather so many hours late, kept inside the run where the hour itself is; of their common shape."""
        if self.known_hours is None:
            return np.asarray(hour + 0 * late)
        first, last = self.known_hours
        return np.where((hour >= first) & (hour <= last), np.clip(hour - late, first, last), hour)


@dataclass(frozen=True, kw_only=True, eq=False)
class Anywhere:
    """The weathers of a forecast over `hours` (H + 1 marks), weight (S), in the order that `make_scenarios` has them."""

    hours: Times
    weight: Floats
    widening: Widening
    runs: tuple[Run, ...] = field(repr=False)
    waves: Forecast | None = field(repr=False)

    def at(self, hour: Ints, latitude: Floats, longitude: Floats) -> Weather:
        """Whole hours (C), counted from the first mark, and places [deg] (C) -> the weathers there."""
        shape = (len(self.weight), len(hour))
        out = {name: np.full(shape, np.nan, dtype=np.float32) for name in ("mean_ms", "gust_ms", "u_ms", "v_ms", "sea_m")}
        for run in self.runs:
            for group in run.groups:
                found = self._group(run, group, hour, latitude, longitude)
                for name, values in found.items():
                    out[name][group.scenarios] = values.T
        return Weather(**{name: values.T for name, values in out.items()})

    def looked(self, hour: Ints) -> tuple[Ints, Floats32]:
        """Whole hours (C) -> the hour whose weather comes then, and the factor on its wind: here the hour itself, as it stands."""
        return hour, np.ones(len(hour), dtype=np.float32)

    def waves_from_deg(self, hour: Ints, latitude: Floats, longitude: Floats) -> Floats:
        """(C): where the waves come from [deg] in the middle of the hour by the newest run that says so; NaN unknown."""
        if self.waves is None:
            return np.full(len(hour), np.nan)
        middle = self.hours[:-1][hour] + np.timedelta64(blocks.HOUR_S // 2, "s")
        return np.asarray(sample.angle_at(self.waves.fields[Name.WAVE_FROM_DEG], middle, latitude, longitude)[0])

    def _group(self, run: Run, group: Group, hour: Ints, latitude: Floats, longitude: Floats) -> dict[str, Floats32]:
        look = _Look(self, run, group, hour, latitude, longitude)
        raw = {name: look.wind(name) for name in ("mean", "u", "v")}
        z = group.z[0] if run.drawn.single else None
        mean, gust, u, v = widened({**raw, "gust": look.any_of("gust")}, z, look.lead_h[:, None], self.widening)
        gust = self._with_squalls(look, mean, gust, scattered(mean, gust, run.scatter_of(hour, group.scenarios)))
        with_front = run.fronts.come(group.scenarios, look.hour, look.spots)
        gust = np.where(with_front, np.fmax(gust, front_gust_ms(mean).astype(np.float32)), gust)
        return {"mean_ms": mean, "gust_ms": gust, "u_ms": u, "v_ms": v, "sea_m": self._sea(look, mean)}

    def _sea(self, look: "_Look", mean: Floats32) -> Floats32:
        sea = look.any_of("sea")
        missing = ~np.isfinite(sea)
        if missing.any():
            lately = np.fmax(look.wind("lately"), mean)
            sea = np.where(missing, np.interp(lately, RAISING_MS, RAISED_M).astype(np.float32), sea)
        if look.run.drawn.single:
            sea = sea * np.float32(max(1.0 + self.widening.sea_share * look.group.z[0, SEA], 0.5))
        return sea

    def _with_squalls(self, look: "_Look", mean: Floats32, gust: Floats32, lively: Floats32) -> Floats32:
        """The gusts that come (lively), raised where a scenario has a squall, by the same rule as along the track."""
        given = {name: look.any_of(str(name)) for name in OF_SQUALLS if str(name) in look.run.fields}
        # with nothing but gusts to go by, nothing is said below the ratio at which they begin to tell
        some = np.ones(gust.shape, dtype=bool) if given else ~(gust < GUST_RATIO[0] * mean)
        if not some.any():
            return lively
        cut = {name: values[some] for name, values in given.items()}
        rain = cut.pop(Name.RAIN_KGM2S, None)
        outlook = squall_outlook(
            SquallInputs(
                wind_ms=mean[some], gust_ms=gust[some], gust_has_convection=has_convection(look.run.drawn.forecast),
                rain_mmh=None if rain is None else rain * 3600.0, **{str(name): values for name, values in cut.items()},
            )
        )  # fmt: skip
        luck = np.broadcast_to(normal_chance(look.group.z[:, SQUALL]), gust.shape)[some]
        out = lively.copy()
        out[some] = np.where(outlook.likelihood > luck, np.fmax(lively[some], outlook.gust_ms), lively[some])
        return out


class _Look:
    """One group's look at C places and hours: where each quantity stands for it. Off the grid it looks at the place itself."""

    def __init__(self, all_: Anywhere, run: Run, group: Group, hour: Ints, latitude: Floats, longitude: Floats) -> None:
        self.run, self.group = run, group
        start_h = float((all_.hours[0] - to_np(run.drawn.forecast.run)) / np.timedelta64(1, "h"))
        self.lead_h = start_h + hour.astype(float)
        place = all_.widening.at(all_.widening.place_nm, self.lead_h) / NM_PER_DEG
        lat = np.clip(latitude + group.north * place, -89.0, 89.0)
        lon = longitude + group.east * place / np.cos(np.radians(np.clip(latitude, -80.0, 80.0)))
        wind = run.fields["mean"][0][1]
        self.spots = wind.spots(lat, lon)
        self.latitude, self.longitude = lat, lon
        if not self.spots.inside.all():
            self.latitude = np.where(self.spots.inside, lat, latitude)
            self.longitude = np.where(self.spots.inside, lon, longitude)
            self.spots = wind.spots(self.latitude, self.longitude)
        self.hour = self._shifted(all_, hour)

    def _shifted(self, all_: Anywhere, hour: Ints) -> Ints:
        """Hours to look at, kept inside the forecast where the hour itself is."""
        if self.group.shift == 0.0:
            return hour
        late = np.round(self.group.shift * all_.widening.at(all_.widening.timing_h, self.lead_h)).astype(np.int64)
        return self.run.kept(hour, late)

    def wind(self, name: str) -> Floats32:
        """A quantity on the grid of the wind (C, scenarios of the group)."""
        return self._one(*self.group.fields[name][0], self.spots)

    def any_of(self, name: str) -> Floats32:
        """A quantity from the run itself, and where it lacks it from the others that have it."""
        out = np.full((len(self.hour), len(self.group.scenarios)), np.nan, dtype=np.float32)
        for own, values in self.group.fields.get(name, []):
            out = np.where(np.isfinite(out), out, self._one(own, values, self._spots_on(values)))
            if np.isfinite(out).all():
                break
        return out

    def _spots_on(self, values: Blocks) -> sample.Points:
        wind = self.run.fields["mean"][0][1]
        return self.spots if values.on_grid_of(wind) else values.spots(self.latitude, self.longitude)

    def _one(self, own: bool, values: Blocks, spots: sample.Points) -> Floats32:
        """This group's members of the run itself, or the first member of another run."""
        found = values.at(self.hour, spots)
        return found if own else np.broadcast_to(found[:, :1], (len(self.hour), len(self.group.scenarios)))


def anywhere(forecasts: Sequence[Forecast], hours: Times, widening: Widening | None = None) -> Anywhere:
    """Forecasts and marks of whole hours (H + 1) -> the weathers anywhere on their grids. Raises NoWindError."""
    widening = widening or Widening()
    drawn = draw(forecasts)
    runs, first = [], 0
    for one in drawn:
        fields = _fields(one.forecast, forecasts, hours)
        u, v = one.forecast.fields[Name.U10_MS], one.forecast.fields[Name.V10_MS]
        fronts = fronts_by_hour(u, v, hours, normal_chance(one.z[:, SQUALL]), first)
        scatter = hourly_scatter(hours, one.count, widening.gust_scatter).astype(np.float32)
        runs.append(Run(drawn=one, first=first, scatter=scatter, groups=_groups(one, first, fields), fields=fields, fronts=fronts))
        first += one.count
    weight = np.concatenate([np.full(d.count, d.own_weight / d.count) for d in drawn])
    directed = sorted((f for f in forecasts if f.has(Name.WAVE_FROM_DEG)), key=lambda f: f.run, reverse=True)
    return Anywhere(
        hours=hours, weight=weight / weight.sum(), widening=widening, runs=tuple(runs), waves=directed[0] if directed else None,
    )  # fmt: skip


def _groups(drawn: Drawn, first: int, fields: Fields) -> tuple[Group, ...]:
    scenarios = first + np.arange(drawn.count)
    if drawn.single:
        return tuple(
            Group(
                scenarios=scenarios[k : k + 1], members=np.zeros(1, dtype=np.int64), east=float(z[EAST]), north=float(z[NORTH]),
                shift=float(z[TIMING]), z=drawn.z[k : k + 1], fields=fields,
            )
            for k, z in enumerate(drawn.z)
        )  # fmt: skip
    spot = np.arange(drawn.count) % len(ENSEMBLE_SPOTS)
    return tuple(
        Group(scenarios=scenarios[spot == k], members=np.flatnonzero(spot == k), east=float(e), north=float(n), shift=0.0,
               z=drawn.z[spot == k], fields=_of_members(fields, np.flatnonzero(spot == k)))
        for k, (e, n) in enumerate(ENSEMBLE_SPOTS)
        if (spot == k).any()
    )  # fmt: skip


def _of_members(fields: Fields, members: Ints) -> Fields:
    return {
        name: [(own, b.of_members(members) if own and b.members > 1 else b) for own, b in found] for name, found in fields.items()
    }


def _fields(forecast: Forecast, everything: Sequence[Forecast], hours: Times) -> Fields:
    u, v = forecast.fields[Name.U10_MS], forecast.fields[Name.V10_MS]
    found = {
        "mean": [(True, blocks.strongest([u, v], hours))],
        "u": [(True, blocks.middle(u, hours))],
        "v": [(True, blocks.middle(v, hours))],
    }
    found["lately"] = [(True, found["mean"][0][1].strongest_of_last(LATELY_H))]
    if forecast.has(Name.GUST_MS):
        found["gust"] = [(True, blocks.strongest([forecast.fields[Name.GUST_MS]], hours))]
    found["sea"] = _by_hour(forecast, everything, Name.SEA_M, hours)
    high_up = any(sources(everything, forecast, name) for name in HIGH_UP)
    for name in OF_SQUALLS:
        some = _by_hour(forecast, everything, name, hours) if high_up or name not in (Name.U10_MS, Name.V10_MS) else []
        if some:
            found[str(name)] = some
    return found


def _by_hour(forecast: Forecast, everything: Sequence[Forecast], name: Name, hours: Times) -> list[tuple[bool, Blocks]]:
    """A quantity by the hour from the run itself and from every other that has it; components of wind from the middle of the hour."""
    found = []
    for source in sources(everything, forecast, name):
        one = source.fields[name]
        found.append((source is forecast, blocks.middle(one, hours) if name in ALOFT else blocks.strongest([one], hours)))
    return found
