"""The store beside a plain dictionary: whatever is done to either, in any order, both hold the same, and so after it was opened anew."""

import shutil
import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, initialize, invariant, multiple, rule

from tests.service.stores import NOON, quick_folder
from watch.service.store import Store
from watch.service.store.times import legible

WORDS = st.text(max_size=40)
TIMES = st.integers(-(10**6), 10**6).map(lambda seconds: NOON + timedelta(seconds=seconds))
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3), max_leaves=6,
)  # fmt: skip
PATHS = st.sampled_from([Path(f"/in/{name}.grib2") for name in "abc"])


class BesideDictionary(RuleBasedStateMachine):
    lines = Bundle("lines")
    wishes = Bundle("wishes")

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(dir=quick_folder()))
        self.store = Store.open(self.folder / "watch.db", NOON)
        self.log: dict[int, tuple[datetime, str, list[str]]] = {}
        self.acks: dict[int, list[Any]] = {}
        self.settings: dict[str, Any] = {}
        self.files: dict[Path, tuple[Any, ...]] = {}
        self.places: list[tuple[datetime, float, float, str]] = []

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.folder)

    @rule(target=lines, line=WORDS, at=TIMES, by=WORDS)
    def writes(self, line: str, at: datetime, by: str) -> int:
        number = self.store.add_log(line, at, by)
        assert number not in self.log
        self.log[number] = (at, legible(by), [legible(line)])
        return number

    @rule(number=lines, line=WORDS, at=st.none() | TIMES)
    def corrects(self, number: int, line: str, at: datetime | None) -> None:
        self.store.correct_log(number, line, at, "skipper")
        self.log[number][2].append(legible(line))

    @rule(target=wishes, alert=WORDS, at=TIMES, revision=st.none() | st.integers(0, 2**31))
    def asks(self, alert: str, at: datetime, revision: int | None) -> int:
        wish = self.store.ask_ack(alert, "skipper", at, revision=revision)
        assert wish not in self.acks
        self.acks[wish] = [legible(alert), at, revision, None, ""]
        return wish

    @rule(wish=wishes, at=TIMES, outcome=WORDS)
    def takes(self, wish: int, at: datetime, outcome: str) -> None:
        self.store.ack_taken([wish], at, outcome)
        if self.acks[wish][3] is None:
            self.acks[wish][3:] = [at, legible(outcome)]

    @rule(target=wishes, some=st.lists(consumes(wishes), max_size=3), at=TIMES)
    def takes_some(self, some: list[int], at: datetime) -> Any:
        self.store.ack_taken(some, at)
        for wish in some:
            if self.acks[wish][3] is None:
                self.acks[wish][3:] = [at, ""]
        return multiple(*some)

    @rule(name=st.sampled_from(["a", "b", "ö"]), value=JSON)
    def puts(self, name: str, value: Any) -> None:
        self.store.put(name, value)
        self.settings[name] = value

    @rule(path=PATHS, run=TIMES, arrived=TIMES, size=st.integers(0, 2**40))
    def knows(self, path: Path, run: datetime, arrived: datetime, size: int) -> None:
        self.store.keep_forecast(path, "aa", "kwbc", run, "single", arrived, size)
        self.files[path] = (run, arrived, size)

    @rule(path=PATHS)
    def forgets(self, path: Path) -> None:
        self.store.forget_forecast(path)
        self.files.pop(path, None)

    @rule(at=TIMES, lat=st.floats(-90.0, 90.0), lon=st.floats(-180.0, 180.0))
    def is_at(self, at: datetime, lat: float, lon: float) -> None:
        self.store.add_position(at, lat, lon, "GP/RMC")
        self.places.append((at, lat, lon, "GP/RMC"))

    @rule()
    def opens_anew(self) -> None:
        self.store.close()
        self.store = Store.open(self.folder / "watch.db", NOON)

    @rule()
    def loses_power(self) -> None:
        """The files as they lie on the disk at this moment, in a new place."""
        before, self.folder = self.folder, Path(tempfile.mkdtemp(dir=quick_folder()))
        for name in ("watch.db", "watch.db-wal"):
            shutil.copyfile(before / name, self.folder / name)
        self.store.close()
        shutil.rmtree(before)
        self.store = Store.open(self.folder / "watch.db", NOON)

    @rule()
    def prunes(self) -> None:
        self.store.prune(NOON)

    @invariant()
    def holds_the_same(self) -> None:
        if not hasattr(self, "store"):
            return
        got = [(line.id, line.at, line.by, [*line.before, line.line]) for line in self.store.log_lines()]
        assert got == sorted(((number, *line) for number, line in self.log.items()), key=lambda line: (line[1], line[0]))
        acks = {a.id: [a.alert, a.at, a.revision, a.taken_at, a.outcome] for a in self.store.acks(NOON - timedelta(days=99))}
        assert acks == self.acks
        assert [a.id for a in self.store.acks_wanted()] == [wish for wish, ack in self.acks.items() if ack[3] is None]
        assert {name: self.store.get(name) for name in self.settings} == self.settings
        assert {f.path: (f.run, f.arrived, f.size_bytes) for f in self.store.forecasts()} == self.files
        places = [(p.at, p.latitude_deg, p.longitude_deg, p.source) for p in self.store.track(NOON - timedelta(days=99))]
        assert places == sorted(self.places, key=lambda place: place[0])
        assert self.store.said == ()


BesideDictionary.TestCase.settings = settings(max_examples=25, stateful_step_count=30, deadline=None)
TestBesideDictionary = BesideDictionary.TestCase
