"""The simulator as a command: what it plays, heard by the watch's own listening; and what it says when it cannot."""

import os
import re
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fixtures import storms
from watch.forecast.grib import read
from watch.instruments.config import InstrumentsConfig
from watch.instruments.nmea0183 import Nmea0183
from watch.instruments.performing import main
from watch.instruments.scripts import along_route, script_from_forecast
from watch.instruments.series import Observed
from watch.instruments.simulate import nmea0183_pieces
from watch.passage.earth import distance_nm
from watch.passage.route import Route, Waypoint
from watch.passage.route_file import read_route
from watch.service.listening import Listening
from watch.weather.look import Where
from watch.weather.plain import plain_along
from watch.weather.wind import at_height
from watch.when import from_np, parse_utc, to_np

ROOT = Path(__file__).resolve().parents[2]
GRIB = ROOT / "fixtures" / "kittiwake-2026051612.grib2"
ROUTE = ROOT / "config" / "passage-bermuda-horta.toml"
START = parse_utc("2026-05-16T18:00Z")
DEADLINE_S = 40.0  # a bound against hanging for ever, not a measure of speed



def test_a_storm_played_by_the_command_is_what_the_watch_hears() -> None:
    command = [sys.executable, "-m", "watch.instruments.simulator", "--storm", "3", "--hours", "1", "--tcp", "0", "--speed", "1200"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        assert process.stdout is not None
        port = re.search(r"port (\d+)", process.stdout.readline())
        assert port is not None
        settings = InstrumentsConfig.model_validate({"clock": "instruments", "nmea0183": [
            {"name": "simulator", "transport": "tcp", "host": "127.0.0.1", "port": int(port[1])}]})  # fmt: skip
        truth = storms.truth(3)
        end = from_np(truth.time[6])
        with Listening(settings, clock=lambda: datetime.now(UTC)) as listening:
            until_s = time.monotonic() + DEADLINE_S
            while (listening.now() or START - timedelta(days=99)) < end - timedelta(seconds=1):
                assert time.monotonic() < until_s, listening.states()
                time.sleep(0.05)
            steps = listening.snapshot(end).steps(end)
        rest = process.stdout.read()
        process.wait(DEADLINE_S)
    assert (process.returncode, rest.splitlines()) == (0, ["Nothing that this simulator says is real.", "Played to its end."])
    assert steps.start.tolist() == truth.time[:6].tolist()
    assert steps.mean_ms == pytest.approx(truth.mean_ms[1:7], abs=0.3)
    assert steps.pressure_pa == pytest.approx((truth.pressure_pa[:6] + truth.pressure_pa[1:7]) / 2.0, abs=10.0)
    assert steps.latitude_deg[-1] == pytest.approx(truth.lat_deg[6], abs=1e-3)


def observed_of(**changed: float) -> tuple[Observed, datetime]:
    route = read_route(ROUTE).from_position(36.5, -52.0)
    script = script_from_forecast(read([GRIB], None), route, START, 1.0, **changed)
    store, reader = Observed(), Nmea0183()
    for moment, piece in nmea0183_pieces(script, what=("RMC", "HDT", "MWV T", "XDR")):
        store.add(reader.feed(piece, moment), moment)
    return store, START + timedelta(hours=1)


@pytest.mark.parametrize(("early_h", "strength", "height_m"), [(0.0, 1.0, 10.0), (2.0, 1.0, 10.0), (-1.0, 1.2, 15.5)])
def test_a_forecasts_own_weather_early_late_and_stronger(early_h: float, strength: float, height_m: float) -> None:
    """What is observed at a time is what the plain forecast has there early_h later, at the anemometer's height."""
    store, end = observed_of(early_h=early_h, strength=strength, height_m=height_m)
    steps = store.steps(end)
    where = Where(time=steps.start + np.timedelta64(round(3600 * early_h), "s"), latitude=steps.latitude_deg, longitude=steps.longitude_deg)
    plain = plain_along(read([GRIB], None), where)
    expected = at_height(plain["mean_kn"], height_m) * strength * 1852.0 / 3600.0
    assert steps.mean_ms == pytest.approx(expected, abs=0.15)
    assert steps.pressure_pa == pytest.approx(100.0 * plain["pressure_hpa"], abs=30.0)
    assert steps.from_deg == pytest.approx(plain["from_deg"], abs=2.0)


def test_she_sails_along_the_route_at_her_speed() -> None:
    """By an independent measure of the earth: six miles an hour, from the first waypoint, round a corner, and no farther than the end."""
    route = Route(name="corner", waypoints=tuple(Waypoint(name=n, latitude=a, longitude=b)
                                                 for n, a, b in (("A", 30.0, 179.9), ("B", 30.0, -179.9), ("C", 30.1, -179.9))))  # fmt: skip
    latitude, longitude = along_route(route, 30, 6.0)
    gone = [distance_nm(latitude[i], longitude[i], latitude[i + 1], longitude[i + 1]) for i in range(30)]
    assert (latitude[0], longitude[0]) == (pytest.approx(30.0), pytest.approx(179.9))
    assert gone[:9] == pytest.approx([1.0] * 9, abs=1e-6)
    whole = distance_nm(30.0, 179.9, 30.0, -179.9) + distance_nm(30.0, -179.9, 30.1, -179.9)
    assert sum(gone) == pytest.approx(whole, abs=0.3), "but for the corner that is cut"
    assert (latitude[-1], longitude[-1]) == pytest.approx((30.1, -179.9))


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--storm", "3"], "--tcp, --udp, --signalk: say where it shall be heard, like --tcp 10110"),
        (["--tcp", "0"], "--storm, --forecast, --recording: say which one of the three is to be played"),
        (["--storm", "3", "--recording", "x", "--tcp", "0"], "--storm, --forecast, --recording: say which one of the three is to be played"),
        (["--recording", "/nowhere.nmea", "--tcp", "0"], "/nowhere.nmea: no such file"),
        (["--forecast", str(GRIB), "--tcp", "0"], "--forecast: wants --route and --start beside it"),
        (["--forecast", str(GRIB), "--route", str(ROUTE), "--start", "2026-05-16T18:00", "--tcp", "0"], "has no offset from UTC"),
        (["--forecast", str(GRIB), "--route", str(ROUTE), "--start", "2027-05-16T18:00Z", "--tcp", "0"], "has no wind on that track"),
        (["--forecast", str(GRIB), "--route", str(ROUTE), "--start", "2026-05-16T18:00Z", "--position", "here", "--tcp", "0"], "is no position"),
        (["--storm", "3", "--udp", "nowhere"], '--udp: "nowhere" is no host and port: write it like 127.0.0.1:10110'),
    ],
)
def test_what_cannot_be_played_is_said(arguments: list[str], says: str) -> None:
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert says in result.stderr
    assert "Traceback" not in result.output


def test_a_recording_goes_out_by_the_way_that_is_its_own(tmp_path: Path) -> None:
    path = tmp_path / "deltas.jsonl"
    path.write_text("{}")
    result = CliRunner().invoke(main, ["--recording", str(path), "--tcp", "0"])
    assert (result.exit_code, result.stderr) == (2, "--recording: deltas.jsonl is Signal K: it wants --signalk\n")


def test_a_storm_can_be_moved_to_another_time() -> None:
    from watch.instruments.performing import _storm

    moved = _storm(3, START, 2.0, 10.0)
    assert moved.start == START
    assert moved.mean_ms.size == 12
    np.testing.assert_allclose(moved.mean_ms, storms.truth(3).mean_ms[1:13])
    assert to_np(_storm(3, None, 2.0, 10.0).start) == storms.START
