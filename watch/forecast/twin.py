"""The reader's slow twin: the same file through cfgrib, and where the two differ, in words (I/O)."""

import logging
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import cfgrib
import numpy as np
from cfgrib import dataset as cf
from cfgrib.messages import FileStream
from numpy.typing import NDArray

from watch.faults import BadInputError
from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.forecast.handle import quiet
from watch.forecast.names import FROM, LABELS, SPEED
from watch.units import Floats, wind_components_ms
from watch.when import from_np

# Numbers of ecCodes' own parameter list -> field, whatever the level.
PARAMETERS: dict[int, Name | str] = {
    number: name for name, numbers in {
        Name.U10_MS: (165,), Name.V10_MS: (166,), SPEED: (10, 207), FROM: (3031, 260260),
        Name.GUST_MS: (49, 123, 228028, 228029, 237318, 260065), Name.PRESSURE_PA: (151, 260074, 260317),
        Name.CAPE_JKG: (59, 228235), Name.RAIN_KGM2S: (228, 228228, 3059, 260048, 235055),
        Name.T2M_K: (167,), Name.D2M_K: (168,),
        Name.SEA_M: (3100, 140229), Name.PERIOD_S: (3108, 140231, 140232, 260234), Name.WAVE_FROM_DEG: (3107, 140230, 260233),
    }.items() for number in numbers
}
# The same for numbers that need their level.
LEVELS: dict[tuple[int, str, int], Name] = {
    (131, "surface", 0): Name.U10_MS, (131, "surface", 1): Name.U10_MS, (132, "surface", 0): Name.V10_MS,
    (132, "surface", 1): Name.V10_MS, (130, "isobaricInhPa", 850): Name.T850_K, (133, "isobaricInhPa", 850): Name.Q850_KGKG,
    (157, "isobaricInhPa", 850): Name.R850_PCT,
    (131, "isobaricInhPa", 925): Name.U925_MS, (132, "isobaricInhPa", 925): Name.V925_MS,
    (131, "isobaricInhPa", 850): Name.U850_MS, (132, "isobaricInhPa", 850): Name.V850_MS,
    (131, "isobaricInhPa", 500): Name.U500_MS, (132, "isobaricInhPa", 500): Name.V500_MS,
}
PLACES = 3  # decimals of a degree to which the two must agree on where a point lies
SAME_SPEED_MS = 2e-5  # components made of speed and direction are rounded twice
SAME_DEPTH_MM = 2e-3


class _Plane(NamedTuple):
    unit: str
    latitude: Floats
    longitude: Floats
    values: NDArray[np.float32]


Key = tuple[Name | str, datetime, int, datetime]  # field, run, member, valid time
Planes = dict[Key, list[_Plane]]


def compare_with_cfgrib(path: Path, cache: Path | None = None) -> list[str]:
    """One file read by us and by cfgrib -> where they differ, a sentence each; nothing when they agree.

    cache: a folder for cfgrib's index file, made for the time being when None; nothing is ever written beside the file. Slow: for
    checking a reader, not for every day. A file that we refuse gives that refusal.
    """
    try:
        forecasts = read([path])
    except BadInputError as refused:
        return [f"not compared, for it is refused: {refused}"]
    with tempfile.TemporaryDirectory() as made, quiet(), _silent_cfgrib():
        planes: Planes = {}
        for key, plane in _by_cfgrib(path, cache or Path(made)):
            planes.setdefault(key, []).append(plane)
    differences = [sentence for forecast in forecasts for sentence in _of_forecast(forecast, planes)]
    return [*differences, *_lacking(forecasts, planes)]


@contextmanager
def _silent_cfgrib() -> Iterator[None]:
    log = logging.getLogger("cfgrib")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(before)


def _by_cfgrib(path: Path, cache: Path) -> Iterator[tuple[Key, _Plane]]:
    """Every plane that cfgrib finds of a field we know. Its own datasets are used, which open nothing but GRIB."""
    index = cf.open_fileindex(FileStream(str(path), errors="ignore"), str(cache / "{short_hash}.idx"), cf.compute_index_keys())
    known = set(PARAMETERS) | {number for number, _, _ in LEVELS}
    for number in sorted(known & set(index.get("paramId", []))):
        for data in _datasets(index.subindex(paramId=number)):
            for variable in data.variables.values():
                if "GRIB_paramId" in variable.attributes:
                    yield from _planes(number, variable, data.variables)


def _datasets(index: Any) -> Iterator[Any]:
    """Splits what does not fit into one dataset, as cfgrib proposes it."""
    try:
        yield cf.open_from_index(index, squeeze=False, errors="ignore")
        return
    except cfgrib.DatasetBuildError as error:
        parts = error.args[2]
    for part in parts:
        yield from _datasets(index.subindex(part))


def _planes(number: int, variable: Any, coords: dict[str, Any]) -> Iterator[tuple[Key, _Plane]]:
    attributes = variable.attributes
    if variable.dimensions[-2:] != ("latitude", "longitude") or attributes.get("GRIB_dataType") in ("em", "es"):
        return
    values, level_type = variable.data.build_array(), attributes["GRIB_typeOfLevel"]
    for at in np.ndindex(values.shape[:-2]):
        place = {name: coords[name].data[index] for name, index in zip(variable.dimensions, at, strict=False)}
        level = int(place.get(level_type, 0))
        name = PARAMETERS.get(number, LEVELS.get((number, level_type, level)))
        if name is None or np.isnan(values[at]).all():
            continue
        run = datetime.fromtimestamp(int(place["time"]), tz=UTC)
        valid = run + timedelta(seconds=round(float(place["step"]) * 3600.0))
        unit = str(attributes["GRIB_units"])
        yield ((name, run, int(place.get("number", 0)), valid),
               _Plane(unit, coords["latitude"].data, coords["longitude"].data, values[at]))


def _of_forecast(forecast: Forecast, planes: Planes) -> Iterator[str]:
    for name, field in forecast.fields.items():
        times, starts = field["time"].to_numpy(), field["time_from"].to_numpy()
        latitude, longitude = field["latitude"].to_numpy(), field["longitude"].to_numpy()
        wrong, lost = 0, 0
        for row, member in enumerate(field["member"].to_numpy()):
            for column, (start, end) in enumerate(zip(starts, times, strict=True)):
                ours = field.to_numpy()[row, column]
                if np.isnan(ours).all():
                    continue
                key: Key = (name, forecast.run, int(member), from_np(end))
                theirs = _candidates(key, from_np(start), planes, field.attrs["guise"] == "speed and direction")
                laid = [(_on_our_grid(plane, latitude, longitude), slack) for plane, slack in theirs]
                found = [_same(ours, values, slack) for values, slack in laid if values is not None]
                lost += not found
                wrong += bool(found) and not any(found)
        if lost:
            yield f"{LABELS[name]}: cfgrib finds nothing on the same grid for {lost} of {field.shape[0] * times.size} fields"
        if wrong:
            yield f"{LABELS[name]}: values differ from cfgrib's in {wrong} of {field.shape[0] * times.size} fields"


def _candidates(key: Key, start: datetime, planes: Planes, of_speed: bool) -> Iterator[tuple[_Plane, float]]:
    """What cfgrib's planes say the field could be, and how far it may be off for rounding."""
    name, run, member, end = key
    if name in (Name.U10_MS, Name.V10_MS) and of_speed:
        for speed in planes.get((SPEED, run, member, end), []):
            for from_deg in planes.get((FROM, run, member, end), []):
                if speed.values.shape == from_deg.values.shape:
                    parts = wind_components_ms(speed.values, from_deg.values)
                    yield speed._replace(values=parts[name == Name.V10_MS].astype(np.float32)), SAME_SPEED_MS
    elif name == Name.RAIN_KGM2S:
        yield from _rain(key, start, planes)
    else:
        yield from ((plane, 0.0) for plane in planes.get(key, []))


def _rain(key: Key, start: datetime, planes: Planes) -> Iterator[tuple[_Plane, float]]:
    name, run, member, end = key
    seconds = max((end - start).total_seconds(), 1.0)
    for plane in planes.get(key, []):
        if plane.unit.endswith("s**-1"):
            yield plane, SAME_DEPTH_MM / seconds
            continue
        to_mm = 1000.0 if plane.unit == "m" else 1.0
        before = [np.zeros_like(plane.values), *(other.values for other in planes.get((name, run, member, start), []))]
        for less in before:
            if less.shape == plane.values.shape:
                depth = np.maximum((plane.values - less) * to_mm, 0.0)
                yield plane._replace(values=(depth / seconds).astype(np.float32)), SAME_DEPTH_MM / seconds


def _on_our_grid(plane: _Plane, latitude: Floats, longitude: Floats) -> NDArray[np.float32] | None:
    """cfgrib's plane in our order of rows and columns; None when its points are not ours."""
    rows = {round(float(value), PLACES): index for index, value in enumerate(plane.latitude)}
    columns = {round(float(value) % 360.0, PLACES) % 360.0: index for index, value in enumerate(plane.longitude)}
    row = [rows.get(round(float(value), PLACES)) for value in latitude]
    column = [columns.get(round(float(value) % 360.0, PLACES) % 360.0) for value in longitude]
    if None in row or None in column or len(set(row)) != len(rows) or len(set(column)) != len(columns):
        return None
    taken: NDArray[np.float32] = plane.values[np.ix_(np.array(row, dtype=int), np.array(column, dtype=int))]
    return taken


def _same(ours: NDArray[np.float32], theirs: NDArray[np.float32], slack: float) -> bool:
    theirs = np.where(np.abs(theirs - 9999.0) < 0.5, np.float32(np.nan), theirs)  # missing, written without a bitmap
    return bool(np.allclose(ours, theirs, rtol=1e-5 if slack else 0.0, atol=slack, equal_nan=True))


def _lacking(forecasts: tuple[Forecast, ...], planes: Planes) -> Iterator[str]:
    """Fields that cfgrib finds and we neither have nor speak of."""
    ours = {(name, forecast.run, int(member)) for forecast in forecasts for name, field in forecast.fields.items()
            for member in field["member"].to_numpy()}
    notes = " ".join(note for forecast in forecasts for note in forecast.notes)
    for name, run, member in sorted({key[:3] for key in planes}):
        wind = name in (SPEED, FROM) and (Name.U10_MS, run, member) in ours
        if (name, run, member) not in ours and not wind and LABELS[name] not in notes:
            yield f"{LABELS[name]} of {run:%Y-%m-%d %H:%M} member {member} is there for cfgrib but not for us"
