"""Orders from odd forecast files: what is missing is said, and nothing missing is calm. The files are invented (fixtures/small)."""

import json
import statistics
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from fixtures.read_back import read_back, sample
from watch.cli import main

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "fixtures" / "small"


def brief(tmp_path: Path, *names: str, start: tuple[float, float] = (36.5, -52.0), end: tuple[float, float] = (39.0, -47.0),
          now: str = "2026-05-16T13:00Z", extra: tuple[str, ...] = ()) -> dict[str, Any]:  # fmt: skip
    route = tmp_path / "route.toml"
    points = "".join(f'[[waypoint]]\nname = "{n}"\nlatitude = {p[0]}\nlongitude = {p[1]}\n' for n, p in (("A", start), ("B", end)))
    route.write_text(f'[passage]\nname = "invented"\nkind = "great circle"\n{points}', encoding="utf-8")
    arguments = ["brief", "--json", "--boat", str(ROOT / "config" / "boat-sloop.toml"), "--route", str(route), "--now", now, *extra]
    for name in names:
        arguments += ["--forecast", str(SMALL / name)]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    made: dict[str, Any] = json.loads(result.stdout)
    return made


def said(orders: dict[str, Any], words: str) -> bool:
    return any(words in line for line in orders["missing"])


def test_without_gusts_a_published_factor_is_taken_and_said(tmp_path: Path) -> None:
    orders = brief(tmp_path, "gust-missing.grib2")
    assert said(orders, "has no gusts: mean wind times 1.23")
    for step in orders["steps"]:
        assert step["forecast_gust_kn"] is None, "what the file does not have is not made up in the plain columns"
        assert step["planning_gust_kn"] >= 1.1 * step["planning_mean_kn"], "gusts scatter about it from step to step"
    assert statistics.mean(step["planning_gust_kn"] / step["planning_mean_kn"] for step in orders["steps"]) >= 1.2


def test_without_waves_the_sea_is_estimated_and_said(tmp_path: Path) -> None:
    orders = brief(tmp_path, "gust-missing.grib2")
    assert said(orders, "No wave forecast: the sea is estimated")
    assert all(step["planning_sea_m"] > 0.5 for step in orders["steps"])
    assert all(step["forecast_sea_m"] is None for step in orders["steps"])


def test_orders_end_where_the_forecast_ends(tmp_path: Path) -> None:
    orders = brief(tmp_path, "ends-early.grib2")
    assert orders["ends_at"] == "2026-05-16T21:00:00Z"
    assert "forecast ends" in orders["ends_reason"]
    assert orders["arrival"] is None or orders["arrival"] > orders["ends_at"]


def test_a_gust_over_six_hours_belongs_to_all_of_them(tmp_path: Path) -> None:
    """Every step inside an interval has that interval's gust at her place, as the plain reading of the file gives it."""
    orders = brief(tmp_path, "gust-max-6h.grib1", now="2026-05-16T18:10Z")
    intervals = [m for m in read_back(SMALL / "gust-max-6h.grib1") if "fg" in m.name]
    checked = 0
    for step in orders["steps"]:
        hour = (datetime.fromisoformat(step["time"]) - datetime(2026, 5, 16, 12, tzinfo=UTC)).total_seconds() / 3600
        inside = [m for m in intervals if m.from_h < hour and hour + 1 / 6 < m.to_h]
        if inside:
            gust_kn = sample(inside[0], step["latitude_deg"], step["longitude_deg"]) * 3600 / 1852
            assert step["forecast_gust_kn"] == pytest.approx(max(gust_kn, step["forecast_mean_kn"]), abs=0.3)
            checked += 1
    assert checked > 100


def test_waves_alone_are_no_forecast(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="no wind at 10 m"):
        brief(tmp_path, "wave-only.grib2")


def test_waves_from_another_file_are_used(tmp_path: Path) -> None:
    with_waves = brief(tmp_path, "gust-missing.grib2", "wave-only.grib2")
    assert not said(with_waves, "No wave forecast")
    assert all(step["forecast_sea_m"] is not None for step in with_waves["steps"][:60])


def test_across_the_date_line(tmp_path: Path) -> None:
    orders = brief(tmp_path, "wraps-antimeridian.grib2", start=(-36.5, 178.8), end=(-37.5, -177.0))
    longitudes = [s["longitude_deg"] % 360 for s in orders["steps"]]
    assert longitudes[0] == pytest.approx(178.8, abs=0.01)
    assert longitudes[-1] > 180.0, "she has crossed"
    assert all(s["planning_gust_kn"] is not None for s in orders["steps"])


def test_irregular_steps_are_followed(tmp_path: Path) -> None:
    orders = brief(tmp_path, "steps-irregular.grib2")
    assert orders["ends_at"] == "2026-05-18T17:00:00Z"


def test_a_member_that_lacks_steps_is_unknown_there_not_calm(tmp_path: Path) -> None:
    orders = brief(tmp_path, "one-member-missing-steps.grib2")
    assert orders["weathers"] == 3
    worst = [s["worst_gust_kn"] for s in orders["steps"]]
    assert None in worst, "with a member missing the worst is not known"
    assert orders["hard_chance"] >= 1 / 3 - 1e-6, "what is not known is inside no limit"


def test_an_old_run_says_its_age(tmp_path: Path) -> None:
    orders = brief(tmp_path, "run-older.grib2")
    assert orders["forecasts"][0]["age_hours"] == pytest.approx(49.0)


def test_both_runs_are_weighed_together_when_they_are_near(tmp_path: Path) -> None:
    orders = brief(tmp_path, "gust-missing.grib2", "steps-irregular.grib2")
    assert len(orders["forecasts"]) >= 1
