"""The demo's orders, made once for all tests of what is rendered from them, and variants of them told as small changes."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

from watch.commands.orders import demo_given, passed_with
from watch.orders.document import Compared, Orders, PlanShut, ShelterOrder
from watch.render.page_parts import HealthPart, PageAlert, PageHealth
from watch.service.web import Latest


@cache
def demo_orders() -> Orders:
    made: Orders = passed_with(**{**demo_given(), "hours": 44.0}).orders
    return made


def nothing_due() -> Orders:
    orders = demo_orders()
    return replace(orders, jobs=(), verdict="Nothing has to be done: what is up now stays inside its limits.")


def not_good_enough() -> Orders:
    verdict = "NOT GOOD ENOUGH: no schedule keeps the chance of a hard limit under 5 in 100."
    return replace(demo_orders(), feasible=False, hard_chance=0.4, verdict=verdict, verdict_more=("Look to shelter.",))


def blind_for_hours(first: int = 60, last: int = 90) -> Orders:
    """The same night with the wind unknown for some hours of it."""
    orders = demo_orders()
    gone = {"planning_mean_kn": None, "planning_gust_kn": None, "median_mean_kn": None, "worst_gust_kn": None, "forecast_mean_kn": None}
    steps = tuple(replace(s, **gone) if first <= k < last else s for k, s in enumerate(orders.steps))
    return replace(orders, steps=steps, missing=("No wind from 19:00 to midnight: nothing is known of it.",))


def with_shelter() -> Orders:
    at = demo_orders().made_at + timedelta(hours=5)
    shelter = ShelterOrder(
        arrival_early=None, gust_kn=None, miles_lost_nm=None, sea_room_h=None,
        name="Invented Bay", kind="shelter", distance_nm=60.0, turn_by=at, arrival=at + timedelta(hours=12), arrival_late=None,
        chance=0.9, daylight=True, reason="wind", words="in by daylight, in 90 of 100 weathers", rank=1,
    )  # fmt: skip
    return replace(demo_orders(), shelters=(shelter,))


def by_instruments() -> Orders:
    """The same night with what her instruments said, a job that gives up sail plans, and a night with an unbroken sleep."""
    orders = demo_orders()
    assert orders.night is not None
    found = Compared(
        as_of=orders.made_at, trusted=True, hours_early=0.7, hours_early_sd=0.4, strength=1.2, strength_sd=0.08,
        words="The weather is about 40 min early (give or take 20 min) and 20 % stronger than forecast (give or take 8 %).",
        changed=tuple(f"difference {number}" for number in range(1, 9)), glass="The glass: falling, 2.3 hPa in 3 h.",
        doubts=("two anemometers say 20 and 38 kn: one of the two is wrong",), glance="20 % stronger than forecast, 40 min early",
    )  # fmt: skip
    shut = (PlanShut(sail_plan="two reefs and half genoa", last=orders.made_at + timedelta(hours=3), again=None),)
    first = replace(orders.jobs[0], plans_shut=shut, plans_shut_by_waiting=shut)
    night = replace(orders.night, sleep_from=orders.night.dark_from, sleep_to=orders.night.dark_from + timedelta(hours=5))
    return replace(orders, compared=found, jobs=(first, *orders.jobs[1:]), night=night)


def among_islands() -> Orders:
    """The same night carried to the Azores, with a turn for two of the example shelters there; the rest is far away."""
    orders = demo_orders()
    north, east = 38.2 - orders.latitude_deg, -30.6 - orders.longitude_deg
    steps = tuple(
        replace(s, latitude_deg=s.latitude_deg + north, longitude_deg=s.longitude_deg + east) for s in orders.steps
    )  # fmt: skip
    hours = {"Horta (example)": 7, "Lajes das Flores (example)": 3}
    shelters = tuple(
        replace(s, turn_by=orders.made_at + timedelta(hours=hours[s.name])) if s.name in hours else s for s in orders.shelters
    )  # fmt: skip
    return replace(orders, latitude_deg=38.2, longitude_deg=-30.6, steps=steps, shelters=shelters)


def alarm(*, awaits: bool = True, priority: str = "alarm", name: str = "front.20260516") -> PageAlert:
    return PageAlert(
        name=name, revision=3, priority=priority, state="active, unacknowledged" if awaits else "active, acknowledged", awaits=awaits,
        title="The front is early", text="The wind has veered: the storm jib is wanted now.", why="wind 35 kn at 290",
        clears="ends when the job is done", due=demo_orders().made_at + timedelta(hours=1),
    )  # fmt: skip


def health(at: datetime | None = None, *, well: bool = True) -> PageHealth:
    parts = (
        HealthPart(name="forecast", well=True, words="run of 12:00 UTC, complete"),
        HealthPart(name="position", well=well, words="a minute old" if well else "none for 25 minutes"),
    )
    return PageHealth(checked_at=at or datetime.now(UTC), parts=parts)


class FixedSource:
    """A source for tests: what it is told to show, at the orders' own time; keeps who acknowledged."""

    def __init__(self, orders: Orders | None = None, alerts: tuple[PageAlert, ...] = (), *, well: bool = True):
        self.orders, self.alerts, self.well = orders, alerts, well
        self.acknowledged: list[tuple[str, int, str, str]] = []

    def latest(self) -> Latest:
        now = demo_orders().made_at + timedelta(minutes=2)
        return Latest(now=now, orders=self.orders, health=health(now, well=self.well), alerts=self.alerts)

    def acknowledge(self, alert: str, revision: int, who: str, where: str) -> str | None:
        found = next((a for a in self.alerts if a.name == alert), None)
        if found is None:
            return "there is no such alert"
        if found.revision != revision:
            return "it has changed since you read it"
        self.acknowledged.append((alert, revision, who, where))
        self.alerts = tuple(replace(a, awaits=False, state="active, acknowledged") if a is found else a for a in self.alerts)
        return None
