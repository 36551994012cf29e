"""GRIB messages found by their declared lengths, in random rows of them, cut anywhere."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watch.forecast.framing import State, walk

ED1, ED2 = 1, 2


def built(edition: int, body: bytes) -> bytes:
    if edition == ED2:
        inside = body + bytes(21)
        return b"GRIB\0\0\0\x02" + (16 + len(inside) + 4).to_bytes(8, "big") + inside + b"7777"
    inside = body + bytes(28)
    return b"GRIB" + (8 + len(inside) + 4).to_bytes(3, "big") + b"\x01" + inside + b"7777"


# Bodies hold the very words that begin and end messages: only lengths may count.
bodies = st.lists(st.sampled_from([b"GRIB", b"7777", b"\0", b"x", b"GRIB\0\0\x30\x01"]), max_size=12).map(b"".join)
messages = st.builds(built, st.sampled_from([ED1, ED2]), bodies)
paddings = st.sampled_from([b"", b"", b"\0" * 7, b"\0" * 120, b"\r\r\n"])
rows = st.lists(st.tuples(messages, paddings), min_size=1, max_size=6)


def laid_out(row: list[tuple[bytes, bytes]]) -> tuple[bytes, list[tuple[int, int]]]:
    data, spans = b"", []
    for one, padding in row:
        spans.append((len(data), len(data) + len(one)))
        data += one + padding
    return data, spans


@given(rows, st.sampled_from([b"", b"\0" * 40, b"\x01\r\r\n123\r\r\nHTXX85 EGRR 141200\r\r\n"]))
def test_every_message_is_found_where_it_stands(row: list[tuple[bytes, bytes]], lead: bytes) -> None:
    data, spans = laid_out(row)
    found = walk(lead + data)
    assert found.state == State.WHOLE
    assert list(zip(found.starts, found.lengths, strict=True)) == [(len(lead) + a, b - a) for a, b in spans]
    assert found.fault is None


@given(rows, st.data())
def test_a_row_cut_anywhere_is_cut_unless_the_cut_falls_between_messages(row: list[tuple[bytes, bytes]], data: st.DataObject) -> None:
    whole, spans = laid_out(row)
    at = data.draw(st.integers(0, len(whole)))
    found = walk(whole[:at])
    before = [span for span in spans if span[1] <= at]
    inside = any(a < at < b for a, b in spans)
    expected = State.EMPTY if at == 0 else State.CUT if inside or not before else State.WHOLE
    assert found.state == expected
    assert len(found.starts) == len(before)
    assert (found.fault is None) == (expected == State.WHOLE)


@pytest.mark.parametrize("edition", [ED1, ED2])
def test_every_byte_of_a_message_is_needed(edition: int) -> None:
    first, second = built(edition, b"a" * 9), built(edition, b"GRIB7777")
    for at in range(1, len(second)):
        found = walk(first + second[:at])
        assert (found.state, len(found.starts)) == (State.CUT, 1), at
        assert found.fault is not None
        assert "not whole" in found.fault
        assert "(1 whole messages come before)" in found.fault


@given(rows, st.data())
def test_a_wrong_end_mark_or_length_is_damage_and_what_stands_before_is_kept(row: list[tuple[bytes, bytes]], data: st.DataObject) -> None:
    whole, spans = laid_out(row)
    which = data.draw(st.integers(0, len(spans) - 1))
    start, end = spans[which]
    bad = bytearray(whole)
    bad[end - 1 - data.draw(st.integers(0, 3))] ^= 0x01
    found = walk(bytes(bad))
    assert (found.state, found.at, len(found.starts)) == (State.DAMAGED, start, which)
    shorter = bytearray(whole)
    field = slice(start + 8, start + 16) if whole[start + 7] == ED2 else slice(start + 4, start + 7)
    shorter[field] = (3).to_bytes(field.stop - field.start, "big")
    assert walk(bytes(shorter)).state == State.DAMAGED


@given(st.binary(max_size=400))
def test_any_bytes_at_all_get_a_state_and_a_sentence(data: bytes) -> None:
    found = walk(data)
    assert (found.state == State.WHOLE) == (found.fault is None)
    assert all(a + n <= len(data) for a, n in zip(found.starts, found.lengths, strict=True))


@given(rows, st.binary(min_size=1, max_size=300).filter(lambda noise: b"GRIB" not in noise and noise.strip(b"\0\r\n ")))
def test_long_noise_between_messages_is_damage(row: list[tuple[bytes, bytes]], noise: bytes) -> None:
    data, spans = laid_out(row)
    found = walk(data + b"#" * 201 + noise + built(ED2, b""))
    assert (found.state, len(found.starts)) == (State.DAMAGED, len(spans))


@pytest.mark.parametrize(("data", "state", "words"), [
    (b"", State.EMPTY, "is empty"),
    (b"\0" * 5000, State.CUT, "no message has arrived yet"),
    (built(ED2, b"") + b"\0" * 70_000, State.CUT, "as if more were to come"),
    (built(ED2, b"") + b"\0\0GRI", State.CUT, "as if more were to come"),
    (b"GRI", State.CUT, "no message has arrived yet"),
    (b"Dear skipper, the forecast follows.", State.FOREIGN, "is text, not GRIB"),
    (b"<!DOCTYPE html><p>GRIB is not available", State.FOREIGN, "is a web page, not GRIB"),
    (b"CDF\x01" + bytes(90), State.FOREIGN, "netCDF or HDF"),
    (b"BUFR" + bytes(90), State.FOREIGN, "BUFR"),
    (b"\x28\xb5\x2f\xfd" + bytes(90), State.FOREIGN, "compressed in a way not known here"),
    (b"\x89PNG" + bytes(range(1, 90)), State.FOREIGN, "no message begins in it"),
    (b"GRIB\0\0\x40\x00" + bytes(90), State.DAMAGED, "does not end where its length says"),
])
def test_what_is_no_whole_grib_is_told_apart(data: bytes, state: State, words: str) -> None:
    found = walk(data)
    assert found.state == state
    assert words in (found.fault or "")
