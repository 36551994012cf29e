"""Byte ranges run together: the same bytes, in the fewest pieces."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from watch.forecast.indexes import ByteRange, merged

closed = st.builds(lambda first, length: ByteRange(first=first, last=first + length - 1), st.integers(0, 60), st.integers(1, 20))
open_end = st.builds(lambda first: ByteRange(first=first, last=None), st.integers(81, 99))


def bytes_of(ranges: tuple[ByteRange, ...] | list[ByteRange]) -> set[int]:
    return {byte for r in ranges if r.last is not None for byte in range(r.first, r.last + 1)}


@given(st.lists(closed, max_size=12), st.lists(open_end, max_size=2))
def test_the_same_bytes_in_the_fewest_pieces(ranges: list[ByteRange], ends: list[ByteRange]) -> None:
    found = merged([*ranges, *ends])
    wanted = bytes_of(ranges)
    assert bytes_of(found) == wanted
    runs = sum(1 for byte in wanted if byte - 1 not in wanted)
    assert sum(1 for r in found if r.last is not None) == runs
    assert {r for r in found if r.last is None} == set(ends)
    assert list(found) == sorted(found, key=lambda r: r.first)


@given(st.lists(closed, min_size=1, max_size=12), st.integers(0, 8))
def test_bridges_are_no_longer_than_allowed(ranges: list[ByteRange], bridge: int) -> None:
    found = merged(ranges, bridge)
    wanted = bytes_of(ranges)
    extra = bytes_of(found) - wanted
    assert wanted <= bytes_of(found)
    for byte in extra:
        low, high = byte, byte
        while low - 1 in extra:
            low -= 1
        while high + 1 in extra:
            high += 1
        assert high - low + 1 <= bridge
    gaps = [b.first - (a.last or 0) - 1 for a, b in pairwise(found)]
    assert all(gap > bridge for gap in gaps)


@given(st.lists(closed, max_size=8))
def test_merging_again_changes_nothing_and_order_does_not_matter(ranges: list[ByteRange]) -> None:
    assert merged(merged(ranges)) == merged(ranges) == merged(list(reversed(ranges)))
