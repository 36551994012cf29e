"""Reads GRIB files of either edition into Forecasts, in one pass over their messages (I/O)."""

from collections.abc import Sequence
from pathlib import Path

from watch.faults import BadInputError
from watch.forecast.assemble import assemble, by_freshness
from watch.forecast.box import Box
from watch.forecast.contract import Forecast
from watch.forecast.decode import DamagedError, Decoder, Outside, Slice, Whose, quiet
from watch.forecast.frames import ASK_AGAIN, frames
from watch.forecast.gather import Gathered
from watch.forecast.names import FROM, LABELS, SPEED, Refusal

Remarks = dict[tuple[str, str, str, bool], list[str]]  # (file, field, why, quiet) -> message numbers


def read(paths: Sequence[Path], box: Box | None = None) -> tuple[Forecast, ...]:
    """GRIB files -> Forecasts, newest run first, each run of each centre apart, an ensemble apart from a single run.

    Of every field only the window that encloses the box is kept. A message of a field that is needed but cannot be used makes a note.
    Raises BadInputError, one sentence a fault, for a file that is missing, no GRIB, cut short or damaged (nothing of it is used), and
    when the files hold nothing of use for the box.
    """
    if not paths:
        raise ValueError("read() needs at least one file")
    decoder, groups, remarks = Decoder(box), dict[Whose, Gathered](), Remarks()
    with quiet():
        for path in paths:
            _read_file(path, decoder, groups, remarks)
    found = [forecast for whose, gathered in groups.items() for forecast in assemble(whose.run, whose.centre, gathered, box)]
    if not found:
        raise BadInputError(paths[0], _nothing(paths, remarks, box))
    notes = tuple(_sentence(path.name, remarks, key) for path in paths for key in remarks if key[0] == path.name and _said(key, found))
    return by_freshness(_with_notes(forecast, notes) for forecast in found)


def _read_file(path: Path, decoder: Decoder, groups: dict[Whose, Gathered], remarks: Remarks) -> None:
    for frame in frames(path):
        try:
            got = decoder.read(frame)
        except DamagedError as damage:
            raise BadInputError(path, [f"message {frame.label} {damage}; {ASK_AGAIN}"]) from None
        if isinstance(got, Slice):
            gathered = groups.setdefault(got.whose, Gathered())
            if path.name not in gathered.files:
                gathered.files.append(path.name)
            place = f"{path.name} message {frame.label}"
            gathered.add(got.what, got.layout.axes, got.layout.partial, got.member, (got.start_s, got.end_s), got.values, place)
        elif isinstance(got, Outside):
            why = f"covers {got.span} and does not reach the area asked for"
            remarks.setdefault((path.name, got.name, why, False), []).append(frame.label)
        elif isinstance(got, Refusal):
            remarks.setdefault((path.name, got.name, got.why, got.quiet), []).append(frame.label)


def _sentence(source: str, remarks: Remarks, key: tuple[str, str, str, bool]) -> str:
    file, name, why, _ = key
    first, *others = remarks[key]
    more = f" (and {len(others)} more like it)" if others else ""
    where = "" if file == source else f"{file} "
    return f"{where}message {first} ({LABELS[name]}) {why}{more}"


def _said(key: tuple[str, str, str, bool], found: Sequence[Forecast]) -> bool:
    """A quiet remark is said only when the field comes from nowhere else."""
    _, name, _, quietly = key
    return not quietly or name in (SPEED, FROM) or not any(name in forecast.fields for forecast in found)


def _with_notes(forecast: Forecast, notes: tuple[str, ...]) -> Forecast:
    own = tuple(note for note in notes)
    return Forecast(run=forecast.run, centre=forecast.centre, kind=forecast.kind, fields=forecast.fields, files=forecast.files,
                    notes=forecast.notes + own)


def _nothing(paths: Sequence[Path], remarks: Remarks, box: Box | None) -> list[str]:
    """Why nothing could be used: every reason met, or that no field of use is there."""
    said = [_sentence(paths[0].name, remarks, key) for key in remarks]
    return said or ["holds none of the fields that the watch reads (wind, gust, pressure, CAPE, rain, waves, temperature): "
                    "fetch at least the wind at 10 m"]
