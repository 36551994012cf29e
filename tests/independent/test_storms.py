"""The benchmark's invented passages: true weather with a true grain, and forecasts that are wrong in the ways they say."""

from dataclasses import fields, replace

import numpy as np
import pytest

from fixtures import storm_events, storms
from fixtures.storm_events import Kind, passage
from fixtures.storms import END, START, Series, bases, forecast, truth
from watch.units import kn_to_ms, ms_to_kn, wrap_180

HOUR = np.timedelta64(1, "h")
MANY = range(120)


def hours(series: Series) -> np.ndarray:
    return (series.time - START).astype(np.int64) / 3600.0


def hourly_mean_ms(seed: int, at_h: np.ndarray) -> np.ndarray:
    """True mean wind over the hour around each instant."""
    real = truth(seed)
    return np.array([real.mean_ms[max(0, i - 3):i + 4].mean() for i in np.round(at_h * 6).astype(int)])


def seeds_of(kind: Kind) -> list[int]:
    return [seed for seed in range(200) if passage(seed).kind is kind]


def test_the_same_seed_gives_the_same_passage_and_forecasts_and_another_seed_another() -> None:
    first, run = truth(11), forecast(11, START + 24 * HOUR)
    for cache in (truth, passage, storms._wandering, storms._skewed, storms._regimes):
        cache.cache_clear()
    assert all(np.array_equal(getattr(first, f.name), getattr(truth(11), f.name)) for f in fields(Series))
    assert all(np.array_equal(getattr(run, f.name), getattr(forecast(11, START + 24 * HOUR), f.name)) for f in fields(Series))
    assert not np.array_equal(first.mean_ms, truth(12).mean_ms)


def test_truth_is_six_days_of_ten_minutes_and_nothing_is_missing() -> None:
    for seed in MANY:
        real = truth(seed)
        assert (real.time[0], real.time[-1]) == (START, END)
        assert set(np.diff(real.time)) == {np.timedelta64(600, "s")}
        for f in fields(Series):
            values = getattr(real, f.name)
            assert values.shape == real.time.shape
            assert not np.any(np.isnat(values) if f.name == "time" else np.isnan(values))
        assert np.all(real.gust_ms >= real.mean_ms)
        assert np.all(real.mean_ms > 0.0)
        assert np.all((real.from_deg >= 0.0) & (real.from_deg < 360.0))
        assert 95_000.0 < real.pressure_pa.min() < real.pressure_pa.max() < 104_500.0


def test_storms_of_all_strengths_and_quiet_passages_are_drawn() -> None:
    assert {passage(seed).kind for seed in MANY} == set(Kind)
    smooth_peak = {seed: ms_to_kn(float(np.max(hourly_mean_ms(seed, np.arange(1.0, 143.0))))) for seed in MANY}
    stormy = [peak for seed, peak in smooth_peak.items() if passage(seed).kind not in (Kind.QUIET, Kind.TRADES)]
    assert min(stormy) < 22.0
    assert max(stormy) > 40.0
    assert sum(peak > 30.0 for peak in stormy) > 15
    assert max(peak for seed, peak in smooth_peak.items() if passage(seed).kind is Kind.QUIET) < 24.0


@pytest.mark.source("gust-sea-1")
def test_gusts_over_ten_minutes_have_the_published_factor_where_there_is_no_squall() -> None:
    ratios = np.concatenate([truth(seed).gust_ms / truth(seed).mean_ms for seed in seeds_of(Kind.GALE)])
    assert 1.20 <= np.median(ratios) <= 1.30


def test_the_wind_veers_and_the_glass_turns_at_the_shift() -> None:
    for seed in seeds_of(Kind.FRONT)[:15]:
        event, real = passage(seed).events[0], truth(seed)
        i = round(event.hour * 6)
        before, after = real.from_deg[i - 18:i - 12].mean(), real.from_deg[i + 12:i + 18].mean()
        assert 15.0 < wrap_180(after - before) < 140.0
        lowest = int(np.argmin(real.pressure_pa[i - 60:i + 60])) - 60
        assert abs(lowest) <= 18  # three hours; the tide of the air shifts it


# Forecasts

def test_forecasts_are_three_hourly_to_five_days_and_end_with_the_passage() -> None:
    run = forecast(0, START + 12 * HOUR)
    assert set(np.diff(run.time)) == {np.timedelta64(3 * 3600, "s")}
    assert run.time[0] == START + 12 * HOUR
    assert run.time[-1] == START + 132 * HOUR
    assert forecast(0, START + 60 * HOUR).time[-1] == END
    assert forecast(0, START - 48 * HOUR).time[0] == START
    assert np.all(run.gust_ms > run.mean_ms)
    assert np.array_equal(bases(12), START + np.arange(0, 144, 12) * HOUR)


@pytest.mark.parametrize("base", [START + 5 * HOUR, START - 54 * HOUR, END, START + np.timedelta64(90, "m")])
def test_a_run_that_was_never_made_is_refused(base: np.datetime64) -> None:
    with pytest.raises(ValueError, match="every 6 h"):
        forecast(0, base)
    with pytest.raises(ValueError, match="multiple"):
        bases(5)


@pytest.mark.source("wind-error-1")
def test_errors_grow_with_the_time_ahead_about_as_those_of_models_do() -> None:
    errors: dict[int, list[np.ndarray]] = {}
    for seed in MANY:
        for base in bases(24)[:4]:
            run = forecast(seed, base)
            ahead_h = (run.time - base).astype(np.int64) / 3600.0
            error = run.mean_ms - hourly_mean_ms(seed, hours(run))
            for day in (1, 2, 3, 5):
                errors.setdefault(day, []).append(error[(ahead_h > day * 24 - 12) & (ahead_h <= day * 24 + 12)])
    rmse = {day: float(np.sqrt(np.mean(np.concatenate(found) ** 2))) for day, found in errors.items()}
    assert rmse[1] < rmse[2] < rmse[3] < rmse[5]
    for day, prior in {1: 1.5, 2: 1.9, 3: 2.4, 5: 3.3}.items():
        assert rmse[day] == pytest.approx(prior, abs=0.5)


def test_timing_errors_have_heavy_tails_and_wander_from_run_to_run() -> None:
    paths = np.array([storms._wandering(seed, 10) for seed in range(600)])
    assert 0.8 < paths.std() < 1.2
    now, after = paths[:, :-1].ravel(), paths[:, 1:].ravel()
    steps = after - storms.KEPT * now
    assert np.corrcoef(now, after)[0, 1] == pytest.approx(storms.KEPT, abs=0.04)
    assert (np.abs(steps) > 4.0 * steps.std()).mean() > 10.0 * 6.3e-5  # a bell curve has 6.3 in 100,000


def test_two_systems_of_one_run_are_not_displaced_alike() -> None:
    differences, sizes = [], []
    for seed in seeds_of(Kind.SECOND_LOW):
        events = passage(seed).events
        base_h = max(0.0, np.floor((events[0].hour - 24.0) / 6.0) * 6.0)
        errors = [storms._timing_error_h(seed, n, event, base_h, int(base_h / 6) + 8) for n, event in enumerate(events)]
        differences.append(errors[1] - errors[0])
        sizes.append(errors[0])
    assert np.std(differences) > np.std(sizes)


def test_strength_errors_lean_to_the_weak_side_far_ahead() -> None:
    at_peak = []
    for seed in seeds_of(Kind.FRONT):
        event = passage(seed).events[0]
        base_h = np.floor((event.hour - 72.0) / 6.0) * 6.0
        if base_h >= -48.0:
            run = forecast(seed, START + int(base_h) * HOUR)
            near = np.abs(hours(run) - event.hour) <= 15.0
            at_peak.append(run.mean_ms[near].max() / hourly_mean_ms(seed, np.arange(event.hour - 12.0, event.hour + 12.0)).max())
    assert np.mean(at_peak) < 0.95


def test_isolated_squalls_are_in_no_forecast() -> None:
    for seed in seeds_of(Kind.TRADES)[:8]:
        drawn = passage(seed)
        real = truth(seed)
        for squall in drawn.squalls:
            i = round(squall.hour * 6)
            assert ms_to_kn(real.gust_ms[i - 2:i + 3].max()) > ms_to_kn(drawn.steady_ms) + 5.0
        run = forecast(seed, START)
        assert ms_to_kn(np.diff(run.gust_ms).max()) < 8.0
        assert len(drawn.squalls) < 5 or real.gust_ms.max() > run.gust_ms[:17].max() + kn_to_ms(5.0)


def test_a_second_low_is_not_forecast_until_late_and_then_is() -> None:
    rises = []
    for seed in seeds_of(Kind.SECOND_LOW)[:12]:
        first, second = passage(seed).events
        for base_h in (np.floor((second.hour - second.seen_from_h) / 6.0) * 6.0 - 6.0, np.floor((second.hour - 6.0) / 6.0) * 6.0):
            cycle = int(base_h / 6) + 8
            had = storms._as_forecast(seed, passage(seed), float(base_h), cycle)
            rises.append(len(had))
            assert len(had) == (1 if base_h < second.hour - second.seen_from_h else 2)
        assert first.hour < second.hour
    assert set(rises) == {1, 2}


def test_double_fronts_are_one_far_ahead_and_phantoms_go_away() -> None:
    for seed in seeds_of(Kind.DOUBLE)[:10]:
        drawn = replace(passage(seed), phantoms=())
        far_h = np.floor((drawn.events[0].hour - 48.0) / 6.0) * 6.0
        had = storms._as_forecast(seed, drawn, float(far_h), int(far_h / 6) + 8)
        assert len(had) == 1
        assert had[0].shift_h > drawn.events[0].shift_h + 2.0
    haunted = [seed for seed in MANY if passage(seed).phantoms and passage(seed).kind is Kind.QUIET]
    assert haunted
    for seed in haunted:
        ghost = passage(seed).phantoms[0]
        early, late = (np.floor((ghost.hour - ahead_h) / 6.0) * 6.0 for ahead_h in (66.0, 36.0))
        count = [len(storms._as_forecast(seed, passage(seed), float(base_h), int(base_h / 6) + 8)) for base_h in (early, late)]
        assert count[0] == count[1] + 1


def test_flow_is_smooth_between_events_and_the_sea_follows_the_wind() -> None:
    for seed in list(MANY)[:20]:
        drawn = passage(seed)
        fine = np.arange(0.0, 144.0, 0.1)
        assert np.all(np.isfinite(storm_events.flow_ms(drawn, drawn.events, fine)))
        real = truth(seed)
        assert np.all(np.abs(np.diff(real.sea_m)) < 0.25)
        assert real.sea_m.max() <= np.hypot(0.0248 * real.mean_ms.max() ** 2, storms.SWELL_M) + 0.01
