"""A squall that was measured, second by second in between: nothing in it may be taken for a fault of the instruments."""

import csv
import gzip
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from watch.instruments.nmea0183 import Nmea0183
from watch.instruments.series import Observed
from watch.instruments.simulate import Script, nmea0183_pieces
from watch.when import parse_utc

START = parse_utc("2021-08-23T19:50:00Z")


@pytest.mark.source("real-squall-1")
def test_the_squall_of_23_august_2021_is_believed_from_end_to_end(real_data: Path) -> None:
    with gzip.open(real_data / "observed" / "station-wind-10min-2020-2021.csv.gz", "rt", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if "2021-08-23 19:50" <= row["timestamp"] <= "2021-08-23 20:50:00"]
    mean_ms = np.array([float(row["WSPD"]) for row in rows])
    from_deg = np.array([float(row["WDIR"]) for row in rows])
    gust_ms = 1.3 * mean_ms
    gust_ms[3] = float(rows[-1]["GST"])  # the peak of the hour, at 20:17 by the station's own log; here in the step of 20:20
    steps = mean_ms.size
    script = Script(start=START, mean_ms=mean_ms, gust_ms=gust_ms, from_deg=from_deg, heading_deg=np.full(steps, 100.0),
                    pressure_pa=np.full(steps + 1, 101300.0), latitude_deg=np.full(steps + 1, 42.0),
                    longitude_deg=np.full(steps + 1, -87.0))
    stream, store = Nmea0183(), Observed()
    for moment, piece in nmea0183_pieces(script, what=("HDT", "MWV T", "XDR")):
        store.add(stream.feed(piece, moment), moment)
    seen = store.steps(START + timedelta(minutes=10 * steps))
    assert rows[3]["WSPD"] == "15.7"
    assert seen.mean_ms == pytest.approx(mean_ms, abs=0.03)
    assert seen.gust_ms == pytest.approx(gust_ms, abs=0.06)
    assert seen.from_deg == pytest.approx(from_deg, abs=0.5)
    assert seen.doubts == ((),) * steps
