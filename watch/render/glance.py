"""What a glance has to give: which job shuts first, how a closing time is headed, the margin and the turn-by time in words."""

from watch.orders.document import JobOrder, Orders, ShelterOrder


def is_hard_close(job: JobOrder) -> bool:
    """It truly shuts (weather, dark), or what it is for comes: not only 'no longer worth the work'."""
    return job.closes_reason not in ("open", "forecast_ends", "too_late") or job.if_missed.sail_plan is not None


def shuts_first(orders: Orders) -> JobOrder | None:
    """Of the jobs that matter for a hard limit, the one that closes first, when it is not the next one anyway."""
    grave = [j for j in orders.jobs if j.if_missed.sail_plan is not None and is_hard_close(j)]
    first = min(grave, key=lambda j: j.closes, default=None)
    return None if first is None or first == orders.next_job else first


def closing(job: JobOrder) -> str:
    """How the closing time of a job is headed."""
    if job.closes_reason in ("open", "forecast_ends"):
        return "Open to the forecast's end"
    if job.closes_reason == "too_late":
        return "Of use until" if job.if_missed.sail_plan is not None else "Worth doing until"
    return "CLOSES"


def margin_words(margin_kn: int | None) -> str:
    """Knots in hand -> words.

    >>> margin_words(4), margin_words(-2), margin_words(None)
    ('4 kn in hand', 'OVER by 2 kn', 'not known')
    """
    if margin_kn is None:
        return "not known"
    return f"{margin_kn} kn in hand" if margin_kn >= 0 else f"OVER by {-margin_kn} kn"


def turn_by(orders: Orders) -> ShelterOrder | None:
    """The choice of shelter whose turn-by time comes first."""
    return min((s for s in orders.shelters if s.turn_by is not None), key=lambda s: s.turn_by or orders.ends_at, default=None)
