"""Real files through real index lines and real readers; a process killed half-way."""

import json
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import eccodes
import numpy as np
import pytest

from tests.shell.shore import BOX, ShipClock, messages, path_of, plan_for, stock, wanted_bytes, whole
from tests.shell.wire import Asked, Wire, head, wire
from watch.faults import BadInputError
from watch.forecast.budget import Budget
from watch.forecast.catalogue import Source, parse
from watch.forecast.contract import Name
from watch.forecast.download import fetch
from watch.forecast.frames import frames
from watch.forecast.framing import walk
from watch.forecast.grib import read
from watch.forecast.sources import plan

ROOT = Path(__file__).resolve().parents[2]
HEAD = """
[[source]]
id = "real"
title = "Real files"
kind = "{kind}"
layout = "{layout}"
base_url = "{base}"
attribution = "a public archive"
licence = "see there"
soonest_h = 3.0
usual_h = 5.0
kept_days = 3.0
[[source.cycle]]
hours = [0, 6, 12, 18]
steps = [[0, 120, 1]]
[[source.file]]
url = "{{base}}/{{yyyymmdd}}{{HH}}.f{{step:03}}"
index = "{{base}}/{{yyyymmdd}}{{HH}}.f{{step:03}}.idx"
index_bytes = 1000
{numbers}
[source.file.fields]
"""
WAVES = """
sea_m = { var = "HTSGW", level = "surface", bytes = 29000 }
period_s = { var = "PERPW", level = "surface", bytes = 34000 }
wave_from_deg = { var = "DIRPW", level = "surface", bytes = 54000 }
u10_ms = { var = "UGRD", level = "surface", bytes = 42000 }
v10_ms = { var = "VGRD", level = "surface", bytes = 42000 }
"""


@pytest.fixture
def shore() -> Iterator[Wire]:
    with wire() as state:
        yield state


def real_source(shore: Wire, fields: str, layout: str, kind: str = "single", numbers: str = "") -> Source:
    text = HEAD.format(base=shore.base, kind=kind, layout=layout, numbers=numbers) + fields
    return parse(text, "sources.toml")["real"]


def readable(path: Path) -> str | None:
    try:
        read([path])
    except BadInputError as error:
        return str(error)
    return None


@pytest.mark.source("index-lines-1")
def test_waves_by_their_own_real_index(real_data: Path, shore: Wire, tmp_path: Path) -> None:
    data = (real_data / "grib" / "waves-west-atlantic-1h.grib2").read_bytes()
    shore.files["/2023082318.f001"] = data
    shore.files["/2023082318.f001.idx"] = (real_data / "index-lines" / "waves-west-atlantic-1h.grib2.idx").read_bytes()
    source = real_source(shore, WAVES, "text-index")
    wanted = [Name.SEA_M, Name.PERIOD_S, Name.WAVE_FROM_DEG, Name.U10_MS, Name.V10_MS]
    made = plan(source, datetime(2023, 8, 23, 18, tzinfo=UTC), BOX, [1], wanted)
    found = whole(fetch(made, tmp_path, Budget(), ShipClock().clock, random=lambda: 0.5, is_readable=readable))
    got = found.paths[0].read_bytes()
    spans = walk(data)
    assert got == data[spans.starts[2] : spans.starts[7]]  # fields 3 to 7 of the file, in one stretch
    assert shore.ranges("/2023082318.f001") == ["bytes=100527-301076"]
    (fetched,), (original,) = read([found.paths[0]]), read([real_data / "grib" / "waves-west-atlantic-1h.grib2"])
    for name in (Name.SEA_M, Name.PERIOD_S, Name.WAVE_FROM_DEG):
        np.testing.assert_array_equal(fetched.fields[name].values, original.fields[name].values)


def index_of(data: bytes) -> bytes:
    """A JSON index of a file, by what ecCodes says of each message: as the European centre publishes them."""
    lines, spans = [], walk(data)
    for start, length in zip(spans.starts, spans.lengths, strict=True):
        handle = eccodes.codes_new_from_message(data[start : start + length])
        line: dict[str, object] = {}
        for key, ours in (("dataDate", "date"), ("dataTime", "time"), ("mars.levtype", "levtype"), ("shortName", "param"),
                          ("mars.levelist", "levelist"), ("mars.number", "number"), ("endStep", "step")):
            if eccodes.codes_is_defined(handle, key):
                line[ours] = eccodes.codes_get_string(handle, key)
        eccodes.codes_release(handle)
        line["time"] = f"{int(str(line['time'])):04d}"
        lines.append(json.dumps({**line, "_offset": start, "_length": length}) + "\n")
    return "".join(lines).encode()


@pytest.mark.source("index-json-1")
def test_some_members_of_a_real_ensemble_by_a_json_index(real_data: Path, shore: Wire, tmp_path: Path) -> None:
    path = real_data / "grib" / "ens51-gust6h-europe-2018112012.grib"
    data = path.read_bytes()
    shore.files["/2018112012.f060"], shore.files["/2018112012.f060.idx"] = data, index_of(data)
    fields = 'gust_ms = { param = "10fg6", bytes = 3300 }\n'
    source = real_source(shore, fields, "json-index", "ensemble", "numbers = [1, 50]")
    made = plan(source, datetime(2018, 11, 20, 12, tzinfo=UTC), BOX, [60], [Name.GUST_MS], members=7)
    found = whole(fetch(made, tmp_path, Budget(), ShipClock().clock, random=lambda: 0.5, is_readable=readable))
    assert found.notes == ()
    (fetched,), (original,) = read([found.paths[0]]), read([path])
    gust = fetched.fields[Name.GUST_MS]
    assert list(gust.coords["member"].values) == [1, 2, 3, 4, 5, 6, 7]
    same = original.fields[Name.GUST_MS].sel(member=gust.coords["member"], time=gust.coords["time"])
    np.testing.assert_array_equal(gust.values, same.values)
    assert found.paths[0].stat().st_size < len(data) / 15


def lines_of(path: Path, run: str, forecast: str) -> bytes:
    """Index lines of a file some of whose messages hold two fields, which share an offset; named as ecCodes names them."""
    starts = walk(path.read_bytes()).starts
    lines = []
    for frame in frames(path):
        handle = eccodes.codes_new_from_message(frame.message)
        short, kind, level = (eccodes.codes_get_string(handle, key) for key in ("shortName", "typeOfLevel", "level"))
        eccodes.codes_release(handle)
        lines.append(f"{frame.label}:{starts[int(frame.label.split('.')[0]) - 1]}:d={run}:{short}:{kind} {level}:{forecast}:\n")
    return "".join(lines).encode()


@pytest.mark.source("index-lines-2")
def test_winds_that_share_a_message_in_a_real_file_of_many(real_data: Path, shore: Wire, tmp_path: Path) -> None:
    path = real_data / "grib" / "all-fields-global-2p5-2011100800-72h.grib2"
    data, lines = path.read_bytes(), lines_of(path, "2011100800", "72 hour fcst")
    assert lines.count(b".2:") == 344 - 308
    shore.files["/2011100800.f072"], shore.files["/2011100800.f072.idx"] = data, lines
    fields = ('u10_ms = { var = "10u", level = "heightAboveGround 10", bytes = 13000 }\n'
              'v10_ms = { var = "10v", level = "heightAboveGround 10", bytes = 13000 }\n'
              't850_k = { var = "t", level = "isobaricInhPa 850", bytes = 13000 }\n')
    wanted = [Name.U10_MS, Name.V10_MS, Name.T850_K]
    made = plan(real_source(shore, fields, "text-index"), datetime(2011, 10, 8, tzinfo=UTC), BOX, [72], wanted)
    found = whole(fetch(made, tmp_path, Budget(), ShipClock().clock, random=lambda: 0.5, is_readable=readable))
    assert found.notes == ()
    assert len(shore.ranges("/2011100800.f072")) == 2, "one for both winds, one for the temperature"
    (fetched,), (original,) = read([found.paths[0]]), read([path])
    assert set(fetched.fields) == set(wanted)
    for name, field in fetched.fields.items():
        np.testing.assert_array_equal(field.values, original.fields[name].values)
    assert found.spent.bytes < len(data) / 10


CHILD = """
import sys, time
from datetime import UTC, datetime
from pathlib import Path
from tests.shell.shore import WANTED, BOX, source
from watch.forecast.budget import Budget, Clock
from watch.forecast.download import fetch
from watch.forecast.sources import plan
made = plan(source(sys.argv[1]), datetime(2026, 5, 14, 12, tzinfo=UTC), BOX, [3, 6], WANTED)
clock = Clock(now=lambda: datetime(2026, 5, 14, 17, tzinfo=UTC), monotonic_s=time.monotonic, sleep=time.sleep)
fetch(made, Path(sys.argv[2]), Budget(), clock)
"""


def test_a_fetch_killed_half_way_goes_on_and_leaves_nothing_half_made(shore: Wire, tmp_path: Path) -> None:
    stock(shore, 3, 6)
    child: list[subprocess.Popen[bytes]] = []

    def kills(state: Wire, sock, asked: Asked) -> bool:  # type: ignore[no-untyped-def]
        data = state.files[asked.path]
        sock.sendall(head(206, {"Content-Range": f"bytes 0-70011/{len(data)}", "Content-Length": 70_012}) + data[:40_000])
        state.closing.wait(0.3)
        child[0].kill()
        return False

    shore.todo[path_of(6)] = [kills]
    child.append(subprocess.Popen([sys.executable, "-c", CHILD, shore.base, str(tmp_path)], cwd=ROOT, env={"PYTHONPATH": str(ROOT)}))
    assert child[0].wait(30) == -9
    (done,) = tmp_path.rglob("*.grib")
    assert done.read_bytes() == wanted_bytes(3)
    assert len(list(tmp_path.rglob("*.part"))) == 1
    found = whole(fetch(plan_for(shore, 3, 6), tmp_path, Budget(), ShipClock().clock, random=lambda: 0.5))
    assert [path.read_bytes() for path in found.paths] == [wanted_bytes(3), wanted_bytes(6)]
    assert len(messages(6)) == 6
    assert list(tmp_path.rglob("*.part*")) == []
