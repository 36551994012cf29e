"""The watch's own fetching: what is due is asked for within the sailor's limits, what only he can put right is said, the rest waits."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.shell.shore import RUN, ShipClock, source
from tests.watchkeeping import BOAT, ROUTE
from watch.faults import BadInputError
from watch.forecast.budget import Reason, Spent
from watch.forecast.download import Fetched, Partial
from watch.service.stand import downloads
from watch.service.stand.downloads import DownloadConfig, Downloads, chosen

SPENT = Spent(bytes=1_200_000, seconds=40.0, exchanges=9)


def came(**_: Any) -> Fetched:
    return Fetched(paths=(Path("a.grib"),), run=RUN, attribution="invented", notes=(), spent=SPENT)


def broke(reason: Reason) -> Callable[..., Partial]:
    def result(**_: Any) -> Partial:
        return Partial(paths=(), lacking=("+3 h",), reason=reason, sentence=f"{reason}: no more came", retry_at=None, run=RUN,
                       attribution="invented", notes=(), spent=SPENT)

    return result


class Asked:
    """Stands in for the link: keeps what was asked for, answers what it is told to."""

    def __init__(self, answer: Callable[..., Fetched | Partial]) -> None:
        self.answer, self.runs, self.last = answer, list[Any](), dict[str, Any]()

    def __call__(self, source: Any, run: Any, box: Any, hours: int, to: Path, **more: Any) -> Fetched | Partial:
        self.runs.append(run)
        self.last = {"box": box, "hours": hours, "to": to, **more}
        return self.answer()


def errand(tmp_path: Path, ship: ShipClock, **config: Any) -> Downloads:
    return Downloads(DownloadConfig(sources=("shore",), **config), (source("http://127.0.0.1:9"),), BOAT, ROUTE, (), tmp_path,
                     lambda: (36.5, -52.0), ship.clock)


def test_what_is_due_is_asked_for_within_the_limits_and_asks_for_a_pass(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    asked, ship = Asked(came), ShipClock()
    monkeypatch.setattr(downloads, "fetch_run", asked)
    one = errand(tmp_path, ship, at_most_mb=2, minutes=10, hours=48)
    assert one.run(ship.clock.now()) == ("", True)
    assert asked.runs == [RUN]
    assert (asked.last["budget"].max_bytes, asked.last["budget"].max_seconds, asked.last["hours"]) == (2_000_000, 600.0, 48)
    box = asked.last["box"]
    assert box.south <= 36.5 - 3
    assert box.north >= 36.5 + 3
    assert "1.2 MB" in one.said
    assert one.run(ship.clock.now()) == ("", False), "it is here: it is not asked for again"
    ship.passed_s += 6 * 3600
    one.run(ship.clock.now())
    assert asked.runs == [RUN, RUN + timedelta(hours=6)]


def test_a_broken_link_is_no_call_and_waits_longer_each_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    asked, ship = Asked(broke(Reason.LINK)), ShipClock()
    monkeypatch.setattr(downloads, "fetch_run", asked)
    one = errand(tmp_path, ship)
    for _ in range(18):  # three hours, looked at every ten minutes
        assert one.run(ship.clock.now()) == ("", False)
        ship.passed_s += 600
    assert 3 <= len(asked.runs) <= 6


@pytest.mark.parametrize("reason", [Reason.TOO_BIG, Reason.DISK])
def test_what_only_the_sailor_can_put_right_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reason: Reason):
    ship = ShipClock()
    monkeypatch.setattr(downloads, "fetch_run", Asked(broke(reason)))
    words, comes = errand(tmp_path, ship).run(ship.clock.now())
    assert str(reason) in words
    assert not comes


def test_the_size_is_told_before_anything_is_spent(tmp_path: Path):
    assert "OVER your limit of 0.1 MB" in errand(tmp_path, ShipClock(), at_most_mb=0.1, hours=48).sizes()[0]
    assert "OVER" not in errand(tmp_path, ShipClock(), at_most_mb=50, hours=48).sizes()[0]


def test_a_source_that_is_not_known_is_refused_with_those_that_are():
    with pytest.raises(BadInputError, match="known are"):
        chosen(DownloadConfig(sources=("nowhere",)), Path())
    assert chosen(DownloadConfig(), Path()) == ()
