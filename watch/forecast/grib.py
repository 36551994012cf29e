"""Reads GRIB files of either edition into Forecasts, in one pass over their messages (I/O)."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from watch.faults import BadInputError
from watch.forecast.assemble import assemble, by_freshness
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.decode import Decoder, Outside, Slice, Whose
from watch.forecast.frames import ALL, ASK_AGAIN, Share, frames
from watch.forecast.gather import Gathered
from watch.forecast.handle import DamagedError, quiet
from watch.forecast.names import LABELS, Refusal

NOTHING = ("holds none of the fields that the watch reads (wind, gust, pressure, CAPE, rain, waves, temperature): "
           "fetch at least the wind at 10 m")


@dataclass(frozen=True, kw_only=True)
class Remark:
    """A message of a field that is needed and cannot be used. quiet: said only when the field comes from nowhere else."""

    file: str
    label: str
    name: str
    why: str
    quiet: bool


class Piece(NamedTuple):
    """What came of one field: file: its place in the list of paths; message: its number there, from 1; label: of the field."""

    file: int
    message: int
    label: str
    got: Slice | Outside | Refusal


def read(paths: Sequence[Path], box: Box | None = None, begins: Callable[[int], None] = lambda _: None) -> tuple[Forecast, ...]:
    """GRIB files -> Forecasts, newest run first, each run of each centre apart, an ensemble apart from a single run.

    Of every field only the window that encloses the box is kept. A message of a field that is needed but cannot be used makes a
    note. Raises BadInputError, one sentence a fault, for a file that is missing, no GRIB, cut short or damaged (nothing of it is
    used), and when the files hold nothing of use for the box. begins: is told the place in `paths` of each file before it is opened.
    """
    if not paths:
        raise ValueError("read() needs at least one file")
    with quiet():
        return joined(paths, box, pieces(paths, box, begins))


def pieces(paths: Sequence[Path], box: Box | None, begins: Callable[[int], None] = lambda _: None, share: Share = ALL) -> Iterator[Piece]:
    """Every field that the watch has a use for, of all messages or a share of those of each file, in order. Raises as `read`."""
    decoder = Decoder(box)
    for number, path in enumerate(paths):
        begins(number)
        for frame in frames(path, share):
            try:
                got = decoder.read(frame)
            except DamagedError as damage:
                raise BadInputError(path, [f"message {frame.label} {damage}; {ASK_AGAIN}"]) from None
            if got is not None:
                yield Piece(number, frame.number, frame.label, got)


def joined(paths: Sequence[Path], box: Box | None, found: Iterable[Piece]) -> tuple[Forecast, ...]:
    """All pieces of the files, in the order of the files and their messages -> Forecasts. Raises BadInputError when nothing is of use."""
    groups, remarks = dict[Whose, Gathered](), list[Remark]()
    for piece in found:
        _put(paths[piece.file].name, piece, groups, remarks)
    forecasts = [forecast for whose, gathered in groups.items() for forecast in assemble(whose.run, whose.centre, gathered, box)]
    if not forecasts:
        notes = tuple(note for gathered in groups.values() for note in gathered.notes)
        raise BadInputError(paths[0], (*_sentences(remarks, paths[0].name), *notes) or [NOTHING])
    known = {name for forecast in forecasts for name in forecast.fields}
    notes = _sentences([r for r in remarks if not r.quiet or r.name not in known], paths[0].name if len(paths) == 1 else "")
    return by_freshness(replace(forecast, notes=(*forecast.notes, *notes)) for forecast in forecasts)


def _put(file: str, piece: Piece, groups: dict[Whose, Gathered], remarks: list[Remark]) -> None:
    got = piece.got
    if isinstance(got, Slice):
        gathered = groups.setdefault(got.whose, Gathered())
        if file not in gathered.files:
            gathered.files.append(file)
        place = f"{file} message {piece.label}"
        gathered.add(got.what, got.layout.axes, got.layout.partial, got.member, (got.start_s, got.end_s), got.values, place)
    elif isinstance(got, Outside):
        why = f"covers {got.span} and does not reach the area asked for: fetch the forecast for where she will be"
        remarks.append(Remark(file=file, label=piece.label, name=got.name, why=why, quiet=False))
    else:
        remarks.append(Remark(file=file, label=piece.label, name=got.name, why=got.why, quiet=got.quiet))


def _sentences(remarks: Sequence[Remark], said: str) -> tuple[str, ...]:
    """One sentence a file and reason: the first message, how many more, of which fields. said: a file that needs no naming."""
    kinds: dict[tuple[str, str], list[Remark]] = {}
    for remark in remarks:
        kinds.setdefault((remark.file, remark.why), []).append(remark)
    sentences = []
    for (file, why), (first, *others) in kinds.items():
        names = ", ".join(dict.fromkeys(LABELS[other.name] for other in others))
        more = f" (and {len(others)} more like it: {names})" if others else ""
        sentences.append(f"{'' if file == said else file + ' '}message {first.label} ({LABELS[first.name]}) {why}{more}")
    return tuple(sentences)
