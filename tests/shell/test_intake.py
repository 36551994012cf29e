"""The inbox of a standing watch: kept under our own name once, put aside with a reason, and a kill at any instant undone."""

import gzip
import os
import zipfile
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.made_gribs import wind, write
from watch.forecast import intake, put_away
from watch.forecast.inbox import InboxRules, Seen
from watch.forecast.intake import Looked, drop, kept_forecasts, look_in, packed_to_drop
from watch.forecast.trial import Holds, TrialError, Tried, try_apart
from watch.when import parse_utc

NOON = parse_utc("2026-05-14T12:00Z")
MINUTE = timedelta(minutes=1)
NAMES = ["forecasts", "packed", "refused"]


@pytest.fixture(scope="module")
def gribs(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes]:
    folder = tmp_path_factory.mktemp("gribs")
    return write(folder, wind()).read_bytes(), write(folder, wind(step=12)).read_bytes()


class Watch:
    """An inbox looked at every minute. Files whose bytes hold a word of ours are said to be no use; the rest are good."""

    def __init__(self, folder: Path) -> None:
        self.inbox, self.kept = folder / "in", folder / "home"
        self.inbox.mkdir(parents=True)
        self.seen: dict[str, Seen] = {}
        self.now: datetime = NOON
        self.tried: list[int] = []
        self.meanwhile: Callable[[], None] = lambda: None

    def drop(self, name: str, data: bytes) -> Path:
        path = self.inbox / name
        path.parent.mkdir(exist_ok=True, parents=True)
        path.write_bytes(data)
        return path

    def try_files(self, paths: Sequence[Path]) -> tuple[Tried, ...]:
        self.tried.append(len(paths))
        self.meanwhile()
        good = Tried(holds=(Holds(centre="kwbc", run=NOON, kind="single"),))
        return tuple(Tried(faults=("stops the decoder dead",)) if b"DEADLY" in path.read_bytes() else good for path in paths)

    def look(self, **more: object) -> Looked:
        self.now += MINUTE
        found = look_in(self.inbox, self.kept, self.now, self.seen, **{"try_files": self.try_files, **more})  # type: ignore[arg-type]
        self.seen = dict(found.seen)
        return found

    def settled(self, **more: object) -> Looked:
        self.look(**more)
        return self.look(**more)

    def files(self) -> dict[str, bytes]:
        """All that lies anywhere, by its path under inbox or home."""
        return {str(p.relative_to(self.inbox.parent)): p.read_bytes() for p in sorted(self.inbox.parent.rglob("*")) if p.is_file()}


@pytest.fixture
def watch(tmp_path: Path) -> Watch:
    return Watch(tmp_path / "ship")


def deadly(data: bytes) -> bytes:
    """A whole message by its framing, with a word in its packed data."""
    return data[:-30] + b"DEADLY" + data[-24:]


def test_a_good_file_is_kept_by_centre_run_and_checksum_and_leaves_the_inbox(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("from the sat phone.grb", gribs[0])
    found = watch.settled(try_files=try_apart)
    one, = found.taken
    assert one.name == "from the sat phone.grb"
    assert one.kept.path.name.startswith(f"{one.kept.centre}-2026051400-")
    assert watch.files() == {f"home/forecasts/{one.kept.path.name}": gribs[0]}
    assert kept_forecasts(watch.kept) == (one.kept,)
    quiet = watch.look()
    assert (quiet.taken, quiet.refused, quiet.again, quiet.waiting, quiet.more) == ((), (), (), (), False)


def test_the_same_bytes_under_another_name_or_in_another_packing_are_kept_once(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("a.grb", gribs[0])
    watch.drop("b.grb", gribs[0])
    assert len(watch.settled().taken) == 1
    watch.drop("again.grb", gribs[0])
    watch.drop("again.grb.gz", gzip.compress(gribs[0]))
    found = watch.settled()
    assert (found.taken, found.again) == ((), ("again.grb", "again.grb.gz"))
    assert watch.tried == [1], "what is known is not tried again"
    assert [name.split("/")[1] for name in watch.files()] == ["forecasts", "packed"]


def test_a_folder_and_an_archive_dropped_in(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    with zipfile.ZipFile(watch.inbox / "both.zip", "w") as archive:
        archive.writestr("one.grb", gribs[0])
        archive.writestr("two.grb", gribs[1])
        archive.writestr("readme.txt", "from ashore")
    watch.drop("sent/today/third.grb", gribs[0] + gribs[1])
    found = watch.settled()
    assert sorted(one.name for one in found.taken) == ["both.zip", "both.zip", "sent/today/third.grb"]
    assert sorted(name.split("/")[1] for name in watch.files()) == ["forecasts"] * 3 + ["packed"]


def test_a_refused_file_lies_in_refused_with_the_reason_beside_it(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("note.txt", b"Dear sailor, no forecast today.\n")
    watch.drop("bad.grb", deadly(gribs[0]))
    found = watch.settled()
    assert sorted((one.name, one.sentence) for one in found.refused) == [
        ("bad.grb", "bad.grb stops the decoder dead"), ("note.txt", "note.txt is text, not GRIB: read what it says")]
    files = watch.files()
    assert files["home/refused/note.txt"] == b"Dear sailor, no forecast today.\n"
    assert files["home/refused/bad.grb"] == deadly(gribs[0])
    assert files["home/refused/bad.grb.why.txt"] == b"bad.grb stops the decoder dead\n"
    assert len(files) == 4


def test_refused_again_and_again_fills_no_disk_and_another_of_the_name_is_not_lost(watch: Watch) -> None:
    for words in (b"one\n", b"one\n", b"two\n"):
        watch.drop("note.txt", words)
        watch.settled()
    assert {n: d for n, d in watch.files().items() if "why" not in n} == {"home/refused/note.txt": b"one\n", "home/refused/2-note.txt": b"two\n"}


def test_an_archive_with_one_bad_file_gives_the_good_ones(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    with zipfile.ZipFile(watch.inbox / "mixed.zip", "w") as archive:
        archive.writestr("bad.grb", deadly(gribs[0]))
        archive.writestr("good.grb", gribs[1])
    found = watch.settled()
    assert len(found.taken) == 1
    assert [one.sentence for one in found.refused] == [
        "mixed.zip holds bad.grb, which stops the decoder dead (1 of the 2 in it are no use; the others were taken)"]
    assert (watch.kept / "refused" / "mixed.zip").exists()


def test_a_file_of_which_more_may_come_stays_however_long_it_takes(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    path = watch.drop("slow.grb", gribs[0][:100])
    watch.settled()
    watch.now += timedelta(hours=1)
    stuck, = watch.look().refused
    assert stuck.path == path
    assert "nothing more has come" in stuck.sentence
    assert watch.look().refused == (), "told once"
    path.write_bytes(gribs[0])
    watch.look()
    assert len(watch.look().taken) == 1


def test_a_file_replaced_while_it_is_tried_is_not_lost(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    path = watch.drop("a.grb", gribs[0])

    def replace() -> None:
        path.with_name(".new").write_bytes(gribs[1])
        os.replace(path.with_name(".new"), path)

    watch.meanwhile = replace
    assert len(watch.settled().taken) == 1
    assert path.read_bytes() == gribs[1]
    watch.meanwhile = lambda: None
    assert len(watch.settled().taken) == 1
    assert sorted(watch.files().values()) == sorted(gribs)


def test_a_file_that_grows_while_it_is_copied_waits(watch: Watch, gribs: tuple[bytes, bytes], monkeypatch: pytest.MonkeyPatch) -> None:
    path = watch.drop("a.grb", gribs[0])
    real, calls = put_away._hold, []

    def grows(status: os.stat_result, expected: put_away.Identity) -> None:
        real(status, expected)
        if not calls:
            calls.append(1)
            with path.open("ab") as stream:
                stream.write(gribs[1])

    monkeypatch.setattr(put_away, "_hold", grows)
    assert watch.settled().taken == ()
    one, = watch.settled().taken
    assert one.kept.path.read_bytes() == gribs[0] + gribs[1]


def test_an_inbox_that_is_only_to_be_read_is_left_and_not_looked_into_again(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("a.grb", gribs[0])
    watch.drop("note.txt", b"no\n")
    found = watch.settled(leave=True)
    assert (len(found.taken), [one.path for one in found.refused]) == (1, [watch.inbox / "note.txt"])
    for _ in range(3):
        quiet = watch.look(leave=True)
        assert (quiet.taken, quiet.again, quiet.refused) == ((), (), ())
    watch.seen = {}
    assert watch.settled(leave=True).again == ("a.grb",), "after a start anew it is known by its checksum"
    assert watch.tried == [1]
    assert {p.name for p in watch.inbox.iterdir()} == {"a.grb", "note.txt"}


def test_a_file_that_cannot_be_moved_away_is_said_and_kept_once(watch: Watch, gribs: tuple[bytes, bytes], monkeypatch: pytest.MonkeyPatch) -> None:
    watch.drop("a.grb", gribs[0])

    def forbidden(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(put_away, "set_aside", forbidden)
    found = watch.settled()
    assert found.waiting == (("a.grb", "a.grb cannot be moved out of the inbox (Operation not permitted): it is left there"),)
    assert (len(found.taken), watch.look().taken, watch.tried) == (1, (), [1])


def test_when_nothing_can_be_tried_nothing_is_decided(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("a.grb", gribs[0])

    def broken(_: Sequence[Path]) -> tuple[Tried, ...]:
        raise TrialError("no process")

    found = watch.settled(try_files=broken)
    assert (found.taken, found.refused) == ((), ())
    assert found.waiting == (("a.grb", "a.grb cannot be taken in (no process); it is tried again: see that there is room on the disk"),)
    assert len(watch.look().taken) == 1


def test_a_full_disk_loses_nothing(watch: Watch, gribs: tuple[bytes, bytes], monkeypatch: pytest.MonkeyPatch) -> None:
    watch.drop("a.grb", gribs[0])

    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(intake, "copied", full)
    assert "No space left on device" in watch.settled().waiting[0][1]
    monkeypatch.undo()
    assert len(watch.look().taken) == 1
    assert list(watch.files().values()) == [gribs[0]]


def test_many_files_are_taken_over_several_looks(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    for number in range(25):
        watch.drop(f"{number}.grb", gribs[0] + b"\0" * number)
    first = watch.settled(at_once=10)
    assert (len(first.taken), first.more) == (10, True)
    second, third = watch.look(at_once=10), watch.look(at_once=10)
    assert (len(second.taken), len(third.taken), third.more) == (10, 5, False)


def test_a_look_at_a_quiet_inbox_opens_no_file(watch: Watch, gribs: tuple[bytes, bytes], monkeypatch: pytest.MonkeyPatch) -> None:
    watch.drop("slow.grb", gribs[0][:100])
    watch.settled()

    def never(*_: object, **__: object) -> None:
        raise AssertionError("a quiet inbox was opened")

    for module, name in ((os, "open"), (os, "rename"), (intake, "kept_forecasts"), (intake, "try_apart")):
        monkeypatch.setattr(module, name, never)
    assert len(watch.look().waiting) == 1


def test_a_removed_file_frees_its_place_and_only_that(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("a.grb", gribs[0])
    watch.drop("b.grb", gribs[1])
    first, second = (one.kept for one in watch.settled().taken)
    folder = watch.kept / "forecasts" / "shore-2026051412"
    folder.mkdir()
    (folder / "x.grib").write_bytes(gribs[0])
    note = folder / ".plan-0123456789abcdef.json"
    for named, whole in (('"x.grib", "y.grib"', False), ('"x.grib"', True)):
        note.write_text(f'{{"files": [{named}], "attribution": ""}}', encoding="utf-8")
        fetched, = (one for one in kept_forecasts(watch.kept) if not one.digest)
        assert (fetched.centre, fetched.paths, fetched.bytes, fetched.whole) == ("shore", (folder / "x.grib",), len(gribs[0]), whole)
    assert drop([first, fetched]) == (first.path, folder)
    assert kept_forecasts(watch.kept) == (second,)


def test_a_packed_file_whose_contents_are_kept_may_go_after_two_days(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("a.grb.gz", gzip.compress(gribs[0]))
    watch.settled()
    put_away_at = datetime.fromtimestamp((watch.kept / "packed" / "a.grb.gz").stat().st_ctime, UTC)
    assert packed_to_drop(watch.kept, put_away_at + timedelta(hours=48, microseconds=-1)) == ()  # the disk's time is finer than ours
    assert packed_to_drop(watch.kept, put_away_at + timedelta(hours=48, seconds=1)) == (watch.kept / "packed" / "a.grb.gz",)


# A kill at any instant

STEPS = ("open", "rename", "unlink", "fsync", "mkdir", "rmdir", "write_text")


def killed_at(watch: Watch, count: int) -> bool:
    """Looks in a copy of this process that dies at its so many-th step on the disk; True when it died."""
    child = os.fork()
    if child == 0:
        left = [count]

        def counting(real: Callable[..., object]) -> Callable[..., object]:
            def step(*args: object, **kwargs: object) -> object:
                left[0] -= 1
                if left[0] == 0:
                    os._exit(9)
                return real(*args, **kwargs)
            return step

        for module, name in [(os, n) for n in STEPS if hasattr(os, n)] + [(Path, "write_text"), (Path, "unlink"), (Path, "rename")]:
            setattr(module, name, counting(getattr(module, name)))
        try:
            watch.settled()
        finally:
            os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


def test_killed_at_any_step_the_next_look_ends_as_if_it_had_not_been(tmp_path: Path, gribs: tuple[bytes, bytes]) -> None:
    def stocked(place: str) -> Watch:
        watch = Watch(tmp_path / place)
        watch.drop("a.grb", gribs[0])
        watch.drop("deep/b.grb.gz", gzip.compress(gribs[1], mtime=0))
        watch.drop("bad.grb", deadly(gribs[0]))
        watch.drop("note.txt", b"no forecast\n")
        return watch

    undisturbed = stocked("calm")
    undisturbed.settled()
    expected = undisturbed.files()
    assert sorted({name.split("/")[1] for name in expected}) == NAMES
    count = 0
    while True:
        count += 1
        watch = stocked(f"killed-{count}")
        died = killed_at(watch, count)
        for one in kept_forecasts(watch.kept):
            assert one.path.read_bytes() in gribs, "what is kept is whole"
        watch.settled()
        watch.settled()
        assert watch.files() == expected, f"killed at step {count}"
        if not died:
            break
    assert count > 30


def test_the_real_files_beside_the_project(real_data: Path, tmp_path: Path) -> None:
    watch = Watch(tmp_path / "ship")
    watch.drop("wind.grb", (real_data / "grib" / "wind-7days-indian-ocean-2016030106.grib1").read_bytes())
    watch.drop("wave.grb", (real_data / "grib" / "wave-7days-indian-ocean-2016030106.grib1").read_bytes())
    watch.drop("step.grb", (real_data / "grib-broken" / "absurd-step.grib2").read_bytes())
    hit = bytearray((real_data / "grib-odd" / "same-wind-packing-template5-3.grib2").read_bytes())
    for at in range(400, len(hit) // 2 - 400, 97):
        hit[at] = 255 - hit[at]
    watch.drop("hit.grb", bytes(hit))
    found = watch.settled(try_files=try_apart)
    assert all(one.kept.path.name.startswith(f"{one.kept.centre}-2016030106-") for one in found.taken)
    assert sorted(one.name for one in found.taken) == ["wave.grb", "wind.grb"]
    assert sorted(one.name for one in found.refused) == ["hit.grb", "step.grb"]


def test_rules_of_the_look_are_handed_on(watch: Watch, gribs: tuple[bytes, bytes]) -> None:
    watch.drop("a.grb", gribs[0])
    patient = InboxRules(settle=timedelta(minutes=3))
    assert [len(watch.look(rules=patient).taken) for _ in range(4)] == [0, 0, 0, 1]
