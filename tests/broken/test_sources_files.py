"""One fault in a sources file, and the exact sentence that says so; several faults, all said at once."""

from pathlib import Path

import pytest

from watch.faults import BadInputError
from watch.forecast.catalogue import parse

GOOD = """
[[source]]
id = "mirror"
title = "A mirror on the boat"
kind = "single"
layout = "text-index"
base_url = "http://127.0.0.1:8080/gribs"
attribution = "Forecast: somebody"
licence = "CC BY 4.0"
soonest_h = 3.5
usual_h = 5.0
kept_days = 2.0
[[source.cycle]]
hours = [0, 12]
steps = [[0, 48, 3]]
[[source.file]]
url = "{base}/{yyyymmdd}{HH}.f{step:03}"
index = "{base}/{yyyymmdd}{HH}.f{step:03}.idx"
[source.file.fields]
u10_ms = { var = "UGRD", level = "10 m above ground", bytes = 1000 }
"""


def test_the_good_file_is_good() -> None:
    assert set(parse(GOOD, "sources.toml")) == {"mirror"}


@pytest.mark.parametrize(("good", "bad", "sentence"), [
    ('kind = "single"', 'kind = "solo"', 'sources.toml source[0].kind = "solo": "single" or "ensemble"'),
    ('layout = "text-index"', 'layout = "csv"', 'sources.toml source[0].layout = "csv": "text-index", "json-index" or "query"'),
    ("http://127.0.0.1", "ftp://127.0.0.1",
     "sources.toml source[0].base_url: an address that begins with https:// or http://, like https://example.org/forecasts"),
    ("hours = [0, 12]", "hours = [0, 36]", "sources.toml source[0].cycle[0].hours[1] = 36: hours at which runs start, like [0, 12]"),
    ("[[0, 48, 3]]", "[[0, 48, 0]]",
     "sources.toml source[0].cycle[0].steps: stretches of steps in hours: first, last, every, like [[0, 120, 1], [123, 384, 3]]"),
    ("soonest_h = 3.5\n", "",
     "sources.toml source[0].soonest_h: missing; hours after its base time before which a run has never been there, like 3.5"),
    ("bytes = 1000", 'bytes = "1 kB"',
     'sources.toml source[0].file[0].fields.u10_ms[0].bytes = "1 kB": usual size of one message in bytes, for the estimate, like 1000000'),
    ("licence =", 'note = ""\nlicence =', "sources.toml source[0].note: not a key known here; check its spelling or take it out"),
    ("{base}/{yyyymmdd}{HH}.f{step:03}.idx", "{base}/{date}.idx",
     'sources.toml source[0]: file "{base}/{date}.idx": {date} is not known; known are [\'HH\', \'base\', \'member\', \'step\', \'yyyymmdd\']'),
    ("{base}/{yyyymmdd}{HH}.f{step:03}.idx", "",
     'sources.toml source[0]: file "{base}/{yyyymmdd}{HH}.f{step:03}": an index layout needs index, the address of its index'),
    ('url = "{base}/', 'url = "https://elsewhere.org/',
     'sources.toml source[0]: file "https://elsewhere.org/{yyyymmdd}{HH}.f{step:03}": must be an address that begins with {base}/, '
     "without spaces"),
    ("{HH}.f{step:03}.idx", "{HH}.f{step:{HH}q}.idx",
     'sources.toml source[0]: file "{base}/{yyyymmdd}{HH}.f{step:{HH}q}.idx": must be an address that begins with {base}/, without spaces'),
    ("{HH}.f{step:03}\"", "{HH}.{member}\"",
     'sources.toml source[0]: file "{base}/{yyyymmdd}{HH}.{member}": members and {member} belong together'),
])
def test_one_fault_one_sentence(good: str, bad: str, sentence: str) -> None:
    assert good in GOOD
    with pytest.raises(BadInputError) as caught:
        parse(GOOD.replace(good, bad, 1), "sources.toml")
    assert str(caught.value) == sentence


def test_a_field_that_nobody_knows_is_refused_with_those_that_are_known() -> None:
    with pytest.raises(BadInputError, match=r"fields\.u11_ms: not a field known here; known are u10_ms, v10_ms"):
        parse(GOOD.replace("u10_ms", "u11_ms"), "sources.toml")


def test_several_faults_are_said_at_once() -> None:
    bad = GOOD.replace('"single"', '"solo"').replace("usual_h = 5.0", "usual_h = -1.0").replace("bytes = 1000", "bytes = 0")
    with pytest.raises(BadInputError) as caught:
        parse(bad, "sources.toml")
    assert len(caught.value.faults) == 3


def test_two_sources_of_one_name_and_what_is_no_toml() -> None:
    with pytest.raises(BadInputError, match="each source needs an id of its own"):
        parse(GOOD + GOOD, "sources.toml")
    with pytest.raises(BadInputError, match="is no TOML"):
        parse("[[source]\n", "sources.toml")
    with pytest.raises(BadInputError, match=r"source: missing; one table \[\[source\]\] a source"):
        parse("", "sources.toml")


def test_a_sources_file_that_is_not_there(tmp_path: Path) -> None:
    from watch.forecast.download import read_sources
    with pytest.raises(BadInputError, match="no such sources file"):
        read_sources(tmp_path / "none.toml")
