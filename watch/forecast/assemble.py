"""From fields sorted by run to Forecasts in the contract: one grid a field, one set of members, pairs of components together."""

from collections.abc import Iterable, Mapping
from datetime import datetime

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from watch.forecast.box import Box
from watch.forecast.contract import PARTLY, Forecast, Name
from watch.forecast.gather import Gathered, Source, choose_guise, fill_unsaid_starts, join_speed_and_direction, one_per_end
from watch.forecast.names import LABELS, Statistic
from watch.forecast.rain import rates
from watch.when import to_np

PAIRS = ((Name.U10_MS, Name.V10_MS), (Name.U925_MS, Name.V925_MS), (Name.U850_MS, Name.V850_MS), (Name.U500_MS, Name.V500_MS))
FAMILIES: tuple[tuple[Name, ...], ...] = PAIRS + tuple((n,) for n in Name if n not in {part for pair in PAIRS for part in pair})
DIMS = ("member", "time", "latitude", "longitude")
UNITS = {"_ms": "m s-1", "_pa": "Pa", "_jkg": "J kg-1", "_kgm2s": "kg m-2 s-1", "_k": "K", "_m": "m", "_s": "s", "_deg": "degree",
         "_kgkg": "kg kg-1", "_pct": "%"}
# Beyond these a value is no weather at sea but a fault of the file or of its units (judgement; source believable-1).
BELIEVABLE: dict[Name, tuple[float, float]] = {
    Name.U10_MS: (-110.0, 110.0), Name.V10_MS: (-110.0, 110.0), Name.GUST_MS: (0.0, 150.0),
    Name.PRESSURE_PA: (85_000.0, 110_000.0), Name.CAPE_JKG: (0.0, 15_000.0), Name.RAIN_KGM2S: (0.0, 0.15),
    Name.T2M_K: (170.0, 340.0), Name.D2M_K: (150.0, 320.0),
    Name.SEA_M: (0.0, 35.0), Name.PERIOD_S: (0.0, 40.0), Name.WAVE_FROM_DEG: (-0.5, 360.5),
}


def unit_of(name: Name) -> str:
    """The SI unit that a field's name ends in.

    >>> unit_of(Name.RAIN_KGM2S), unit_of(Name.SEA_M)
    ('kg m-2 s-1', 'm')
    """
    return UNITS["_" + name.value.rsplit("_", 1)[1]]


def assemble(run: datetime, centre: str, gathered: Gathered, box: Box | None) -> list[Forecast]:
    """All fields of one run of one centre, single or ensemble -> Forecasts: the main one, then any that only another grid gives.

    Fields of one Forecast share their members; a field that a member lacks is NaN there.
    """
    join_speed_and_direction(gathered)
    fill_unsaid_starts(gathered)
    main: dict[Name, Source] = {}
    aside: dict[object, dict[Name, Source]] = {}
    for family in FAMILIES:
        by_grid = _by_grid(gathered, family)
        if not by_grid:
            continue
        order = sorted(by_grid.values(), key=lambda found: _preference(found, box))
        best, *others = order
        main.update(best)
        for other in others:
            if _place(gathered, best, other, box):
                aside.setdefault(next(iter(other.values())).axes.key, {}).update(other)
    forecasts = [_forecast(run, centre, fields, gathered, box) for fields in (main, *aside.values()) if fields]
    return [forecast for forecast in forecasts if forecast.fields]


def _by_grid(gathered: Gathered, family: tuple[Name, ...]) -> dict[object, dict[Name, Source]]:
    """The fields of a family by grid, one guise each, rain as rates; grids with both components before those with one."""
    found: dict[object, dict[Name, Source]] = {}
    for name in family:
        per_grid: dict[object, list[Source]] = {}
        for source in gathered.of(name):
            per_grid.setdefault(source.axes.key, []).append(source)
        for key, sources in per_grid.items():
            found.setdefault(key, {})[name] = _ready(gathered, choose_guise(gathered, sources))
    whole = {key: fields for key, fields in found.items() if len(fields) == len(family)}
    if found and not whole:
        gathered.say(f"{LABELS[next(iter(next(iter(found.values()))))]} comes without its other component: it makes no wind")
    return whole or found


def _ready(gathered: Gathered, source: Source) -> Source:
    cells, notes = rates(source) if source.what.name == Name.RAIN_KGM2S else (source.cells, [])
    for note in notes:
        gathered.say(note)
    return Source(what=source.what, axes=source.axes, partial=source.partial, cells=one_per_end(cells))


def _preference(found: Mapping[Name, Source], box: Box | None) -> tuple[bool, float, int]:
    """Small is better: covers the box, then fine, then far ahead."""
    source = next(iter(found.values()))
    return box is not None and not source.axes.covers(box), round(source.axes.spacing, 6), -source.last_s


def _place(gathered: Gathered, best: Mapping[Name, Source], other: Mapping[Name, Source], box: Box | None) -> bool:
    """True when a second grid gives what the first does not, so that it becomes a Forecast of its own; says which is which."""
    name, first = next(iter(best.items()))
    second = next(iter(other.values()))
    which = f"{LABELS[name]} comes on two grids: {first.axes.span()} every {first.axes.spacing:.3g} degrees is used"
    and_other = f"{second.axes.span()} every {second.axes.spacing:.3g} degrees"
    if box is None and _apart(first, second):
        gathered.say(f"{which} first, {and_other} stands beside it as a forecast of its own")
        return True
    if second.last_s > first.last_s:
        hours = (first.last_s // 3600, second.last_s // 3600)
        gathered.say(f"{which} to {hours[0]} h, {and_other} to {hours[1]} h stands beside it as a forecast of its own")
        return True
    gathered.say(f"{which}, {and_other} is left out")
    return False


def _apart(first: Source, second: Source) -> bool:
    a, b = first.axes, second.axes
    if a.latitude[-1] < b.latitude[0] or b.latitude[-1] < a.latitude[0]:
        return True
    start = (b.longitude[0] - a.longitude[0]) % 360.0
    return bool(start > np.ptp(a.longitude) and start + np.ptp(b.longitude) < 360.0)


def _forecast(run: datetime, centre: str, fields: Mapping[Name, Source], gathered: Gathered,
              box: Box | None) -> Forecast:
    members = sorted({member for source in fields.values() for member in source.members})
    notes = list(gathered.notes)
    arrays: dict[Name, xr.DataArray] = {}
    made: dict[object, xr.DataArray] = {}
    for pair in FAMILIES:
        ends = sorted({end for name in pair if name in fields for _, end in fields[name].cells})
        for name in pair:
            if name in fields:
                arrays[name], own = _array(name, fields[name], to_np(run), members, ends, made)
                notes += own
    if box is not None and any(source.partial for source in fields.values()):
        partly = ", ".join(sorted({LABELS[name] for name, source in fields.items() if source.partial}))
        notes.append(f"{PARTLY} ({partly}): outside it nothing is known")
    notes += _short_fields(fields)
    return Forecast(run=run, centre=centre, kind="ensemble" if len(members) > 1 else "single", fields=arrays,
                    files=tuple(gathered.files), notes=tuple(dict.fromkeys(notes)))


def _short_fields(fields: Mapping[Name, Source]) -> list[str]:
    furthest = max(source.last_s for source in fields.values())
    return [f"{LABELS[name]} ends at {source.last_s // 3600} h, before the end of the forecast at {furthest // 3600} h"
            for name, source in fields.items() if source.last_s < furthest]


def _array(name: Name, source: Source, run: np.datetime64, members: list[int], ends: list[int],
           made: dict[object, xr.DataArray]) -> tuple[xr.DataArray, list[str]]:
    """One field as the contract has it: NaN where a member lacks a time. made: fields so far, whose coordinates serve again."""
    axes, row = source.axes, {member: index for index, member in enumerate(members)}
    values = np.full((len(members), len(ends), axes.latitude.size, axes.longitude.size), np.nan, dtype=np.float32)
    starts = {end: start for start, end in source.cells}
    filled = 0
    for column, end in enumerate(ends):
        for member, window in source.cells.get((starts.get(end, end), end), {}).items():
            values[row[member], column] = window
            filled += 1
    begins = [starts.get(end, end) for end in ends]
    key = (axes.key, tuple(ends), tuple(begins))
    array = made[key].copy(deep=False, data=values) if key in made else xr.DataArray(values, dims=DIMS, coords={
        "member": np.array(members, dtype=np.int64), "time": run + np.array(ends, dtype="timedelta64[s]"),
        "time_from": ("time", run + np.array(begins, dtype="timedelta64[s]")),
        "latitude": axes.latitude, "longitude": axes.longitude,
    })
    made[key] = array
    statistic = Statistic.MEAN if source.what.statistic == Statistic.SUM else source.what.statistic
    array.name, array.attrs = name.value, {"units": unit_of(name), "statistic": statistic.value, "guise": source.what.guise}
    wanted = len(members) * len(ends)
    lacking = f"{LABELS[name]} is missing in {wanted - filled} of {wanted} fields (members times hours): unknown there"
    return array, [lacking] * (filled < wanted) + _unbelievable(name, values)


def _unbelievable(name: Name, values: NDArray[np.float32]) -> list[str]:
    if name not in BELIEVABLE or np.isnan(values).all():
        return [] if name not in BELIEVABLE else [f"{LABELS[name]} is missing everywhere"]
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if BELIEVABLE[name][0] <= low and high <= BELIEVABLE[name][1]:
        return []
    return [f"{LABELS[name]} runs from {low:.4g} to {high:.4g} {unit_of(name)}, which is not to be believed: do not rest on it"]


def by_freshness(forecasts: Iterable[Forecast]) -> tuple[Forecast, ...]:
    """Newest run first; of one run those with wind first, then ensembles, then those with more fields.

    >>> by_freshness(())
    ()
    """
    def freshness(forecast: Forecast) -> tuple[datetime, bool, bool, int]:
        return forecast.run, forecast.has(*PAIRS[0]), forecast.kind == "ensemble", len(forecast.fields)

    return tuple(sorted(forecasts, key=freshness, reverse=True))
