"""From the boat file to how she goes: each rig state, and as much sail as her working limits allow."""

import numpy as np
from numpy.typing import NDArray

from watch.boat.limits import lasting
from watch.boat.rig import Rig
from watch.orders.carry import speed_table
from watch.passage.carriage import Carriage, Mode
from watch.passage.speed import SpeedTable

Floats = NDArray[np.float64]

MODES = {"run off": Mode.RUN_OFF, "heave to": Mode.HEAVE_TO, "lie to a drogue": Mode.DROGUE}
WINDS_KN = np.arange(2.0, 72.0, 2.0)
ANGLES_DEG = np.arange(30.0, 181.0, 10.0)


def carriage_of(rig: Rig, state: int) -> Carriage:
    """How she goes in a rig state: by her speed table and its sail plan's factor, or as a mode says."""
    plan, mode, boat = rig.plans[state], rig.mode_of(state), rig.boat
    assert plan is not None
    table = speed_table(plan.speed or boat.speed)
    factor = plan.speed_factor if plan.speed_factor is not None else 1.0
    if mode is None:
        return Carriage(table=table, factor=factor, closest_deg=plan.closest_deg or boat.boat.closest_deg)
    if mode.name == "motor":
        return Carriage(steady_kn=mode.drift_kn)
    return Carriage(
        mode=MODES[mode.name],
        steady_kn=mode.drift_kn,
        wind_angle_deg=mode.wind_angle_deg,
        drift_from_wind_deg=mode.drift_from_wind_deg,
    )


def as_limits_allow(rig: Rig, height_factor: float) -> Carriage:
    """As much sail as her working limits allow in each wind: for a first reckoning of a leg, before its sail plans are settled.

    height_factor: from the wind at 10 m, in which she is sailed, to the height that her limits mean. Where no sail plan's working limit
    allows the wind, the one with the highest. States that lie to the wind do not count.
    """
    boat = rig.boat.boat
    own = {id(p): p for i, p in enumerate(rig.plans) if p is not None and rig.mode_of(i) is None}
    angles = np.append(boat.closest_deg, ANGLES_DEG[boat.closest_deg < ANGLES_DEG])
    speeds, working = [], []
    for plan in own.values():
        table = speed_table(plan.speed or rig.boat.speed)
        factor = plan.speed_factor if plan.speed_factor is not None else 1.0
        lies = angles >= (plan.closest_deg or boat.closest_deg)
        speeds.append(np.where(lies, factor * table.at(WINDS_KN[:, None], angles[None, :]), 0.0))
        working.append(np.broadcast_to(lasting(plan, angles)[0], speeds[-1].shape))
    speed, limit = np.stack(speeds), np.stack(working)
    allowed = (WINDS_KN * height_factor)[:, None] <= limit
    stoutest = limit >= limit.max(axis=0)
    best = np.where(np.where(allowed.any(axis=0), allowed, stoutest), speed, 0.0).max(axis=0)
    return Carriage(table=SpeedTable(tws_kn=WINDS_KN, twa_deg=angles, speed_kn=best), closest_deg=boat.closest_deg)
