"""One reading of one instrument: what, how much, when, from whom, and whether to believe it; and why a line gave none."""

import math
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from watch.when import utc

LONGEST_SOURCE = 60
LONGEST_SHOWN = 60


class Quantity(StrEnum):
    """What can be read; the unit is in the name. Angles from the bow are in [-180, 180), to starboard positive; the others in
    [0, 360). A wind direction is where the wind comes from."""

    APPARENT_WIND_MS = "apparent_wind_ms"
    APPARENT_ANGLE_DEG = "apparent_angle_deg"  # from the bow
    TRUE_WIND_MS = "true_wind_ms"  # over the water, or over the ground when the instrument does not say
    TRUE_ANGLE_DEG = "true_angle_deg"  # from the bow, over the water
    TRUE_FROM_DEG = "true_from_deg"  # from true north
    TRUE_FROM_MAGNETIC_DEG = "true_from_magnetic_deg"  # from magnetic north
    GROUND_WIND_MS = "ground_wind_ms"  # over the ground, said to be so
    GROUND_ANGLE_DEG = "ground_angle_deg"  # from the bow, over the ground
    WATER_SPEED_MS = "water_speed_ms"
    GROUND_SPEED_MS = "ground_speed_ms"
    GROUND_COURSE_DEG = "ground_course_deg"  # true
    HEADING_DEG = "heading_deg"  # true
    HEADING_MAGNETIC_DEG = "heading_magnetic_deg"
    VARIATION_DEG = "variation_deg"  # east positive, [-180, 180)
    PRESSURE_PA = "pressure_pa"  # as the instrument gives it; not brought to sea level
    LATITUDE_DEG = "latitude_deg"  # north positive
    LONGITUDE_DEG = "longitude_deg"  # east positive


FASTEST_MS = 340.0  # no instrument of a boat can mean more: refused, while what is merely doubtful is left to plausible.py
HIGHEST_PA = 2e8  # wide, so that a wrong unit of pressure is named by plausible.py instead of lost
BOUNDS: dict[Quantity, tuple[float, float]] = {
    quantity: next(bounds for ending, bounds in (
        ("_ms", (0.0, FASTEST_MS)), ("_pa", (0.0, HIGHEST_PA)), ("latitude_deg", (-90.0, 90.0)),
        ("longitude_deg", (-180.0, 180.0)), ("_angle_deg", (-180.0, 180.0)), ("variation_deg", (-180.0, 180.0)),
        ("_deg", (0.0, 360.0)),
    ) if quantity.endswith(ending))
    for quantity in Quantity
}


class DoubtKind(StrEnum):
    """Why a reading is doubtful, mildest first: the order is the severity. From NULL_ISLAND on it is used for nothing."""

    NO_CHECKSUM = "no_checksum"
    NO_STATUS = "no_status"
    OTHER_TRANSDUCER = "other_transducer"
    NOT_A_FIX = "not_a_fix"
    JUMP = "jump"
    UNITS_DISAGREE = "units_disagree"
    INSTRUMENTS_DISAGREE = "instruments_disagree"  # of a ten-minute step, not of one reading
    CLOCK = "clock"  # gravest of the usable, so that none of them hides it: see Reading.placed
    NULL_ISLAND = "null_island"
    STUCK = "stuck"
    SPIKE = "spike"
    LEAP = "leap"
    UNIT_MIXUP = "unit_mixup"
    RANGE = "range"

    @property
    def usable(self) -> bool:
        """True while such a reading may still serve where there is nothing better; the doubt is then told with the result."""
        return self.severity < DoubtKind.NULL_ISLAND.severity

    @property
    def severity(self) -> int:
        return list(DoubtKind).index(self)


@dataclass(frozen=True)
class Doubt:
    """One reason to doubt a reading, from the closed list, and one sentence for the sailor."""

    kind: DoubtKind
    says: str

    def __str__(self) -> str:
        return self.says


def worse(one: Doubt | None, other: Doubt | None) -> Doubt | None:
    """The graver of two doubts; the first when they are equal.

    >>> str(worse(None, Doubt(DoubtKind.STUCK, "has not moved for 20 minutes")))
    'has not moved for 20 minutes'
    """
    if one is None or other is None:
        return one or other
    return other if other.kind.severity > one.kind.severity else one


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """One value that an instrument gave.

    when: the instrument's own UTC where it carries a date, else the time received; received: when this computer got it, by its
    own clock (both aware UTC). value: within BOUNDS, in the unit of the quantity's name. source: talker and sentence, like
    "WI/MWV", or the source that a Signal K message names. doubtful: None, or the gravest reason to doubt it. A missing value has
    no reading. Latitude and longitude of one fix are two readings with the same `when` and source.
    """

    when: datetime
    received: datetime
    quantity: Quantity
    value: float
    source: str
    doubtful: Doubt | None = None

    def __post_init__(self) -> None:
        low, high = BOUNDS[self.quantity]
        if not low <= self.value <= high:
            raise ValueError(f"{self.quantity} from {self.source} is {self.value:g}; a missing or impossible value is no reading")
        utc(self.when)
        utc(self.received)

    @property
    def placed(self) -> datetime:
        """The time to file it under: `received` when the instrument's clock is in doubt, so that all readings keep one clock."""
        by_receipt = self.doubtful is not None and self.doubtful.kind is DoubtKind.CLOCK
        return self.received if by_receipt else self.when


class Refused(StrEnum):
    """Why a line, a field or a message gave no reading. The first two are no fault: nothing of use was in it."""

    NOT_USED = "not_used"
    EMPTY = "empty"
    NOT_TEXT = "not_text"
    TOO_LONG = "too_long"
    NO_START = "no_start"
    MALFORMED = "malformed"
    CHECKSUM = "checksum"
    NOT_VALID = "not_valid"
    NOT_A_NUMBER = "not_a_number"
    OUT_OF_RANGE = "out_of_range"
    UNIT = "unit"
    TIME = "time"
    NOT_OWN_BOAT = "not_own_boat"

    @property
    def is_fault(self) -> bool:
        return self not in (Refused.NOT_USED, Refused.EMPTY)


@dataclass(frozen=True)
class Refusal:
    """One thing refused: the reason, and a sentence that shows it."""

    reason: Refused
    says: str


@dataclass(frozen=True)
class Parsed:
    """What one line or message gave: readings, what was refused of it, and how far its own clock is ahead (NaN: it has none)."""

    readings: tuple[Reading, ...] = ()
    refused: tuple[Refusal, ...] = ()
    clock_ahead_s: float = math.nan


@dataclass
class Tally:
    """Counts of what was refused, by reason, with the latest example of each; and how many readings came through."""

    readings: int = 0
    counts: Counter[Refused] = field(default_factory=Counter)
    latest: dict[Refused, str] = field(default_factory=dict)

    def note(self, parsed: Parsed) -> None:
        self.readings += len(parsed.readings)
        for refusal in parsed.refused:
            self.counts[refusal.reason] += 1
            self.latest[refusal.reason] = refusal.says

    @property
    def faults(self) -> int:
        return sum(count for reason, count in self.counts.items() if reason.is_fault)


def shown(raw: str | bytes) -> str:
    """Text from outside, short and harmless to print.

    >>> shown(bytes([27]) + b"[2J$GPRMC")
    '"\\\\x1b[2J$GPRMC"'
    """
    text = raw[: 4 * LONGEST_SHOWN].decode("ascii", "backslashreplace") if isinstance(raw, bytes) else raw[: 4 * LONGEST_SHOWN]
    safe = ascii(text)[1:-1]
    return f'"{safe[:LONGEST_SHOWN]}..."' if len(safe) > LONGEST_SHOWN else f'"{safe}"'


def bow_deg(angle_deg: float) -> float:
    """An angle from the bow in any turn [deg] -> [-180, 180), starboard positive.

    >>> bow_deg(315.0), bow_deg(180.0)
    (-45.0, -180.0)
    """
    return (angle_deg + 180.0) % 360.0 - 180.0


def compass_deg(angle_deg: float) -> float:
    """A direction in any turn [deg] -> [0, 360).

    >>> compass_deg(360.0), compass_deg(-90.0)
    (0.0, 270.0)
    """
    turned = angle_deg % 360.0
    return 0.0 if turned == 360.0 else turned  # a tiny negative rounds up to 360 exactly


def clock_doubt(own: datetime, received: datetime, may_differ_s: float | None) -> tuple[datetime, Doubt | None]:
    """An instrument's own UTC and the time received -> the time to keep, and the doubt when the two differ by more than
    may_differ_s [s] (None: a recording, no comparison). A date 1024 weeks off is a known fault of satellite receivers
    (source gps-week-1): the time received is kept.

    >>> from watch.when import parse_utc
    >>> kept, doubt = clock_doubt(parse_utc("2006-10-01T12:00:00Z"), parse_utc("2026-05-17T12:00:01Z"), 60)
    >>> kept.year, str(doubt)
    (2026, 'its date 2006-10-01 12:00:00 UTC is 1024 weeks off, as old satellite receivers are: the time received is used')
    """
    apart_s = (own - received).total_seconds()
    if may_differ_s is None or abs(apart_s) <= may_differ_s:
        return own, None
    stamp = f"{own:%Y-%m-%d %H:%M:%S} UTC"
    weeks = round(apart_s / ROLLOVER_S)
    if weeks != 0 and abs(apart_s - weeks * ROLLOVER_S) <= DAY_S:
        says = f"its date {stamp} is {abs(weeks) * 1024} weeks off, as old satellite receivers are: the time received is used"
        return received, Doubt(DoubtKind.CLOCK, says)
    says = f"its clock says {stamp} but it came at {received:%Y-%m-%d %H:%M:%S} UTC by this computer: one of the two is wrong"
    return own, Doubt(DoubtKind.CLOCK, says)


DAY_S = 86400.0
ROLLOVER_S = 1024 * 7 * DAY_S  # source gps-week-1
