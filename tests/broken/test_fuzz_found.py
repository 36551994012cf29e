"""What the fuzz of every door found (tests/bench/fuzz_doors.py), each place by its smallest case: refused in a sentence, or read rightly."""

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.shell import shore
from tests.shell.wire import says, wire
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.cli import main
from watch.faults import BadInputError, Fault, legible
from watch.files import named_path, read_toml
from watch.forecast.budget import Reason, StopError
from watch.forecast.catalogue import parse
from watch.forecast.download import Partial
from watch.forecast.indexes import json_index, text_index
from watch.instruments.logged import understand
from watch.passage.route_file import read_route
from watch.passage.shelters_file import read_shelters
from watch.render.as_json import as_json
from watch.render.from_json import from_json
from watch.service.stand.daemon import read_health
from watch.service.stand.health import judge
from watch.service.store.opening import is_sound
from watch.service.store.store import Store
from watch.when import FIRST_YEAR, dated, parse_utc, utc

ROOT = Path(__file__).resolve().parents[2]
CONFIG = ROOT / "config"
NOON = datetime(2026, 5, 16, 12, tzinfo=UTC)
DIGITS = "9" * 5000


# Times at the ends of the calendar: hours before and after them do not exist

@pytest.mark.parametrize("text", ["0001-01-01T00:00+14:00", "9999-12-31T23:59:59-12:00", "0001-01-01T00:00Z", "1899-12-31T23:59Z", "2200-01-01T00:00Z"])
def test_a_year_that_no_voyage_is_in_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"years that there are|year must be from 1900 to 2199"):
        parse_utc(text)


@pytest.mark.parametrize("text", ["1900-01-01T00:00Z", "2199-12-31T23:59Z"])
def test_the_first_and_the_last_minute_that_are_taken(text: str) -> None:
    found = parse_utc(text)
    assert dated(found) == found
    assert found + timedelta(days=3650) > found > found - timedelta(days=3650)


def test_an_instant_before_all_years_is_no_overflow() -> None:
    with pytest.raises(ValueError, match="outside the years"):
        utc(datetime.fromisoformat("0001-01-01T00:00+14:00"))


@pytest.mark.parametrize("now", ["0001-01-01T00:00+14:00", "9999-12-31T23:59-12:00", "9999-12-31T23:59Z"])
def test_now_at_the_ends_of_the_calendar(now: str) -> None:
    done = CliRunner().invoke(main, ["log", "--home", "none", "--now", now])
    assert done.exit_code == 2
    assert re.fullmatch(r"--now: .+\n", done.stderr)


def test_a_departure_at_the_end_of_the_calendar(tmp_path: Path) -> None:
    path = tmp_path / "route.toml"
    text = (CONFIG / "passage-bermuda-horta.toml").read_text(encoding="utf-8")
    path.write_text(re.sub(r"(?m)^departure = .*$", "departure = 0001-01-01T00:00:00+14:00", text), encoding="utf-8")
    with pytest.raises(BadInputError, match=r"passage\.departure.*years"):
        read_route(path)


def test_a_bar_open_at_the_end_of_the_calendar(tmp_path: Path) -> None:
    path = tmp_path / "shelters.toml"
    text = (CONFIG / "shelters-azores.toml").read_text(encoding="utf-8")
    path.write_text(text.replace("bar = false", "bar = true\nopen_at = [[0001-01-01T00:00:00+14:00, 2026-05-16T12:00:00Z]]", 1), encoding="utf-8")
    with pytest.raises(BadInputError, match=r"open_at.*years"):
        read_shelters([path])


def test_a_health_file_written_before_all_years() -> None:
    found = judge({"schema": 1, "written_at": "0001-01-01T00:00+14:00", "parts": [], "well": True, "awaiting": []}, NOON)
    assert not found.well
    assert "cannot be read" in found.words[0]


def test_a_health_file_nested_without_end(tmp_path: Path) -> None:
    (tmp_path / "health.json").write_text("[" * 100_000, encoding="utf-8")
    assert read_health(tmp_path) == ""


def test_kept_times_at_the_ends_of_the_calendar_are_left_out_aloud(tmp_path: Path) -> None:
    with Store.open(tmp_path / "watch.db", NOON) as store:
        store.add_position(NOON, 36.0, -52.0, "invented")
        store.add_position(NOON, 37.0, -52.0, "invented")
        store._write(lambda db: db.execute("UPDATE position SET at = '9999-12-31T23:59:59.000000-12:00' WHERE id = 2"))
        assert len(store.track(NOON)) == 1
        assert store.said


# Numbers without end

@pytest.mark.parametrize("line", [
    "1:0:d=2026051412:UGRD:10 m above ground:" + "9" * 400 + " hour fcst:\n", "1:0:d=2026051412:A:surface:0-" + DIGITS + " day acc fcst:\n"])
def test_an_index_with_a_step_without_end(line: str) -> None:
    assert text_index(line, "f.idx")[0].span_h is None


def test_a_json_index_with_a_member_without_end() -> None:
    line = '{"param": "10u", "levtype": "sfc", "step": "3", "number": 1e999, "_offset": 0, "_length": 9}\n'
    with pytest.raises(BadInputError, match="an index line"):
        json_index(line, "f.idx")


def test_sources_with_a_number_without_end_or_nested_too_deep() -> None:
    with pytest.raises(BadInputError, match="is no TOML"):
        parse(f"a = {DIGITS}", "sources.toml")
    with pytest.raises(BadInputError, match="nested too deep"):
        parse("a = " + "[" * 10_000, "sources.toml")


def test_an_address_that_writes_a_number_out_in_a_million_digits() -> None:
    text = shore.SOURCES.format(layout="text-index", base="http://a.example", url="{base}/{step:0900000000}", index="{base}/i")
    with pytest.raises(BadInputError, match="a number is written out like"):
        parse(text, "sources.toml")


def test_orders_with_a_number_too_large_for_a_number() -> None:
    from tests.page_demo import demo_orders

    document = json.loads(as_json(demo_orders()))
    document["hard_chance"] = 10**400
    with pytest.raises(BadInputError, match="a number, or null"):
        from_json(json.dumps(document))


@pytest.mark.parametrize("headers", [{"Content-Length": DIGITS}, {"Retry-After": DIGITS}, {"Retry-After": "Fri, 31 Dec 9999 23:59:59 GMT"}])
@pytest.mark.parametrize("status", [200, 503])
def test_a_server_that_counts_without_end(headers: dict[str, str], status: int, tmp_path: Path) -> None:
    with wire() as station:
        made = shore.plan_for(station, 3)
        station.always[shore.path_of(3) + ".idx"] = says(status, b"", **headers)
        found = shore.fetched(made, tmp_path, tries=2)
        assert len(station.asked) <= 2  # headers as long as these are no progress
    assert isinstance(found, Partial)
    assert found.retry_at is None or found.retry_at <= shore.RUN + timedelta(days=8)


def test_a_damaged_count_of_pages_costs_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "watch.db"
    path.write_bytes(bytes(4096))
    asked = []

    class Damaged:
        """A connection to a file of one page that says it has 3.6 thousand million: looked through, it would take half a gigabyte."""

        def execute(self, query: str) -> Any:
            asked.append(query)
            rows = {"PRAGMA page_count": (0xD6000013,), "PRAGMA page_size": (4096,)}
            return type("Rows", (), {"fetchone": lambda _: rows[query], "__iter__": lambda _: iter([("ok",)])})()

    assert not is_sound(Damaged(), path)  # type: ignore[arg-type]
    assert not any("integrity" in query for query in asked)


def test_a_store_with_what_was_written_last_still_beside_it_is_sound(tmp_path: Path) -> None:
    path = tmp_path / "watch.db"
    with Store.open(path, NOON) as store:
        for number in range(200):
            store.add_log(f"2026-05-16T12:00Z note {number} {'x' * 400}", NOON, "skipper")
        assert store._db is not None
        assert store._db.execute("PRAGMA page_count").fetchone()[0] * 4096 > path.stat().st_size
        assert is_sound(store._db, path)


def test_a_store_whose_definitions_are_no_text(tmp_path: Path) -> None:
    """The error that SQLite gives repeats the damaged definition, and then cannot be read as text itself."""
    path = tmp_path / "watch.db"
    with Store.open(path, NOON) as store:
        store.add_log("2026-05-16T12:00Z note the kettle", NOON, "skipper")
    data = path.read_bytes()
    place = data.index(b"CREATE TABLE log_line")
    path.write_bytes(data[:place] + b"CREATE\xa6\xa6ABLE" + data[place + 12 :])
    with Store.open(path, NOON) as store:
        assert [line.line for line in store.log_lines()] == ["2026-05-16T12:00Z note the kettle"]
        assert "damaged" in store.said[0]


def test_a_correction_of_a_line_whose_number_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "watch.db"
    with Store.open(path, NOON) as store:
        number = store.add_log("2026-05-16T12:00Z note a", NOON, "skipper")
        store.correct_log(number, "2026-05-16T12:00Z note b", NOON, "skipper")
        assert store._db is not None
        store._db.execute("UPDATE log_line SET corrects = 'reef' WHERE corrects IS NOT NULL")
        assert [line.line[-1] for line in store.log_lines()] == ["a", "b"]


@pytest.mark.parametrize("command", ["ack", "log"])
def test_a_home_whose_name_is_no_text(command: str, tmp_path: Path) -> None:
    home = tmp_path / "h\udc92\udc92e"
    done = CliRunner().invoke(main, [command, "--home", str(home)])
    assert done.exit_code == 0, done.output


# Numbers without end, and names as long as a book

def test_a_forecast_whose_name_no_folder_can_hold() -> None:
    done = CliRunner().invoke(main, ["brief", "--forecast", DIGITS, "--boat", str(CONFIG / "boat-sloop.toml"), "--route", str(CONFIG / "passage-bermuda-horta.toml")])
    assert done.exit_code == 2, done.output
    assert "File name too long" in done.stderr


def test_a_run_kept_for_ever(tmp_path: Path) -> None:
    plain = (CONFIG / "sources.toml").read_text(encoding="utf-8")
    for value in ("inf", "nan", "1e300"):
        spoilt = re.sub(r"kept_days = [\d.]+", f"kept_days = {value}", plain, count=1)
        assert spoilt != plain
        with pytest.raises(BadInputError, match=r"kept_days = (inf|nan|1e\+300): days that a run stays"):
            parse(spoilt, "sources.toml")


def test_a_job_before_all_voyages() -> None:
    boat = read_boat(CONFIG / "boat-sloop.toml")
    with pytest.raises(ValueError, match="no time to sail in"):
        understand("2 2 min", datetime(FIRST_YEAR, 1, 1, tzinfo=UTC), boat, parse_state(boat, ""))


def test_a_key_of_five_thousand_letters_is_not_told_back_whole(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    plain = (CONFIG / "boat-sloop.toml").read_text(encoding="utf-8")
    path.write_text(plain.replace("name =", f"{'A' * 5000} = 1\nname =", 1), encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_boat(path)
    assert max(map(len, str(refused.value).split("\n"))) < 1000 + len(str(path))


# Words that a terminal would obey, and names that no file can have

def test_what_a_file_holds_is_shown_without_what_a_terminal_obeys() -> None:
    error = BadInputError("boat\x1b[2J.toml", [Fault("a\nb", '"\x07"', "x\r\u202ey"), "z\x00"])
    assert str(error) == "boat\\x1b[2J.toml a\\nb = \"\\x07\": x\\r\\u202ey\nboat\\x1b[2J.toml: z\\x00"
    assert StopError(Reason.ANSWER, "sent as \x1b[31m").sentence == "sent as \\x1b[31m"
    assert legible("Ærø – 45° “N”") == "Ærø – 45° “N”"


@pytest.mark.parametrize("name", ['boat = "a\\u0000b"', '"a\\u0000" = 1', 'a = [{ b = ["\\u0000"] }]'])
def test_a_zero_character_in_settings(name: str, tmp_path: Path) -> None:
    path = tmp_path / "watch.toml"
    path.write_text(name, encoding="utf-8")
    with pytest.raises(BadInputError, match="zero character"):
        read_toml(path, "settings")


def test_the_home_of_nobody(tmp_path: Path) -> None:
    assert named_path(tmp_path, "~nobody-has-this/boat.toml") == tmp_path / "~nobody-has-this" / "boat.toml"
    settings = tmp_path / "watch.toml"
    text = (CONFIG / "watch.toml").read_text(encoding="utf-8")
    settings.write_text(text.replace('"boat-sloop.toml"', '"~nobody-has-this/boat.toml"', 1), encoding="utf-8")
    done = CliRunner().invoke(main, ["check", "--config", str(settings)])
    assert done.exit_code == 2
    assert "no such boat file" in done.stderr


def test_a_time_of_five_thousand_digits_is_not_told_back_whole() -> None:
    done = CliRunner().invoke(main, ["log", "--home", "none", "--now", DIGITS])
    assert done.exit_code == 2
    assert len(done.stderr) < 200


# Places

@pytest.mark.parametrize("position", ["90,180", "-90, 0", "89 30.0 N, 10 0.0 W"])
def test_a_position_at_a_pole(position: str) -> None:
    done = CliRunner().invoke(main, ["fetch", "--size-only", "--route", str(CONFIG / "passage-bermuda-horta.toml"), "--position", position])
    assert done.exit_code == 2
    assert "within a degree of a pole" in done.stderr


def test_a_longitude_counted_round_the_world_is_the_same_place() -> None:
    route = str(CONFIG / "passage-bermuda-horta.toml")
    said = [CliRunner().invoke(main, ["fetch", "--size-only", "--route", route, "--position", place]) for place in ("36.5, 308.0", "36.5, -52.0")]
    assert [done.exit_code for done in said] == [0, 0]
    assert said[0].stdout == said[1].stdout
