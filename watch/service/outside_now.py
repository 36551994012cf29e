"""What is outside now, for the alerts: the last ten minutes as her limits mean them, the glass, and which instruments are heard."""

from datetime import datetime

import numpy as np

from watch.alerts.known import Aboard
from watch.boat.limits import lasting
from watch.boat.model import COURSE, ON_COURSE, BoatFile
from watch.boat.rig import RigState, matching_plans
from watch.instruments.readings import Quantity
from watch.instruments.series import Observed
from watch.instruments.steps import ObservedSteps, Step
from watch.passage.speed import apparent
from watch.service.observing import GlassForecast, glass_of
from watch.units import Floats, ms_to_kn, wrap_180
from watch.weather.wind import to_10m
from watch.when import STEP, from_np

WINDS = (Quantity.TRUE_WIND_MS, Quantity.GROUND_WIND_MS, Quantity.APPARENT_WIND_MS)


def outside_now(
    observed: Observed | None, now: datetime, *, boat: BoatFile, state: RigState, glass_forecast: GlassForecast | None = None,
    expects_position: bool = False, expects_wind: bool = False, links_down: tuple[str, ...] = (),
) -> Aboard:  # fmt: skip
    """What the instruments showed up to now, what she carries -> what the alert rules look at; None where it is not known.

    observed: a snapshot. glass_forecast: of the last pass (Pass.against), for the fall beyond forecast. Mean and gust are at the height,
    and of the kind (true or apparent), that the boat's limits mean; where no three-second gust can be told, the largest reading stands for
    it. Limits: those that last, at the angle she sails at, the lowest of all where that is not known; a higher limit for a short while
    is not counted: a call too many is better than one too few.
    """
    common = {"expects_position": expects_position, "expects_wind": expects_wind, "links_down": links_down}
    if observed is None:
        return Aboard(**common)  # type: ignore[arg-type]
    seen, last = observed.steps(now), observed.step_now(now)
    mean_kn, gust_kn = felt_kn(last, boat)
    before_kn = felt_kn(observed.step_now(now - STEP), boat)[1]
    working_kn, hard_kn = limits_now_kn(last, boat, state)
    nothing = GlassForecast(time=np.empty(0, dtype="datetime64[s]"), hpa=np.empty(0))
    glass = glass_of(seen, glass_forecast or nothing, now, float("nan"))
    return Aboard(
        mean_kn=_known(mean_kn), gust_kn=_known(gust_kn), gust_before_kn=_known(before_kn), working_kn=working_kn, hard_kn=hard_kn,
        glass_3h_hpa=_known(glass.on_board_hpa),
        glass_beyond_hpa=_known(glass.beyond_hpa), position_at=_position_at(observed, seen), wind_at=_wind_at(observed, seen),
        **common,  # type: ignore[arg-type]
    )  # fmt: skip


def felt_kn(step: Step, boat: BoatFile) -> tuple[float, float]:
    """Mean and gust [kn] of a step as the boat's limits mean them: height, and true or apparent; NaN when not known."""
    height = float(to_10m(1.0, boat.boat.anemometer_height_m)) if boat.boat.limits_at == "10 m" else 1.0
    gust_ms = step.gust_ms if np.isfinite(step.gust_ms) else step.largest_ms
    mean_kn, gust_kn = ms_to_kn(step.mean_ms) * height, ms_to_kn(gust_ms) * height
    if boat.boat.limits_are == "true wind":
        return mean_kn, gust_kn
    boat_kn = ms_to_kn(step.water_speed_ms if np.isfinite(step.water_speed_ms) else step.ground_speed_ms)
    if boat.boat.limits_at == "anemometer" or not np.isfinite(boat_kn):  # as measured; at 10 m it is a little less: the safe side
        return ms_to_kn(step.apparent_mean_ms), ms_to_kn(step.apparent_gust_ms)
    felt = apparent(np.array([mean_kn, gust_kn]), np.full(2, angle_deg(step)), np.full(2, boat_kn))[0]
    return float(felt[0]), float(felt[1])


def angle_deg(step: Step) -> float:
    """|true wind angle| [deg] from the heading, or from the course over the ground without one; NaN when not known."""
    bow = step.heading_deg if np.isfinite(step.heading_deg) else step.ground_course_deg
    return float(np.abs(wrap_180(step.from_deg - bow)))


def limits_now_kn(step: Step, boat: BoatFile, state: RigState) -> tuple[float | None, float | None]:
    """Working and hard limit [kn] of what she carries at the angle she has; None when no sail plan of the boat file is that."""
    plans = matching_plans(boat, state)
    if not plans:
        return None, None
    course = state.by_element.get(COURSE, ON_COURSE)
    mode = next((m for m in boat.mode if m.name == course), None)
    at: Floats = np.array([angle_deg(step) if mode is None else mode.wind_angle_deg])
    working, hard = lasting(plans[0], at)
    return float(working[0]), float(hard[0])


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _position_at(observed: Observed, seen: ObservedSteps) -> datetime | None:
    """The last fix; from before a restart only its step is known: the beginning of that, so that a call comes rather too soon."""
    fix = observed.heard_at(Quantity.LATITUDE_DEG)
    return fix or _last(seen, seen.latitude_deg)


def _wind_at(observed: Observed, seen: ObservedSteps) -> datetime | None:
    found = [at for at in map(observed.heard_at, WINDS) if at is not None]
    return max(found) if found else _last(seen, seen.mean_ms)


def _last(seen: ObservedSteps, values: Floats) -> datetime | None:
    """The beginning of the last step in which it was known."""
    known = np.flatnonzero(np.isfinite(values))
    return from_np(seen.start[known[-1]]) if known.size else None
