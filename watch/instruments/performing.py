"""(I/O) The simulator on the command line: python -m watch.instruments.simulator --help"""

import importlib
from contextlib import ExitStack
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import click
import numpy as np

from watch.faults import BadInputError
from watch.instruments.scripts import script_from_forecast, script_from_series
from watch.instruments.simulate import Script
from watch.instruments.simulator import Simulator, serve_nmea0183_tcp, serve_nmea0183_udp, serve_signal_k
from watch.instruments.streams import instant_of
from watch.when import floor_step, parse_utc

SAID = "Nothing that this simulator says is real."


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--storm", type=click.IntRange(min=0), default=None, metavar="SEED", help="Six days of invented weather (from the checkout only).")
@click.option("--forecast", type=click.Path(path_type=Path), multiple=True, help="GRIB whose own weather is played along --route.")
@click.option("--route", type=click.Path(path_type=Path), default=None, help="The route she sails, for --forecast.")
@click.option("--position", default=None, help='Where she begins, like "36 30.0 N, 52 00.0 W"; else at the start of the route.')
@click.option("--recording", type=click.Path(path_type=Path), default=None, help="A recording, played as it stands: .json or .jsonl is Signal K.")
@click.option("--early", type=float, default=0.0, help="Of --forecast: its weather so many hours before its time (late: negative).")
@click.option("--strength", type=click.FloatRange(0.2, 3.0), default=1.0, help="Of --forecast: its wind so many times as strong.")
@click.option("--start", default=None, help="When the piece begins, like 2026-05-16T00:00Z; a storm's is moved to it.")
@click.option("--hours", type=click.FloatRange(0.17, 240), default=None, help="How much of it; else all of a storm, 48 hours of a forecast.")
@click.option("--knots", type=click.FloatRange(0, 40), default=6.0, help="Of --forecast: how fast she sails along the route.")
@click.option("--height", type=click.FloatRange(1, 100), default=10.0, help="Of the anemometer [m]: the wind is brought to it from 10 m.")
@click.option("--tcp", type=click.IntRange(0, 65535), default=None, metavar="PORT", help="NMEA 0183 to whoever connects; 0 takes a free port.")
@click.option("--udp", default=None, metavar="HOST:PORT", help="NMEA 0183 as datagrams to there.")
@click.option("--signalk", type=click.IntRange(0, 65535), default=None, metavar="PORT", help="Signal K by websocket to whoever connects.")
@click.option("--host", default="127.0.0.1", help="The address to be heard at.")
@click.option("--speed", type=click.FloatRange(min=0.01), default=1.0, help="Times real time; six hours a minute is 360.")
@click.option("--seed", type=int, default=0, help="Of the gusts within ten minutes.")
def main(**given: Any) -> None:
    """Play invented instruments, a forecast's own weather or a recording over the network, at any speed, for the watch to hear. At more
    than real time set clock = "instruments" in [instruments] of watch.toml."""
    try:
        _play(given)
    except (BadInputError, ValueError) as error:
        click.echo(str(error), err=True)
        raise SystemExit(2) from None
    except KeyboardInterrupt:
        click.echo("Stopped.")


def _play(given: dict[str, Any]) -> None:
    piece = _piece(given)
    signal_k_only = isinstance(piece, Path) and piece.suffix.lower() in (".json", ".jsonl")
    wanted = {name for name in ("tcp", "udp", "signalk") if given[name] is not None}
    if not wanted:
        raise BadInputError("--tcp, --udp, --signalk", ["say where it shall be heard, like --tcp 10110"])
    if isinstance(piece, Path) and wanted & ({"tcp", "udp"} if signal_k_only else {"signalk"}):
        raise BadInputError("--recording", [f"{piece.name} is {'Signal K: it wants --signalk' if signal_k_only else 'NMEA 0183: it wants --tcp or --udp'}"])
    with ExitStack() as stack:
        playing = [stack.enter_context(one) for one in _performances(piece, given)]
        click.echo(SAID)
        while not all(one.wait(0.2) for one in playing):
            pass
    click.echo("Played to its end.")


def _performances(piece: Script | Path, given: dict[str, Any]) -> list[Simulator]:
    host, speed, seed = given["host"], given["speed"], given["seed"]
    begun = []
    if given["tcp"] is not None:
        begun.append(serve_nmea0183_tcp(piece, given["tcp"], speed, host=host, seed=seed))
        click.echo(f"NMEA 0183 by TCP at {host} port {begun[-1].port}, {speed:g} times real time; it begins with the first listener.")
    if given["signalk"] is not None:
        begun.append(serve_signal_k(piece, given["signalk"], speed, host=host, seed=seed))
        click.echo(f"Signal K at ws://{host}:{begun[-1].port}/signalk/v1/stream?subscribe=self; it begins with the first listener.")
    if given["udp"] is not None:
        to, _, port = given["udp"].rpartition(":")
        if not to or not port.isdecimal() or not 0 < int(port) < 65536:
            raise BadInputError("--udp", [f'"{given["udp"]}" is no host and port: write it like 127.0.0.1:10110'])
        begun.append(serve_nmea0183_udp(piece, int(port), speed, host=to, seed=seed))
        click.echo(f"NMEA 0183 as datagrams to {to} port {port}, from now on.")
    return begun


def _piece(given: dict[str, Any]) -> Script | Path:
    chosen = [name for name in ("storm", "forecast", "recording") if given[name] not in (None, ())]
    if len(chosen) != 1:
        raise BadInputError("--storm, --forecast, --recording", ["say which one of the three is to be played"])
    start = None if given["start"] is None else floor_step(parse_utc(given["start"]))
    if chosen == ["recording"]:
        if not given["recording"].is_file():
            raise BadInputError(given["recording"], ["no such file"])
        return Path(given["recording"])
    if chosen == ["storm"]:
        return _storm(given["storm"], start, given["hours"], given["height"])
    if given["route"] is None or start is None:
        raise BadInputError("--forecast", ["wants --route and --start beside it"])
    from watch.forecast.grib import read
    from watch.passage.position import parse_latitude, parse_longitude
    from watch.passage.route_file import read_route

    route = read_route(given["route"])
    if given["position"] is not None:
        latitude, comma, longitude = given["position"].partition(",")
        if not comma:
            raise BadInputError("--position", [f'"{given["position"]}" is no position: write it like "36 30.0 N, 52 00.0 W"'])
        route = route.from_position(parse_latitude(latitude), parse_longitude(longitude))
    return script_from_forecast(read(list(given["forecast"]), None), route, start, given["hours"] or 48.0,
                                speed_kn=given["knots"], height_m=given["height"], early_h=given["early"], strength=given["strength"])


def _storm(seed: int, start: datetime | None, hours: float | None, height_m: float) -> Script:
    try:
        storms = importlib.import_module("fixtures.storms")
    except ImportError:
        raise BadInputError("--storm", ["the invented storms are in the checkout of the project: run it there"]) from None
    truth = storms.truth(seed)
    marks = len(truth.time) if hours is None else min(len(truth.time), round(hours * 6) + 1)
    first = instant_of(float(truth.time[0].astype("datetime64[s]").astype(np.int64)))
    begins = first if start is None else first + (start - first) // timedelta(minutes=10) * timedelta(minutes=10)
    series = [getattr(truth, name)[:marks] for name in ("mean_ms", "gust_ms", "from_deg", "pressure_pa", "lat_deg", "lon_deg")]
    return script_from_series(begins, *series, height_m=height_m)
