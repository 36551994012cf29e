"""Alert sentences as printed in makers' manuals of IEC 61162-1, letter for letter with their checksums."""

import pytest

from watch.alerts.sentences import (
    LONGEST,
    PRIORITY_LETTERS,
    STATE_LETTERS,
    AlertName,
    Standing,
    acn,
    alc,
    alf,
    arc,
    clock,
    command,
    decode_text,
    encode_text,
    hbt,
    read,
)
from watch.alerts.situation import Priority
from watch.alerts.states import State
from watch.when import parse_utc

pytestmark = pytest.mark.source("alf-1")

LOST_TARGET = AlertName(identifier=192, instance=1)
ALF = "$IIALF,1,1,0,124304.50,A,W,A,,192,1,1,0,LOST TARGET*14"
ALC = "$IIALC,01,01,00,01,,192,1,1*75"
ACN = "$IIACN,124305.00,,192,1,A,C*6A"
ARC = "$IIARC,124306.00,,192,1,A*1A"
HBT = "$IIHBT,30.0,A,1*1F"


def standing(**changed: object) -> Standing:
    values = {
        "name": LOST_TARGET, "changed_at": parse_utc("2026-05-14T12:43:04.50Z"), "priority": Priority.WARNING,
        "state": State.ACKNOWLEDGED, "revision": 1, "escalation": 0, "title": "LOST TARGET", "category": "A",
    }
    return Standing(**{**values, **changed})  # type: ignore[arg-type]


def test_every_sentence_is_written_as_printed() -> None:
    assert alf(standing(), 0) == [ALF + "\r\n"]
    assert alc([(LOST_TARGET, 1)], 0) == [ALC + "\r\n"]
    assert acn(parse_utc("2026-05-14T12:43:05Z"), LOST_TARGET, "A") == ACN + "\r\n"
    assert arc(clock(parse_utc("2026-05-14T12:43:06Z")), LOST_TARGET, "A") == ARC + "\r\n"
    assert hbt(30, working=True, sequence=1) == HBT + "\r\n"


@pytest.mark.parametrize("line", [ALF, ALC, ACN, ARC, HBT])
def test_every_sentence_is_read_as_printed(line: str) -> None:
    found = read(line + "\r\n")
    assert (found.talker, found.kind) == ("II", line[3:6])
    assert ",".join(found.fields) == line[7:-3]


@pytest.mark.parametrize("line", [ALF, ALC, ACN, ARC, HBT])
def test_a_garbled_sentence_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="checksum"):
        read(line.replace("1", "7", 1))
    with pytest.raises(ValueError, match="no sentence"):
        read(line[:-3])


def test_a_command_is_understood() -> None:
    found = command(read(ACN))
    assert found is not None
    assert (found.deed, found.name, found.time) == ("acknowledge", LOST_TARGET, "124305.00")
    assert command(read(ALF)) is None


@pytest.mark.parametrize(("letter", "deed"), [("A", "acknowledge"), ("Q", "repeat"), ("O", "transfer"), ("S", "silence")])
def test_the_four_commands(letter: str, deed: str) -> None:
    found = command(read(acn(parse_utc("2026-05-14T12:43:05Z"), LOST_TARGET, letter)))
    assert found is not None
    assert found.deed == deed


def test_the_letters_of_priorities_and_states() -> None:
    assert [PRIORITY_LETTERS[p] for p in sorted(Priority, reverse=True)] == ["E", "A", "W", "C"]
    letters = {State.UNACKNOWLEDGED: "V", State.SILENCED: "S", State.ACKNOWLEDGED: "A", State.RECTIFIED: "U", State.NORMAL: "N"}
    assert {state: STATE_LETTERS[state] for state in letters} == letters
    assert STATE_LETTERS[State.ACTIVE] == "A"  # 'active, acknowledged' or, for a caution, 'active'


def test_reserved_characters_are_written_as_two_hexadecimal_digits() -> None:
    codes = ["^0D", "^0A", "^24", "^2A", "^2C", "^21", "^5C", "^5E", "^7E", "^7F"]
    for char, code in zip("\r\n$*,!\\^~\x7f", codes, strict=True):
        assert encode_text(char) == code
        assert decode_text(code) == char


def test_a_long_text_goes_into_a_second_sentence_with_the_changing_fields_empty() -> None:
    first, second = alf(standing(text="x" * 200), 3)
    assert read(first).fields[:7] == ("2", "1", "3", "124304.50", "A", "W", "A")
    assert read(second).fields[:7] == ("2", "2", "3", "", "", "", "")
    assert read(second).fields[7:12] == ("", "192", "1", "1", "0")
    assert len(second) == LONGEST
    assert read(second).fields[12].endswith("..")


def test_the_revision_counts_from_1_to_99_and_the_escalation_to_9() -> None:
    fields = [read(alf(standing(revision=r, escalation=r), 0)[0]).fields[10:12] for r in (1, 99, 100)]
    assert fields == [("1", "1"), ("99", "9"), ("1", "9")]


def test_an_entry_of_the_list_is_never_split() -> None:
    entries = [(AlertName(identifier=10001, instance=999_000 + i), 1) for i in range(20)]
    lines = alc(entries, 5)
    assert all(len(line) <= LONGEST for line in lines)
    found = [read(line).fields for line in lines]
    assert [f[0] for f in found] == [f"{len(lines):02d}"] * len(lines)
    assert [f[1] for f in found] == [f"{i:02d}" for i in range(1, len(lines) + 1)]
    assert all(len(f) == 4 + 4 * int(f[3]) for f in found)
    assert [f[4:][k + 2] for f in found for k in range(0, len(f) - 4, 4)] == [str(999_000 + i) for i in range(20)]


def test_no_alert_is_a_list_too() -> None:
    assert [read(line).fields for line in alc([], 0)] == [("01", "01", "00", "00")]
