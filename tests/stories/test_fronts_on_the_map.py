"""A front that the map shows and the wind along the track hardly does; and one that both tell of. The air is invented."""

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner

from tests.independent.test_fronts_on_maps import moving_front
from watch.cli import main
from watch.forecast.contract import Forecast, Name
from watch.orders.outlook import outlook
from watch.weather.look import Where
from watch.weather.mapped_fronts import fronts_on_maps
from watch.weather.scenarios import make_scenarios
from watch.when import ShipTime, grid

ROOT = Path(__file__).resolve().parents[2]


def with_even_wind(found: Forecast) -> Forecast:
    fields = {
        name: field.assign_coords(time_from=("time", field["time"].values)).assign_attrs(units="SI", statistic="instant", guise="made")
        for name, field in found.fields.items()
    }
    warm = fields[Name.T850_K]
    even = {name: warm.copy(data=np.full(warm.shape, value, dtype=np.float32)) for name, value in ((Name.U10_MS, 6.0), (Name.V10_MS, 2.0))}
    return replace(found, fields={**fields, **even})


def where_at(found: Forecast, longitude: float = 0.0) -> Where:
    time = grid(found.run, 6 * 36)[:-1]
    return Where(time=time, latitude=np.full(len(time), 45.0), longitude=np.full(len(time), longitude))


def told(found: Forecast, where: Where) -> list[tuple[str, str]]:
    made = make_scenarios([found], where)
    features = outlook(made, where, np.full(len(where.time), np.nan), ShipTime.for_longitude(0.0), 1.0, fronts_on_maps([found], where))
    return [(feature.kind, feature.words) for feature in features if "front" in feature.kind]


@pytest.mark.parametrize("shift", [0.0, 360.0])
def test_what_only_the_map_tells_of_is_said_with_what_is_not_known(shift: float) -> None:
    found = with_even_wind(moving_front(0.5))
    fields = {name: field.assign_coords(longitude=field["longitude"] + shift) for name, field in found.fields.items()}
    told_of = told(replace(found, fields=fields), where_at(found))
    assert [kind for kind, _ in told_of] == ["cold front"]
    assert "how likely it is, is not known (drawn on temperature alone" in told_of[0][1]
    maps = fronts_on_maps([found], where_at(found))
    assert maps is not None
    # 10 degrees of longitude at 45 N are 786 km: at 12 m/s the middle of the change is there after 18 h, its warm edge somewhat before
    assert timedelta(hours=11) < maps.crossings[0].time - found.run < timedelta(hours=18.5)


def test_the_map_in_parts_says_what_the_whole_map_says() -> None:
    from watch.weather.front_fields import crossings, front_maps

    found = with_even_wind(moving_front(0.5))
    where, whole = where_at(found, -3.0), front_maps(found)
    near = fronts_on_maps([found], where)
    assert whole is not None
    assert near is not None
    (one,), (other,) = near.crossings, crossings(whole, where.time, where.latitude, where.longitude)
    assert abs((one.time - other.time).total_seconds()) < 600
    assert one.kind is other.kind


def test_without_air_aloft_or_with_an_old_map_alone_nothing_is_said() -> None:
    found = with_even_wind(moving_front(0.5))
    where = where_at(found)
    bare = replace(found, fields={name: found.fields[name] for name in (Name.U10_MS, Name.V10_MS)})
    assert fronts_on_maps([], where) is None
    assert fronts_on_maps([bare], where) is None
    assert fronts_on_maps([replace(bare, run=found.run + timedelta(hours=30)), found], where) is None
    once = {name: field.isel(time=slice(0, 1)) for name, field in found.fields.items()}
    assert fronts_on_maps([replace(found, fields=once)], where) is None
    nothing = found.fields[Name.T850_K]
    hollow = replace(found, fields={**found.fields, Name.T850_K: xr.full_like(nothing, np.nan)})
    assert told(hollow, where) == []


def test_the_demo_s_front_is_told_by_wind_and_map_in_one() -> None:
    result = CliRunner().invoke(main, [
        "brief", "--json", "--boat", str(ROOT / "config" / "boat-sloop.toml"), "--route", str(ROOT / "config" / "passage-bermuda-horta.toml"),
        "--forecast", str(ROOT / "fixtures" / "kittiwake-2026051612.grib2"), "--now", "2026-05-16T12:10Z", "--position", "36 30.0 N, 52 00.0 W",
    ])  # fmt: skip
    assert result.exit_code == 0, result.output
    cold = [feature for feature in json.loads(result.stdout)["outlook"] if feature["kind"] == "cold front"]
    assert len(cold) == 1
    assert "in over 99 of 100 weathers" in cold[0]["words"]
    assert "On the map the air at 850 hPa begins to change about" in cold[0]["words"]
