"""Later runs, or a row of analyses, as one forecast: every time from the newest run that has it, so at its shortest lead time."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from watch.forecast.contract import Forecast, Name


class GridsDifferError(ValueError):
    """The runs are not on one grid; the message says which field differs and in which files."""


def joined(runs: Sequence[Forecast]) -> Forecast:
    """Runs of one model over one box -> one forecast from the oldest base time on. Of an ensemble, the control.

    A newer run replaces an older from its own first time on, field by field; before it the older one stands, so that analyses six
    hours apart (one time each) become a row, and a gust over the hours before comes from the run that has it. Raises GridsDifferError.
    """
    ordered = sorted(runs, key=lambda f: f.run)
    names = [name for name in Name if any(f.has(name) for f in ordered)]
    fields = {name: _row([f for f in ordered if f.has(name)], name) for name in names}
    files = tuple(dict.fromkeys(file for f in ordered for file in f.files))
    notes = tuple(dict.fromkeys(note for f in ordered for note in f.notes))
    return Forecast(run=ordered[0].run, centre=ordered[0].centre, kind="single", fields=fields, files=files, notes=notes)


def _row(runs: Sequence[Forecast], name: Name) -> xr.DataArray:
    """One field of several runs as one row of times."""
    first = runs[0].fields[name].isel(member=[0])
    parts = [first]
    for run in runs[1:]:
        field = run.fields[name].isel(member=[0])
        _same_grid(first, field, name, runs[0], run)
        begins = field["time"].values[0]
        parts = [part.isel(time=part["time"].values < begins) for part in parts]
        parts.append(field.assign_coords(member=first["member"]))
    parts = [part for part in parts if part.sizes["time"]]
    whole = xr.concat(parts, dim="time", coords="different", compat="equals", join="exact", combine_attrs="override")
    return whole.transpose("member", "time", "latitude", "longitude")


def _same_grid(one: xr.DataArray, other: xr.DataArray, name: Name, run: Forecast, next_run: Forecast) -> None:
    for axis in ("latitude", "longitude"):
        a, b = one[axis].values, other[axis].values
        if a.shape != b.shape or not np.array_equal(a, b):
            files = " and ".join(", ".join(f.files) for f in (run, next_run))
            raise GridsDifferError(f"{name} is on another grid in {files}; what happened must be given on one grid")
