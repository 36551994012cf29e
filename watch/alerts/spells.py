"""A spell of jobs keeps its alert: what is put off from hour to hour is one alert for as long as it stands, and not a new one each hour."""

from collections.abc import Iterable
from dataclasses import replace

from watch.alerts.book import AlertBook
from watch.alerts.situation import Situation

SPELLS = "jobs."  # how the alerts of spells are called: by the hour in which the first of its jobs begins


def in_standing_spells(found: Iterable[Situation], book: AlertBook) -> list[Situation]:
    """What holds now, and the book so far -> the same; a spell of which a job stands in an alert already goes on in that one.

    says: the alert of a spell is named by its first job, and goes on under that name when the job is put off, or another comes before it.
    why: a job that is not done is planned anew for the next hour at each pass; each hour would have been one more alert to acknowledge.
    example: the reef of 16:00 is not taken; at 20:00 it is still the alert "jobs.2026051616", as it was acknowledged.
    source: judgement; one alert for a situation is MSC.302(87) section 7.3.

    >>> from watch.alerts.situation import Priority
    >>> reef = Situation(key="job.reef.20260516", priority=Priority.WARNING, title="Reef", text="Now.", why="wind", clears="done",
    ...                  group="jobs.2026051620")
    >>> in_standing_spells([reef], AlertBook())[0].group
    'jobs.2026051620'
    """
    situations = list(found)
    standing = {m.situation.key: a.name for a in reversed(book.alerts) if a.name.startswith(SPELLS) for m in a.present}
    goes_on: dict[str, str] = {}
    for situation in situations:
        if situation.alert.startswith(SPELLS) and situation.key in standing:
            goes_on.setdefault(situation.alert, standing[situation.key])
    return [replace(s, group=goes_on[s.alert]) if s.alert in goes_on else s for s in situations]
