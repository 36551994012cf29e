"""What the watch understood of a boat, in words: sail plans, jobs, the graph of rig states, and the traps in it."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from watch.boat.model import BoatFile, Job, Limit, SailPlan
from watch.boat.rig import Rig, rig_from, state_of

WIDTH = 80


@dataclass(frozen=True, kw_only=True)
class Trap:
    """A sail plan that is stouter, and the job on the way to it that is shut before the wind for which it is meant."""

    stouter: str
    from_plan: str
    job: Job
    needed_from_kn: float

    def words(self) -> str:
        return (
            f"“{self.stouter}” is wanted when the mean wind passes {self.needed_from_kn:g} kn, the working limit of "
            f"“{self.from_plan}”; but “{self.job.name}” is done only up to {self.job.mean_kn:g} kn. It must be done hours before."
        )


def understood(boat: BoatFile) -> str:
    """A boat -> what the watch understood, as text of 80 columns."""
    rig = rig_from(boat, state_of(boat, {}))
    return "\n".join(_lines(boat, rig)) + "\n"


def _lines(boat: BoatFile, rig: Rig) -> Iterator[str]:
    about = f": {boat.boat.about}" if boat.boat.about else ""
    yield from _wrap(f"{boat.boat.name}{about}.", "")
    yield from _wrap(
        f"Limits are {boat.boat.limits_are}, as read at {_at(boat)}. She sails no closer than {boat.boat.closest_deg:g} degrees to the "
        f"true wind. Usually: {state_of(boat, {})}.",
        "",
    )
    yield ""
    yield "SAIL PLANS, from the least stout to the stoutest (mean she works in / gust never to meet)"
    for plan in sorted(boat.sail_plan, key=stoutness):
        yield from _plan(plan)
    yield ""
    yield "JOBS, one person each"
    for job in boat.job:
        yield from _job(job)
    if boat.mode:
        yield ""
        yield "MODES she has (nothing else is ever ordered)"
        for mode in boat.mode:
            yield from _wrap(f"- {mode.name}: entered up to mean {mode.mean_kn:g} kn, gusts {mode.gust_kn:g}; {mode.words()}", "  ")
    yield ""
    yield f"RIG STATES: {len(rig.states)}, joined by {len(rig.edges)} jobs"
    for i, state in enumerate(rig.states):
        yield from _state(rig, i, str(state))
    yield ""
    found = [*(trap.words() for trap in traps(boat, rig)), *narrows(rig), *cautions(boat)]
    yield "TRAPS" if found else "TRAPS: none found"
    for line in found:
        yield from _wrap(f"- {line}", "  ")


def _at(boat: BoatFile) -> str:
    if boat.boat.limits_at == "10 m":
        return "10 m above the water"
    return f"her anemometer, {boat.boat.anemometer_height_m:g} m above the water"


def stoutness(plan: SailPlan) -> tuple[float, float]:
    """The least hard limit of a sail plan, then its least working limit: what it can be trusted with at any angle."""
    lasting = [x for x in plan.limits if x.up_to_minutes is None]
    return min(x.hard_kn for x in lasting), min(x.working_kn for x in lasting)


def _plan(plan: SailPlan) -> Iterator[str]:
    limits = ", ".join(_limit(x) for x in plan.limits)
    under = f"; under-canvassed below {plan.under_kn:g}" if plan.under_kn else ""
    course = "" if plan.course == "holds" else f"; {plan.course}"
    yield from _wrap(f"- {plan.name}: {limits}{under}{course}; {plan.words()}", "  ")


def _limit(limit: Limit) -> str:
    low, high = limit.angle_deg
    sector = "" if (low, high) == (0, 180) else f" at {low:g} to {high:g} degrees"
    while_ = "" if limit.up_to_minutes is None else f" for up to {limit.up_to_minutes:g} min"
    return f"{limit.working_kn:g} / {limit.hard_kn:g} kn{sector}{while_}"


def _job(job: Job) -> Iterator[str]:
    sea = "no sea limit given" if job.sea_m is None else f"sea {job.sea_m:g} m"
    light = {"day": "by day", "moon": "by day or a bright moon", "none": "in any light"}[str(job.light)]
    heading = "" if job.heading == "any" else f", {job.heading}"
    yield from _wrap(
        f"- {job.name}: {job.place}, {job.minutes:g} min and {job.reserve_minutes:g} in reserve{heading}; up to mean {job.mean_kn:g} kn, "
        f"gusts {job.gust_kn:g}, {sea}, {light}; {job.words()}",
        "  ",
    )


def _state(rig: Rig, index: int, name: str) -> Iterator[str]:
    plan = rig.plans[index]
    yield from _wrap(f"{index + 1:>3}. {name} ({'not covered' if plan is None else plan.name})", "     ")
    ways = [f"{edge.job.name} → {edge.target + 1}" for edge in rig.edges if edge.origin == index]
    yield from _wrap("     " + ("; ".join(ways) if ways else "nothing leads on from here"), "     ")


def traps(boat: BoatFile, rig: Rig) -> list[Trap]:
    """Jobs that lead to a stouter sail plan but are shut before the mean wind at which the plan they lead from must be left;
    of each job the worst case."""
    found: dict[str, tuple[float, Trap]] = {}
    for edge in rig.edges:
        before, after = rig.plans[edge.origin], rig.plans[edge.target]
        if before is None or after is None or "anything else" in (before.carries, after.carries):
            continue
        needed = max(x.working_kn for x in before.limits if x.up_to_minutes is None)
        if stoutness(after)[0] > stoutness(before)[0] and edge.job.mean_kn < needed:
            gained = stoutness(after)[0] - stoutness(before)[0]
            trap = Trap(stouter=after.name, from_plan=before.name, job=edge.job, needed_from_kn=needed)
            if edge.job.name not in found or gained > found[edge.job.name][0]:
                found[edge.job.name] = (gained, trap)
    return [trap for _, trap in found.values()]


def cautions(boat: BoatFile) -> list[str]:
    """What a careful reader of the file would ask about."""
    lines = []
    for plan in boat.sail_plan:
        if plan.practised_to_kn is not None and plan.practised_to_kn < min(x.working_kn for x in plan.limits) * 0.75:
            lines.append(f"“{plan.name}” is practised only to {plan.practised_to_kn:g} kn, far below its working limit.")
    for job in boat.job:
        if job.place == "foredeck" and job.sea_m is None:
            lines.append(f"“{job.name}” is a foredeck job with no sea limit: is there no sea in which you would leave it?")
        if job.reserve_minutes == 0:
            lines.append(f"“{job.name}” has no reserve: what if a shackle jams?")
    return lines


def narrows(rig: Rig) -> list[str]:
    """The jobs that lead into a state which only the plan for anything else covers, and which is held to less than the one before: so the
    whole change is. At most one line."""
    found: dict[str, SailPlan] = {}
    for edge in rig.edges:
        before, after = rig.plans[edge.origin], rig.plans[edge.target]
        if before is None or after is None or after.carries != "anything else" or before.carries == "anything else":
            continue
        if stoutness(after)[0] < stoutness(before)[0]:
            found[edge.job.name] = after
    if not found:
        return []
    plan = next(iter(found.values()))
    return [f"The way through these jobs is held to gusts of {stoutness(plan)[0]:g} kn, since only “{plan.name}” covers a state that they can "
            f"lead to: {', '.join(f'“{name}”' for name in found)}. If she bears more like that, give that state a sail plan of its own."]  # fmt: skip


def _wrap(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
