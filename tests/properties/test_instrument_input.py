"""Whatever comes over the wire: nothing is raised, nothing grows, every reading is sound, everything refused is counted."""

import json
import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watch.instruments.nmea0183 import LONGEST_LINE, Lines, Nmea0183, checksum, parse_line, sentence
from watch.instruments.plausible import judge
from watch.instruments.readings import BOUNDS, Parsed, Quantity, Reading, Refused
from watch.instruments.sentences import READERS
from watch.instruments.series import MOST_READINGS, MOST_STREAMS, LeftOut, Observed
from watch.instruments.signal_k import USED, SignalK, own_context, own_time, parse_delta
from watch.instruments.streams import instant_of
from watch.when import parse_utc

RECEIVED = parse_utc("2026-05-14T12:00:00Z")
words = st.one_of(
    st.sampled_from(["", *"AVNMKSTRLEWBPI", "NaN", "inf", "-0", "1e9", "1_0", "٣", "9" * 30, "360", "361", "4807.038",
                     "01131.000", "9959.999", "123519", "230394", "996060.5", "320199", "-1"]),
    st.decimals(-500, 2000, places=2).map(str), st.text(max_size=12), st.text("0123456789.-+", max_size=12),
)
kinds = st.one_of(st.sampled_from(sorted(READERS)), st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=3, max_size=3))


@st.composite
def nearly_sentences(draw: st.DrawFn) -> str:
    talker, fields = draw(st.sampled_from(["II", "WI", "GP", "G1", "P", ""])), draw(st.lists(words, max_size=22))
    body = f"{talker}{draw(kinds)},{','.join(fields)}"
    end = draw(st.sampled_from([f"*{checksum(body)}", f"*{checksum(body).lower()}", "", "*", "*ZZ", "*00"]))
    tag = draw(st.sampled_from(["", "\\c:1474107266*5B\\", "\\c:9999999999999*00\\", "\\", "\\s:x", "junk"]))
    return f"{tag}${body}{end}"


def sound(parsed: Parsed) -> None:
    assert parsed.readings or parsed.refused
    for reading in parsed.readings:
        low, high = BOUNDS[reading.quantity]
        assert low <= reading.value <= high
        assert reading.source.isascii()
        assert reading.source.isprintable()
    for refusal in parsed.refused:
        assert refusal.says.isascii()
        assert refusal.says.isprintable()
        assert len(refusal.says) < 300


@given(nearly_sentences())
@settings(max_examples=400, deadline=None)
def test_a_line_that_nearly_is_a_sentence(line: str) -> None:
    sound(parse_line(line, RECEIVED))
    sound(parse_line(line, RECEIVED, clock_may_differ_s=None))


@given(st.one_of(st.binary(max_size=300), st.text(max_size=300)))
@settings(max_examples=200, deadline=None)
def test_any_line_at_all(line: bytes | str) -> None:
    sound(parse_line(line, RECEIVED))


@given(st.lists(st.one_of(st.binary(max_size=2000), nearly_sentences().map(lambda s: s.encode("utf-8", "replace") + b"\n"),
                          st.just(b"\x00" * 3000)), max_size=12))
@settings(max_examples=100, deadline=None)
def test_any_stream_in_any_pieces_holds_at_most_one_line_and_finds_its_feet_again(pieces: list[bytes]) -> None:
    stream = Nmea0183()
    for piece in pieces:
        stream.feed(piece, RECEIVED)
        assert len(stream._lines.held) <= LONGEST_LINE
    stream.feed(b"\n", RECEIVED)
    (heading,) = stream.feed(sentence("HEHDT,119.9,T").encode(), RECEIVED)
    assert heading.value == 119.9


@given(st.sampled_from(list(Quantity)), st.sampled_from([math.nan, math.inf, -math.inf, -181.0, 1e9]))
def test_a_reading_that_cannot_be_does_not_exist(quantity: Quantity, value: float) -> None:
    with pytest.raises(ValueError, match="is no reading"):
        Reading(when=RECEIVED, received=RECEIVED, quantity=quantity, value=value, source="a")


def test_ten_megabytes_without_a_line_end() -> None:
    stream = Nmea0183()
    for _ in range(10):
        assert stream.feed(b"$" + b"A" * 999_999, RECEIVED) == []
        assert len(stream._lines.held) <= LONGEST_LINE
    assert len(stream.feed(b"\r\n" + sentence("HEHDT,119.9,T").encode(), RECEIVED)) == 1
    assert stream.tally.counts == {Refused.TOO_LONG: 1}


@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=6))
@settings(max_examples=200, deadline=None)
def test_lines_do_not_depend_on_how_the_bytes_were_cut(data: bytes, cuts: list[int]) -> None:
    edges = [0, *sorted(c for c in cuts if c < len(data)), len(data)]
    whole, cut = Lines(), Lines()
    once = whole.feed(data + b"\n")
    pieces = [line for a, b in pairwise(edges) for line in cut.feed(data[a:b])]
    assert once == pieces + cut.feed(b"\n")


json_values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.sampled_from([1e308, 7.0, -3.2])),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(["latitude", "longitude", "x"]), inner)),
    max_leaves=6,
)
updates = st.fixed_dictionaries({}, optional={
    "$source": json_values, "timestamp": st.one_of(json_values, st.sampled_from(
        ["2026-05-14T12:00:00Z", "2014-08-15-16:00:00.081", "2014-08-15T16:00:00", "0001-01-01T00:00:00+14:00",
         "9999-12-31T23:59:59-14:00"])),
    "source": st.one_of(json_values, st.fixed_dictionaries({}, optional={"label": json_values, "talker": json_values})),
    "values": st.one_of(json_values, st.lists(st.one_of(json_values, st.fixed_dictionaries(
        {"path": st.one_of(st.sampled_from(sorted(USED)), json_values), "value": json_values})), max_size=4)),
})


@given(st.fixed_dictionaries({"updates": st.one_of(json_values, st.lists(st.one_of(updates, json_values), max_size=4))},
                             optional={"context": st.one_of(st.just("vessels.self"), json_values), "self": json_values,
                                       "version": json_values}))
@settings(max_examples=300, deadline=None)
def test_a_message_that_nearly_is_a_delta(message: dict[str, object]) -> None:
    text = json.dumps(message)
    parsed = parse_delta(text, RECEIVED)
    for reading in parsed.readings:
        sound(Parsed((reading,)))
    if parsed.refused:
        sound(Parsed((), parsed.refused))
    SignalK().feed(text, RECEIVED)
    own_time(text)
    own_context(text)


@pytest.mark.parametrize("text", [
    "[" * 100_000, '{"updates":' + "[" * 900 + "]" * 900 + "}", '{"updates": ' + "9" * 5000 + "}", '{"updates": [NaN]}', "\ud800",
    "",
    '{"updates":[{"values":[{"path":"navigation.headingTrue","value":' + "9" * 400 + "}]}]}", b"\xff\xfe\x00", "x" * 2_000_000,
    '{"updates":[{"values":[{"path":"navigation.position","value":' + '{"latitude":' * 90 + "1" + "}" * 90 + "}]}]}",
])
def test_messages_made_to_break_a_parser(text: str | bytes) -> None:
    parsed = parse_delta(text, RECEIVED)
    assert not parsed.readings
    assert any(r.reason.is_fault for r in parsed.refused)


@st.composite
def any_reading(draw: st.DrawFn) -> Reading:
    quantity, at = draw(st.sampled_from(list(Quantity))), instant_of(draw(st.integers(0, 1800)))
    value = draw(st.one_of(st.floats(*BOUNDS[quantity]), st.sampled_from([0.0, 12.0, min(3.0, BOUNDS[quantity][1])])))
    return Reading(when=at, received=at, quantity=quantity, value=value, source=draw(st.sampled_from(["a", "b"])))


reading_lists = st.lists(any_reading(), max_size=80)


@given(reading_lists)
@settings(max_examples=150, deadline=None)
def test_judging_changes_no_value_and_drops_nothing(readings: list[Reading]) -> None:
    judged = judge(readings)
    assert [replace(reading, doubtful=None) for reading in judged] == readings
    assert judge(judged) == judged  # a second look finds nothing new


@given(reading_lists, st.integers(0, 2400))
@settings(max_examples=100, deadline=None)
def test_steps_never_make_anything_up(readings: list[Reading], until_s: int) -> None:
    observed = Observed()
    observed.add([], instant_of(0.0))
    for reading in sorted(readings, key=lambda r: r.when):
        observed.add([reading], reading.when)
    now = instant_of(max(until_s, max((r.when.timestamp() for r in readings), default=0)))
    steps = observed.steps(now)
    assert steps.start.size == int(now.timestamp() // 600)
    for mean, gust, coverage in zip(steps.mean_ms, steps.gust_ms, steps.wind_coverage, strict=True):
        assert math.isnan(mean) or coverage >= 2 / 3
        assert math.isnan(gust) == math.isnan(mean)
        assert not gust < mean - 1e-9
    assert ((steps.from_deg >= 0.0) & (steps.from_deg < 360.0) | (steps.from_deg != steps.from_deg)).all()


def test_the_store_stays_bounded_under_a_flood() -> None:
    observed = Observed(keep_hours=1.0)
    at = instant_of(0.0)
    flood = [Reading(when=at, received=at, quantity=Quantity.TRUE_WIND_MS, value=1.0, source=f"s{i}") for i in range(200)]
    observed.add(flood, at)
    assert len(observed._columns) == MOST_STREAMS
    assert observed.left_out[LeftOut.TOO_MANY_STREAMS] == 200 - MOST_STREAMS
    observed.add(flood[:1] * (MOST_READINGS + 5), at)
    assert len(observed._columns[Quantity.TRUE_WIND_MS, "s0"].values) == MOST_READINGS
    assert observed.left_out[LeftOut.TOO_MANY_READINGS] == 6
    assert observed.steps(instant_of(86400.0)).start.size == 6
