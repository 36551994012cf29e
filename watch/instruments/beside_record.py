"""What the boat file claims beside what was experienced and practised: rows and suggestions; it changes nothing."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from watch.boat.model import BoatFile, Job, Limit, RestsOn, SailPlan
from watch.boat.rig import jobs_of
from watch.instruments.record import Carried, Done, PassageRecord
from watch.units import limit_down_kn
from watch.when import STEPS_PER_HOUR

LASTING_STEPS = STEPS_PER_HOUR  # carried in a wind for an hour in all: then it counts as practised (judgement)


@dataclass(frozen=True, kw_only=True)
class LimitRow:
    """One sail plan in one sector, or one job. kind: "sail plan" or "job". sector: in words, "" when all round.

    claimed_mean_kn: working limit, or the job's mean wind; claimed_gust_kn: hard limit, or the job's gust; practised_to_kn and rests_on
    as the file says. hours: carried with the wind known; times: carried or done so often. sustained_kn: mean wind reached for an hour
    in all (jobs: in the strongest it was done); gust_kn: strongest gust. minutes: the longest, reserve included in claimed_minutes.
    NaN: not known. suggestion: in words, "" when there is nothing to suggest.
    """

    kind: str
    name: str
    sector: str
    claimed_mean_kn: float
    claimed_gust_kn: float
    practised_to_kn: float | None
    rests_on: str
    times: int
    hours: float
    sustained_kn: float
    gust_kn: float
    claimed_minutes: float
    typical_minutes: float
    longest_minutes: float
    suggestion: str


def limits_beside_record(boat: BoatFile, record: PassageRecord) -> tuple[LimitRow, ...]:
    """Boat file and passage record -> rows, sail plans first, in the order of the file. Suggestions are words; nothing is changed.

    says: which limits have been sailed up to, and how long jobs really take.
    why: an estimate that has never been tried is the weakest number in the orders.
    example: "carried for an hour in 31 kn: practised_to_kn could be 31, is 28".
    source: an hour in all counts as practised: judgement (source practised-1).
    """
    plans = [row for plan in boat.sail_plan for row in _plan_rows(plan, [c for c in record.carried if c.sail_plan == plan.name])]
    jobs = [_job_row(job, [d for d in record.done if d.job == job.name]) for job in jobs_of(boat)]
    return (*plans, *jobs)


def _plan_rows(plan: SailPlan, carried: list[Carried]) -> Iterator[LimitRow]:
    lasting = [limit for limit in plan.limits if limit.up_to_minutes is None]
    for limit in lasting:
        yield _plan_row(plan, limit, carried, "" if len(lasting) == 1 else f"{limit.angle_deg[0]:g} to {limit.angle_deg[1]:g} degrees")


def _plan_row(plan: SailPlan, limit: Limit, carried: list[Carried], sector: str) -> LimitRow:
    """An unknown angle counts in no sector of several: what is not known was not practised there."""
    means, gusts, times = [np.empty(0)], [np.empty(0)], 0
    for stretch in carried:
        low, high = limit.angle_deg
        inside = (stretch.angle_deg >= low) & (stretch.angle_deg <= high) if sector else np.ones(len(stretch.mean_kn), dtype=bool)
        times += bool((inside & np.isfinite(stretch.mean_kn)).any())
        means.append(stretch.mean_kn[inside])
        gusts.append(stretch.gust_kn[inside])
    mean, gust = np.concatenate(means), np.concatenate(gusts)
    mean, gust = np.sort(mean[np.isfinite(mean)])[::-1], gust[np.isfinite(gust)]
    sustained = float(mean[LASTING_STEPS - 1]) if mean.size >= LASTING_STEPS else float("nan")
    strongest = float(gust.max()) if gust.size else float("nan")
    return LimitRow(
        kind="sail plan", name=plan.name, sector=sector, claimed_mean_kn=limit.working_kn, claimed_gust_kn=limit.hard_kn,
        practised_to_kn=plan.practised_to_kn, rests_on=str(plan.rests_on), times=times, hours=mean.size / STEPS_PER_HOUR,
        sustained_kn=sustained, gust_kn=strongest, claimed_minutes=float("nan"), typical_minutes=float("nan"),
        longest_minutes=float("nan"), suggestion=" ".join(_plan_advice(plan, limit, sustained, strongest)),
    )  # fmt: skip


def _plan_advice(plan: SailPlan, limit: Limit, sustained: float, strongest: float) -> Iterator[str]:
    if strongest > limit.hard_kn:
        yield (f"A gust of {limit_down_kn(strongest)} kn was met with it up, over its hard limit of {limit.hard_kn:g}: "
               "look over sails and rig, and ask whether it came on too late.")
    practised = _practised(plan.practised_to_kn, plan.rests_on, sustained, limit.working_kn, "carried for an hour in all")
    if practised:
        yield practised
    if sustained > limit.working_kn + 1e-9:
        yield (f"It was carried above its working limit of {limit.working_kn:g} kn for an hour in all: did she complain? "
               "Then the limit is right; if not, it may be low.")


def _job_row(job: Job, done: list[Done]) -> LimitRow:
    minutes = np.array([d.minutes for d in done])
    mean = [d.mean_kn for d in done if np.isfinite(d.mean_kn)]
    gust = [d.gust_kn for d in done if np.isfinite(d.gust_kn)]
    strongest, gusts = max(mean, default=float("nan")), max(gust, default=float("nan"))
    return LimitRow(
        kind="job", name=job.name, sector="", claimed_mean_kn=job.mean_kn, claimed_gust_kn=job.gust_kn,
        practised_to_kn=job.practised_to_kn, rests_on=str(job.rests_on), times=len(done), hours=float(minutes.sum()) / 60.0,
        sustained_kn=strongest, gust_kn=gusts, claimed_minutes=job.minutes + job.reserve_minutes,
        typical_minutes=float(np.median(minutes)) if done else float("nan"),
        longest_minutes=float(minutes.max()) if done else float("nan"), suggestion=" ".join(_job_advice(job, done, strongest, gusts)),
    )  # fmt: skip


def _job_advice(job: Job, done: list[Done], strongest: float, gusts: float) -> Iterator[str]:
    if not done:
        return
    took = sorted(d.minutes for d in done)
    over = sum(m > job.minutes + job.reserve_minutes for m in took)
    if over:
        yield (f"It took {took[-1]:g} min, longer than its {job.minutes:g} and {job.reserve_minutes:g} in reserve "
               f"({over} of {len(took)} times): minutes or reserve_minutes are too short.")
    elif float(np.median(took)) > job.minutes:
        yield f"It usually takes {float(np.median(took)):g} min: minutes could be that, is {job.minutes:g}."
    practised = _practised(job.practised_to_kn, job.rests_on, strongest, job.mean_kn, "done")
    if practised:
        yield practised
    if strongest > job.mean_kn or gusts > job.gust_kn:
        yield f"It was done above its limits (mean {job.mean_kn:g}, gusts {job.gust_kn:g} kn): one time that went well is no new limit."


def _practised(to_kn: float | None, rests_on: RestsOn, wind_kn: float, most_kn: float, how: str) -> str:
    """What practised_to_kn could be: never above the limit itself, always rounded down."""
    reached = limit_down_kn(min(wind_kn, most_kn)) if np.isfinite(wind_kn) else 0
    if rests_on is RestsOn.PRACTISED and (to_kn is None or reached <= to_kn):
        return ""
    if rests_on is not RestsOn.PRACTISED and reached < 1:
        return ""
    what = "" if rests_on is RestsOn.PRACTISED else f'rests_on could be "practised" (is "{rests_on}"), and '
    has = f", is {to_kn:g}" if to_kn is not None else ""
    return f"It was {how} in {reached} kn: {what}practised_to_kn could be {reached}{has}."
