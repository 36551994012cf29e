"""How old the forecast is and what the sailor is told of it; boxes round a passage."""

import numpy as np
import pytest

from watch.forecast.box import Box
from watch.forecast.freshness import CENTRES, Freshness, age, freshness, newest_out, next_due, words
from watch.when import NaiveTimeError, ShipTime, parse_utc


@pytest.mark.source("delay-kwbc")
@pytest.mark.parametrize(("now", "state"), [
    ("2026-05-14T06:00Z", Freshness.FRESH), ("2026-05-14T11:59Z", Freshness.FRESH), ("2026-05-14T12:00Z", Freshness.DUE),
    ("2026-05-14T17:59Z", Freshness.DUE), ("2026-05-14T18:00Z", Freshness.OLD), ("2026-05-16T00:00Z", Freshness.OLD),
    ("2026-05-13T23:55Z", Freshness.FRESH), ("2026-05-13T23:00Z", Freshness.FUTURE)])
def test_a_run_ages(now: str, state: Freshness) -> None:
    assert freshness("kwbc", parse_utc("2026-05-14T00:00Z"), parse_utc(now)) is state


@pytest.mark.source("delay-ecmf")
def test_the_european_centre_is_slower() -> None:
    run = parse_utc("2026-05-14T12:00Z")
    assert next_due("ecmf", run) == parse_utc("2026-05-15T03:00Z")
    assert newest_out("ecmf", parse_utc("2026-05-15T02:59Z")) == run


@pytest.mark.source("delay-others")
def test_a_centre_with_two_runs_a_day_is_not_called_late_between_them(sources: dict[str, dict[str, str]]) -> None:
    assert freshness("cwao", parse_utc("2026-05-14T00:00Z"), parse_utc("2026-05-14T17:59Z")) is Freshness.FRESH
    assert next_due("cwao", parse_utc("2026-05-14T12:00Z")) == parse_utc("2026-05-15T06:00Z")
    assert all(centre.source in sources for centre in CENTRES.values())


@pytest.mark.source("delay-kwbc")
@pytest.mark.parametrize(("centre", "now", "said"), [
    ("kwbc", "2026-05-14T05:10Z", "Forecast of Wed 21:00 UTC-3, 5 h old. The next is due about Thu 09:00."),
    ("kwbc", "2026-05-14T13:00Z", "Forecast of Wed 21:00 UTC-3, 13 h old. A newer one (Thu 03:00) should be out since "
                                  "Thu 09:00: fetch it."),
    ("kwbc", "2026-05-15T13:00Z", "Forecast of Wed 21:00 UTC-3, 37 h old. That is OLD: newer ones, up to Fri 03:00, should be out. Do not "
                                  "rest on it; fetch the newest."),
    ("kwbc", "2026-05-13T12:00Z", "Forecast of Wed 21:00 UTC-3: that lies 12 h ahead of this clock. Check the clock, or where the file "
                                  "comes from."),
    ("rjtd", "2026-05-14T13:00Z", 'Forecast of Wed 21:00 UTC-3, 13 h old. When the next one comes is not known here for "rjtd".')])
def test_what_the_sailor_is_told(centre: str, now: str, said: str) -> None:
    assert words(centre, parse_utc("2026-05-14T00:00Z"), parse_utc(now), ShipTime(-180)) == said


@pytest.mark.source("delay-kwbc")
def test_times_without_offset_are_refused() -> None:
    aware = parse_utc("2026-05-14T00:00Z")
    with pytest.raises(NaiveTimeError):
        age(aware.replace(tzinfo=None), aware)


@pytest.mark.source("sampling-by-hand-1")
def test_boxes() -> None:
    passage = Box.around(np.array([32.3, 38.5]), np.array([-64.7, -28.6]), miles=60.0)
    assert (passage.south, passage.north) == pytest.approx((31.3, 39.5))
    assert passage.west == pytest.approx(-64.7 - 1.0 / np.cos(np.radians(39.5)))
    across = Box.around(np.array([-17.0, -14.0]), np.array([177.0, -172.0]))
    assert across.width_deg == pytest.approx(11.0, abs=0.01)
    assert across.contains(-15.0, [179.0, -179.0, 181.0, 0.0]).tolist() == [True, True, True, False]
    assert not across.contains(np.nan, 179.0)
    assert Box(-80, 80, -180, 180).grown(600.0) == Box(-90, 90, -180, 180)
    assert Box(30, 45, 170, -170).grown(0.0) == Box(30, 45, 170, -170)


@pytest.mark.source("sampling-by-hand-1")
@pytest.mark.parametrize(("corners", "wrong"), [
    ((45.0, 30.0, -60.0, -20.0), "south < north"), ((-91.0, 30.0, -60.0, -20.0), "-90"), ((30.0, 45.0, 10.0, 10.0), "differ"),
    ((30.0, 45.0, 10.0, 400.0), "between -360 and 360"), ((30.0, float("nan"), -60.0, -20.0), "south < north")])
def test_boxes_that_are_none(corners: tuple[float, float, float, float], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        Box(*corners)


@pytest.mark.source("sampling-by-hand-1")
def test_no_box_round_nothing_or_round_a_place_unknown() -> None:
    for lat in ([], [np.nan]):
        with pytest.raises(ValueError, match="every position known"):
            Box.around(np.array(lat), np.array(lat))
    with pytest.raises(ValueError, match="0 or more"):
        Box(30, 45, 0, 10).grown(-1.0)
