"""Indexes of GRIB files: lines of text, or JSON a line; and the byte ranges of the fields wanted, run together where they touch."""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

from watch.faults import BadInputError, Fault
from watch.forecast.catalogue import Layout
from watch.forecast.framing import foreign, is_page
from watch.forecast.sources import FileRequest, Want

HOURS = {"hour": 1.0, "day": 24.0, "min": 1.0 / 60.0}
FORECAST = re.compile(r"(\d{1,6})(?:-(\d{1,6}))? (hour|day|min)\b")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One field of a file. length: bytes, None for the last message of a text index. span_h: hours from the start of the run; both
    the same for an instant; None when not understood."""

    line: int
    offset: int
    length: int | None
    run: datetime | None
    span_h: tuple[float, float] | None
    names: tuple[str, ...]  # text index: variable, level; JSON index: param, levtype, levelist
    number: int | None = None


@dataclass(frozen=True, kw_only=True, order=True)
class ByteRange:
    """Bytes first to last of a file, both included; last None: to the end of the one message that begins at first."""

    first: int
    last: int | None

    @property
    def length(self) -> int | None:
        return None if self.last is None else self.last - self.first + 1


@dataclass(frozen=True, kw_only=True)
class Located:
    """ranges: rising, apart from each other. missing: fields wanted that the index does not have, for a person."""

    ranges: tuple[ByteRange, ...]
    missing: tuple[str, ...]

    def bytes(self, if_open: int) -> int:
        """Bytes in all; if_open: what to count for a range without an end."""
        return sum(if_open if r.length is None else r.length for r in self.ranges)


def text_index(text: str, name: str) -> tuple[Entry, ...]:
    """Lines like `12.1:345:d=2026051412:UGRD:10 m above ground:21 hour fcst:`; fields of one message share its offset.

    A message ends where the next one begins. Raises BadInputError (`name`: the index's, for that) at the first line that is no such.

    >>> [e.length for e in text_index("1:0:d=2026051412:A:surface:anl:\\n2:70:d=2026051412:B:surface:anl:\\n", "i")]
    [70, None]
    """
    raw = [_text_line(line, number, name) for number, line in _lines(text, name)]
    offsets = sorted({entry.offset for entry in raw})
    following = dict(pairwise(offsets))
    return tuple(
        Entry(line=e.line, offset=e.offset, length=following[e.offset] - e.offset if e.offset in following else None,
              run=e.run, span_h=e.span_h, names=e.names) for e in raw)


def json_index(text: str, name: str) -> tuple[Entry, ...]:
    """Lines of JSON with param, levtype, levelist, step, number, date, time, _offset and _length. Raises BadInputError as above.

    >>> json_index('{"param": "10u", "levtype": "sfc", "step": "3", "_offset": 5, "_length": 9}\\n', "i")[0].names
    ('10u', 'sfc', '')
    """
    return tuple(_json_line(line, number, name) for number, line in _lines(text, name))


def span_of(forecast: str) -> tuple[float, float] | None:
    """The forecast's time in an index line -> hours from the start of the run, from and to; None when not understood.

    >>> span_of("anl"), span_of("21 hour fcst"), span_of("18-21 hour acc fcst"), span_of("0-1 day acc fcst"), span_of("soon")
    ((0.0, 0.0), (21.0, 21.0), (18.0, 21.0), (0.0, 24.0), None)
    """
    if forecast.startswith("anl"):
        return 0.0, 0.0
    found = FORECAST.match(forecast)
    if found is None:
        return None
    first, last = int(found[1]), int(found[2] or found[1])
    return first * HOURS[found[3]], last * HOURS[found[3]]


def merged(ranges: Iterable[ByteRange], bridge_bytes: int = 0) -> tuple[ByteRange, ...]:
    """Ranges in any order -> the fewest that cover the same bytes; gaps of up to bridge_bytes are fetched too. A range without an end
    stays by itself: where it ends only the message in it can tell.

    >>> merged([ByteRange(first=10, last=19), ByteRange(first=0, last=9), ByteRange(first=30, last=None)])
    (ByteRange(first=0, last=19), ByteRange(first=30, last=None))
    """
    out: list[ByteRange] = []
    for this in sorted(set(ranges), key=lambda r: (r.first, r.last is None, r.last or 0)):
        before = out[-1].last if out else None
        if before is not None and this.last is not None and this.first <= before + 1 + bridge_bytes:
            out[-1] = ByteRange(first=out[-1].first, last=max(before, this.last))
        else:
            out.append(this)
    return tuple(out)


def locate(request: FileRequest, text: str, name: str) -> Located:
    """Where in its file each field of a request stands. Raises BadInputError when the index is no index, or another run's or step's,
    or has none of the fields."""
    entries = text_index(text, name) if request.layout == Layout.TEXT_INDEX else json_index(text, name)
    other = next((e for e in entries if e.run is not None and e.run != request.run), None)
    if other is not None:
        fault = f"line {other.line} is of another run than {request.run:%Y-%m-%d %HZ}: the server mixes runs; try later"
        raise BadInputError(name, [fault])
    known: dict[tuple[tuple[str, ...], int | None], list[Entry]] = {}
    for entry in entries:
        if entry.span_h is not None and entry.span_h[1] == request.step_h:
            known.setdefault((entry.names, entry.number), []).append(entry)
    chosen = [(want, _choose(want, known, request.layout)) for want in request.wants]
    found = [ByteRange(first=e.offset, last=None if e.length is None else e.offset + e.length - 1) for _, e in chosen if e]
    missing = dict.fromkeys(_named(want) for want, entry in chosen if entry is None)
    if not found:
        raise BadInputError(name, [f"has none of the fields asked for at +{request.step_h} h ({', '.join(missing)})"])
    return Located(ranges=merged(found), missing=tuple(missing))


def _named(want: Want) -> str:
    return want.name.value + (f" of member {want.number}" if want.number is not None else "")


def _choose(want: Want, known: Mapping[tuple[tuple[str, ...], int | None], Sequence[Entry]], layout: Layout) -> Entry | None:
    """The first name that the index has at this step; of several stretches that end then, the one asked for, else the shortest."""
    for field in want.any_of:
        names = (field.var, field.level) if layout == Layout.TEXT_INDEX else (field.param, field.levtype, field.levelist)
        fits = [(e.span_h[0], -e.offset, e) for e in known.get((names, want.number), ()) if e.span_h is not None
                and (field.since != "start" or e.span_h[0] in (0.0, e.span_h[1]))]
        if fits:
            return max(fits, key=lambda fit: fit[:2])[2]
    return None


def _lines(text: str, name: str) -> list[tuple[int, str]]:
    if not text.strip():
        raise BadInputError(name, ["is empty: try later"])
    if is_page(text[:200].encode("utf-8", "replace")):
        raise BadInputError(name, [f"{foreign(text[:200].encode('utf-8', 'replace'))}, or try later"])
    if not text.endswith("\n"):
        raise BadInputError(name, ["is not whole: its last line breaks off; try later"])
    return [(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]


def _text_line(line: str, number: int, name: str) -> Entry:
    parts = line.split(":")
    try:
        if len(parts) < 6 or not re.fullmatch(r"\d+(\.\d+)?", parts[0]) or not parts[2].startswith("d="):
            raise ValueError
        run = datetime.strptime(parts[2][2:12], "%Y%m%d%H").replace(tzinfo=UTC)
        offset = _natural(int(parts[1]))
    except ValueError:
        raise _no_line(name, number, line, "12:345:d=2026051412:UGRD:10 m above ground:21 hour fcst:") from None
    return Entry(line=number, offset=offset, length=None, run=run, span_h=span_of(parts[5]), names=(parts[3], parts[4]))


def _json_line(line: str, number: int, name: str) -> Entry:
    try:
        raw = json.loads(line)
        member = raw.get("number")
        run = f"{raw['date']}{raw['time']}" if "date" in raw and "time" in raw else None
        return Entry(
            line=number, offset=_natural(raw["_offset"]), length=_natural(raw["_length"], 1),
            run=datetime.strptime(run[:10], "%Y%m%d%H").replace(tzinfo=UTC) if run else None, span_h=_json_span(str(raw.get("step", ""))),
            names=(str(raw["param"]), str(raw["levtype"]), str(raw.get("levelist", ""))),
            number=None if member is None else int(member))
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        example = '{"param": "10u", "levtype": "sfc", "step": "3", "_offset": 0, "_length": 870142}'
        raise _no_line(name, number, line, example) from None


def _json_span(step: str) -> tuple[float, float] | None:
    found = re.fullmatch(r"(\d{1,6})(?:-(\d{1,6}))?", step)
    return (float(found[1]), float(found[2] or found[1])) if found else None


def _natural(value: object, least: int = 0) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < least:
        raise ValueError("no count of bytes")
    return value


def _no_line(name: str, number: int, line: str, example: str) -> BadInputError:
    found = line if len(line) <= 60 else line[:57] + "..."
    return BadInputError(name, [Fault(f"line {number}", f'"{found}"', f"an index line, like {example}; try later")])
