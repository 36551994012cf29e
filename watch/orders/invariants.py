"""What must be true of any orders, whatever the weather: one function, used by tests and before anything is said aloud."""

from collections.abc import Iterator
from itertools import pairwise

from watch.orders.document import JobOrder, Orders


def broken(orders: Orders) -> list[str]:
    """Orders -> a sentence for each rule that they break; empty when they may be given out."""
    return [*_jobs(orders), *_plans(orders), *_chances(orders)]


def _jobs(orders: Orders) -> Iterator[str]:
    for job in orders.jobs:
        yield from _one_job(job, orders)
    for a, b in pairwise(orders.jobs):
        if b.start < a.end:
            yield f"“{b.job}” begins before “{a.job}” is done"
        if b.from_state != a.to_state:
            yield f"“{b.job}” begins from {b.from_state}, but “{a.job}” left {a.to_state}"
    if orders.jobs and orders.jobs[0].from_state != orders.rig_state:
        yield f"the first job begins from {orders.jobs[0].from_state}, but she carries {orders.rig_state}"


def _one_job(job: JobOrder, orders: Orders) -> Iterator[str]:
    if not orders.made_at <= job.call <= job.start < job.end <= orders.ends_at:
        yield f"“{job.job}”: call, start and end are not in order inside these orders"
    if job.window is None:
        yield f"“{job.job}” is ordered outside every deck window"
        return
    if not job.window.first_start <= job.start <= job.window.last_start:
        yield f"“{job.job}” is begun outside its deck window"
    if not job.start <= job.closes <= job.window.last_start:
        yield f"“{job.job}” closes before it is begun, or after its deck window"


def _plans(orders: Orders) -> Iterator[str]:
    if not orders.plans:
        yield "no sail plan is named"
        return
    if orders.plans[-1].end != orders.ends_at:
        yield "the sail plans do not reach to the end of the orders"
    for a, b in pairwise(orders.plans):
        if a.end != b.start:
            yield f"there is a gap between “{a.sail_plan}” and “{b.sail_plan}”"


def _chances(orders: Orders) -> Iterator[str]:
    numbers = [orders.hard_chance, orders.unforecast_chance, orders.forecast_chance + 1e-9, orders.least_hard_chance]
    numbers += [*(j.chance for j in orders.jobs), *(w.chance for w in orders.windows)]
    if any(not 0.0 <= n <= 1.0 + 1e-9 for n in numbers):
        yield "a chance is not between none and certain"
    if orders.least_hard_chance > orders.forecast_chance + 1e-6:
        yield "the bound on the chance of a hard limit lies above the chance itself"
    if orders.feasible and orders.forecast_chance > orders.hard_ceiling + 1e-6:
        yield "the orders call themselves good enough, and are not"
