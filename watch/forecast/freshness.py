"""How old is the forecast, and when is the next one due?"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from watch.when import ShipTime, utc

CLOCK_SLACK = timedelta(minutes=10)


@dataclass(frozen=True, kw_only=True)
class Centre:
    """When a centre starts its runs and how long after that the fields can usually be fetched.

    source: the key of the book of sources (tests/sources.toml), which says whether it was seen or is from memory.
    """

    name: str
    cycle_hours: tuple[int, ...]
    delay: timedelta
    source: str


# Delays are to the last fields of the longest run, rounded up: a run is not called late before it could have been fetched.
FOUR_A_DAY = (0, 6, 12, 18)
CENTRES: dict[str, Centre] = {
    "kwbc": Centre(name="US National Weather Service", cycle_hours=FOUR_A_DAY, delay=timedelta(hours=6), source="delay-kwbc"),
    "ecmf": Centre(name="European Centre", cycle_hours=FOUR_A_DAY, delay=timedelta(hours=9), source="delay-ecmf"),
    "edzw": Centre(name="German Weather Service", cycle_hours=FOUR_A_DAY, delay=timedelta(hours=5), source="delay-others"),
    "egrr": Centre(name="UK Met Office", cycle_hours=FOUR_A_DAY, delay=timedelta(hours=7), source="delay-others"),
    "lfpw": Centre(name="Météo-France", cycle_hours=FOUR_A_DAY, delay=timedelta(hours=6), source="delay-others"),
    "cwao": Centre(name="Canadian Meteorological Centre", cycle_hours=(0, 12), delay=timedelta(hours=6), source="delay-others"),
}


class Freshness(StrEnum):
    """State of a forecast at a moment; the worse, the further down."""

    FRESH = "fresh"  # no newer run can have come out yet
    DUE = "due"  # a newer run should be out: fetch it
    OLD = "old"  # two or more newer runs should be out
    UNKNOWN = "unknown"  # no timetable known for this centre: judge by the age
    FUTURE = "future"  # its base time lies ahead: a clock is wrong


def age(run: datetime, now: datetime) -> timedelta:
    """Time since the base time of a run; negative when it lies ahead of `now`. Both aware.

    >>> from watch.when import parse_utc
    >>> age(parse_utc("2026-05-14T00:00Z"), parse_utc("2026-05-14T07:30Z"))
    datetime.timedelta(seconds=27000)
    """
    return utc(now) - utc(run)


def next_due(centre: str, run: datetime) -> datetime | None:
    """When the run after this one can usually be fetched [aware UTC]; None when no timetable is known for the centre.

    >>> from watch.when import parse_utc
    >>> next_due("kwbc", parse_utc("2026-05-14T18:00Z")).isoformat()
    '2026-05-15T06:00:00+00:00'
    """
    known = CENTRES.get(centre)
    return None if known is None else _after(known, utc(run)) + known.delay


def newest_out(centre: str, now: datetime) -> datetime | None:
    """Base time [aware UTC] of the newest run that should be out by `now`; None when no timetable is known.

    >>> from watch.when import parse_utc
    >>> newest_out("kwbc", parse_utc("2026-05-14T12:00Z")).isoformat()
    '2026-05-14T06:00:00+00:00'
    """
    known = CENTRES.get(centre)
    if known is None:
        return None
    latest = utc(now) - known.delay
    day = latest.replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=1)
    runs = [day + timedelta(days=days, hours=hour) for days in (0, 1) for hour in known.cycle_hours]
    return max(run for run in runs if run <= latest)


def freshness(centre: str, run: datetime, now: datetime) -> Freshness:
    """State of the forecast of this run at `now`.

    >>> from watch.when import parse_utc
    >>> run = parse_utc("2026-05-14T00:00Z")
    >>> [freshness("kwbc", run, parse_utc(f"2026-05-14T{clock}Z")).value for clock in ("11:59", "12:00", "18:00")]
    ['fresh', 'due', 'old']
    """
    if age(run, now) < -CLOCK_SLACK:
        return Freshness.FUTURE
    known, newest = CENTRES.get(centre), newest_out(centre, now)
    if known is None or newest is None:
        return Freshness.UNKNOWN
    if newest <= utc(run):
        return Freshness.FRESH
    return Freshness.DUE if newest <= _after(known, utc(run)) else Freshness.OLD


def words(centre: str, run: datetime, now: datetime, ship: ShipTime | None = None) -> str:
    """What the sailor is told of the age of a forecast, in ship's time (None: UTC).

    >>> from watch.when import parse_utc
    >>> words("kwbc", parse_utc("2026-05-14T00:00Z"), parse_utc("2026-05-14T12:00Z"))
    'Forecast of Thu 00:00 UTC, 12 h old. A newer one (Thu 06:00) should be out since Thu 12:00: fetch it.'
    """
    clock = ship or ShipTime()
    hours = int(abs(age(run, now)).total_seconds() // 3600)
    head = f"Forecast of {clock.day_clock(run)} {clock.name}"
    state, due = freshness(centre, run, now), next_due(centre, run)
    if state is Freshness.FUTURE:
        return f"{head}: that lies {hours} h ahead of this clock. Check the clock, or where the file comes from."
    head = f"{head}, {hours} h old."
    known, newest = CENTRES.get(centre), newest_out(centre, now)
    if known is None or due is None or newest is None:
        return f'{head} When the next one comes is not known here for "{centre}".'
    if state is Freshness.FRESH:
        return f"{head} The next is due about {clock.day_clock(due)}."
    if state is Freshness.DUE:
        after = _after(known, utc(run))
        return f"{head} A newer one ({clock.day_clock(after)}) should be out since {clock.day_clock(due)}: fetch it."
    return f"{head} That is OLD: newer ones, up to {clock.day_clock(newest)}, should be out. Do not rest on it; fetch the newest."


def _after(centre: Centre, run: datetime) -> datetime:
    """Base time of the first run after this one."""
    day = run.replace(hour=0, minute=0, second=0, microsecond=0)
    runs = [day + timedelta(days=days, hours=hour) for days in (0, 1) for hour in centre.cycle_hours]
    return min(later for later in runs if later > run)
