"""Far out: sizes, places and times at the ends of what can be. Each is read rightly, or refused in a sentence with exit code 2; memory and
the processor's time are held down from outside while it runs, and what was kept is still there afterwards."""

import json
import os
import resource
import warnings
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from tests.made_gribs import Grid, Message, write
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.cli import main
from watch.faults import MOST_FAULTS, BadInputError
from watch.files import SETTINGS_BYTES
from watch.forecast.contract import Forecast, Name
from watch.forecast.grib import read
from watch.forecast.kept import Kept, to_drop
from watch.instruments.nmea0183 import checksum, parse_line
from watch.instruments.readings import Quantity
from watch.instruments.signal_k import parse_delta
from watch.passage.gpx import MOST_POINTS
from watch.passage.light import light_along
from watch.passage.route_file import read_route
from watch.service import one_pass
from watch.service.one_pass import MOST_WEATHER_STEPS, Asked
from watch.service.stand.clock import Clock
from watch.service.store.store import Store
from watch.when import STEPS_PER_HOUR, parse_utc, to_np

ROOT = Path(__file__).resolve().parents[2]
CONFIG = ROOT / "config"
NOON = datetime(2026, 5, 16, 12, tzinfo=UTC)
OPEN_SEA = Grid(south=30, north=42, west=-60, east=-40, rows=4, columns=5)
LINE = Grid(south=-20, north=20, west=170, east=190, rows=5, columns=5)
NORTH = Grid(south=70, north=90, west=-180, east=150, rows=5, columns=12)
SOUTH = Grid(south=-90, north=-70, west=-180, east=150, rows=5, columns=12)


@dataclass(frozen=True, kw_only=True)
class Done:
    code: int
    out: str
    said: str
    crash: str


def bounded(*arguments: str, processor_s: int = 90, memory_mb: int = 3000) -> Done:
    """The command in a copy of this process that may take so much and no more: it is killed when it does, and the test fails."""
    readable, writable = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:  # pragma: no cover
        os.close(readable)
        resource.setrlimit(resource.RLIMIT_CPU, (processor_s, processor_s))
        has = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (has + memory_mb * 2**20, resource.RLIM_INFINITY))
        done = CliRunner().invoke(main, list(arguments))
        crash = "" if done.exception is None or isinstance(done.exception, SystemExit) else repr(done.exception)
        with os.fdopen(writable, "w", encoding="utf-8") as stream:
            json.dump([done.exit_code, done.stdout, done.stderr, crash], stream)
        os._exit(0)
    os.close(writable)
    with os.fdopen(readable, encoding="utf-8") as stream:
        text = stream.read()
    status = os.waitpid(child, 0)[1]
    assert status == 0, f"{arguments[0]} was ended by {status}: more than {processor_s} s or {memory_mb} MB"
    code, out, said, crash = json.loads(text)
    return Done(code=code, out=out, said=said, crash=crash)


def refused(done: Done) -> str:
    """The sentences with which something was refused."""
    assert (done.code, done.crash, done.out) == (2, "", ""), done
    assert done.said.strip()
    assert "Traceback" not in done.said
    assert all(line.isprintable() and len(line) <= 2500 for line in done.said.splitlines())
    return done.said


def sound(done: Done) -> str:
    assert (done.code, done.crash) == (0, ""), done
    return done.out


def weather(folder: Path, grid: Grid = OPEN_SEA, *, run: str = "20260516 1200", steps: tuple[int, ...] = (0, 6, 12, 24)) -> Path:
    """Moderate and the same everywhere."""
    values = {"10u": 8.0, "10v": 3.0, "gust": 11.0, "prmsl": 101_000.0}
    return write(folder, [Message(what=what, values=value, grid=grid, step=step, run=run) for step in steps for what, value in values.items()])


def route(folder: Path, *places: tuple[float, float], kind: str = "great circle") -> Path:
    path = folder / "route.toml"
    legs = "".join(f"[[waypoint]]\nlatitude = {latitude!r}\nlongitude = {longitude!r}\n" for latitude, longitude in places)
    path.write_text(f'[passage]\nname = "invented"\nkind = "{kind}"\n{legs}', encoding="utf-8")
    return path


def brief(way: Path, grib: Path, *more: str, now: str = "2026-05-16T12:00Z") -> Done:
    boat = str(CONFIG / "boat-sloop.toml")
    return bounded("brief", "--boat", boat, "--route", str(way), "--forecast", str(grib), "--now", now, "--hours", "18", *more)


# Every odd and every broken file

def test_every_odd_and_every_broken_file_through_check_and_brief(real_data: Path, tmp_path: Path) -> None:
    files = sorted([*(real_data / "grib-odd").iterdir(), *(real_data / "grib-broken").iterdir()])
    assert len(files) >= 17
    before = [(path.stat().st_size, path.stat().st_mtime_ns) for path in files]
    for path in files:
        if path.parent.name == "grib-broken":
            assert path.name in refused(bounded("check", "--forecast", str(path)))
        why = ""
        try:
            found = read([path])[0]
        except BadInputError as error:
            why = str(error)
        if why:
            assert refused(brief(CONFIG / "passage-bermuda-horta.toml", path, "--position", "36.5, -52")).strip() == why
            continue
        field = next(iter(found.fields.values()))
        latitude, longitude = (field[axis].values for axis in ("latitude", "longitude"))
        middle = (float(np.median(latitude)), (float(np.median(longitude)) + 180.0) % 360.0 - 180.0)
        way = route(tmp_path, middle, (middle[0] + 0.3, middle[1]))
        done = brief(way, path, now=found.run.strftime("%Y-%m-%dT%H:%MZ"))
        _ = sound(done) if done.code == 0 else refused(done)
    assert [(path.stat().st_size, path.stat().st_mtime_ns) for path in files] == before


def test_an_odd_file_that_can_be_read_is_told_by_check(real_data: Path) -> None:
    assert "every value agrees" in sound(bounded("check", "--forecast", str(real_data / "grib-odd" / "two-grids-in-one-file-10u.grib")))


# Sizes

def test_a_million_waypoints_are_refused(tmp_path: Path) -> None:
    many = tmp_path / "many.gpx"
    many.write_text("<gpx><rte>" + "<rtept lat='1' lon='2'/>" * 1_000_000 + "</rte></gpx>", encoding="utf-8")
    assert "larger than 8 MB" in refused(bounded("check", "--route", str(many), memory_mb=300))
    many.write_text("<gpx><rte>" + "<rtept lat='1' lon='2'/>" * 300_000 + "</rte></gpx>", encoding="utf-8")
    assert f"more than {MOST_POINTS} points" in refused(bounded("check", "--route", str(many), memory_mb=300))


def test_a_million_waypoints_in_toml_are_refused(tmp_path: Path) -> None:
    many = tmp_path / "many.toml"
    one = "[[waypoint]]\nlatitude = 1\nlongitude = 2\n"
    many.write_text('[passage]\nname = "x"\n' + one * 1_000_000, encoding="utf-8")
    assert "larger than 1 MB" in refused(bounded("check", "--route", str(many), memory_mb=300))
    many.write_text('[passage]\nname = "x"\n' + one * (SETTINGS_BYTES // len(one) - 10), encoding="utf-8")
    assert f"{MOST_POINTS} at the most" in refused(bounded("check", "--route", str(many), memory_mb=600))


def test_as_many_waypoints_as_are_taken_are_sailed(tmp_path: Path) -> None:
    places = [(36.0 + k / MOST_POINTS, -52.0 + k / MOST_POINTS) for k in range(MOST_POINTS)]
    assert "Kittiwake" in sound(brief(route(tmp_path, *places), weather(tmp_path)))


@pytest.mark.parametrize(("what", "text"), [
    ("--route", '[passage]\nname = "{}"\n'), ("--boat", '[boat]\nname = "{}"\n'), ("--shelters", '[[shelter]]\nname = "{}"\n'), ("--config", '[stand]\nboat = "{}"\n')])
def test_fields_a_hundred_thousand_letters_long(what: str, text: str, tmp_path: Path) -> None:
    path = tmp_path / "long.toml"
    path.write_text(text.format("x" * 100_000), encoding="utf-8")
    assert len(refused(bounded("check", what, str(path)))) < 10_000


def test_a_hundred_thousand_faults_are_told_as_some_and_how_many_more(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text("[[sail_plan]]\n" * 20_000, encoding="utf-8")
    with pytest.raises(BadInputError) as error:
        read_boat(path)
    assert len(error.value.faults) == MOST_FAULTS + 1
    assert str(error.value).endswith("more; put these right first")


def test_ten_years_are_refused(tmp_path: Path) -> None:
    way = route(tmp_path, (36.5, -52.0), (37.0, -51.0))
    boat, grib = str(CONFIG / "boat-sloop.toml"), weather(tmp_path, steps=(0, 6, 87600))
    assert "absurd time step" in refused(brief(way, grib))
    asked = ("brief", "--boat", boat, "--route", str(way), "--forecast", str(weather(tmp_path)), "--now", "2026-05-16T12:00Z", "--hours", "87600")
    assert "240" in refused(bounded(*asked))


def test_a_forecast_ten_years_old_is_refused(tmp_path: Path) -> None:
    said = refused(brief(route(tmp_path, (36.5, -52.0), (37.0, -51.0)), weather(tmp_path), now="2036-05-16T12:00Z"))
    assert "fetch a newer one" in said


def thousand(forecast: Forecast) -> Forecast:
    """The same with a thousand members: the first one's fields, a little stronger with each."""
    def wider(name: Name, field: Any) -> Any:
        stronger = np.linspace(0.8, 1.2, 1000, dtype=np.float32) if name != Name.PRESSURE_PA else np.ones(1000, dtype=np.float32)
        many = field.isel(member=np.zeros(1000, dtype=int)).assign_coords(member=np.arange(1000))
        return many.copy(data=many.values * stronger[:, None, None, None])

    return replace(forecast, kind="ensemble", fields={name: wider(name, field) for name, field in forecast.fields.items()})


def test_a_thousand_members_make_orders_and_look_no_further_than_memory_bears(tmp_path: Path) -> None:
    boat = read_boat(CONFIG / "boat-sloop.toml")
    way = read_route(route(tmp_path, (36.5, -52.0), (37.0, -51.0)))
    far, = read([weather(tmp_path, steps=(0, 24, 120, 240))])
    asked = Asked(boat=boat, route=way, forecasts=(thousand(far),), now=NOON, state=parse_state(boat, ""))
    most = MOST_WEATHER_STEPS // 1000
    assert one_pass._steps(asked, NOON) == most < 240 * STEPS_PER_HOUR
    assert "so many weathers" in one_pass._ends(asked, True)
    near = replace(asked, hours=12.0)
    assert one_pass._steps(near, NOON) == 12 * STEPS_PER_HOUR
    made = one_pass.one_pass(near)
    assert made.faults == ()
    assert made.scenarios.sizes["scenario"] == 1000
    assert made.orders.ends_reason == "as many hours as were asked for"


# Places

def test_legs_of_no_length(tmp_path: Path) -> None:
    grib = weather(tmp_path)
    assert "all its waypoints in one place" in refused(brief(route(tmp_path, (36.5, -52.0), (36.5, -52.0)), grib))
    assert "all its waypoints in one place" in refused(brief(route(tmp_path, (36.5, -52.0), (36.5, -52.0000000001)), grib))
    assert "Kittiwake" in sound(brief(route(tmp_path, (36.5, -52.0), (36.5, -52.0), (37.0, -51.0), (37.0, -51.0)), grib))


def test_where_she_is_bound_already(tmp_path: Path) -> None:
    done = brief(route(tmp_path, (36.5, -52.0), (37.0, -51.0)), weather(tmp_path), "--position", "37.0, -51.0")
    assert done.crash == ""
    assert done.code == 0 or refused(done)


def test_the_same_place_on_both_sides_of_the_date_line_is_no_leg(tmp_path: Path) -> None:
    assert "all its waypoints in one place" in refused(brief(route(tmp_path, (0.0, 180.0), (0.0, -180.0)), weather(tmp_path, LINE)))


@pytest.mark.parametrize(("places", "miles"), [
    (((0.0, 179.9), (0.0, -179.9)), 12), (((0.0, -179.9), (0.0, 179.9)), 12), (((0.0, 180.0), (1.0, -180.0)), 60), (((0.0, -180.0), (0.0, 179.8)), 12)])
def test_over_the_date_line_she_sails_the_short_way(places: tuple[tuple[float, float], ...], miles: int, tmp_path: Path) -> None:
    out = sound(brief(route(tmp_path, *places), weather(tmp_path, LINE)))
    assert f"{miles} miles to go" in out


@pytest.mark.parametrize("west", ["180.2", "-179.8"])
def test_a_position_beyond_the_date_line_is_told_either_way(west: str, tmp_path: Path) -> None:
    out = sound(brief(route(tmp_path, (0.0, 179.0), (0.5, -179.0)), weather(tmp_path, LINE), "--position", f"0.1, {west}"))
    assert "179 48.0 W" in out


def test_a_degree_from_the_poles_she_still_gets_orders(tmp_path: Path) -> None:
    assert "88 54.0 N" in sound(brief(route(tmp_path, (88.9, 0.0), (88.9, 30.0)), weather(tmp_path, NORTH)))
    assert "88 54.0 S" in sound(brief(route(tmp_path, (-88.9, 170.0), (-88.9, -160.0)), weather(tmp_path, SOUTH)))


@pytest.mark.parametrize(("places", "sentence"), [
    (((90.0, 0.0), (80.0, 0.0)), "a latitude from -89 to 89"), (((88.0, 0.0), (88.0, 180.0)), "within a degree of a pole"),
    (((-88.0, 0.0), (-88.0, 180.0)), "within a degree of a pole")])
def test_over_a_pole_there_is_no_course(places: tuple[tuple[float, float], ...], sentence: str, tmp_path: Path) -> None:
    assert sentence in refused(brief(route(tmp_path, *places), weather(tmp_path, NORTH)))


@pytest.mark.source("midnight-sun-1")
@pytest.mark.parametrize(("run", "now", "dark"), [("20260620 1200", "2026-06-20T12:00Z", False), ("20261220 1200", "2026-12-20T12:00Z", True)])
def test_midnight_sun_and_polar_night(run: str, now: str, dark: bool, tmp_path: Path) -> None:
    times = np.datetime64(to_np(parse_utc(now))) + np.arange(0, 1440, 10) * np.timedelta64(60, "s")
    sun_deg = light_along(times, np.full(144, 78.0), np.full(144, 10.0)).sun_deg
    assert (sun_deg < 0).all() if dark else (sun_deg > 0).all()
    out = sound(brief(route(tmp_path, (78.0, 10.0), (78.5, 12.0)), weather(tmp_path, NORTH, run=run), now=now))
    assert "Kittiwake" in out


# Times

@pytest.mark.source("leap-second-1")
def test_a_leap_second_is_refused_or_passed_over_and_nothing_else_with_it() -> None:
    with pytest.raises(ValueError, match="is no time"):
        parse_utc("2016-12-31T23:59:60Z")
    assert "is no time" in refused(bounded("brief", "--boat", "b", "--route", "r", "--forecast", "f", "--now", "2016-12-31T23:59:60Z"))
    body = "GPRMC,235960,A,4807.038,N,01131.000,E,022.4,084.4,311216,003.1,W"
    line = parse_line(f"${body}*{checksum(body)}", datetime(2017, 1, 1, tzinfo=UTC))
    assert Quantity.LATITUDE_DEG in {r.quantity for r in line.readings}
    assert {r.when for r in line.readings} == {datetime(2017, 1, 1, tzinfo=UTC)}
    delta = {"updates": [{"timestamp": "2016-12-31T23:59:60Z", "values": [{"path": "environment.wind.speedTrue", "value": 9.0}]}]}
    heard = parse_delta(json.dumps(delta), datetime(2017, 1, 1, tzinfo=UTC))
    assert [r.value for r in heard.readings] == [9.0]
    assert len(heard.refused) == 1


def test_a_clock_set_forward_ten_years_and_back_loses_nothing_of_the_log(tmp_path: Path) -> None:
    book = tmp_path / "watch.db"
    for now in (NOON, NOON + timedelta(days=3650), NOON - timedelta(days=3650), NOON + timedelta(minutes=1)):
        with Store.open(book, now) as store:
            store.add_log(f"{now:%Y-%m-%dT%H:%MZ} note written by that clock", now, "skipper")
            store.ask_ack("front", "skipper", now)
            store.prune(now)
    with Store.open(book, NOON) as store:
        assert len(store.log_lines()) == 4
        assert len(store.acks_wanted()) == 4
        assert store.said == ()


def test_a_clock_set_forward_ten_years_leaves_the_newest_forecasts() -> None:
    kept = [Kept(path=Path(f"{k}.grib2"), centre="kwbc", run=NOON - timedelta(hours=6 * k), arrived=NOON, digest=str(k), whole=True, bytes=1)
            for k in range(12)]
    left = set(kept) - set(to_drop(kept, NOON + timedelta(days=3650)))
    assert kept[0] in left
    assert len(left) >= 2


def test_a_clock_set_forward_and_back_is_seen_each_time_and_adds_up_to_nothing() -> None:
    clock, seen = Clock(wall=NOON, steady_s=0.0), []
    for minute, set_by in enumerate((0, 3600, 3600, -7200, -7200, 0, 0), start=1):
        clock = clock.looked(NOON + timedelta(minutes=minute, seconds=set_by), 60.0 * minute)
        seen.append(clock.jumped_now)
    assert seen == [False, True, False, True, False, True, False]
    assert clock.remembered_s(60.0 * 7) == 0.0
