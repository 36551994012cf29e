"""Small weathers a sailor can read: what her instruments show, hour by hour, and what the watch says of it. All invented."""

from datetime import UTC, datetime

import numpy as np
import pytest

from watch.weather.fronts import FrontPassage, Kind, Reason, find_passages, unseen
from watch.weather.sea import sea_from_wind
from watch.weather.series import WeatherSeries
from watch.weather.squalls import Basis, SquallInputs, squall_outlook

NORTH, SOUTH = 42.0, -42.0
NOON = np.datetime64("2026-05-14T12:00", "s")  # hour 0; midnight is hour 12

#        hour  from  mean  gust  glass   air  dew
FRONT_AT_MIDNIGHT = [
    (0, 200, 16, 20, 1012.0, 17.0, 14.0),
    (6, 200, 20, 26, 1007.5, 17.5, 15.0),
    (11, 205, 26, 34, 1002.0, 17.5, 15.5),
    (12, 215, 27, 38, 1001.0, 17.0, 15.0),
    (13, 290, 30, 44, 1003.0, 13.0, 9.0),
    (18, 300, 26, 36, 1010.5, 11.0, 6.0),
    (24, 310, 20, 26, 1016.0, 11.0, 5.0),
]
WARM_FRONT_AT_NOON = [
    (0, 140, 15, 19, 1015.0, 11.0, 6.0),
    (12, 150, 22, 28, 1006.0, 12.0, 9.0),
    (24, 155, 24, 31, 1000.0, 12.5, 11.0),
    (25, 205, 22, 28, 999.5, 15.5, 14.5),
    (36, 215, 20, 25, 999.0, 16.5, 15.5),
]
BREEZE_DAY = [  # a sea wind from late morning, a land wind by night
    (0, 170, 11, 21.0, 14.0),
    (7, 180, 9, 19.0, 14.0),
    (10, 330, 4, 16.0, 13.0),
    (21, 340, 5, 15.0, 13.0),
    (23, 165, 9, 20.0, 14.5),
]
SEA_BREEZE = [(h + 24 * day, deg, kn, kn + 3, 1018.0, air, dew) for day in range(3) for h, deg, kn, air, dew in BREEZE_DAY]
LIGHT_AIR = [(h, deg, 2, 3, 1020.0, 18.0, 14.0) for h, deg in zip(range(0, 49, 2), [10, 130, 250, 20, 300] * 5, strict=True)]
SLOW_VEER = [(0, 180, 16, 20, 1010.0, 15.0, 12.0), (48, 300, 16, 20, 1013.0, 15.0, 12.0)]
STEADY_TRADE = [(0, 70, 18, 22, 1016.0, 25.0, 21.0), (48, 80, 18, 22, 1016.0, 25.0, 21.0)]
DRY_FRONT = [  # the wind shifts three hours before the air changes
    (0, 190, 14, 18, 1010.0, 16.0, 12.0),
    (11, 195, 15, 19, 1006.0, 16.5, 12.0),
    (12, 275, 17, 24, 1006.5, 16.5, 11.5),
    (15, 290, 18, 25, 1009.0, 15.0, 8.0),
    (18, 300, 18, 24, 1012.0, 12.0, 2.0),
    (30, 310, 14, 18, 1018.0, 11.0, 0.0),
]


def read(table: list[tuple[float, ...]], step_h: float = 1.0, mirrored: bool = False) -> WeatherSeries:
    """A table -> a series every step_h hours, wind interpolated by components; mirrored: as the other hemisphere has it."""
    rows = np.array(table, dtype=float)
    hours = np.arange(rows[0, 0], rows[-1, 0] + 1e-9, step_h)
    angle = np.radians(rows[:, 1] * (-1.0 if mirrored else 1.0) + (180.0 if mirrored else 0.0))
    east, north = (np.interp(hours, rows[:, 0], rows[:, 2] * f(angle)) for f in (np.sin, np.cos))
    mean, gust, glass, air, dew = (np.interp(hours, rows[:, 0], rows[:, k]) for k in range(2, 7))
    return WeatherSeries(
        time=NOON + np.round(hours * 3600).astype("timedelta64[s]"),
        wind_kn=mean,
        from_deg=np.degrees(np.arctan2(east, north)) % 360.0,
        gust_kn=gust,
        pressure_hpa=glass,
        temperature_c=air,
        dew_point_c=dew,
    )


def told(table: list[tuple[float, ...]], latitude: float = NORTH, **how: float) -> list[FrontPassage]:
    return find_passages(read(table, mirrored=latitude < 0, **how), latitude, longitude_deg=-30.0)


def test_a_cold_front_at_midnight() -> None:
    (front,) = told(FRONT_AT_MIDNIGHT)
    assert front.kind is Kind.COLD
    assert front.earliest <= datetime(2026, 5, 15, 0, 30, tzinfo=UTC) <= front.latest
    assert front.turn_deg == pytest.approx(90.0, abs=15.0)
    assert front.peak_gust_kn == 44.0
    assert front.peak_time == datetime(2026, 5, 15, 1, 0, tzinfo=UTC)
    assert front.trough_hpa > 5.0
    assert front.temperature_c < -3.0
    assert front.confidence > 0.8
    assert {Reason.VEER, Reason.TROUGH, Reason.COLDER} <= set(front.reasons)
    assert front.words.startswith("cold front: wind veers ")


def test_the_same_front_in_the_south_backs_and_is_as_sure() -> None:
    (north,), (south,) = told(FRONT_AT_MIDNIGHT), told(FRONT_AT_MIDNIGHT, SOUTH)
    assert south.kind is Kind.COLD
    assert south.turn_deg == pytest.approx(-north.turn_deg)
    assert (south.time, south.confidence) == (north.time, pytest.approx(north.confidence))
    assert Reason.BACK in south.reasons
    assert Reason.AGAINST_SENSE not in south.reasons


@pytest.mark.parametrize("step_h", [1 / 6, 1.0, 3.0, 6.0])
def test_the_front_is_found_at_any_step_of_the_instruments_or_the_forecast(step_h: float) -> None:
    (front,) = told(FRONT_AT_MIDNIGHT, step_h=step_h)
    assert front.kind is Kind.COLD
    midnight = datetime(2026, 5, 15, 0, 30, tzinfo=UTC).timestamp()
    assert abs(front.time.timestamp() - midnight) <= max(step_h, 1.0) * 3600.0


def test_a_warm_front() -> None:
    (front,) = told(WARM_FRONT_AT_NOON)
    assert front.kind is Kind.WARM
    assert front.turn_deg > 0
    assert Reason.WARMER in front.reasons


def test_the_wind_may_shift_hours_before_the_air_changes() -> None:
    (front,) = told(DRY_FRONT)
    assert front.kind is Kind.COLD
    assert front.latest <= datetime(2026, 5, 15, 2, 0, tzinfo=UTC), "when the wind shifted, not when the air changed"


@pytest.mark.parametrize(
    ("what", "table"),
    [("a sea breeze", SEA_BREEZE), ("light airs", LIGHT_AIR), ("a slow veer", SLOW_VEER), ("a steady trade wind", STEADY_TRADE)],
)
@pytest.mark.parametrize("latitude", [NORTH, SOUTH])
def test_what_is_no_front(what: str, table: list[tuple[float, ...]], latitude: float) -> None:
    assert told(table, latitude) == [], what


def test_the_daily_tide_of_the_glass_is_no_trough() -> None:
    hours = np.arange(0, 97)
    tide = 1.1 * np.sin(np.radians(30.0 * (hours + 9.0)))
    table = [(h, 70 + 20 * (h % 12 == 4), 14, 18, 1015.0 + tide[h], 26.0, 22.0) for h in hours]
    assert told(table, 12.0) == []


def test_her_own_tack_is_no_front() -> None:
    """A masthead that reads thirty degrees wrong on each tack."""
    hours = np.arange(0, 25)
    from_deg = np.where(hours < 12, 200.0, 260.0)
    heading = np.where(hours < 12, 155.0, 245.0)
    wind = {"time": NOON + hours * np.timedelta64(3600, "s"), "wind_kn": np.full(25, 16.0), "from_deg": from_deg}
    assert len(find_passages(WeatherSeries(**wind), NORTH)) == 1, "without her heading it looks like one"
    assert find_passages(WeatherSeries(**wind, heading_deg=heading), NORTH) == []


def test_a_real_front_while_she_tacks_is_still_called() -> None:
    series = read(FRONT_AT_MIDNIGHT)
    heading = np.where(series.hours < series.hours[13], 155.0, 245.0)
    tacking = WeatherSeries(**{**vars(series), "heading_deg": heading})
    assert [p.kind for p in find_passages(tacking, NORTH)] == [Kind.COLD]


def test_by_wind_alone_it_is_a_wind_shift_and_less_sure() -> None:
    series = read(FRONT_AT_MIDNIGHT)
    (front,) = find_passages(WeatherSeries(time=series.time, wind_kn=series.wind_kn, from_deg=series.from_deg), NORTH)
    assert front.kind is Kind.SHIFT
    assert {Reason.NO_GLASS, Reason.NO_THERMOMETER} <= set(front.reasons)
    assert np.isnan([front.trough_hpa, front.temperature_c, front.air_c]).all()
    assert front.confidence < told(FRONT_AT_MIDNIGHT)[0].confidence


def test_a_gap_in_the_wind_is_said_not_passed_over() -> None:
    series = read(FRONT_AT_MIDNIGHT)
    dark = (np.arange(25) >= 9) & (np.arange(25) <= 16)
    holed = WeatherSeries(**{**vars(series), "wind_kn": np.where(dark, np.nan, series.wind_kn)})
    (span,) = unseen(holed)
    assert (span.start, span.end) == (datetime(2026, 5, 14, 20, 0, tzinfo=UTC), datetime(2026, 5, 15, 5, 0, tzinfo=UTC))
    assert unseen(series) == []


def test_after_a_gale_the_old_sea_runs_on_across_the_new_wind() -> None:
    time = NOON + np.arange(0, 73) * np.timedelta64(3600, "s")
    wind = np.where(np.arange(73) < 24, 20.0, 8.0)
    from_deg = np.where(np.arange(73) < 24, 200.0, 290.0)
    sea = sea_from_wind(time, wind, from_deg)
    assert sea.height_m[30] > 8.0, "six hours after the gale dropped"
    assert sea.height_m[48] == pytest.approx(0.5 * sea.height_m[24], rel=0.15), "half of it a day later"
    assert sea.from_deg[36] == pytest.approx(203.0, abs=20.0), "still from where the gale blew"
    assert sea.wind_sea_m[48] == pytest.approx(0.0248 * 64.0, rel=0.1), "and the new wind's own sea beneath it"


DOLDRUMS = {"cape_jkg": 2000.0, "rain_mmh": 6.0}
LITTLE_ALOFT = {"u10_ms": 6.0, "v10_ms": 0.0, "u500_ms": 10.0, "v500_ms": 0.0}
STORM_ALOFT = {"u10_ms": 14.0, "v10_ms": 0.0, "u500_ms": 42.0, "v500_ms": 0.0}


@pytest.mark.parametrize(
    ("night", "has", "basis", "says"),
    [
        ("trade wind, dry", {"cape_jkg": 50.0, "rain_mmh": 0.0}, Basis.CAPE_AND_RAIN, "squalls not expected"),
        ("doldrums", DOLDRUMS, Basis.CAPE_AND_RAIN, "squalls likely"),
        ("doldrums, file without rain", {"cape_jkg": 2000.0}, Basis.CAPE_ONLY, "squalls a real chance"),
        ("doldrums, winds aloft too", DOLDRUMS | LITTLE_ALOFT, Basis.WINDS_ALOFT, "squalls likely"),
        ("winter front, no CAPE", {"cape_jkg": 0.0, "rain_mmh": 5.0} | STORM_ALOFT, Basis.WINDS_ALOFT, "squalls likely"),
        ("gusts and rain only", {"gust_ms": 24.0, "rain_mmh": 5.0}, Basis.GUSTINESS, "squalls a real chance"),
        ("rain only", {"rain_mmh": 5.0}, Basis.GUSTINESS, "squalls possible"),
        ("storm aloft and rain, no CAPE in the file", {"rain_mmh": 5.0} | STORM_ALOFT, Basis.GUSTINESS, "squalls likely"),
        ("wind only", {}, Basis.UNKNOWN, "this forecast cannot tell of squalls"),
        ("wind only, cold front due", {"cold_front": 0.15}, Basis.UNKNOWN, "squalls possible (a cold front passes"),
    ],
)
def test_what_is_said_of_squalls_and_from_what(night: str, has: dict[str, float], basis: Basis, says: str) -> None:
    out = squall_outlook(SquallInputs(wind_ms=[12.0], gust_has_convection=False, **{k: [v] for k, v in has.items()}))
    assert Basis(int(out.basis[0])) is basis, night
    assert out.words_at(0).startswith(says), (night, out.words_at(0))
    assert out.gust_ms[0] >= 20.0, "a squall brings eight metres a second more than the mean"
