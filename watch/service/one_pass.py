"""One pass of the watch, pure: boat, passage, forecasts and `now` in; orders, and what they rest on, out. Brief, stand, replay and why
all go through here.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.boat.model import BoatFile
from watch.boat.rig import Rig, RigState, rig_from
from watch.faults import BadInputError
from watch.forecast.contract import PARTLY, Forecast, Name
from watch.instruments.series import Observed
from watch.orders.carry import speed_table
from watch.orders.compose import Setting, compose
from watch.orders.document import ForecastUsed, Orders
from watch.orders.invariants import broken
from watch.orders.margin import UNTRIED, margin_of
from watch.orders.outlook import outlook
from watch.orders.schedule import Night, Schedule, make_schedule, quick_carried
from watch.orders.weights import Aims, Weights
from watch.passage.land import Land
from watch.passage.light import Sky, light_along
from watch.passage.route import Route
from watch.passage.shelters import Shelter
from watch.passage.speed import apparent
from watch.passage.track import Track
from watch.service.aboard import Steps, asleep, height_factor, met_of
from watch.service.going import Going, distance_apart_nm, sail_along
from watch.service.observing import SHELTERS_APART, Against, against, as_observed, compared, material
from watch.service.sheltering import with_shelters
from watch.weather.errors import Widening
from watch.weather.following import Caution, following_sea
from watch.weather.look import Where
from watch.weather.mapped_fronts import fronts_on_maps
from watch.weather.plain import plain_along, waves_along
from watch.weather.scenarios import draw, make_scenarios, usable
from watch.weather.unforecast import COUNTED, Unforecast
from watch.when import STEP_MINUTES, STEPS_PER_HOUR, ShipTime, ceil_step, from_np, to_np

Floats = NDArray[np.float64]

MOST_HOURS = 240
MOST_WEATHER_STEPS = 500_000  # about 2 GB; 300 weathers for ten days
MOST_TRACKS = 4  # times that track and schedule are made to agree
AGREE_NM = 3.0


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Everything a pass is made from. land: the mask of land round it, wanted with shelters or when sea room is asked for; None: not known,
    which is then said. observed: what her instruments showed, a snapshot that nothing is added to any more; None: no instruments."""

    boat: BoatFile
    route: Route
    forecasts: tuple[Forecast, ...]
    now: datetime
    state: RigState
    ship: ShipTime | None = None
    latitude: float | None = None
    longitude: float | None = None
    hours: float | None = None
    shelters: tuple[Shelter, ...] = ()
    land: Land | None = None
    sea_room: bool = False
    aims: Aims = field(default_factory=Aims)
    weights: Weights = field(default_factory=Weights)
    widening: Widening = field(default_factory=Widening)
    taught: tuple[str, ...] = ()  # sentences on what the widening rests on, where it is not the table's
    unforecast: Unforecast = COUNTED
    observed: Observed | None = None


@dataclass(frozen=True, kw_only=True)
class Pass:
    """What one pass gives: the orders, and the schedule, scenarios and track behind them; the instruments against the forecast."""

    orders: Orders
    schedule: Schedule
    scenarios: xr.Dataset
    track: Track
    faults: tuple[str, ...]
    against: Against | None = None


@dataclass(frozen=True, kw_only=True)
class Agreed:
    """Track and schedule that agree, or nearly. alone: the scenarios by the forecast alone; scenarios: with what the instruments say."""

    track: Track
    alone: xr.Dataset
    scenarios: xr.Dataset
    night: Night
    agreed: bool
    against: Against | None


def one_pass(asked: Asked) -> Pass:
    """Asked -> Pass. Raises BadInputError when the forecasts do not reach her at all."""
    start = ceil_step(asked.now)
    steps = _steps(asked, start)
    rig = rig_from(asked.boat, asked.state)
    going = Going(asked=asked, rig=rig, start=start, steps=steps)
    found = _agree(asked, rig, going)
    schedule = make_schedule(found.night)
    setting = _setting(asked, found.night, found.track, found.scenarios, found.agreed)
    if found.against is not None and found.against.squalls.count > 0 and (asked.shelters or asked.sea_room):
        setting = replace(setting, missing=(*setting.missing, SHELTERS_APART))
    setting = with_shelters(asked, setting, schedule, found.track, None if found.against is None else found.against.update)
    orders = compose(schedule, found.scenarios, margin_of(schedule), setting)
    if found.against is not None:
        orders = replace(orders, compared=compared(found.against, _alone(asked, rig, found, setting), orders))
    made = Pass(orders=orders, schedule=schedule, scenarios=found.scenarios, track=found.track, faults=tuple(broken(orders)))
    return replace(made, against=found.against)


def _alone(asked: Asked, rig: Rig, found: Agreed, setting: Setting) -> Orders | None:
    """The orders as they would be by the forecast alone, without their margin and shelters; None when that makes no difference to tell."""
    if found.scenarios is found.alone or not material(found.alone, found.scenarios, asked.aims.planning_share):
        return None
    where = where_of(found.track)
    coming = outlook(found.alone, where, setting.plain["pressure_hpa"], setting.ship, height_factor(asked.boat), fronts_on_maps(asked.forecasts, where))
    schedule = make_schedule(night_of(asked, rig, found.track, found.alone))
    return compose(schedule, found.alone, UNTRIED, replace(setting, outlook=coming))


def _steps(asked: Asked, start: datetime) -> int:
    used = usable(asked.forecasts)
    if not used:
        raise BadInputError("the forecast", ["no wind at 10 m in it; fetch one with 10 m wind"])
    ends = max(f.fields[Name.U10_MS]["time"].values[-1] for f in used)
    hours = asked.hours if asked.hours is not None else MOST_HOURS
    reach = int((ends - to_np(start)) / np.timedelta64(STEP_MINUTES * 60, "s"))
    if reach < 1:
        raise BadInputError(
            ", ".join(used[0].files) or "the forecast",
            [f"ends at {from_np(ends):%Y-%m-%d %H:%M} UTC, before {asked.now:%Y-%m-%d %H:%M}; fetch a newer one"],
        )
    return max(1, min(reach, int(hours * STEPS_PER_HOUR), MOST_HOURS * STEPS_PER_HOUR, _bearable(asked)))


def _bearable(asked: Asked) -> int:
    """Steps that so many weathers can be followed for in the memory of a small computer."""
    return MOST_WEATHER_STEPS // sum(one.count for one in draw(asked.forecasts))


def _agree(asked: Asked, rig: Rig, going: Going) -> Agreed:
    """Track and schedule made to agree: the sail plan sets her speed, her speed sets where the weather finds her."""
    carried = np.zeros(going.steps, dtype=np.int64)
    track = sail_along(going, carried)
    held = against(asked, track)
    agreed = False
    for turn in range(MOST_TRACKS):
        alone = make_scenarios(asked.forecasts, where_of(track), asked.widening)
        scenarios = alone if held is None else as_observed(held, alone, asked.aims)
        night = night_of(asked, rig, track, scenarios)
        if agreed or turn == MOST_TRACKS - 1:
            break
        known = quick_carried(night)
        carried = np.concatenate([known, np.full(going.steps - len(known), known[-1])])
        again = sail_along(going, carried)
        agreed = distance_apart_nm(track, again) <= AGREE_NM
        if agreed:
            break
        track = again
    return Agreed(track=track, alone=alone, scenarios=scenarios, night=night, agreed=agreed, against=held)


def going_of(track: Track) -> Steps:
    """The track as the boat goes along it, step by step."""
    return Steps(
        time=track.time,
        latitude=track.latitude,
        longitude=track.longitude,
        course_deg=np.asarray(track.course_deg, dtype=float)[:-1],
        boat_kn=np.asarray(track.speed_kn, dtype=float)[:-1],
    )


def where_of(track: Track) -> Where:
    """The track's steps (not its last mark), for the weather to be looked up along."""
    return Where(time=track.time[:-1], latitude=track.latitude[:-1], longitude=track.longitude[:-1])


def night_of(asked: Asked, rig: Rig, track: Track, scenarios: xr.Dataset) -> Night:
    """What the boat meets along a track, cut where the weather is no longer known at all."""
    met = met_of(asked.boat, going_of(track), scenarios)
    known_steps = met.known_steps()
    if known_steps == 0:
        lat, lon = float(track.latitude[0]), float(track.longitude[0])
        raise BadInputError(
            ", ".join(asked.forecasts[0].files) or "the forecast",
            [f"does not cover {lat:.2f}, {lon:.2f} at {from_np(track.time[0]):%Y-%m-%d %H:%M} UTC; fetch one that does"],
        )
    met = met.cut(known_steps)
    ship = ship_of(asked, track)
    table = speed_table(asked.boat.speed)
    return Night(rig=rig, met=met, table=table, asleep=asleep(met, asked.aims, ship), aims=asked.aims, weights=asked.weights,
                 unforecast=asked.unforecast)  # fmt: skip


def ship_of(asked: Asked, track: Track) -> ShipTime:
    return asked.ship or ShipTime.for_longitude(float(track.longitude[0]))


def _setting(asked: Asked, night: Night, track: Track, scenarios: xr.Dataset, agreed: bool) -> Setting:
    steps = night.met.steps
    light = light_along(track.time, track.latitude, track.longitude)
    missing = [*scenarios.attrs["notes"], *asked.taught]
    unknown = bool(np.asarray(track.unknown)[:steps].any())
    leaves = unknown or steps < len(track.time) - 1
    missing += [note for f in usable(asked.forecasts) for note in f.notes if leaves or not note.startswith(PARTLY)]
    if not agreed:
        missing.append("Track and sail plans did not fully agree: where she is when the weather comes may be some miles out.")
    if unknown:
        missing.append("For part of the track the wind is not known; she is taken to go on as before.")
    where = where_of(track)
    plain = plain_along(asked.forecasts, where)
    whole = steps == len(track.time) - 1
    arrival = None if np.isnat(track.arrival) else from_np(np.datetime64(str(track.arrival), "s"))
    return Setting(
        boat=asked.boat.boat.name,
        passage=_passage(asked.route),
        now=asked.now,
        ship=ship_of(asked, track),
        to_go_nm=float(track.distance_to_go_nm[0]),
        arrival=arrival,
        forecasts=_used(asked),
        track=_track_columns(track),
        plain=plain,
        light=tuple(Sky(int(s)).name.lower() for s in light.sky[:steps]),
        light_events=tuple((event.time, event.kind.value) for event in light.events),
        outlook=outlook(scenarios, where, plain["pressure_hpa"], ship_of(asked, track), height_factor(asked.boat),
                        fronts_on_maps(asked.forecasts, where)),
        shelters=(),
        ends_reason=_ends(asked, whole),
        missing=tuple(dict.fromkeys(missing)),
        cautions=following_caution(asked, track, where),
        height_words=_height(asked.boat),
    )


def following_caution(asked: Asked, track: Track, where: Where) -> tuple[str, ...]:
    """A caution when waves from astern may make her surf, or meet her in high groups (source following-1, made for ships)."""
    waves, length_m = waves_along(asked.forecasts, where), asked.boat.boat.waterline_m
    if waves is None or length_m is None:
        return ()
    height, period, from_deg = waves
    heading, speed = np.asarray(track.heading_deg, dtype=float)[:-1], np.asarray(track.speed_kn, dtype=float)[:-1]
    flags = following_sea(speed, heading, from_deg, period, height, length_m)
    words = []
    for flag, said in ((Caution.SURF_RIDING, "surf and broach"), (Caution.HIGH_WAVE_GROUPS, "be met by groups of high waves")):
        steps = np.flatnonzero(flags & int(flag))
        if len(steps):
            ship = ship_of(asked, track)
            first, last = (ship.day_clock(from_np(where.time[i])) for i in (steps[0], steps[-1]))
            words.append(f"With the waves astern she may {said} at times between {first} and {last} (guidance made for ships).")
    return tuple(words)


def _passage(route: Route) -> str:
    return f"bound for {route.waypoints[-1].name}" if route.waypoints[-1].name else route.name


def _ends(asked: Asked, whole: bool) -> str:
    if not whole:
        return "there the track leaves the forecast; beyond it nothing is known"
    if _steps(asked, ceil_step(asked.now)) == _bearable(asked):
        return "so many weathers at once are not followed further; leave out some ensembles to look further"
    return "as many hours as were asked for" if asked.hours is not None else "there the forecast ends; beyond it nothing is known"


def _height(boat: BoatFile) -> str:
    apparent = "; set against her limits they are apparent wind" if boat.boat.limits_are == "apparent wind" else ""
    if boat.boat.limits_at == "10 m":
        return f"at 10 m above the sea{apparent}"
    return f"as her anemometer reads at {boat.boat.anemometer_height_m:g} m{apparent}"


def _used(asked: Asked) -> tuple[ForecastUsed, ...]:
    return tuple(
        ForecastUsed(
            centre=f.centre if not f.centre.isdigit() else f"centre {f.centre}" if f.centre != "255" else "no centre named",
            run=f.run,
            kind="one run" if f.kind == "single" else f"{f.fields[Name.U10_MS].sizes['member']} members",
            age_hours=round((asked.now - f.run) / timedelta(hours=1), 2),
            files=f.files,
        )
        for f in usable(asked.forecasts)
    )


def _track_columns(track: Track) -> dict[str, Floats]:
    """The track's columns for the orders (T)."""
    course, twa, tws, speed = (np.asarray(x, dtype=float)[:-1] for x in (track.course_deg, track.twa_deg, track.tws_kn, track.speed_kn))
    felt_kn, felt_deg = apparent(tws, twa, speed)
    return {
        "latitude": track.latitude[:-1],
        "longitude": track.longitude[:-1],
        "course_deg": course,
        "boat_kn": speed,
        "true_angle_deg": twa,
        "apparent_kn": felt_kn,
        "apparent_angle_deg": felt_deg,
    }
