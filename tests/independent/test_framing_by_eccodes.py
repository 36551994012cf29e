"""The same messages as ecCodes finds: in real files, in the demo's, and in a message too long for edition 1's length field."""

from pathlib import Path

import eccodes
import numpy as np
import pytest

from watch.forecast.framing import State, walk, walk_by

ROOT = Path(__file__).resolve().parents[2]


def by_eccodes(path: Path) -> list[tuple[int, int]]:
    eccodes.codes_grib_multi_support_off()  # another library in this process may have left it on: then a message is told field by field
    found = []
    with path.open("rb") as stream:
        while (handle := eccodes.codes_grib_new_from_file(stream)) is not None:
            found.append((int(eccodes.codes_get(handle, "offset")), int(eccodes.codes_get(handle, "totalLength"))))
            eccodes.codes_release(handle)
    return found


def same_as_eccodes(path: Path) -> None:
    found = walk(path.read_bytes())
    assert found.state == State.WHOLE, found.fault
    assert list(zip(found.starts, found.lengths, strict=True)) == by_eccodes(path)


@pytest.mark.source("eccodes-messages-1")
@pytest.mark.parametrize("path", sorted((ROOT / "fixtures").glob("*.grib2")), ids=lambda path: path.name)
def test_the_demo_files_hold_the_messages_that_eccodes_finds(path: Path) -> None:
    same_as_eccodes(path)


@pytest.mark.source("eccodes-messages-1")
def test_real_files_hold_the_messages_that_eccodes_finds(real_data: Path) -> None:
    paths = [*sorted((real_data / "grib").iterdir()), *sorted((real_data / "grib-odd").iterdir())]
    assert len(paths) > 15
    for path in paths:
        same_as_eccodes(path)


def test_real_files_that_are_cut_or_damaged_are_told(real_data: Path) -> None:
    states = {path.name: walk(path.read_bytes()).state for path in sorted((real_data / "grib-broken").iterdir())}
    assert {state for name, state in states.items() if name.startswith("cut-at")} == {State.CUT}
    assert states["second-message-corrupt.grib"] == State.DAMAGED
    assert states["minimal_buffer_underrun.grib2"] == State.CUT
    assert states["absurd-step.grib2"] == State.WHOLE  # its framing is sound: what it says is the reader's matter


@pytest.mark.source("grib-large-1")
def test_a_message_of_edition_1_beyond_eight_megabytes(tmp_path: Path) -> None:
    handle = eccodes.codes_grib_new_from_samples("regular_ll_sfc_grib1")
    eccodes.codes_set(handle, "Ni", 2050)
    eccodes.codes_set(handle, "Nj", 2050)
    eccodes.codes_set(handle, "bitsPerValue", 16)
    eccodes.codes_set_values(handle, np.linspace(0.0, 1.0, 2050 * 2050))
    path = tmp_path / "large.grib1"
    with path.open("wb") as stream:
        eccodes.codes_write(handle, stream)
        eccodes.codes_write(handle, stream)
    eccodes.codes_release(handle)
    data = path.read_bytes()
    assert data[4] & 0x80, "the large form was not used: the test tests nothing"
    same_as_eccodes(path)
    for size in (9, 16, 17, 40, 60, len(data) // 2 - 1, len(data) // 2 + 1, len(data) - 1):
        found = walk_by(lambda at, count, size=size: data[at : min(at + count, size)], size)  # type: ignore[misc]
        assert (found.state, len(found.starts)) == (State.CUT, size // (len(data) // 2))
