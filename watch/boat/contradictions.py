"""Looks at the parts of a boat file together: names that do not exist, limits that gainsay each other, states nobody covers."""

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise

from watch.boat.model import COURSE, ON_COURSE, BoatFile, Job, Limit, RestsOn, SailPlan, as_names
from watch.boat.rig import (
    UnknownStateError,
    elements_of,
    jobs_of,
    matching_plans,
    rig_from,
    state_of,
)
from watch.faults import Fault

ANGLE_STEP_DEG = 1
MOST_STATES_TOLD = 4


def contradictions(boat: BoatFile) -> list[Fault]:
    """boat -> every fault found; the graph is looked at only when all names in the file make sense."""
    found = [*_names(boat), *_limits(boat), *_speeds(boat)]
    return found or list(_graph(boat))


def _names(boat: BoatFile) -> Iterator[Fault]:
    for kind, names in (("element", [e.name for e in boat.element]), ("sail_plan", [p.name for p in boat.sail_plan])):
        for name, count in Counter(names).items():
            if count > 1:
                yield Fault(kind, f'"{name}"', "two with one name; give each its own")
    yield from _element_names(boat)
    usual = {COURSE: ON_COURSE, **boat.boat.usual_state} if boat.mode else dict(boat.boat.usual_state)
    yield from _positions(boat, usual, "boat.usual_state")
    for element in boat.element:
        if element.name not in usual:
            yield Fault("boat.usual_state", None, f'"{element.name}" is missing; give its usual position')
    for i, job in enumerate(boat.job):
        place = f"job[{i}]"
        yield from _positions(boat, {job.element: job.from_}, f"{place}.from")
        yield from _positions(boat, {job.element: job.to}, f"{place}.to", unknown_element=False)
        yield from _positions(boat, job.having, f"{place}.having")
        if job.to in job.from_positions:
            yield Fault(f"{place}.to", f'"{job.to}"', "a job must change something; `to` is among `from`")
        yield from _job_limits(job, place)
    for i, plan in enumerate(boat.sail_plan):
        if not isinstance(plan.carries, str):
            yield from _positions(boat, plan.carries, f"sail_plan[{i}].carries")
    for i, mode in enumerate(boat.mode):
        yield from _positions(boat, mode.having, f"mode[{i}].having")


def _element_names(boat: BoatFile) -> Iterator[Fault]:
    for i, element in enumerate(boat.element):
        if element.name == COURSE:
            yield Fault(f"element[{i}].name", f'"{COURSE}"', "kept for the modes; use another name")
        if len(set(element.positions)) != len(element.positions) or len(element.positions) < 2:
            yield Fault(f"element[{i}].positions", None, "two or more positions, each once")
        for position in element.off_stay:
            if position not in element.positions:
                yield Fault(f"element[{i}].off_stay", f'"{position}"', f"one of its positions: {_choice(element.positions)}")
        if (element.off_stay or element.needs) and element.stay is None:
            yield Fault(f"element[{i}].stay", None, "missing; name the stay, or take out `off_stay` and `needs`")
        yield from _positions(boat, element.needs, f"element[{i}].needs")


def _positions(
    boat: BoatFile, wanted: Mapping[str, str | tuple[str, ...]], place: str, *, unknown_element: bool = True
) -> Iterator[Fault]:
    elements = {e.name: e for e in elements_of(boat)}
    for name, positions in wanted.items():
        if name not in elements:
            if unknown_element:
                yield Fault(place, f'"{name}"', f"an element of this boat: {_choice(elements)}")
            continue
        for position in as_names(positions):
            if position not in elements[name].positions:
                yield Fault(f"{place}.{name}", f'"{position}"', f"one of {_choice(elements[name].positions)}")


def _choice(names: object) -> str:
    return ", ".join(f'"{n}"' for n in names)  # type: ignore[attr-defined]


def _job_limits(job: Job, place: str) -> Iterator[Fault]:
    if job.gust_kn < job.mean_kn:
        expected = f"not below mean_kn = {job.mean_kn:g}: a gust is never less than the mean"
        yield Fault(f"{place}.gust_kn", f"{job.gust_kn:g}", expected)
    yield from _grounds(job.rests_on, job.practised_to_kn, place)
    if job.minutes + job.reserve_minutes <= 0:
        yield Fault(f"{place}.minutes", f"{job.minutes:g}", "no job takes no time; give the minutes it really took")


def _grounds(rests_on: RestsOn, practised_to_kn: float | None, place: str) -> Iterator[Fault]:
    if rests_on is RestsOn.PRACTISED and practised_to_kn is None:
        yield Fault(f"{place}.practised_to_kn", None, "missing; up to which mean wind was it practised, like 24")
    if rests_on is not RestsOn.PRACTISED and practised_to_kn is not None:
        yield Fault(f"{place}.practised_to_kn", f"{practised_to_kn:g}", 'goes only with rests_on = "practised"')


def _limits(boat: BoatFile) -> Iterator[Fault]:
    for i, plan in enumerate(boat.sail_plan):
        place = f"sail_plan[{i}]"
        yield from _grounds(plan.rests_on, plan.practised_to_kn, place)
        if (plan.speed is None) == (plan.speed_factor is None):
            yield Fault(f"{place}.speed_factor", None, "give a speed_factor or a speed table of its own, one of the two")
        for k, limit in enumerate(plan.limits):
            yield from _one_limit(limit, f"{place}.limits[{k}]")
            if plan.under_kn >= limit.working_kn:
                yield Fault(f"{place}.under_kn", f"{plan.under_kn:g}", f"below the working limit {limit.working_kn:g}")
        always = [limit for limit in plan.limits if limit.up_to_minutes is None]
        bare = [a for a in range(0, 181, ANGLE_STEP_DEG) if not any(x.angle_deg[0] <= a <= x.angle_deg[1] for x in always)]
        if bare:
            yield Fault(
                f"{place}.limits", None,
                f"no limit without up_to_minutes at {bare[0]} degrees; cover every true wind angle from 0 to 180",
            )  # fmt: skip
        yield from _short_limits(plan, always, place)


def _one_limit(limit: Limit, place: str) -> Iterator[Fault]:
    if limit.hard_kn < limit.working_kn:
        yield Fault(
            f"{place}.hard_kn", f"{limit.hard_kn:g}",
            f"not below working_kn = {limit.working_kn:g}: the hard limit is the gust that must not be met",
        )  # fmt: skip
    low, high = limit.angle_deg
    if not 0 <= low < high <= 180:
        yield Fault(f"{place}.angle_deg", f"[{low:g}, {high:g}]", "rising angles from 0 to 180, like [0, 75]")


def _short_limits(plan: SailPlan, always: list[Limit], place: str) -> Iterator[Fault]:
    for k, limit in enumerate(plan.limits):
        if limit.up_to_minutes is None:
            continue
        low, high = limit.angle_deg
        rivals = [x for x in always if x.angle_deg[0] < high and low < x.angle_deg[1]]
        if any(limit.working_kn < x.working_kn or limit.hard_kn < x.hard_kn for x in rivals):
            yield Fault(f"{place}.limits[{k}]", None, "a limit for a short while must not be lower than the lasting one")


def _speeds(boat: BoatFile) -> Iterator[Fault]:
    tables = [("speed", boat.speed), *((f"sail_plan[{i}].speed", p.speed) for i, p in enumerate(boat.sail_plan) if p.speed)]
    for place, table in tables:
        for name, axis in (("wind_kn", table.wind_kn), ("angle_deg", table.angle_deg)):
            if any(b <= a for a, b in pairwise(axis)) or axis[0] < 0:
                yield Fault(f"{place}.{name}", None, "numbers that rise, none below zero")
        if table.angle_deg[-1] > 180:
            yield Fault(f"{place}.angle_deg", f"{table.angle_deg[-1]:g}", "angles up to 180")
        if len(table.boat_kn) != len(table.wind_kn):
            yield Fault(f"{place}.boat_kn", f"{len(table.boat_kn)} rows", f"one row a wind speed: {len(table.wind_kn)}")
        for k, row in enumerate(table.boat_kn):
            if len(row) != len(table.angle_deg) or any(not 0 <= v <= 40 for v in row):
                yield Fault(f"{place}.boat_kn[{k}]", None, f"{len(table.angle_deg)} speeds from 0 to 40 knots, one an angle")


def _uncovered(states: list[str]) -> str:
    """What to do about states that the jobs lead to and no sail plan covers."""
    if len(states) == 1:
        return f'no sail plan covers {states[0]}; add one, or one that says carries = "anything else", with limits low enough for all it may be'
    told = "; ".join(states[:MOST_STATES_TOLD])
    more = f"; and {len(states) - MOST_STATES_TOLD} more" if len(states) > MOST_STATES_TOLD else ""
    return (f"no sail plan covers {len(states)} of the states that the jobs lead to: {told}{more}. Add a plan for each, a plan that lists several "
            'positions, like main = ["reef 1", "reef 2"], or one that says carries = "anything else", with limits low enough for all it may be')  # fmt: skip


def _graph(boat: BoatFile) -> Iterator[Fault]:
    try:
        rig = rig_from(boat, state_of(boat, {}))
    except UnknownStateError as error:
        yield Fault("boat.usual_state", None, str(error))
        return
    bare = []
    for state, plan in zip(rig.states, rig.plans, strict=True):
        matches = matching_plans(boat, state)
        if len(matches) > 1:
            yield Fault("sail_plan", None, f"{state} is named by {_choice(p.name for p in matches)}; let one name it")
        elif plan is None:
            bare.append(str(state))
    if bare:
        yield Fault("sail_plan", None, _uncovered(bare))
    used = {plan.name for plan in rig.plans if plan is not None}
    for i, plan in enumerate(boat.sail_plan):
        if plan.name not in used and plan.carries != "anything else":
            yield Fault(
                f"sail_plan[{i}].carries",
                f'"{plan.name}"',
                "no chain of jobs reaches it from the usual state; add the missing job, or do two headsails share a stay?",
            )
    done = {edge.job.name for edge in rig.edges}
    for i, job in enumerate(jobs_of(boat)):
        if job.name not in done and i < len(boat.job):
            yield Fault(f"job[{i}]", f'"{job.name}"', "no reachable rig state allows it; look at `from` and `having`")
