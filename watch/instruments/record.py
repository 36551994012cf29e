"""The passage record: what she carried in what wind for how long, jobs done and how long they took; from the log and the steps."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from watch.boat.model import BoatFile
from watch.boat.rig import RigState, UnknownStateError, jobs_of, matching_plans, parse_state
from watch.instruments.averages import STEP_S
from watch.instruments.log_line import Kind, LogEntry
from watch.instruments.steps import ObservedSteps, WindHeight
from watch.units import Floats, ms_to_kn, wrap_180
from watch.when import Times, from_np, runs, to_np


@dataclass(frozen=True, kw_only=True)
class Carried:
    """One rig state carried without a break, in n ten-minute steps. mean_kn, gust_kn, angle_deg (n): as observed, NaN where not known
    (angle: of the true wind from the bow, without its sign)."""

    sail_plan: str
    rig_state: str
    start: datetime
    end: datetime
    mean_kn: Floats
    gust_kn: Floats
    angle_deg: Floats


@dataclass(frozen=True, kw_only=True)
class Done:
    """One job done: begun and ended, and the most it was done in: as observed, or as logged where more; NaN when not known."""

    job: str
    start: datetime
    end: datetime
    minutes: float
    mean_kn: float
    gust_kn: float
    sea_m: float


@dataclass(frozen=True, kw_only=True)
class PassageRecord:
    """What was carried, what was done, and sentences on what could not be made out. unknown_h: hours with wind but no rig state
    known; without_wind_h: hours with a rig state but no wind known."""

    carried: tuple[Carried, ...]
    done: tuple[Done, ...]
    notes: tuple[str, ...]
    unknown_h: float
    without_wind_h: float


def make_record(boat: BoatFile, entries: Sequence[LogEntry], observed: ObservedSteps) -> PassageRecord:
    """Boat, log entries in any order, observed steps -> the record. Raises ValueError when the wind does not hold at the height that
    the boat's limits mean.

    The rig state is known from the first `rig` entry on; a job changes it when it is done. While a job is in hand what was up before
    it counts. Steps before the first `rig` entry are not guessed.
    """
    wanted = WindHeight.TEN_METRES if boat.boat.limits_at == "10 m" else WindHeight.ANEMOMETER
    if observed.height is not wanted:
        raise ValueError(f"this boat's limits are at {boat.boat.limits_at}, but the observed wind holds at {observed.height}")
    entries = sorted(entries, key=lambda e: e.end)
    states, notes = _states(boat, entries, observed.start)
    mean_kn, gust_kn = ms_to_kn(observed.mean_ms), ms_to_kn(np.fmax(observed.gust_ms, observed.largest_ms))
    angle = _angle(observed)
    names: list[RigState] = list(dict.fromkeys(s for s in states if s is not None))
    codes = np.array([-1 if s is None else names.index(s) for s in states], dtype=np.int64)
    carried = []
    for run in runs(codes):
        if int(run.value) < 0:
            continue
        on, state = slice(run.first, run.last), names[int(run.value)]
        plans = matching_plans(boat, state)
        carried.append(Carried(
            sail_plan=plans[0].name if plans else "no sail plan of the boat file", rig_state=str(state), mean_kn=mean_kn[on],
            start=from_np(observed.start[run.first]), end=from_np(observed.start[run.last - 1]) + timedelta(seconds=STEP_S),
            gust_kn=gust_kn[on], angle_deg=angle[on],
        ))  # fmt: skip
    done = tuple(_done(entry, observed.start, mean_kn, gust_kn) for entry in entries if entry.kind is Kind.JOB)
    hours = STEP_S / 3600.0
    return PassageRecord(
        carried=tuple(carried), done=done, notes=tuple(dict.fromkeys(notes)), unknown_h=float((codes < 0).sum()) * hours,
        without_wind_h=float(((codes >= 0) & ~np.isfinite(mean_kn)).sum()) * hours,
    )  # fmt: skip


def _states(boat: BoatFile, entries: Sequence[LogEntry], start: Times) -> tuple[list[RigState | None], list[str]]:
    """The rig state at the beginning of each step, None while not known; and what in the log does not fit."""
    jobs = {job.name: job for job in jobs_of(boat)}
    notes: list[str] = []
    changes: list[tuple[np.datetime64, RigState | None]] = []
    state: RigState | None = None
    for entry in entries:
        at = f"{entry.when:%Y-%m-%d %H:%M} UTC"
        if entry.kind is Kind.RIG:
            try:
                state = parse_state(boat, entry.what)
            except UnknownStateError as fault:
                notes.append(f"Log, {at}: {fault}")
                state = None
        elif entry.kind is Kind.JOB:
            job = jobs.get(entry.what)
            if job is None:
                notes.append(f"Log, {at}: the boat file has no job “{entry.what}”; what she carried after it is not known.")
                state = None
            elif state is not None:
                if state.by_element[job.element] not in job.from_positions:
                    notes.append(f"Log, {at}: “{job.name}”, but by the log the {job.element} was {state.by_element[job.element]}.")
                state = state.having(job.element, job.to)
        else:
            continue
        changes.append((to_np(entry.end), state))
    if not any(entry.kind is Kind.RIG for entry in entries):
        notes.append('What she carried is not known: the log has no rig entry, like "2026-05-16T12:00Z rig main: reef 1, genoa: half".')
    times = np.array([time for time, _ in changes], dtype="datetime64[s]")
    at_step = np.searchsorted(times, np.asarray(start, dtype="datetime64[s]"), side="right") - 1
    return [changes[i][1] if i >= 0 else None for i in at_step], notes


def _angle(observed: ObservedSteps) -> Floats:
    """|true wind angle| [deg] from the heading, or from the course over the ground where there is no heading."""
    bow = np.where(np.isfinite(observed.heading_deg), observed.heading_deg, observed.ground_course_deg)
    return np.abs(wrap_180(observed.from_deg - bow))


def _done(entry: LogEntry, start: Times, mean_kn: Floats, gust_kn: Floats) -> Done:
    begins, ends = to_np(entry.when), to_np(entry.end)
    step = np.timedelta64(int(STEP_S), "s")
    on = (start < ends) & (start + step > begins)
    return Done(job=entry.what, start=entry.when, end=entry.end, minutes=entry.minutes, sea_m=entry.sea_m,
                mean_kn=_most(np.append(mean_kn[on], entry.mean_kn)), gust_kn=_most(np.append(gust_kn[on], entry.gust_kn)))


def _most(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known.max()) if known.size else float("nan")
