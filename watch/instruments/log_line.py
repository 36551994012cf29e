"""The passage log, one line an entry: a job done, the rig as it stands, or a remark; read and written.

    2026-05-16T18:40Z put in the second reef 22 min
    2026-05-16T18:40Z put in the second reef 22 min wind 26 gusts 34 sea 2.5; the reef line jammed
    2026-05-16T12:00Z rig main: reef 1, genoa: half
    2026-05-16T13:00Z wind 18 gusts 24 sea 1.5
    2026-05-16T13:10Z note swell from the north west
    2026-05-16T14:00Z at 36 30.0 N 052 00.0 W

The time is when a job was begun, with Z or its offset; wind (mean) and gusts in knots, sea in metres; what follows a semicolon is a
remark. A job's minutes are what it took, and have to be there.
"""

import math
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from watch.passage.position import parse_position, show_position
from watch.when import parse_utc, utc

LONGEST = 500
LONGEST_JOB_MIN = 1440.0
_MEASURES = re.compile(
    r"(?:\s+|^)(?:(?P<minutes>\d+(?:\.\d+)?)\s*min(?:utes)?)?"
    r"(?:(?:\s+|^)wind\s+(?P<wind>\d+(?:\.\d+)?)(?:\s*kn)?)?"
    r"(?:(?:\s+|^)gusts?\s+(?P<gust>\d+(?:\.\d+)?)(?:\s*kn)?)?"
    r"(?:(?:\s+|^)sea\s+(?P<sea>\d+(?:\.\d+)?)(?:\s*m)?)?\s*$"
)
_PLACE = re.compile(r"at\s+[-+]?\d[\d.\s°º'′’]*(?:[NSns]\b|,)")
BOUNDS = {"minutes": (0.0, LONGEST_JOB_MIN), "wind": (0.0, 200.0), "gust": (0.0, 250.0), "sea": (0.0, 30.0)}
HOW = 'write it like "2026-05-16T18:40Z put in the second reef 22 min"'


class Kind(StrEnum):
    """What a line of the log is about."""

    JOB = "job"
    RIG = "rig"
    WEATHER = "weather"
    NOTE = "note"
    PLACE = "place"


@dataclass(frozen=True, kw_only=True)
class LogEntry:
    """One entry. when: aware UTC; of a job, when it was begun. what: the job's name, the rig state as text, the note, or the
    position as `show_position` writes it. minutes: what
    a job took; mean_kn, gust_kn, sea_m: as the sailor saw them, NaN when not said."""

    when: datetime
    kind: Kind
    what: str = ""
    minutes: float = math.nan
    mean_kn: float = math.nan
    gust_kn: float = math.nan
    sea_m: float = math.nan
    remark: str = ""

    def __post_init__(self) -> None:
        utc(self.when)
        if self.kind is Kind.JOB and not 0.0 < self.minutes <= LONGEST_JOB_MIN:
            raise ValueError(f'how many minutes "{self.what}" took is missing: {HOW}')
        if any(mark in self.what + self.remark for mark in "\r\n"):
            raise ValueError("an entry of the log is one line")

    @property
    def latitude_longitude_deg(self) -> tuple[float, float]:
        """Where she was by an entry of a position [deg], north and east positive. Raises ValueError for any other entry."""
        return parse_position(self.what)

    @property
    def end(self) -> datetime:
        """When a job was done; of any other entry, its time."""
        return self.when + timedelta(minutes=self.minutes) if self.kind is Kind.JOB else self.when


def read_line(line: str) -> LogEntry:
    """One line -> the entry. Raises ValueError with one sentence that says what is wrong and how to write it.

    >>> entry = read_line("2026-05-16T18:40Z put in the second reef 22 min")
    >>> entry.what, entry.minutes, entry.end.strftime("%H:%M")
    ('put in the second reef', 22.0, '19:02')
    """
    text = line.strip()
    if not text or len(text) > LONGEST or not text.isprintable():
        raise ValueError(f"this is no entry of the log: one line of at most {LONGEST} letters; {HOW}")
    stamp, _, rest = text.partition(" ")
    when = parse_utc(stamp)
    body, _, remark = (part.strip() for part in rest.partition(";"))
    first, _, after = body.partition(" ")
    if first == "note":
        return LogEntry(when=when, kind=Kind.NOTE, what=rest.strip().partition(" ")[2].strip())
    if first == "rig" and not after.strip():
        raise ValueError('the rig is missing: write it like "2026-05-16T12:00Z rig main: reef 1, genoa: half"')
    if is_place(body):
        return LogEntry(when=when, kind=Kind.PLACE, what=show_position(*parse_position(after.strip())), remark=remark)
    if first == "rig" and ":" in after:  # a job may well be called "rig the inner stay"
        return LogEntry(when=when, kind=Kind.RIG, what=after.strip(), remark=remark)
    return _job_or_weather(when, body, remark)


def is_place(body: str) -> bool:
    """Whether a line without its time is meant as a position; any other "at" begins a note.

    >>> is_place("at 36 30.0 N, 52 00.0 W"), is_place("at dusk the wind veered")
    (True, False)
    """
    return _PLACE.match(body) is not None


def _job_or_weather(when: datetime, body: str, remark: str) -> LogEntry:
    match = _MEASURES.search(body)
    found = {name: float(value) for name, value in match.groupdict().items() if value is not None} if match else {}
    what = body[: match.start()].strip() if match else body
    for name, value in found.items():
        low, high = BOUNDS[name]
        if not low <= value <= high:
            raise ValueError(f"{name} {value:g} cannot be: expected {low:g} to {high:g}; {HOW}")
    if not what and ("minutes" in found or not found):
        raise ValueError(f"what was done is missing: {HOW}")
    return LogEntry(
        when=when, kind=Kind.JOB if what else Kind.WEATHER, what=what, minutes=found.get("minutes", math.nan),
        mean_kn=found.get("wind", math.nan), gust_kn=found.get("gust", math.nan), sea_m=found.get("sea", math.nan), remark=remark,
    )  # fmt: skip


def write_line(entry: LogEntry) -> str:
    """The entry -> its line; `read_line` gives the entry back, to the second.

    >>> write_line(read_line("2026-05-16T15:40-03:00 put in the second reef 22 minutes gusts 34"))
    '2026-05-16T18:40Z put in the second reef 22 min gusts 34'
    """
    when = utc(entry.when)
    stamp = when.strftime("%Y-%m-%dT%H:%M:%SZ" if when.second else "%Y-%m-%dT%H:%MZ")
    if entry.kind is Kind.NOTE:
        return f"{stamp} note {entry.what}".rstrip()
    parts = [stamp, *({Kind.RIG: ["rig"], Kind.PLACE: ["at"]}.get(entry.kind, [])), entry.what]
    measures = (("", entry.minutes, " min"), ("wind ", entry.mean_kn, ""), ("gusts ", entry.gust_kn, ""), ("sea ", entry.sea_m, ""))
    parts += [f"{before}{_plain(value)}{after}" for before, value, after in measures if not math.isnan(value)]
    line = " ".join(part for part in parts if part)
    return f"{line}; {entry.remark}" if entry.remark else line


def _plain(value: float) -> str:
    """A number as short as it can be without an exponent."""
    return f"{value:.3f}".rstrip("0").rstrip(".")
