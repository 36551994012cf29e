"""The rig-state graph: which states she can be in, and which jobs lead from one to another."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from watch.boat.model import (
    COURSE,
    ON_COURSE,
    BoatFile,
    Course,
    Element,
    Heading,
    Job,
    Mode,
    SailPlan,
    as_names,
    meets,
)

RUN_OFF = "run off"
SAILING = (ON_COURSE, RUN_OFF)  # in these a sail plan that does not name a course still counts
MOST_STATES = 2000


class UnknownStateError(ValueError):
    """A rig state that this boat does not have; the message says which word is not known and which are."""


@dataclass(frozen=True)
class RigState:
    """Everything about the sails at one moment: one position for each element, in the boat's order."""

    positions: tuple[tuple[str, str], ...]

    @cached_property
    def by_element(self) -> dict[str, str]:
        return dict(self.positions)

    def __str__(self) -> str:
        shown = [(e, p) for e, p in self.positions if e != COURSE or p != ON_COURSE]
        return " · ".join(f"{element}: {position}" for element, position in shown)

    def having(self, element: str, position: str) -> "RigState":
        return RigState(tuple((e, position if e == element else p) for e, p in self.positions))


@dataclass(frozen=True, kw_only=True)
class Edge:
    """A job that leads from one rig state to another; indexes into Rig.states, and the job."""

    origin: int
    target: int
    job: Job


@dataclass(frozen=True, kw_only=True)
class Rig:
    """The graph from a starting state: every state that jobs reach, the sail plan of each (None: not covered), the edges."""

    boat: BoatFile
    states: tuple[RigState, ...]
    plans: tuple[SailPlan | None, ...]
    edges: tuple[Edge, ...]

    def index(self, state: RigState) -> int:
        return self.states.index(state)

    def plan_name(self, index: int) -> str:
        plan = self.plans[index]
        return str(self.states[index]) if plan is None or plan.carries == "anything else" else plan.name

    def course_of(self, index: int) -> str:
        return self.states[index].by_element.get(COURSE, ON_COURSE)

    def mode_of(self, index: int) -> Mode | None:
        name = self.course_of(index)
        return next((mode for mode in self.boat.mode if mode.name == name), None)


def elements_of(boat: BoatFile) -> tuple[Element, ...]:
    """The boat's elements and, when she has modes, the element `course`."""
    if not boat.mode:
        return boat.element
    return (*boat.element, Element(name=COURSE, positions=(ON_COURSE, *(mode.name for mode in boat.mode))))


def jobs_of(boat: BoatFile) -> tuple[Job, ...]:
    """The boat's jobs and, for each mode, the jobs into it and back on to her course."""
    return (*boat.job, *(job for mode in boat.mode for job in _mode_jobs(boat, mode)))


def _mode_jobs(boat: BoatFile, mode: Mode) -> tuple[Job, Job]:
    others = tuple(p for p in (ON_COURSE, *(m.name for m in boat.mode)) if p != mode.name)
    common = {
        "element": COURSE, "place": mode.place, "minutes": mode.minutes, "reserve_minutes": mode.reserve_minutes,
        "heading": Heading.ANY, "mean_kn": mode.mean_kn, "gust_kn": mode.gust_kn, "sea_m": mode.sea_m, "light": mode.light,
        "rests_on": mode.rests_on, "practised_to_kn": mode.practised_to_kn,
    }  # fmt: skip
    into = Job.model_validate({"name": mode.name, "from": others, "to": mode.name, "having": mode.having, **common})
    back = Job.model_validate({"name": "take up her course again", "from": mode.name, "to": ON_COURSE, **common})
    return into, back


def allowed(boat: BoatFile, state: RigState) -> bool:
    """Whether a state can exist: one headsail to a stay, everything on its stay has what it needs, and a mode its conditions."""
    positions = state.by_element
    stays: set[str] = set()
    for element in boat.element:
        if not element.on_stay(positions[element.name]):
            continue
        assert element.stay is not None
        if element.stay in stays or not meets(positions, element.needs):
            return False
        stays.add(element.stay)
    return all(meets(positions, mode.having) for mode in boat.mode if positions.get(COURSE) == mode.name)


def can_turn(boat: BoatFile, state: RigState, plan: SailPlan | None, heading: Heading) -> bool:
    """Whether she can lie as a job needs from this state. Running off or under a plan that only runs she cannot come head to
    wind; hove to or to a drogue she cannot bear away."""
    course = state.by_element.get(COURSE, ON_COURSE)
    if heading is Heading.HEAD_TO_WIND:
        return course not in (RUN_OFF, "lie to a drogue") and not (plan is not None and plan.course is Course.ONLY_RUNS)
    if heading is Heading.OFF_THE_WIND:
        return course in (*SAILING, "motor")
    return True


def matching_plans(boat: BoatFile, state: RigState) -> list[SailPlan]:
    """The sail plans that name this state; `anything else` only when no other does. One is right; none or several are faults."""
    named = [plan for plan in boat.sail_plan if plan.carries != "anything else" and _names(plan.carries, state)]
    return named or [plan for plan in boat.sail_plan if plan.carries == "anything else"]


def _names(carries: Mapping[str, str | tuple[str, ...]], state: RigState) -> bool:
    course = state.by_element.get(COURSE, ON_COURSE)
    if COURSE not in carries and course not in SAILING:
        return False
    return meets(state.by_element, carries)


def state_of(boat: BoatFile, positions: Mapping[str, str]) -> RigState:
    """Named positions, the rest from the usual state -> RigState. Raises UnknownStateError.

    `course` may be given for a boat with modes; it is `on course` otherwise.
    """
    elements = {element.name: element for element in elements_of(boat)}
    for name, position in positions.items():
        if name not in elements:
            raise UnknownStateError(f'no element "{name}": {boat.boat.name} has {_listed(elements)}')
        if position not in elements[name].positions:
            raise UnknownStateError(f'{name} has no position "{position}": it has {_listed(elements[name].positions)}')
    usual = {COURSE: ON_COURSE, **boat.boat.usual_state}
    state = RigState(tuple((name, positions.get(name, usual[name])) for name in elements))
    if not allowed(boat, state):
        raise UnknownStateError(f"{state} cannot be: two headsails on one stay, or something it needs is missing")
    return state


def _listed(names: object) -> str:
    return ", ".join(f'"{n}"' for n in names)  # type: ignore[attr-defined]


def parse_state(boat: BoatFile, text: str) -> RigState:
    """'main: reef 2, genoa: rolled' -> RigState; elements not named are as usual. Raises UnknownStateError."""
    positions = {}
    for part in text.replace("·", ",").replace(";", ",").split(","):
        if not part.strip():
            continue
        name, colon, position = part.partition(":")
        if not colon:
            raise UnknownStateError(f'"{part.strip()}" is no element and position: write it like "main: reef 2, genoa: rolled"')
        positions[name.strip()] = position.strip()
    return state_of(boat, positions)


def rig_from(boat: BoatFile, start: RigState) -> Rig:
    """The graph of all rig states that jobs reach from `start` (state 0), breadth first."""
    jobs = jobs_of(boat)
    states, seen = [start], {start: 0}
    plans = [_plan_of(boat, start)]
    edges = []
    queue = deque([0])
    while queue:
        origin = queue.popleft()
        for job in jobs:
            target_state = _after(boat, states[origin], plans[origin], job)
            if target_state is None:
                continue
            if target_state not in seen:
                seen[target_state] = len(states)
                states.append(target_state)
                plans.append(_plan_of(boat, target_state))
                queue.append(seen[target_state])
                if len(states) > MOST_STATES:
                    raise UnknownStateError(f"more than {MOST_STATES} rig states: describe fewer elements or positions")
            edges.append(Edge(origin=origin, target=seen[target_state], job=job))
    return Rig(boat=boat, states=tuple(states), plans=tuple(plans), edges=tuple(edges))


def _plan_of(boat: BoatFile, state: RigState) -> SailPlan | None:
    matches = matching_plans(boat, state)
    return matches[0] if matches else None


def _after(boat: BoatFile, state: RigState, plan: SailPlan | None, job: Job) -> RigState | None:
    """The state after the job, or None when it does not apply here."""
    positions = state.by_element
    if positions.get(job.element) not in as_names(job.from_) or not meets(positions, job.having):
        return None
    if not can_turn(boat, state, plan, job.heading):
        return None
    target = state.having(job.element, job.to)
    if not allowed(boat, target):
        return None
    return target
