"""Squalls that come with cold fronts: as many weathers as the share says, each at an hour of its own, none without a front."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from watch.units import wind_components_ms
from watch.weather.near_fronts import FRONT_SHARE, HOURS_FROM_FRONT, _largest_near, front_squalls, fronts_by_hour, hours_late, passing_share
from watch.weather.sample import Points
from watch.when import grid, parse_utc

STEPS, FRONT = 6 * 48, 6 * 24
LUCK = (np.arange(400) + 0.5) / 400
NO_PAST = (np.full(90, np.nan), np.full(90, np.nan))


def wind(before: tuple[float, float], after: tuple[float, float], takes_h: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    """(direction, m/s) before and after -> speed and direction, two days of tens of minutes, the shift in the middle."""
    share = np.clip((np.arange(STEPS) - FRONT) / (6.0 * takes_h) + 0.5, 0.0, 1.0)
    parts = [wind_components_ms(ms, deg) for deg, ms in (before, after)]
    u, v = (parts[0][i] * (1.0 - share) + parts[1][i] * share for i in (0, 1))
    return np.hypot(u, v), np.degrees(np.arctan2(-u, -v)) % 360.0


def squalls(speed: np.ndarray, bearing: np.ndarray, latitude: float = 40.0, luck: np.ndarray = LUCK,
            past: tuple[np.ndarray, np.ndarray] = NO_PAST):
    rows = (np.repeat(x[None], len(luck), axis=0) for x in (speed, bearing))
    return front_squalls(*rows, np.full(len(speed), latitude), luck, past)


@pytest.mark.source("squall-5")
def test_as_many_weathers_have_one_as_strong_fronts_were_seen_to_bring() -> None:
    found = squalls(*wind((215.0, 13.0), (305.0, 13.0)))
    assert found.comes.any(axis=1).mean() == pytest.approx(FRONT_SHARE, abs=0.005)
    assert found.comes.mean(axis=0).max() < FRONT_SHARE / 2.0, "seldom in any one ten minutes: a job of half an hour mostly goes without"
    hours = np.flatnonzero(found.comes.any(axis=0)) / 6.0 - FRONT / 6.0
    assert hours.min() >= HOURS_FROM_FRONT[0] - 1.5
    assert hours.max() <= HOURS_FROM_FRONT[-1] + 1.5
    near = found.comes[:, FRONT - 18 : FRONT + 18].sum() / found.comes.sum()
    assert near == pytest.approx(9 / 14, abs=0.08), "nine of fourteen were seen within three hours of the front"
    assert (found.chance[~found.comes.any(axis=1)].max(axis=1) <= FRONT_SHARE + 1e-9).all()


@pytest.mark.source("squall-5")
@pytest.mark.parametrize(
    ("what", "before", "after", "latitude", "comes"),
    [
        ("a strong front", (215.0, 13.0), (305.0, 13.0), 40.0, True),
        ("the same, south", (325.0, 13.0), (235.0, 13.0), -40.0, True),
        ("backing in the north", (305.0, 13.0), (215.0, 13.0), 40.0, False),
        ("a light one", (215.0, 6.0), (305.0, 6.0), 40.0, False),
        ("no turn", (215.0, 14.0), (220.0, 18.0), 40.0, False),
    ],
)
def test_only_strong_fronts_bring_squalls(
    what: str, before: tuple[float, float], after: tuple[float, float], latitude: float, comes: bool
) -> None:
    found = squalls(*wind(before, after), latitude)
    assert found.comes.any() == comes, what
    assert (found.chance > 0).any() == comes, what


@given(st.floats(0.2, 6.0), st.floats(5.0, 30.0), st.floats(60.0, 140.0))
def test_a_smeared_front_is_one_front_near_its_middle(takes_h: float, ms: float, turn: float) -> None:
    speed, bearing = wind((200.0, ms), (200.0 + turn, ms), takes_h)
    u, v = wind_components_ms(speed, bearing)
    at = np.flatnonzero(passing_share(u, v, 1.0, 6))
    assert len(at) <= 1, "one front, one squall"
    if ms > 12.0 and takes_h <= 3.0:
        assert len(at) == 1
        assert abs(at[0] - FRONT) <= 6 * 1.5


def test_the_showers_of_a_front_that_has_gone_by_still_come() -> None:
    speed, bearing = wind((215.0, 13.0), (305.0, 13.0))
    cut = FRONT + 12
    later = squalls(speed[cut:], bearing[cut:], past=(speed[cut - 90 : cut], bearing[cut - 90 : cut]))
    whole = squalls(speed, bearing)
    assert (later.comes == whole.comes[:, cut:]).all()
    assert later.comes.any()
    assert not squalls(speed[cut:], bearing[cut:]).comes.any(), "without what went before there is no front"


def test_unknown_wind_makes_no_front_and_hides_none_elsewhere() -> None:
    speed, bearing = wind((215.0, 13.0), (305.0, 13.0))
    speed[: FRONT - 60] = np.nan
    assert squalls(speed, bearing).comes.any()
    assert not squalls(np.full(STEPS, np.nan), bearing).comes.any()


@pytest.mark.parametrize("count", [12, 21, 31, 40])
def test_few_weathers_are_spread_over_the_hours_too(count: int) -> None:
    luck = (np.arange(count) + 0.5) / count
    late = hours_late(luck)[luck < FRONT_SHARE]
    assert late.size < 2 or np.ptp(late) > 2.5
    assert ((late >= HOURS_FROM_FRONT[0]) & (late <= HOURS_FROM_FRONT[-1])).all()


@pytest.mark.parametrize("count", [2, 31])
def test_by_the_hour_anywhere_the_same_weathers_have_the_same_squalls(count: int) -> None:
    """The slow twin: along a track that lies still, ten minutes by ten; the hours may be one wider on either side. Of two none has any."""
    speed, bearing = wind((215.0, 13.0), (305.0, 13.0), takes_h=1.0)
    start, luck = parse_utc("2026-05-14T00:00Z"), (np.arange(count) + 0.5) / count
    time = grid(start, STEPS)[:-1][::6]
    u, v = wind_components_ms(speed[::6], bearing[::6])
    fields = [
        xr.DataArray(
            np.broadcast_to(x[None, :, None, None], (count, len(time), 2, 2)).astype(np.float32), dims=("member", "time", "latitude", "longitude"),
            coords={"member": np.arange(count), "time": time, "time_from": ("time", time), "latitude": [39.0, 41.0], "longitude": [-50.0, -48.0]},
        )
        for x in (u, v)
    ]  # fmt: skip
    fast = fronts_by_hour(*fields, grid(start, STEPS)[::6], luck, 100)
    hours = np.arange(46)
    spots = Points.on(np.array([39.0, 41.0]), np.array([-50.0, -48.0]), np.datetime64(0, "s"), np.full(46, 40.0), np.full(46, -49.0))
    found = fast.come(100 + np.arange(count), hours, spots).T
    slow = squalls(speed, bearing, luck=luck).comes.reshape(count, 48, 6).any(axis=2)[:, :46]
    assert slow.any() == (count > 2)
    assert (found.any(axis=1) == slow.any(axis=1)).all(), "the same weathers"
    assert (found >= slow).all(), "and at least in those hours"
    assert found.sum() <= slow.sum() + 3 * slow.any(axis=1).sum()


@given(st.lists(st.floats(0, 1), min_size=12, max_size=40), st.integers(1, 9))
def test_the_largest_near_is_the_largest_of_all_near(values: list[float], reach: int) -> None:
    slow = [max(values[max(i - reach, 0) : i + reach + 1]) for i in range(len(values))]
    assert _largest_near(np.array(values), reach).tolist() == slow
