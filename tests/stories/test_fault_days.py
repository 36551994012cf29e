"""Days of faults one upon the other: nothing lost, nothing silent. A thousand of them: tests/bench/bench_fault_days.py."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.fault_days import KINDS, Days, Fault
from watch.when import parse_utc


def test_nothing_is_lost_and_nothing_is_silent_in_days_of_every_fault(tmp_path: Path):
    days = Days(tmp_path / "watch.db", parse_utc("2026-05-16T12:00Z"), seed=1)
    tally = days.live(6)
    assert tally.silent == []
    assert tally.lost == []
    assert sum(tally.faults.values()) >= 4
    assert tally.passes > 500
    assert tally.log_lines > 5


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_fault_alone_is_said(kind: str, tmp_path: Path):
    days = Days(tmp_path / "watch.db", parse_utc("2026-05-16T12:00Z"), seed=5, kinds=[kind])
    tally = days.live(1)
    assert tally.faults[kind] > 0
    assert tally.silent == []
    assert tally.lost == []


def test_a_full_disk_is_said_though_no_pass_succeeds(tmp_path: Path):
    days = Days(tmp_path / "watch.db", parse_utc("2026-05-16T12:00Z"), seed=3)
    at = [days.true + timedelta(hours=hour) for hour in (1, 12, 14, 15)]
    days.faults = [Fault(kind="pass dies", start=at[0], end=at[3]), Fault(kind="disk full", start=at[1], end=at[2])]
    while days.true < at[3]:
        days._live_a_little()
    assert days.tally.silent == []


def test_the_harness_itself_notices_silence(tmp_path: Path):
    days = Days(tmp_path / "watch.db", parse_utc("2026-05-16T12:00Z"), seed=5, kinds=["channel dead"])
    days.post.situations = list  # a post that says nothing of its dead channel
    assert days.live(3).silent
