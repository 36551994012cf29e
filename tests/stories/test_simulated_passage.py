"""Invented passages of the sloop Kittiwake, played second by second and observed."""

import math
from datetime import timedelta

import numpy as np
import pytest

from watch.instruments.averages import WindWay
from watch.instruments.nmea0183 import Nmea0183
from watch.instruments.readings import Refused
from watch.instruments.series import Observed
from watch.instruments.signal_k import SignalK
from watch.instruments.simulate import SENTENCES, Script, nmea0183_pieces, signal_k_pieces
from watch.when import parse_utc

NOON = parse_utc("2026-05-14T12:00:00Z")


@pytest.mark.parametrize("signal_k", [False, True])
def test_what_a_script_does_not_know_is_sent_and_observed_as_missing(signal_k: bool) -> None:
    gap = np.array([9.0, math.nan])
    script = Script(start=NOON, mean_ms=gap, gust_ms=1.4 * gap, from_deg=25.0 * gap, heading_deg=9.0 * gap,
                    pressure_pa=np.array([100800.0, 100700.0, math.nan]), latitude_deg=np.array([35.0, 35.01, math.nan]),
                    longitude_deg=np.array([-50.0, -50.0, math.nan]))
    store = Observed()
    sk, nmea = SignalK(), Nmea0183()
    if signal_k:
        for moment, text in signal_k_pieces(script):
            store.add(sk.feed(text, moment), moment)
    else:
        for moment, piece in nmea0183_pieces(script, what=tuple(SENTENCES)):
            store.add(nmea.feed(piece, moment), moment)
    steps = store.steps(NOON + timedelta(minutes=21))
    for name in ("mean_ms", "gust_ms", "from_deg", "pressure_pa", "latitude_deg", "ground_speed_ms", "heading_deg"):
        assert np.isfinite(getattr(steps, name)).tolist() == [True, False], name
    faults = {r for tally in (sk.tally, nmea.tally) for r in tally.counts if r.is_fault}
    assert faults <= {Refused.NOT_VALID}


def test_a_front_over_kittiwake_second_by_second() -> None:
    script = Script(
        start=NOON, mean_ms=np.array([9.0, 10.0, 11.0, 15.0, 14.0, 13.0]), gust_ms=np.array([12.0, 13.0, 15.0, 26.0, 20.0, 18.0]),
        from_deg=np.array([210.0, 215.0, 220.0, 285.0, 295.0, 300.0]), heading_deg=np.full(6, 80.0),
        pressure_pa=np.array([100800.0, 100700.0, 100600.0, 100500.0, 100650.0, 100800.0, 100900.0]),
        latitude_deg=np.linspace(35.0, 35.02, 7), longitude_deg=np.linspace(-50.0, -49.9, 7),
    )
    stream, store = Nmea0183(), Observed()
    for moment, piece in nmea0183_pieces(script, what=("RMC", "HDT", "MWV T", "XDR")):
        store.add(stream.feed(piece, moment), moment)
    steps = store.steps(NOON + timedelta(hours=1, minutes=1))
    assert steps.wind_way == (WindWay.BOW,) * 6
    assert steps.mean_ms == pytest.approx(script.mean_ms, abs=0.03)
    assert steps.gust_ms == pytest.approx(script.gust_ms, abs=0.06)
    assert steps.from_deg == pytest.approx(script.from_deg, abs=0.5)
    assert steps.pressure_pa == pytest.approx((script.pressure_pa[:-1] + script.pressure_pa[1:]) / 2.0, abs=5.0)
    assert {str(doubt) for doubts in steps.doubts for doubt in doubts} == {"IIRMC says it is made by a simulator, not measured"}
    assert (stream.tally.faults, store.left_out) == (0, {})
    assert steps.start[0] == np.datetime64("2026-05-14T12:00:00")
