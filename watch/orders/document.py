"""The orders: the whole document as plain values, in the units of people. Rendered as text, JSON, page, picture and calendar."""

from dataclasses import dataclass, field
from datetime import datetime

from watch.orders.document_choices import NoReturn as NoReturn
from watch.orders.document_choices import ShelterOrder as ShelterOrder
from watch.orders.document_choices import TurnWindow as TurnWindow
from watch.when import ShipTime


@dataclass(frozen=True, kw_only=True)
class ForecastUsed:
    """One run that the orders rest on."""

    centre: str
    run: datetime
    kind: str
    age_hours: float
    files: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class WindowOrder:
    """A deck window: the starts from first to last, the least chance in it, and what shuts it."""

    job: str
    first_start: datetime
    last_start: datetime
    chance: float
    reason: str
    words: str


@dataclass(frozen=True, kw_only=True)
class IfMissed:
    """What becomes of her without the job: the sail plan she is caught with, the chance of its hard limit (unforecast_chance: the part that
    only squalls bring which no forecast shows), and in words."""

    hard_chance: float
    sail_plan: str | None
    when: datetime | None
    gust_kn: int | None
    hard_kn: int | None
    instead: tuple[str, ...]
    words: str
    unforecast_chance: float = 0.0

    @property
    def forecast_chance(self) -> float:
        """The part of hard_chance that the forecast's own weathers have."""
        return round(self.hard_chance - self.unforecast_chance, 6)


@dataclass(frozen=True, kw_only=True)
class PlanShut:
    """A sail plan that a choice gives up: until when the jobs that lead to it could be begun in time without that choice, and when she can
    be in it again after it, None for never as far as the forecast reaches."""

    sail_plan: str
    last: datetime
    again: datetime | None


@dataclass(frozen=True, kw_only=True)
class JobOrder:
    """One job in its time: when called, begun and done, when it closes and why, the number that decided it.

    plans_shut: sail plans that doing it gives up; plans_shut_by_waiting: those given up by letting its closing time pass."""

    number: int
    job: str
    place: str
    minutes: float
    reserve_minutes: float
    heading: str
    from_state: str
    to_state: str
    plan_before: str
    plan_after: str
    call: datetime
    start: datetime
    end: datetime
    window: WindowOrder | None
    closes: datetime
    closes_reason: str
    closes_words: str
    chance: float
    in_dark: bool
    limits_words: str
    because: str
    if_missed: IfMissed
    shuts: tuple[str, ...]
    rests_on: str
    plans_shut: tuple[PlanShut, ...] = ()
    plans_shut_by_waiting: tuple[PlanShut, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PlanSpan:
    """A sail plan carried from one time to another, against what it meets: the planning gust and mean and the worst of all;
    hard_chance: of its hard limit, unforecast_chance: the part that only squalls bring which no forecast shows."""

    sail_plan: str
    rig_state: str
    start: datetime
    end: datetime
    working_kn: int
    hard_kn: int
    planning_mean_kn: int | None
    planning_gust_kn: int | None
    worst_gust_kn: int | None
    margin_kn: int | None
    hard_chance: float
    rests_on: str
    beyond_practice: str | None
    unforecast_chance: float = 0.0

    @property
    def forecast_chance(self) -> float:
        """The part of hard_chance that the forecast's own weathers have."""
        return round(self.hard_chance - self.unforecast_chance, 6)


@dataclass(frozen=True, kw_only=True)
class NightSummary:
    """The coming dark hours: what is carried, the smallest margin, how often she is called; the longest unbroken sleep of her next sleeping
    hours, None without any. hard_chance: of meeting a hard limit in the dark hours; unforecast_chance: the part that only squalls bring which no
    forecast shows."""

    dark_from: datetime
    dark_to: datetime
    plans: tuple[str, ...]
    least_margin_kn: int | None
    calls: int
    foredeck_calls: int
    sleep_from: datetime | None = None
    sleep_to: datetime | None = None
    hard_chance: float = 0.0
    unforecast_chance: float = 0.0


@dataclass(frozen=True, kw_only=True)
class WindBlock:
    """A few hours of wind: direction it comes from at its start and end, median and planning mean, planning and worst gust, sea."""

    start: datetime
    end: datetime
    from_deg: int | None
    from_deg_at_end: int | None
    median_mean_kn: int | None
    planning_mean_kn: int | None
    planning_gust_kn: int | None
    worst_gust_kn: int | None
    sea_m: float | None
    dark_share: float


@dataclass(frozen=True, kw_only=True)
class Feature:
    """A front, a trough or squalls: when (early, likely, late), how sure, what it brings, in words. A front that only a map tells of has
    chance 0.5, for nobody has counted it, and no gust."""

    kind: str
    early: datetime
    likely: datetime
    late: datetime
    chance: float
    gust_kn: int | None
    words: str


@dataclass(frozen=True, kw_only=True)
class Direction:
    """One direction of the margin, in words and numbers."""

    name: str
    holds: float
    turns: float | None
    words: str


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Her instruments held against the forecast, and what that did to these orders.

    trusted: whether anything was changed by it. hours_early (late: negative) and strength (observed mean wind over forecast), each with
    its standard deviation; None when not known. changed: what is different from orders by the forecast alone, the most important first.
    glass: her own glass in words. squalls: those met in the last hours and what the orders make of them; empty when none was. doubts:
    readings that are doubtful or were left out. glance: the words in short, "" when it goes as forecast or cannot be told.
    """

    as_of: datetime
    trusted: bool
    hours_early: float | None
    hours_early_sd: float | None
    strength: float | None
    strength_sd: float | None
    words: str
    changed: tuple[str, ...]
    glass: str
    doubts: tuple[str, ...]
    glance: str = ""
    squalls: str = ""


@dataclass(frozen=True, kw_only=True)
class StepRow:
    """One ten-minute step: the plain interpolated forecast at 10 m, and the planning values at the height of the limits. hard_chance: by
    the forecast's own weathers alone."""

    time: datetime
    latitude_deg: float
    longitude_deg: float
    course_deg: float | None
    boat_kn: float | None
    true_angle_deg: float | None
    apparent_kn: float | None
    apparent_angle_deg: float | None
    light: str
    forecast_mean_kn: float | None
    forecast_gust_kn: float | None
    forecast_from_deg: float | None
    forecast_pressure_hpa: float | None
    forecast_sea_m: float | None
    planning_mean_kn: float | None
    planning_gust_kn: float | None
    planning_sea_m: float | None
    median_mean_kn: float | None
    worst_gust_kn: float | None
    squall_chance: float | None
    hard_chance: float | None
    rig_state: str
    sail_plan: str


@dataclass(frozen=True, kw_only=True)
class Orders:
    """Night orders: everything the sailor is told, and what it rests on. hard_chance: of ever meeting a hard limit; unforecast_chance: the
    part of it that only squalls bring which no forecast shows. The ceiling is for the rest, and orders are compared by the rest."""

    boat: str
    passage: str
    made_at: datetime
    ship_time: ShipTime
    latitude_deg: float
    longitude_deg: float
    to_go_nm: float
    arrival: datetime | None
    forecasts: tuple[ForecastUsed, ...]
    weathers: int
    rig_state: str
    sail_plan: str
    jobs: tuple[JobOrder, ...]
    plans: tuple[PlanSpan, ...]
    windows: tuple[WindowOrder, ...]
    night: NightSummary | None
    wind: tuple[WindBlock, ...]
    outlook: tuple[Feature, ...]
    shelters: tuple[ShelterOrder, ...]
    margin: tuple[Direction, ...]
    hard_chance: float
    hard_ceiling: float
    least_hard_chance: float
    feasible: bool
    verdict: str
    verdict_more: tuple[str, ...]
    planning_share: float
    window_chance: float
    ends_at: datetime
    ends_reason: str
    missing: tuple[str, ...]
    cautions: tuple[str, ...]
    steps: tuple[StepRow, ...] = field(repr=False)
    light_events: tuple[tuple[datetime, str], ...] = ()
    height_words: str = ""
    no_return: NoReturn | None = None
    compared: Compared | None = None
    unforecast_chance: float = 0.0

    @property
    def forecast_chance(self) -> float:
        """The part of hard_chance that the forecast's own weathers have."""
        return round(self.hard_chance - self.unforecast_chance, 6)

    @property
    def next_job(self) -> JobOrder | None:
        """The job to be done next; None when there is nothing to do."""
        return self.jobs[0] if self.jobs else None


CAUTIONS = (
    "These orders are the forecast held against this boat's own limits. They are not a warning service and no substitute for "
    "official warnings, local rules, a lookout or your own judgement: where those say more, they count.",
    "A forecast can miss squalls altogether. If the sky says otherwise, act on the sky.",
)
