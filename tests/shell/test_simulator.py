"""Recordings played back, and the simulator heard over the network of this computer."""

import json
import math
import socket
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from watch.faults import BadInputError
from watch.instruments.feeds import FileFeed
from watch.instruments.links import Link, Phase, link_for
from watch.instruments.nmea0183 import Nmea0183, sentence
from watch.instruments.readings import Quantity, Reading
from watch.instruments.series import Observed
from watch.instruments.simulate import Script
from watch.instruments.simulator import serve_nmea0183_tcp, serve_nmea0183_udp, serve_signal_k
from watch.when import parse_utc

NOW = parse_utc("2026-05-14T12:00:00Z")
LOCAL = "127.0.0.1"
DEADLINE_S = 20.0  # a bound against hanging for ever, not a measure of speed
FIX = "GPRMC,120000,A,3500.000,N,05000.000,W,5.0,080.0,140526,,,A"


def recording(folder: Path) -> Path:
    bodies = ["HEHDT,10.0,T", FIX, "HEHDT,11.0,T", FIX.replace("120000", "120010"), "HEHDT,12.0,T"]
    path = folder / "recording.nmea"
    path.write_text("".join(map(sentence, bodies)))
    return path


def heading(degrees: float) -> bytes:
    return sentence(f"HEHDT,{degrees:.1f},T").encode()


def played(link: Link) -> list[Reading]:
    """All readings of a recording, to its end."""
    readings: list[Reading] = []
    with link:
        while link.state().phase is not Phase.ENDED:
            assert link.state().phase is not Phase.FAILED, link.state()
            readings += link.wait(0.1)
        return readings + link.take()


def test_a_recording_keeps_its_own_times_and_ends(tmp_path: Path) -> None:
    link = link_for(str(recording(tmp_path)), clock=lambda: NOW + timedelta(days=900))
    readings = played(link)
    headings = [(r.value, r.when) for r in readings if r.quantity is Quantity.HEADING_DEG]
    assert headings == [(10.0, NOW), (11.0, NOW), (12.0, NOW + timedelta(seconds=10))]
    assert not any(r.doubtful for r in readings)


def test_two_alike_are_told_apart_by_a_label(tmp_path: Path) -> None:
    readings = played(link_for(str(recording(tmp_path)), clock=lambda: NOW, label="stern"))
    assert {r.source for r in readings} == {"stern HE/HDT", "stern GP/RMC"}


def test_a_recording_waits_for_a_slow_taker_instead_of_dropping(tmp_path: Path) -> None:
    path = tmp_path / "long.nmea"
    path.write_bytes(sentence(FIX).encode() + b"".join(map(heading, range(300))))
    link = Link(FileFeed(path), Nmea0183(clock_may_differ_s=None), clock=lambda: NOW, most_held=10)
    assert [r.value for r in played(link) if r.quantity is Quantity.HEADING_DEG] == [float(i) for i in range(300)]
    assert link.state().dropped == 0


def test_a_recording_with_times_of_day_only_needs_its_beginning(tmp_path: Path) -> None:
    path = tmp_path / "no-date.nmea"
    path.write_text(sentence("GPGLL,3500.000,N,05000.000,W,235959,A,A") + sentence("GPGLL,3500.000,N,05000.000,W,000001,A,A"))
    with pytest.raises(BadInputError, match=r"no-date\.nmea: no line carries a date \(RMC or a time tag\); say when it began"):
        link_for(str(path), clock=lambda: NOW)
    readings = played(link_for(str(path), clock=lambda: NOW, starts=parse_utc("2026-05-14T23:59Z")))
    assert [r.received for r in readings][::2] == [parse_utc("2026-05-14T23:59:59Z"), parse_utc("2026-05-15T00:00:01Z")]


@pytest.mark.parametrize("form", ["one a line", "a list", "one, spread over lines"])
def test_recorded_deltas_in_either_form(tmp_path: Path, form: str) -> None:
    deltas = [{"updates": [{"timestamp": f"2026-05-14T12:00:0{i}Z", "$source": "mast", "values": [
        {"path": "environment.wind.speedTrue", "value": 5.0 + i}]}]} for i in range(1 if form.startswith("one,") else 3)]
    path = tmp_path / "recording.json"
    forms = {"one a line": "\n".join(map(json.dumps, deltas)), "a list": json.dumps(deltas)}
    path.write_text(forms.get(form, json.dumps(deltas[0], indent=1)))
    readings = played(link_for(str(path), clock=lambda: NOW))
    assert [(r.value, r.when) for r in readings] == [(5.0 + i, NOW + timedelta(seconds=i)) for i in range(len(deltas))]


VOYAGE = Script(
    start=NOW, mean_ms=np.array([9.0, 14.0]), gust_ms=np.array([12.5, 22.0]), from_deg=np.array([215.0, 290.0]),
    heading_deg=np.array([80.0, 85.0]), pressure_pa=np.array([101200.0, 101100.0, 101000.0]),
    latitude_deg=np.array([35.0, 35.002, 35.004]), longitude_deg=np.array([-50.0, -49.984, -49.968]),
)


def heard_from(link: Link) -> Observed:
    """What is observed of the voyage, with the latest reading's time as the time now."""
    observed, now, silent = Observed(), NOW, 0
    observed.add([], now)
    with link:
        while now < NOW + timedelta(seconds=1195):
            readings = link.wait(0.1)
            silent = 0 if readings else silent + 1
            assert silent < 200, link.state()
            now = max([now, *(r.when for r in readings)])
            observed.add(readings, now)
    return observed


@pytest.mark.parametrize("way", ["tcp", "udp", "signal k"])
def test_what_the_simulator_plays_is_what_is_observed(way: str) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((LOCAL, 0))
        port = probe.getsockname()[1]
    if way == "udp":
        link = link_for(f"udp://{LOCAL}:{port}", clock=lambda: NOW, compare_clocks=False)
        simulator = serve_nmea0183_udp(VOYAGE, port, 600.0)
    elif way == "tcp":
        simulator = serve_nmea0183_tcp(VOYAGE, 0, 5000.0)
        link = link_for(f"tcp://{LOCAL}:{simulator.port}", clock=lambda: NOW, compare_clocks=False)
    else:
        simulator = serve_signal_k(VOYAGE, 0, 5000.0)
        url = f"ws://{LOCAL}:{simulator.port}/signalk/v1/stream?subscribe=self"
        link = link_for(url, clock=lambda: NOW, compare_clocks=False)
    with simulator:
        observed = heard_from(link)
    steps = observed.steps(NOW + timedelta(minutes=20))
    assert steps.mean_ms == pytest.approx(VOYAGE.mean_ms, abs=0.25)  # leeway and rounding; datagrams may be lost
    assert steps.gust_ms == pytest.approx(VOYAGE.gust_ms, abs=0.4)
    assert steps.from_deg == pytest.approx(VOYAGE.from_deg, abs=2.0)
    assert steps.pressure_pa == pytest.approx([101150.0, 101050.0], abs=10.0)
    assert steps.latitude_deg == pytest.approx([35.002, 35.004], abs=3e-4)
    assert steps.heading_deg == pytest.approx(VOYAGE.heading_deg, abs=1.5)
    fix = observed.position(NOW + timedelta(minutes=20))
    assert fix is not None
    assert (fix.latitude_deg, fix.longitude_deg) == pytest.approx((35.004, -49.968), abs=3e-4)
    if way != "signal k":
        assert any("simulator" in str(doubt) for doubt in steps.doubts[0])  # it says that it is no instrument


def test_the_simulator_plays_a_recording_as_it_stands(tmp_path: Path) -> None:
    path = recording(tmp_path)
    with serve_nmea0183_tcp(path, 0, 100.0) as simulator, socket.create_connection((LOCAL, simulator.port)) as wire:
        simulator.wait(DEADLINE_S)
        wire.settimeout(DEADLINE_S)
        heard = b""
        while len(heard) < path.stat().st_size:
            heard += wire.recv(4096)
        assert heard == path.read_bytes()


def test_a_simulator_on_a_port_in_use_says_so() -> None:
    with socket.create_server((LOCAL, 0)) as taken, pytest.raises(BadInputError, match="cannot be used: address already in use"):
        serve_nmea0183_tcp(VOYAGE, taken.getsockname()[1])


def test_a_piece_that_breaks_off_is_told_to_who_waits_for_its_end() -> None:
    def pieces() -> Iterator[tuple[datetime, bytes]]:
        yield NOW, b"$HEHDT,119.9,T*2F\r\n"
        raise RuntimeError("the tape is torn")

    with serve_nmea0183_tcp(pieces(), speed=math.inf, wait_for_listener=False) as simulator, pytest.raises(RuntimeError, match="torn"):
        simulator.wait(30.0)
