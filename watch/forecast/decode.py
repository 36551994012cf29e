"""One GRIB field through ecCodes: what it is, whose, for when, where, and its values; headers looked at once a kind (I/O)."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from watch.forecast.box import Box
from watch.forecast.frames import Frame
from watch.forecast.handle import DamagedError, Handle
from watch.forecast.layout import READABLE, GridHeader, GridRefusedError, Layout, layout, unreadable
from watch.forecast.names import LABELS, Header, Refusal, What, identify, of_no_use

LONGEST_STEP_S = 60 * 86400
FIRST_YEAR, LAST_YEAR = 1900, 2100
SECONDS = {"": 3600, "s": 1, "m": 60, "h": 3600, "D": 86400}  # ecCodes writes hours without a letter
STEP_RANGE = re.compile(r"(\d+)([smhD]?)(?:-(\d+)([smhD]?))?")
# Shortest product definition section of each template that is used, in bytes (WMO-No. 306, FM 92, templates 4.0, 4.1, 4.8, 4.11).
SHORTEST = {0: 34, 1: 37, 8: 58, 11: 61}
ISOBARIC = 100
MEMBER_SECTIONS = (1, 30)  # local sections of GRIB1, centre 98, that have the member in octet 50
ENSEMBLE_TEMPLATES = {1, 11, 33, 34, 41, 43, 60, 61}


class Whose(NamedTuple):
    """The run that a message belongs to."""

    run: datetime
    centre: str
    ensemble: bool


class Slice(NamedTuple):
    """One field of one member at one time, cut to the box."""

    whose: Whose
    what: What
    member: int
    start_s: int  # seconds from the run to the beginning of the interval; equal to end_s for an instant
    end_s: int
    layout: Layout
    values: NDArray[np.float32]


class Outside(NamedTuple):
    """A message of a field that is needed, on a grid that does not reach the box; span says where the grid lies."""

    name: str
    span: str


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """All that messages with the same header share."""

    found: What | Refusal
    centre: str
    ensemble: bool
    missing: float
    timing: tuple[object, ...]  # what decides, together with the time octets, which step a message belongs to


class Decoder:
    """Reads fields one by one. What ecCodes says of a header is kept: messages of the same kind cost only their values."""

    def __init__(self, box: Box | None) -> None:
        self.box = box
        self._kinds: dict[tuple[bytes, ...], _Kind | None] = {}
        self._runs: dict[bytes, datetime] = {}
        self._steps: dict[tuple[tuple[object, ...], bytes], tuple[int, int]] = {}
        self._members: dict[tuple[int, bytes], int] = {}
        self._layouts: dict[bytes, Layout | GridRefusedError | str] = {}

    def read(self, frame: Frame) -> Slice | Refusal | Outside | None:
        """One field; a refusal with its reason; Outside the box; or None when the watch has no use for it.

        Raises DamagedError for a message that cannot be trusted.
        """
        key, when, member = _parts(frame)
        if (key in self._kinds and self._kinds[key] is None) or _of_no_use(frame):
            return None
        with Handle(frame.message) as handle:
            kind = self._kind(key, handle, frame)
            if kind is None:
                return None
            try:
                if _too_short(frame):
                    self._step(kind, when, handle)
                    raise DamagedError("has a product section shorter than its kind can be")
                if isinstance(kind.found, Refusal):
                    return kind.found
                return self._slice(frame, handle, kind, kind.found, when, member)
            except DamagedError as damage:
                raise DamagedError(f"({LABELS[kind.found.name]}) {damage}") from None

    def _slice(self, frame: Frame, handle: Handle, kind: _Kind, what: What, when: bytes,
               member: bytes) -> Slice | Refusal | Outside:
        place = self._layout(frame, handle)
        if isinstance(place, GridRefusedError):
            return Refusal(name=what.name, why=str(place))
        if isinstance(place, str):
            return Outside(what.name, place)
        _check_end_time(frame)
        whose = Whose(self._run(frame), kind.centre, kind.ensemble)
        start_s, end_s = self._step(kind, when, handle)
        number = self._member(kind, member, handle) if kind.ensemble else 0
        points = place.header.rows * place.header.columns
        if frame.points > points:  # looked at before room is made for them
            raise DamagedError(f"holds {frame.points} values where its grid has {points} points")
        try:
            values = handle.values(points)
            window = place.take(values, kind.missing, what.scale, what.offset)
        except GridRefusedError as refused:
            raise DamagedError(str(refused)) from None
        return Slice(whose, what, number, start_s, end_s, place, window)

    def _kind(self, key: tuple[bytes, ...], handle: Handle, frame: Frame) -> _Kind | None:
        if key not in self._kinds:
            header = _header(handle, frame)
            found = identify(header)
            ensemble = header.data_type in ("cf", "pf") or header.template in ENSEMBLE_TEMPLATES
            self._kinds[key] = None if found is None else _Kind(
                found=found, centre=handle.text("centre"), ensemble=ensemble, missing=handle.real("missingValue"),
                timing=(frame.edition, header.template, header.step_type, key[-1]))
        return self._kinds[key]

    def _run(self, frame: Frame) -> datetime:
        raw = frame.head[13:20] if frame.edition == 2 else frame.head[12:17] + frame.head[24:25]
        if raw not in self._runs:
            self._runs[raw] = _base_time(frame.edition, raw)
        return self._runs[raw]

    def _step(self, kind: _Kind, when: bytes, handle: Handle) -> tuple[int, int]:
        key = (kind.timing, when)
        if key not in self._steps:
            text = handle.text("stepRange")
            match = STEP_RANGE.fullmatch(text)
            if match is None:
                raise DamagedError(f'has an absurd time step ("{text}")')
            start = end = int(match[1]) * SECONDS[match[2]]
            if match[3]:
                end = int(match[3]) * SECONDS[match[4]]
            if not start <= end <= LONGEST_STEP_S:
                raise DamagedError(f'has an absurd time step ("{text}")')
            self._steps[key] = (start, end)
        return self._steps[key]

    def _member(self, kind: _Kind, member: bytes, handle: Handle) -> int:
        key = (id(kind), member)
        if key not in self._members:
            self._members[key] = handle.number("number")
        return self._members[key]

    def _layout(self, frame: Frame, handle: Handle) -> Layout | GridRefusedError | str:
        """How to read the grid, why it is refused, or, where it does not reach the box, its span in words."""
        if frame.grid not in self._layouts:
            self._layouts[frame.grid] = _new_layout(frame, handle, self.box)
        return self._layouts[frame.grid]


def _base_time(edition: int, raw: bytes) -> datetime:
    """From the octets of year to minute: asked for a time that is none, ecCodes complains where it cannot be hushed."""
    if edition == 2:
        year, (month, day, hour, minute) = int.from_bytes(raw[:2], "big"), raw[2:6]
    else:
        year, (month, day, hour, minute) = (raw[5] - 1) * 100 + raw[0], raw[1:5]
    text = f"{year:04d}-{month:02d}-{day:02d} {hour:02d}:{minute:02d}"
    try:
        run = datetime(year, month, day, hour, minute, tzinfo=UTC)
    except ValueError:
        raise DamagedError(f"has a base time that is no date ({text})") from None
    if not FIRST_YEAR <= run.year <= LAST_YEAR:
        raise DamagedError(f"has an absurd base time ({text})")
    return run


def _too_short(frame: Frame) -> bool:
    return frame.edition == 2 and len(frame.product) < SHORTEST.get(int.from_bytes(frame.product[7:9], "big"), 0)


def _check_end_time(frame: Frame) -> None:
    """The end of the interval, where a template has one, must be a date."""
    at = {8: 34, 11: 37}.get(int.from_bytes(frame.product[7:9], "big")) if frame.edition == 2 else None
    if at is not None:
        _base_time(2, frame.product[at : at + 7].ljust(7, b"\0"))


def _of_no_use(frame: Frame) -> bool:
    """GRIB2 only: octets 10, 11 and 23 to 28 are the same in every template up to 4.15."""
    product = frame.product
    if frame.edition == 1 or int.from_bytes(product[7:9], "big") > 15 or len(product) < SHORTEST[0]:
        return False
    scale = product[23] if product[23] < 128 else 128 - product[23]
    pressure_pa = int.from_bytes(product[24:28], "big") / 10.0**scale if product[22] == ISOBARIC else 0.0
    return of_no_use((frame.head[0], product[9], product[10]), product[22], pressure_pa)


def _parts(frame: Frame) -> tuple[tuple[bytes, ...], bytes, bytes]:
    """The header's bytes, split into what decides the field, what decides its time, and what decides its member.

    Octets as in FM 92 GRIB, edition 1 section 1 and edition 2 sections 1 and 4. Only octets that are known to be time or member
    are taken out of the first part: a header not known here is simply looked at again by ecCodes.
    """
    product = frame.product
    if frame.edition == 1:
        local = len(product) > 50 and product[4] == 98 and product[40] in MEMBER_SECTIONS
        fixed = product[:12] + product[17:18] + product[20:24] + product[25:26] + product[28 : 49 if local else None]
        return (fixed, product[50:] if local else b""), product[12:25], product[49:50] if local else b""
    template = int.from_bytes(product[7:9], "big")
    fixed_head = frame.head[:13] + frame.head[20:]
    if template not in SHORTEST or len(product) < SHORTEST[template]:
        return (fixed_head, frame.local, product), frame.head, product
    ensemble, ranged = template in (1, 11), template in (8, 11)
    at = 37 if ensemble else 34
    end, stretch = (product[at : at + 7], product[at + 7 :]) if ranged else (b"", b"")
    when = frame.head[13:20] + product[17:22] + end + stretch
    rest = stretch[:1] + stretch[5:7] + stretch[19:] if ranged else product[at:]  # how many stretches, and what is made of them
    fixed = product[:17] + product[22 : 34 + ensemble] + product[36:37] * ensemble
    return (fixed_head, frame.local, fixed, rest), when, product[35:36] * ensemble


def _header(handle: Handle, frame: Frame) -> Header:
    wmo = None
    if frame.edition == 2:
        wmo = (handle.number("discipline"), handle.number("parameterCategory"), handle.number("parameterNumber"))
    return Header(
        short_name=handle.text("shortName"), wmo=wmo, units=handle.text("units"), type_of_level=handle.text("typeOfLevel"),
        level=handle.number("level"), step_type=handle.text("stepType"),
        template=handle.number("productDefinitionTemplateNumber") if frame.edition == 2 else 0,
        data_type=handle.text("dataType") if handle.has("dataType") else "",
    )


def _new_layout(frame: Frame, handle: Handle, box: Box | None) -> Layout | GridRefusedError | str:
    try:
        if not frame.grid:
            raise GridRefusedError("does not say where its points lie: fetch it on a plain latitude/longitude grid")
        header = _grid(handle, frame.edition)
        whole, points = layout(header, None), header.rows * header.columns
        claimed = int.from_bytes(frame.grid[6:10], "big") if frame.edition == 2 else points
        if claimed != points:
            raise DamagedError(f"claims {claimed} points where its grid has {points}")
        return layout(header, box) or (whole.axes.span() if whole else "")
    except GridRefusedError as refused:
        return refused


def _grid(handle: Handle, edition: int) -> GridHeader:
    kind = handle.text("gridType")
    if kind not in READABLE:
        raise unreadable(kind)
    scan = handle.number("scanningMode")
    steps = []
    for way in ("j", "i"):
        given = kind == "regular_ll" and handle.number(f"{way}DirectionIncrementGiven") and handle.has(f"{way}DirectionIncrement")
        steps.append(handle.real(f"{way}DirectionIncrementInDegrees") if given else None)
    return GridHeader(
        kind=kind, columns=handle.number("Ni"), rows=handle.number("Nj"),
        first=(handle.real("latitudeOfFirstGridPointInDegrees"), handle.real("longitudeOfFirstGridPointInDegrees")),
        last=(handle.real("latitudeOfLastGridPointInDegrees"), handle.real("longitudeOfLastGridPointInDegrees")),
        steps=(steps[0], steps[1]), i_negative=bool(scan & 128), j_positive=bool(scan & 64), j_consecutive=bool(scan & 32),
        alternate=bool(scan & 16), offset_rows=edition == 2 and bool(scan & 15), rounding=0.0005 if edition == 1 else 5e-7,
        gaussian=handle.reals("distinctLatitudes") if kind == "regular_gg" else (),
    )
