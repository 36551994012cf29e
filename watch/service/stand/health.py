"""How is the watch itself? In words for the page, as plain data for the health file, and read back by whoever asks from outside."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from watch.alerts.rules import DISK_LOW_MB, STALE
from watch.alerts.rules_aboard import LOST_AFTER
from watch.alerts.worker import Health as ChannelHealth
from watch.render.page_parts import HealthPart, PageHealth
from watch.service.stand.vitals import Vitals
from watch.when import utc

SCHEMA = 1
LATE = timedelta(minutes=5)  # judgement: a pass so much later than announced is overdue
SILENT = timedelta(minutes=3)  # judgement: a health file so old means that nobody keeps watch


def parts_of(vitals: Vitals, channels: list[ChannelHealth]) -> tuple[HealthPart, ...]:
    """The vitals and the channels -> one part each, whether it is well, and in words."""
    return (_passes(vitals), _forecast(vitals), _position(vitals), _instruments(vitals), _channels(channels), _machine(vitals))


def page_health(vitals: Vitals, channels: list[ChannelHealth]) -> PageHealth:
    """The same for the page."""
    return PageHealth(checked_at=vitals.now, parts=parts_of(vitals, channels), next_at=vitals.next_pass_at)


def _passes(v: Vitals) -> HealthPart:
    if v.pass_at is None:
        return HealthPart(name="passes", well=False, words="no pass made yet")
    if v.now - v.next_pass_at > LATE:
        return HealthPart(name="passes", well=False, words=f"the pass due at {v.next_pass_at:%H:%M} UTC has not been made")
    words = f"last pass {v.pass_at:%H:%M} UTC, next {v.next_pass_at:%H:%M} ({v.next_pass_why})"
    return HealthPart(name="passes", well=v.orders is not None, words=words if v.orders is not None else f"{words}; {v.pass_words}")


def _forecast(v: Vitals) -> HealthPart:
    if v.orders is None:
        return HealthPart(name="forecast", well=False, words="none in use")
    newest = max(v.orders.forecasts, key=lambda f: f.run)
    age = v.now - newest.run
    return HealthPart(name="forecast", well=age < STALE, words=f"{newest.centre} {newest.run:%d %b %H:%M} UTC, {age.total_seconds() / 3600:.0f} h old")


def _position(v: Vitals) -> HealthPart:
    if v.place is None:
        return HealthPart(name="position", well=True, words="at the start of the route, as long as nothing else is known")
    age = max(v.now - v.place.at, timedelta(0))
    since = f"{age.total_seconds() / 60:.0f} min old" if age < timedelta(hours=2) else f"{age.total_seconds() / 3600:.0f} h old"
    well = age <= LOST_AFTER if v.aboard.expects_position else age <= timedelta(hours=12)
    return HealthPart(name="position", well=well, words=f"{v.place.source}, {since}")


def _instruments(v: Vitals) -> HealthPart:
    a = v.aboard
    if not a.expects_wind and not a.expects_position and not a.links_down:
        return HealthPart(name="instruments", well=True, words="none set up: the forecast is not held against the wind outside")
    if a.links_down:
        return HealthPart(name="instruments", well=False, words="; ".join(a.links_down))
    if a.expects_wind and (a.wind_at is None or v.now - a.wind_at > LOST_AFTER):
        return HealthPart(name="instruments", well=False, words="no wind heard")
    return HealthPart(name="instruments", well=True, words="heard")


def _channels(channels: list[ChannelHealth]) -> HealthPart:
    broken = [f"{c.name}: {c.reason}" for c in channels if c.working is False]
    if broken:
        return HealthPart(name="channels", well=False, words="; ".join(broken))
    if not channels:
        return HealthPart(name="channels", well=False, words="none: nobody would be called")
    return HealthPart(name="channels", well=True, words=", ".join(f"{c.name} {'works' if c.working else 'not tried yet'}" for c in channels))


def _machine(v: Vitals) -> HealthPart:
    low = v.disk_free_mb is not None and v.disk_free_mb < DISK_LOW_MB
    said = [*v.failures, *([f"only {v.disk_free_mb:.0f} MB free on the disk"] if low else [])]
    return HealthPart(name="machine", well=not said, words="; ".join(said) if said else "well")


def to_dict(vitals: Vitals, channels: list[ChannelHealth], pid: int) -> dict[str, Any]:
    """The health file: well, when it was written, the parts, what waits to be acknowledged; times in UTC."""
    parts = parts_of(vitals, channels)
    return {
        "schema": SCHEMA, "program": "nightorders", "pid": pid, "written_at": vitals.now.isoformat(), "begun_at": vitals.begun_at.isoformat(),
        "well": all(part.well for part in parts), "parts": [{"name": p.name, "well": p.well, "words": p.words} for p in parts],
        "last_pass": None if vitals.pass_at is None else vitals.pass_at.isoformat(), "next_pass": vitals.next_pass_at.isoformat(),
        "verdict": vitals.pass_words, "rig_state": vitals.rig_state, "awaiting": list(vitals.awaiting),
    }  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Running:
    """What a look from outside finds: whether the watch is kept and well, and the words for it."""

    well: bool
    words: tuple[str, ...]


def judge(data: object, now: datetime) -> Running:
    """A health file's data, now -> what is wrong, in words; a file that is old, torn or none means that nobody keeps watch."""
    if data is None:
        return Running(well=False, words=("NOBODY KEEPS WATCH: there is no health file; start it with: nightorders stand",))
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        return Running(well=False, words=("The health file cannot be read: it is torn, or of another version of the watch.",))
    try:
        written, parts = utc(datetime.fromisoformat(str(data["written_at"]))), list(data["parts"])
        lines = [f"{'well ' if p['well'] else 'WRONG'}  {p['name']}: {p['words']}" for p in parts]
        well = bool(data["well"])
        awaiting = [str(name) for name in data["awaiting"]]
    except (KeyError, TypeError, ValueError):
        return Running(well=False, words=("The health file cannot be read: it is torn, or of another version of the watch.",))
    head = []
    if now - written > SILENT:
        head = [f"NOBODY KEEPS WATCH: the last sign of life was {written:%Y-%m-%d %H:%M} UTC, {(now - written).total_seconds() / 60:.0f} min ago."]
        well = False
    elif written - now > SILENT:
        head, well = [f"The clock was set back: the last sign of life is dated {written:%Y-%m-%d %H:%M} UTC, ahead of now."], False
    if awaiting:
        lines.append(f"Not acknowledged: {', '.join(awaiting)} (nightorders ack NUMBER)")
    if head:
        return Running(well=False, words=(*head, "What it said then:", *lines))
    return Running(well=well, words=("The watch is kept." if well else "THE WATCH IS NOT WELL.", *lines))
