"""The reader against its slow twin: the same files through cfgrib, real ones and made ones; and that the twin would notice."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.made_gribs import Grid, Message, ensemble, wind, write
from watch.forecast import twin
from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.forecast.twin import compare_with_cfgrib

pytestmark = pytest.mark.source("cfgrib-1")
READABLE = [
    "grib/all-fields-global-10deg-96h.grib2", "grib/all-fields-global-2p5-2011100800-72h.grib2",
    "grib/ens51-gust6h-europe-2018112012.grib", "grib/gust6h-north-atlantic-2011121512.grib",
    "grib/levels-europe-2011121500-0-42h.grib", "grib/surface-iceland-20210601.grib",
    "grib/wave-7days-indian-ocean-2016030106.grib1", "grib/waves-west-atlantic-1h.grib2", "grib/wind-0p25-wraps-greenwich.grib2",
    "grib/wind-7days-indian-ocean-2016030106.grib1", "grib-odd/alternate-scanning.grib",
    "grib-odd/same-wind-packing-template5-3.grib2", "grib-odd/step_60m.grib", "grib-odd/two-grids-in-one-file-10u.grib",
]
GLOBE = Grid(south=-90, north=90, west=0, east=350, rows=19, columns=36)


@pytest.mark.parametrize("name", READABLE)
def test_real_files_read_alike(real_data: Path, name: str, tmp_path: Path) -> None:
    before = sorted((real_data / name).parent.iterdir())
    assert compare_with_cfgrib(real_data / name, tmp_path) == []
    assert sorted((real_data / name).parent.iterdir()) == before  # no index beside the sailor's files
    assert [path.suffix for path in tmp_path.iterdir()] == [".idx"]


def sums(grid: Grid) -> list[Message]:
    total = np.cumsum([grid.plane(seed, 0.0, 4.0) for seed in range(4)], axis=0)
    return [Message(what="tp", grid=grid, step=(0, 3 * (i + 1)), statistic="accum", values=total[i]) for i in range(4)]


@pytest.mark.parametrize("messages", [
    wind(values=Grid().plane(1)) + sums(Grid()),
    wind(grid=GLOBE, values=GLOBE.plane(2)),
    [m for step in (0, 3, 6, 12) for m in ensemble(4, wind(step=step, values=Grid().plane(step)))],
    [Message(what="speed", values=Grid().plane(1)), Message(what="from", values=Grid().plane(2, 0.0, 360.0))],
    [Message(what="gust 10", step=(i, i + 3), statistic="max", values=Grid().plane(i), centre="ecmf") for i in (0, 3, 6)],
    [Message(what="swh", missing=True, values=np.where(Grid().plane(1) > 12.0, np.nan, Grid().plane(1)))],
    wind(grid=Grid(west=170.0, east=195.0), values=Grid().plane(4)),
    [Message(what="prmsl", step=step, step_unit="m", values=Grid().plane(step, 99_000, 103_000)) for step in (0, 30, 60, 90)],
    [Message(what="10fg6", edition=1, step=(s, s + 6), centre="ecmf", values=Grid().plane(s)) for s in (0, 6)],
], ids=["wind and rain", "globe", "ensemble", "speed and direction", "gust maxima", "land", "antimeridian", "half hours", "GRIB1"])
def test_made_files_read_alike(messages: list[Message], tmp_path: Path) -> None:
    assert compare_with_cfgrib(write(tmp_path, messages)) == []


def tampered(change: object) -> object:
    def reading(paths: list[Path]) -> tuple[Forecast, ...]:
        return tuple(change(forecast) for forecast in read(paths))  # type: ignore[operator]
    return reading


def with_field(forecast: Forecast, **new: object) -> Forecast:
    field = forecast.fields[Name.GUST_MS]
    return replace(forecast, fields={**forecast.fields, Name.GUST_MS: field.assign_coords(new) if "data" not in new else field.copy(**new)})


@pytest.mark.parametrize(("change", "said"), [
    (lambda f: with_field(f, data=f.fields[Name.GUST_MS].to_numpy() + np.float32(0.01)),
     "gust: values differ from cfgrib's in 3 of 3 fields"),
    (lambda f: with_field(f, data=np.where(np.arange(6) == 2, np.nan, f.fields[Name.GUST_MS].to_numpy()).astype(np.float32)),
     "gust: values differ from cfgrib's in 3 of 3 fields"),
    (lambda f: with_field(f, latitude=f.fields[Name.GUST_MS]["latitude"] + 0.5),
     "gust: cfgrib finds nothing on the same grid for 3 of 3 fields"),
    (lambda f: with_field(f, time=f.fields[Name.GUST_MS]["time"] + np.timedelta64(1, "h")),
     "gust: cfgrib finds nothing on the same grid for 3 of 3 fields"),
    (lambda f: replace(f, fields={}), "gust of 2026-05-14 00:00 member 0 is there for cfgrib but not for us"),
], ids=["values", "missing", "places", "times", "fields"])
def test_the_twin_notices(change: object, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, [Message(what="gust", step=step, values=Grid().plane(step)) for step in (0, 3, 6)])
    assert compare_with_cfgrib(path) == []
    monkeypatch.setattr(twin, "read", tampered(change))
    assert compare_with_cfgrib(path) == [said]


def test_a_refused_file_gives_its_refusal(tmp_path: Path) -> None:
    path = tmp_path / "empty.grib2"
    path.write_bytes(b"")
    assert compare_with_cfgrib(path) == [f"not compared, for it is refused: {path}: is empty: fetch it again"]
