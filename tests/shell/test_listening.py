"""All instruments heard at once: links that come and go, a restart, a fault within, and looks from other threads."""

import math
import socket
import threading
import time
import tomllib
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from watch.faults import BadInputError
from watch.instruments.config import InstrumentsConfig, contradictions
from watch.instruments.links import Patience, Phase
from watch.instruments.nmea0183 import sentence
from watch.instruments.readings import Quantity
from watch.instruments.series import Observed
from watch.instruments.simulate import Script, nmea0183_pieces
from watch.instruments.simulator import serve_nmea0183_tcp, serve_signal_k
from watch.service.listening import Listening
from watch.when import parse_utc

NOW = parse_utc("2026-05-14T12:00:00Z")
LOCAL = "127.0.0.1"
DEADLINE_S = 20.0  # a bound against hanging for ever, not a measure of speed
HASTE = Patience(first_s=0.01, longest_s=0.02, quiet_s=0.05, dead_s=0.2)
VOYAGE = Script(
    start=NOW, mean_ms=np.array([9.0, 14.0]), gust_ms=np.array([12.5, 22.0]), from_deg=np.array([215.0, 290.0]),
    heading_deg=np.array([80.0, 85.0]), pressure_pa=np.array([101200.0, 101100.0, 101000.0]),
    latitude_deg=np.array([35.0, 35.002, 35.004]), longitude_deg=np.array([-50.0, -49.984, -49.968]),
)


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.at = NOW

    def __call__(self) -> datetime:
        return self.at


def until(true: Callable[[], bool]) -> None:
    for _ in range(int(DEADLINE_S / 0.02)):
        if true():
            return
        time.sleep(0.02)
    raise AssertionError("waited in vain")


def config(**settings: object) -> InstrumentsConfig:
    return InstrumentsConfig.model_validate(settings)


def tcp(port: int, name: str = "masthead") -> dict[str, object]:
    return {"name": name, "transport": "tcp", "host": LOCAL, "port": port}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOCAL, 0))
        return int(probe.getsockname()[1])


def test_two_links_feed_one_series_by_the_instruments_own_clock() -> None:
    """The wind by NMEA 0183, position and glass by Signal K; twenty minutes in no time."""
    nmea, signal_k = serve_nmea0183_tcp(VOYAGE, 0, 200.0, what=("HDT", "MWV T")), serve_signal_k(VOYAGE, 0, 200.0)
    settings = config(clock="instruments", nmea0183=[tcp(nmea.port)], signalk=[
        {"name": "server", "url": f"ws://{LOCAL}:{signal_k.port}/signalk/v1/stream?subscribe=self"}])  # fmt: skip
    with nmea, signal_k, Listening(settings, clock=lambda: NOW + timedelta(days=500)) as listening:
        until(lambda: (listening.now() or NOW) >= NOW + timedelta(seconds=1199))
        time.sleep(0.5)
        now = NOW + timedelta(seconds=1200)
        steps = listening.snapshot(now).steps(now)
        fix = listening.position(now)
        assert {state.name for state in listening.states()} == {f"{LOCAL} port {nmea.port}", settings.signalk[0].url}
    assert steps.wind_source[0].startswith("II/MWV"), "the true wind from the bow comes before the apparent"
    assert steps.mean_ms == pytest.approx(VOYAGE.mean_ms, abs=0.3)
    assert steps.pressure_pa == pytest.approx([101150.0, 101050.0], abs=10.0)
    assert fix is not None
    assert (fix.latitude_deg, fix.longitude_deg) == pytest.approx((35.004, -49.968), abs=3e-4)
    assert not any("1024 weeks" in str(d) for doubts in steps.doubts for d in doubts)


def long_voyage(hours: int) -> Script:
    steps = 6 * hours
    return Script(
        start=NOW, mean_ms=np.linspace(8.0, 12.0, steps), gust_ms=np.linspace(11.0, 16.0, steps), from_deg=np.full(steps, 200.0),
        heading_deg=np.full(steps, 80.0), pressure_pa=np.full(steps + 1, 101200.0), latitude_deg=np.full(steps + 1, 35.0),
        longitude_deg=np.linspace(-50.0, -50.0 + 0.02 * steps, steps + 1),
    )  # fmt: skip


def test_hours_that_come_at_once_lose_no_step_by_the_instruments_own_clock() -> None:
    """As fast as it can be sent and heard, and nothing is asked of it before the end: it is filed in batches of any length."""
    voyage = long_voyage(4)
    pieces = (piece for number, piece in enumerate(nmea0183_pieces(voyage, what=("HDT", "MWV T"))) if number % 5 == 0)
    with (serve_nmea0183_tcp(pieces, 0, math.inf) as simulator,
          Listening(config(clock="instruments", nmea0183=[tcp(simulator.port)]), clock=lambda: NOW) as listening):  # fmt: skip
        with listening._lock:  # nobody files anything meanwhile
            assert simulator.wait(30.0)
            time.sleep(1.0)
        until(lambda: (listening.now() or NOW) >= NOW + timedelta(hours=4, seconds=-5))
        seen, as_of = listening.timed_snapshot(NOW)
        steps = seen.steps(as_of)
    assert as_of >= NOW + timedelta(hours=4, seconds=-5), "the snapshot says which time it is of"
    assert np.isfinite(steps.mean_ms).sum() == 23
    assert seen.left_out == {}


def test_a_time_read_a_moment_before_is_no_clock_set_back_when_hours_have_gone_by() -> None:
    with (serve_nmea0183_tcp(long_voyage(2), 0, math.inf, what=("HDT", "MWV T", "RMC")) as simulator,
          Listening(config(clock="instruments", nmea0183=[tcp(simulator.port)]), clock=lambda: NOW) as listening):  # fmt: skip
        until(lambda: (listening.now() or NOW) >= NOW + timedelta(hours=2, seconds=-5))
        early = NOW + timedelta(minutes=1)
        assert len(listening.steps(early)) == 11
        assert listening.position(early) is not None
        assert len(listening.steps(early)) == 11, "what was heard is all still there"


def test_a_link_that_is_down_is_told_after_a_minute_in_the_same_words_until_it_is_back() -> None:
    port, clock = free_port(), Clock()
    with Listening(config(nmea0183=[tcp(port)]), clock=clock, patience=HASTE) as listening:
        until(lambda: listening.states()[0].tries > 2)
        assert listening.links_down() == (), "not at once"
        clock.at = NOW + timedelta(seconds=60)
        said = set()
        for _ in range(20):
            said.add(listening.links_down())
            time.sleep(0.01)
        assert said == {(f"masthead: {LOCAL} port {port}: connection refused",)}
        with socket.create_server((LOCAL, port)) as server:
            wire, _ = server.accept()
            with wire:
                wire.sendall(sentence("HEHDT,080.0,T").encode())
                until(lambda: listening.links_down() == ())
                until(lambda: listening.snapshot(clock.at).latest(Quantity.HEADING_DEG, clock.at) is not None)
        until(lambda: listening.states()[0].phase is Phase.WAITING)

        def down_a_minute_later() -> bool:
            clock.at += timedelta(seconds=60)
            return len(listening.links_down()) == 1

        until(down_a_minute_later)


def test_a_recording_is_played_to_its_end_and_that_is_said(tmp_path: Path) -> None:
    path = tmp_path / "passage.nmea"
    lines = [f"GPRMC,1200{s:02d},A,3500.000,N,05000.000,W,5.0,080.0,140526,,,A" for s in range(10)]
    path.write_text("".join(map(sentence, lines)))
    settings = config(clock="instruments", nmea0183=[{"name": "replay", "transport": "file", "file": str(path), "speed": 1e6}])
    with Listening(settings, clock=lambda: NOW + timedelta(days=9)) as listening:
        until(lambda: len(listening.links_down()) == 1)
        assert listening.links_down() == (f"replay: {path}: the recording is played to its end",)
        assert listening.now() == NOW + timedelta(seconds=9)
        fix = listening.position(NOW + timedelta(seconds=9))
        assert fix is not None
        assert fix.when == NOW + timedelta(seconds=9)


def test_a_snapshot_is_not_added_to() -> None:
    clock = Clock()
    with socket.create_server((LOCAL, 0)) as server, Listening(config(nmea0183=[tcp(server.getsockname()[1])]), clock=clock) as listening:
        wire, _ = server.accept()
        with wire:
            wire.sendall(sentence("HEHDT,080.0,T").encode())
            until(lambda: listening.snapshot(clock.at).latest(Quantity.HEADING_DEG, clock.at) is not None)
            before = listening.snapshot(clock.at)
            wire.sendall(sentence("HEHDT,090.0,T").encode())

            def heading(store: Observed) -> float:
                found = store.latest(Quantity.HEADING_DEG, clock.at)
                return math.nan if found is None else found.value

            until(lambda: heading(listening.snapshot(clock.at)) == 90.0)
            assert heading(before) == 80.0


def test_steps_are_handed_out_and_given_back_at_a_restart() -> None:
    with serve_nmea0183_tcp(VOYAGE, 0, 1500.0) as simulator:
        settings = config(clock="instruments", nmea0183=[tcp(simulator.port)])
        with Listening(settings, clock=lambda: NOW) as listening:
            until(lambda: (listening.now() or NOW) >= NOW + timedelta(seconds=1199))
            later = NOW + timedelta(minutes=21)
            kept = listening.steps(later)
            before = listening.snapshot(later).steps(later)
    assert len(kept) == 2
    assert len(listening.steps(later, NOW + timedelta(minutes=10))) == 1
    again = Listening(config(), clock=lambda: later, kept=kept)
    after = again.snapshot(later).steps(later)
    np.testing.assert_array_equal(after.mean_ms, before.mean_ms)
    np.testing.assert_array_equal(after.start, before.start)


def test_a_fault_within_is_told_and_the_listening_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    clock, real = Clock(), Observed.add

    def broken(self: Observed, readings: list[object], now: datetime) -> None:
        if readings and not bad.is_set():
            bad.set()
            raise ZeroDivisionError("invented")
        real(self, readings, now)  # type: ignore[arg-type]

    bad = threading.Event()
    monkeypatch.setattr(Observed, "add", broken)
    with socket.create_server((LOCAL, 0)) as server, Listening(config(nmea0183=[tcp(server.getsockname()[1])]), clock=clock) as listening:
        wire, _ = server.accept()
        with wire:
            wire.sendall(sentence("HEHDT,080.0,T").encode())
            until(bad.is_set)
            until(lambda: len(listening.links_down()) == 1)
            says = "listening: a fault in the program (ZeroDivisionError invented); some readings were lost"
            assert listening.links_down() == (says,)
            wire.sendall(sentence("HEHDT,090.0,T").encode())
            until(lambda: listening.snapshot(clock.at).latest(Quantity.HEADING_DEG, clock.at) is not None)
        clock.at += timedelta(hours=2)
        assert says not in listening.links_down(), "it is over some time"


def test_stop_ends_every_thread_and_what_was_heard_stays() -> None:
    before = set(threading.enumerate())
    with socket.create_server((LOCAL, 0)) as server:
        listening = Listening(config(nmea0183=[tcp(server.getsockname()[1])]), clock=lambda: NOW).start()
        wire, _ = server.accept()
        with wire:
            wire.sendall(sentence("HEHDT,080.0,T").encode())
            until(lambda: listening.snapshot(NOW).latest(Quantity.HEADING_DEG, NOW) is not None)
            assert listening.stop()
    assert set(threading.enumerate()) == before
    assert listening.snapshot(NOW).latest(Quantity.HEADING_DEG, NOW) is not None


def test_no_links_is_no_fault() -> None:
    with Listening(config(), clock=lambda: NOW) as listening:
        assert listening.links_down() == ()
        assert listening.position(NOW) is None
        assert len(listening.snapshot(NOW).steps(NOW).start) == 0


def test_faults_of_the_settings_are_said_all_at_once(tmp_path: Path) -> None:
    settings = config(
        expects_wind=True, prefer={"wind": ["WI/MWV"]},
        nmea0183=[{"name": "a", "transport": "tcp", "host": LOCAL}, {"name": "a", "transport": "udp", "port": 10110, "device": "/dev/tty0"},
                  {"name": "b", "transport": "file", "file": str(tmp_path / "none.nmea")}, {"name": "c", "transport": "serial"}],
        signalk=[{"name": "d"}],
    )  # fmt: skip
    with pytest.raises(BadInputError) as caught:
        Listening(settings, clock=lambda: NOW)
    assert str(caught.value).splitlines()[:-1] == [
        "instruments nmea0183[0].port: missing; tcp wants it",
        'instruments nmea0183[1].name = "a": a name that no other link has',
        "instruments nmea0183[1].device: is not for udp: take it out, or change transport",
        'instruments nmea0183[2].file: a recording has times of its own: it wants clock = "instruments" under [instruments]',
        "instruments nmea0183[3].device: missing; serial wants it",
        "instruments signalk[0]: wants either url or file",
    ]
    assert str(caught.value).splitlines()[-1].startswith("instruments prefer.wind: no quantity; one of apparent_wind_ms, ")


def test_a_recording_that_is_not_there_is_said_before_anything_starts(tmp_path: Path) -> None:
    settings = config(clock="instruments", nmea0183=[{"name": "b", "transport": "file", "file": str(tmp_path / "none.nmea")}])
    with pytest.raises(BadInputError, match=r"instruments nmea0183\[0\]: .*none\.nmea: no such file"):
        Listening(settings, clock=lambda: NOW)


def test_expecting_without_any_link_is_a_contradiction() -> None:
    with pytest.raises(BadInputError, match=r"instruments expects_wind = true: false, or a link that could hear it"):
        Listening(config(expects_wind=True), clock=lambda: NOW)
    assert config().expects() == (False, False)
    assert config(nmea0183=[tcp(10110)], expects_wind=False).expects() == (True, False)


def test_the_example_settings_are_right_with_every_link_in_use() -> None:
    """config/watch.toml with the comments taken off its [instruments] part, but for the clock of a simulator."""
    text = (Path(__file__).resolve().parents[2] / "config" / "watch.toml").read_text(encoding="utf-8")
    lines = text[text.index("[instruments]") :].splitlines()
    shown = [line.removeprefix("# ") for line in lines if line and "clock =" not in line]
    settings = InstrumentsConfig.model_validate(tomllib.loads("\n".join(shown))["instruments"])
    assert contradictions(settings) == []
    assert [place for place, _ in settings.placed()] == ["nmea0183[0]", "nmea0183[1]", "signalk[0]"]
    assert settings.expects() == (True, False)
    assert settings.preferences().variation_deg == -14.5
