"""Index layouts and addresses as their publishers have them, and the sources file that is shipped."""

from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from watch.forecast.box import Box
from watch.forecast.catalogue import Source, parse
from watch.forecast.contract import Name
from watch.forecast.framing import walk
from watch.forecast.indexes import ByteRange, json_index, locate, span_of, text_index
from watch.forecast.sources import candidate_runs, lacks, plan, steps_of

CONFIG = Path(__file__).resolve().parents[2] / "config" / "sources.toml"
BOX = Box(30.0, 46.0, -66.0, -26.0)


@pytest.fixture(scope="module")
def shipped() -> dict[str, Source]:
    return parse(CONFIG.read_text(encoding="utf-8"), CONFIG.name)


@pytest.mark.source("index-lines-1")
def test_a_real_index_says_where_each_message_of_its_file_stands(real_data: Path) -> None:
    entries = text_index((real_data / "index-lines" / "waves-west-atlantic-1h.grib2.idx").read_text(), "waves")
    data = (real_data / "grib" / "waves-west-atlantic-1h.grib2").read_bytes()
    found = walk(data)
    assert [entry.offset for entry in entries] == list(found.starts)
    assert [entry.length for entry in entries] == [*found.lengths[:-1], None]
    assert {entry.run for entry in entries} == {datetime(2023, 8, 23, 18, tzinfo=UTC)}
    assert {entry.span_h for entry in entries} == {(1.0, 1.0)}


@pytest.mark.source("index-lines-1")
@pytest.mark.parametrize(("name", "run"), [("gfs.t00z.pgrb2.0p25.f021.idx", datetime(2023, 11, 4, 0, tzinfo=UTC)),
                                           ("gfs.t06z.pgrb2.0p25.f021.idx", datetime(2022, 10, 14, 6, tzinfo=UTC))])
def test_every_field_of_the_shipped_source_is_in_the_real_index(
    real_data: Path, shipped: dict[str, Source], name: str, run: datetime,
) -> None:
    text = (real_data / "index-lines" / name).read_text()
    entries = text_index(text, name)
    assert len(entries) == 743
    assert sum(entry.length or 0 for entry in entries) == entries[-1].offset
    request = plan(shipped["us-global"], run, BOX, [21], list(Name)).requests[0]
    located = locate(request, text, name)
    assert located.missing == ()
    by_range = {r.first: r for r in located.ranges}
    wind = next(e for e in entries if e.names == ("UGRD", "10 m above ground"))
    following = entries[wind.line]  # V stands next to U: one range for both
    assert by_range[wind.offset].last == following.offset + (following.length or 0) - 1
    rain = [e for e in entries if e.names == ("APCP", "surface")]
    assert [e.span_h for e in rain] == [(18.0, 21.0), (0.0, 21.0)]
    chosen = [e for e in rain if any(r.first <= e.offset <= (r.last or 0) for r in located.ranges)]
    assert [e.span_h for e in chosen] == [(0.0, 21.0)]


@pytest.mark.source("index-lines-2")
def test_fields_of_one_message_share_its_range() -> None:
    text = ("11:900:d=2026051412:TMP:surface:3 hour fcst:\n12.1:1000:d=2026051412:UGRD:10 m above ground:3 hour fcst:\n"
            "12.2:1000:d=2026051412:VGRD:10 m above ground:3 hour fcst:\n13:1700:d=2026051412:GUST:surface:3 hour fcst:ENS=+1:\n")
    entries = text_index(text, "idx")
    assert [(e.offset, e.length) for e in entries] == [(900, 100), (1000, 700), (1000, 700), (1700, None)]


@pytest.mark.source("index-lines-2")
@pytest.mark.parametrize(("words", "span"), [
    ("anl", (0.0, 0.0)), ("21 hour fcst", (21.0, 21.0)), ("18-21 hour acc fcst", (18.0, 21.0)), ("0-1 day acc fcst", (0.0, 24.0)),
    ("0-2 day acc fcst", (0.0, 48.0)), ("18-24 hour max fcst", (18.0, 24.0)), ("30 min fcst", (0.5, 0.5)), ("whenever", None)])
def test_times_as_index_lines_write_them(words: str, span: tuple[float, float] | None) -> None:
    assert span_of(words) == span


JSON_LINES = (  # as quoted from the centre's index of 2026-01-19 12Z
    '{"domain": "g", "date": "20260119", "time": "1200", "expver": "0001", "class": "od", "type": "fc", "stream": "oper", '
    '"step": "0", "levtype": "sfc", "param": "msl", "_offset": 37624858, "_length": 528908}\n'
    '{"domain": "g", "date": "20260119", "time": "1200", "expver": "0001", "class": "od", "type": "fc", "stream": "oper", '
    '"step": "0", "levtype": "sfc", "param": "10u", "_offset": 73427469, "_length": 871707}\n'
    '{"domain": "g", "date": "20260119", "time": "1200", "expver": "0001", "class": "od", "type": "fc", "stream": "oper", '
    '"step": "0", "levtype": "sfc", "param": "10v", "_offset": 76633662, "_length": 865035}\n')


@pytest.mark.source("index-json-1")
def test_fields_of_a_json_index_are_found_at_their_offsets(shipped: dict[str, Source]) -> None:
    run = datetime(2026, 1, 19, 12, tzinfo=UTC)
    request = plan(shipped["european-global"], run, BOX, [0], [Name.U10_MS, Name.V10_MS, Name.PRESSURE_PA, Name.GUST_MS]).requests[0]
    located = locate(request, JSON_LINES, "index")
    assert located.ranges == tuple(ByteRange(first=at, last=at + length - 1)
                                   for at, length in ((37624858, 528908), (73427469, 871707), (76633662, 865035)))
    assert located.missing == ()  # no gust is asked for at the start of a run: there is none


@pytest.mark.source("index-json-1")
def test_members_and_levels_of_a_json_index_are_told_apart() -> None:
    line = ('{{"date": "20240201", "time": "0000", "type": "{}", "stream": "enfo", "step": "3", "levtype": "{}", {} "param": "t", '
            '"_offset": {}, "_length": 10}}\n')
    text = (line.format("cf", "sfc", "", 0) + line.format("cf", "pl", '"levelist": "850",', 10)
            + line.format("pf", "sfc", '"number": "1",', 20) + line.format("pf", "pl", '"levelist": "850", "number": "1",', 30))
    assert [(e.names, e.number) for e in json_index(text, "index")] == [
        (("t", "sfc", ""), None), (("t", "pl", "850"), None), (("t", "sfc", ""), 1), (("t", "pl", "850"), 1)]


@pytest.mark.source("index-json-1")
def test_the_addresses_of_the_european_files(shipped: dict[str, Source]) -> None:
    run = datetime(2026, 5, 14, 6, tzinfo=UTC)
    request = plan(shipped["european-global"], run, BOX, [9], [Name.U10_MS]).requests[0]
    assert request.url == "https://data.ecmwf.int/forecasts/20260514/06z/ifs/0p25/oper/20260514060000-9h-oper-fc.grib2"
    assert request.index_url == request.url.removesuffix("grib2") + "index"
    assert steps_of(shipped["european-global"], run) == tuple(range(0, 145, 3))
    assert steps_of(shipped["european-global"], run.replace(hour=12)) == (*range(0, 145, 3), *range(150, 361, 6))
    assert "CC BY 4.0" in shipped["european-global"].attribution


@pytest.mark.source("subregion-query-1")
def test_the_query_names_variables_levels_and_box(shipped: dict[str, Source]) -> None:
    run = datetime(2026, 5, 14, 12, tzinfo=UTC)
    fields = [Name.U10_MS, Name.V10_MS, Name.PRESSURE_PA, Name.GUST_MS]
    parts = urlsplit(plan(shipped["us-global-box"], run, BOX, [3], fields).requests[0].url)
    asked = parse_qs(parts.query, keep_blank_values=True)
    assert parts.path == "/cgi-bin/filter_gfs_0p25.pl"
    assert asked.pop("dir") == ["/gfs.20260514/12/atmos"]
    assert asked.pop("file") == ["gfs.t12z.pgrb2.0p25.f003"]
    edges = {side: float(asked.pop(side)[0]) for side in ("leftlon", "rightlon", "bottomlat", "toplat")}
    assert edges["leftlon"] <= -66.0
    assert edges["rightlon"] >= -26.0
    assert (edges["bottomlat"], edges["toplat"]) == (30.0, 46.0)
    assert asked.pop("subregion") == [""]
    assert asked == {word: ["on"] for word in (
        "var_UGRD", "var_VGRD", "var_PRMSL", "var_GUST", "lev_10_m_above_ground", "lev_mean_sea_level", "lev_surface")}


@pytest.mark.source("subregion-query-1")
@pytest.mark.parametrize(("west", "east", "edges"), [
    (170.0, -170.0, (170.0, 190.25)), (350.0, 10.0, (-10.0, 10.25)), (-66.1, -26.3, (-66.25, -26.0)), (-180.0, 180.0, (-180.0, 179.75))])
def test_a_box_over_the_seams_runs_eastward(shipped: dict[str, Source], west: float, east: float, edges: tuple[float, float]) -> None:
    run = datetime(2026, 5, 14, 12, tzinfo=UTC)
    url = plan(shipped["us-global-box"], run, Box(-40.0, -30.0, west, east), [3], [Name.U10_MS]).requests[0].url
    asked = parse_qs(urlsplit(url).query)
    assert (float(asked["leftlon"][0]), float(asked["rightlon"][0])) == edges


@pytest.mark.source("index-lines-1")
def test_the_shipped_estimates_are_near_what_real_indexes_say(real_data: Path, shipped: dict[str, Source]) -> None:
    request = plan(shipped["us-global"], datetime(2023, 11, 4, tzinfo=UTC), BOX, [21], list(Name)).requests[0]
    text = (real_data / "index-lines" / "gfs.t00z.pgrb2.0p25.f021.idx").read_text()
    assert locate(request, text, "idx").bytes(0) == pytest.approx(request.estimate_bytes, rel=0.05)
    assert len(text) == pytest.approx(request.index_bytes, rel=0.01)


@pytest.mark.source("subregion-query-1")
def test_every_shipped_source_gives_wind_gust_pressure_cape_and_rain(shipped: dict[str, Source]) -> None:
    needed = [Name.U10_MS, Name.V10_MS, Name.GUST_MS, Name.PRESSURE_PA, Name.CAPE_JKG, Name.RAIN_KGM2S]
    now = datetime(2026, 5, 14, 13, 0, tzinfo=UTC)
    for source in shipped.values():
        assert lacks(source, needed) == ()
        runs = candidate_runs(source, now)
        assert runs[0].hour == 6
        made = plan(source, runs[0], BOX, [6], needed)
        members = 31 if source.id.startswith("us-ensemble") else 2 if source.id == "european-ensemble" else 1
        assert len(made.requests) == members
