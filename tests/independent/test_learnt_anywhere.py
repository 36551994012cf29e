"""What the instruments say, carried into the weathers anywhere, against its slow twin along a track."""

from dataclasses import replace
from datetime import timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from watch.forecast.contract import Forecast
from watch.forecast.grib import read
from watch.instruments.ahead import apply
from watch.instruments.ahead_anywhere import Learnt, learnt_anywhere
from watch.instruments.compare import Update
from watch.orders.met import quantile
from watch.weather.anywhere import Anywhere, anywhere
from watch.weather.look import Where
from watch.weather.own_place import own_wind
from watch.weather.scenarios import make_scenarios
from watch.when import grid, parse_utc

ROOT = Path(__file__).resolve().parents[2]
START = parse_utc("2026-05-16T18:00Z")
HOURS, SHARE, HALF_H = 36, 0.9, 3
HERE = (37.0, -50.0)


@cache
def forecasts() -> tuple[Forecast, ...]:
    return tuple(read([ROOT / "fixtures" / "kittiwake-2026051612-ensemble.grib2"], None))


@cache
def plain() -> tuple[xr.Dataset, Anywhere]:
    """At one place, where both look up the same."""
    where = Where(time=grid(START, 6 * HOURS)[:-1], latitude=np.full(6 * HOURS, HERE[0]), longitude=np.full(6 * HOURS, HERE[1]))
    return make_scenarios(forecasts(), where), anywhere(forecasts(), grid(START, 6 * HOURS)[::6])


def update(early_h: float, strength: float, *, uneven: bool = False, **more: object) -> Update:
    scenarios, _ = plain()
    weights = scenarios["weight"].values * (np.linspace(0.5, 1.5, len(scenarios["weight"])) if uneven else 1.0)
    made = Update(
        as_of=START, hours_early=early_h, hours_early_sd=0.3, strength=strength, strength_sd=0.1, sharper=np.nan, weights=weights / weights.sum(),
        labels=tuple(str(label) for label in scenarios["label"].values), ess=20.0, rest_early_h=early_h, rest_strength=strength,
        calmer_supported=False, trusted=True, reasons=(), words="as it is",
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def there(found: Anywhere, name: str) -> np.ndarray:
    everywhere = found.at(np.arange(HOURS), np.full(HOURS, HERE[0]), np.full(HOURS, HERE[1]))
    return np.asarray(getattr(everywhere, name), dtype=float)


@pytest.mark.parametrize(("early_h", "strength"), [(0.0, 1.2), (2.0, 1.0), (-3.0, 1.1), (4.0, 0.8), (0.0, 0.75)])
def test_the_same_as_along_a_track_that_lies_still(early_h: float, strength: float) -> None:
    scenarios, weathers = plain()
    told = update(early_h, strength, uneven=True)
    slow, fast = apply(told, scenarios, planning_share=SHARE), learnt_anywhere(told, weathers, SHARE)
    assert np.allclose(fast.weight, slow["weight"].values)
    for name in ("mean_ms", "gust_ms", "sea_m"):
        hourly = slow[name].values.reshape(-1, HOURS, 6).max(axis=2).T
        found = there(fast, name)
        assert np.isfinite(found).all()
        assert abs(np.median(found - hourly)) < 0.15, name
        steps = np.arange(6 * HOURS).reshape(HOURS, 6)
        near = np.clip(np.arange(-HALF_H, 6 + HALF_H) + steps[:, :1], 0, 6 * HOURS - 1)  # a shift by whole hours is half an hour off at most
        low, high = (most(slow[name].values[:, near], axis=2).T for most in (np.min, np.max))
        outside = np.maximum(low - found, found - high)
        without = np.abs(there(weathers, name) - scenarios[name].values.reshape(-1, HOURS, 6).max(axis=2).T)
        for share in (0.9, 0.99):
            more = 0.6 if name == "gust_ms" else 0.1  # how gusts scatter belongs to the clock: along the track it is shifted, here it stays
            assert np.quantile(outside, share) <= np.quantile(without, share) + more, f"{name}: no farther off than without an update"


@pytest.mark.parametrize("strength", [0.4, 0.8])
def test_never_much_calmer_than_without(strength: float) -> None:
    _, weathers = plain()
    for supported, share in ((False, 0.05), (True, 0.25)):
        fast = learnt_anywhere(update(5.0, strength, uneven=True, calmer_supported=supported), weathers, SHARE)
        for name in ("mean_ms", "gust_ms", "sea_m"):
            was, now = (quantile(there(w, name).T, w.weight, SHARE) for w in (weathers, fast))
            assert (now >= (1.0 - share) * was - 1e-4).all(), name


def test_it_fades_and_what_is_not_trusted_changes_nothing() -> None:
    _, weathers = plain()
    assert learnt_anywhere(update(2.0, 1.4, trusted=False), weathers, SHARE) is weathers
    ratio = there(learnt_anywhere(update(0.0, 1.4), weathers, SHARE), "mean_ms") / there(weathers, "mean_ms")
    assert np.allclose(ratio[0], 1.4, atol=0.01)
    assert np.allclose(ratio[-1], 1.0, atol=0.01)
    assert (np.diff(ratio[:, 0]) <= 1e-6).all()


def test_what_is_unknown_stays_unknown_and_the_last_hours_hold() -> None:
    hours = grid(START, 6 * 130)[::6]
    weathers = anywhere(forecasts(), hours)
    ends = int(np.flatnonzero(np.isfinite(weathers.at(np.arange(130), np.full(130, 37.0), np.full(130, -50.0)).mean_ms[:, 0]))[-1])
    fast = learnt_anywhere(update(6.0, 1.0, as_of=START + timedelta(hours=ends - 3)), weathers, SHARE)
    assert isinstance(fast, Learnt)
    found = fast.at(np.array([ends, ends + 1, 0]), np.array([37.0, 37.0, 10.0]), np.full(3, -50.0))
    assert np.isfinite(found.mean_ms[0]).all()
    assert np.isnan(found.mean_ms[1:]).all()


def test_each_at_its_own_place_is_moved_alike() -> None:
    _, weathers = plain()
    fast = learnt_anywhere(update(2.0, 1.3), weathers, SHARE)
    hour, count = np.array([1, 9, 20]), len(weathers.weight)
    lat, lon = np.full((3, count), HERE[0]), np.full((3, count), HERE[1])
    own, same = own_wind(fast, hour, lat, lon), fast.at(hour, lat[:, 0], lon[:, 0])
    assert np.allclose(own.u_ms, same.u_ms, atol=1e-4)
    assert (own.gust_ms <= same.gust_ms + 1e-4).all()
