"""The inbox: forecasts dropped by any means, whole, half, packed, swollen, odd; and nothing of the sailor's ever touched."""

import bz2
import gzip
import io
import lzma
import os
import socket
import stat
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.shell.wire import message
from watch.faults import BadInputError
from watch.forecast.grib import read
from watch.forecast.inbox import InboxLook, InboxRules, Seen, Verdict, look, structure_fault, tidy
from watch.forecast.unpack import UnpackLimits
from watch.when import parse_utc

NOON = parse_utc("2026-05-14T12:00Z")
MINUTE = timedelta(minutes=1)
ONE = message(5000, 1)
TWO = message(3000, 2, edition=1)
FORECAST = ONE + TWO


class Inbox:
    """A folder looked at every minute."""

    def __init__(self, folder: Path, rules: InboxRules | None = None) -> None:
        self.folder, self.cache = folder / "in", folder / "cache"
        self.folder.mkdir()
        self.seen: dict[str, Seen] = {}
        self.now: datetime = NOON
        self.rules = rules or InboxRules()
        self.asked: list[Path] = []
        self.refuses: str | None = None

    def drop(self, name: str, data: bytes) -> Path:
        path = self.folder / name
        path.parent.mkdir(exist_ok=True, parents=True)
        path.write_bytes(data)
        return path

    def look(self, minutes: float = 1.0) -> InboxLook:
        self.now += minutes * MINUTE

        def readable(path: Path) -> str | None:
            self.asked.append(path)
            return self.refuses or structure_fault(path)

        found = look(self.folder, self.seen, self.now, cache=self.cache, is_readable=readable, rules=self.rules)
        self.seen = dict(found.seen)
        return found

    def settled(self) -> InboxLook:
        self.look()
        return self.look()


@pytest.fixture
def inbox(tmp_path: Path) -> Inbox:
    return Inbox(tmp_path)


def zipped(*members: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return out.getvalue()


def snapshot(folder: Path) -> dict[str, tuple[bytes, int, int]]:
    return {str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_mtime_ns, p.stat().st_mode) for p in folder.rglob("*")
            if p.is_file()}


def test_a_file_is_ready_at_the_second_look_that_finds_it_unchanged(inbox: Inbox) -> None:
    path = inbox.drop("gale.grb", FORECAST)
    first = inbox.look()
    assert (first.ready, first.waiting) == ((), (("gale.grb", "gale.grb has just arrived"),))
    second = inbox.look()
    assert [(r.name, r.paths, r.size) for r in second.ready] == [("gale.grb", (path,), 8000)]
    assert second.changed == {"gale.grb"}
    third = inbox.look()
    assert third.ready == second.ready
    assert third.changed == frozenset()
    assert inbox.asked == [path], "a file that keeps still is looked into once"


def test_two_looks_at_one_moment_are_one_look(inbox: Inbox) -> None:
    inbox.drop("gale.grb", FORECAST)
    inbox.look()
    assert inbox.look(0.0).ready == ()
    assert inbox.look(0.05).ready == (), "three seconds are too short a while"
    assert len(inbox.look(0.05).ready) == 1


def test_a_file_that_grows_is_waited_for_until_it_is_whole(inbox: Inbox) -> None:
    path = inbox.drop("slow.grb", FORECAST[:2000])
    for size in (3000, 5000, 6000, 7999):
        assert inbox.look().ready == ()
        with path.open("ab") as stream:
            stream.write(FORECAST[path.stat().st_size : size])
    inbox.look()
    stuck = inbox.look()
    assert stuck.waiting == (("slow.grb", "slow.grb is not whole: it ends inside message 2, at byte 7999 (1 whole messages come before)"),)
    with path.open("ab") as stream:
        stream.write(FORECAST[-1:])
    assert [r.name for r in inbox.settled().ready] == ["slow.grb"]


def test_a_file_that_never_becomes_whole_is_told_after_half_an_hour_and_taken_back_when_it_does(inbox: Inbox) -> None:
    path = inbox.drop("cut.grb", FORECAST[:6000])
    inbox.settled()
    assert inbox.look(28.0).refused == ()
    told = inbox.look(1.0)
    assert told.waiting == ()
    assert told.refused == (("cut.grb", "cut.grb is not whole: it ends inside message 2, at byte 6000 (1 whole messages come before); "
                             "nothing more has come for 30 minutes"),)
    assert told.changed == {"cut.grb"}
    assert inbox.look(500.0).refused == told.refused
    path.write_bytes(FORECAST)
    assert [r.name for r in inbox.settled().ready] == ["cut.grb"]


@pytest.mark.parametrize("at", [1, 3, 8, 15, 4999, 5001, 5003, 5007, 7996, 7999])
def test_cut_at_any_kind_of_byte_it_is_never_ready(inbox: Inbox, at: int) -> None:
    inbox.drop("cut.grb", FORECAST[:at])
    found = inbox.settled()
    assert (found.ready, len(found.waiting)) == ((), 1)


@pytest.mark.parametrize("clock_jump_h", [-36.0, -0.5])
def test_a_clock_set_back_makes_a_file_wait_no_longer_than_from_anew(inbox: Inbox, clock_jump_h: float) -> None:
    inbox.drop("good.grb", FORECAST)
    inbox.drop("cut.grb", FORECAST[:6000])
    inbox.look()
    inbox.now += timedelta(hours=clock_jump_h)
    assert inbox.look().ready == ()
    assert [r.name for r in inbox.look().ready] == ["good.grb"]
    assert inbox.look(20.0).refused == ()
    assert [name for name, _ in inbox.look(10.0).refused] == ["cut.grb"]


@pytest.mark.parametrize("name", ["gale.grb.part", "gale.TMP", "gale.grb.crdownload"])
def test_a_temporary_name_is_not_read_until_it_is_renamed_and_is_told_when_it_stays(inbox: Inbox, name: str) -> None:
    path = inbox.drop(name, FORECAST)
    found = inbox.settled()
    assert (found.ready, inbox.asked) == ((), [])
    assert found.waiting == ((name, f"{name} has a temporary name: rename it when it is whole"),)
    assert len(inbox.look(40.0).refused) == 1
    path.rename(inbox.folder / "gale.grb")
    assert inbox.look().gone == {name}
    assert [r.name for r in inbox.look().ready] == ["gale.grb"]


PACKERS = {"gz": gzip.compress, "bz2": bz2.compress, "xz": lzma.compress, "zip": lambda data: zipped(("a/gale.grb", data))}


@pytest.mark.parametrize("suffix", PACKERS)
def test_packed_files_are_unpacked_into_our_cache(inbox: Inbox, suffix: str) -> None:
    inbox.drop(f"gale.grb.{suffix}", PACKERS[suffix](FORECAST))
    before = snapshot(inbox.folder)
    (ready,) = inbox.settled().ready
    (copy,) = ready.paths
    assert copy.read_bytes() == FORECAST
    assert copy.name == "gale.grb"
    assert inbox.cache in copy.parents
    assert snapshot(inbox.folder) == before
    assert [p.name for p in inbox.cache.iterdir()] == [copy.parent.name], "no half-made copies are left"


@pytest.mark.parametrize("suffix", PACKERS)
def test_half_a_packed_file_is_waited_for(inbox: Inbox, suffix: str) -> None:
    packed = PACKERS[suffix](FORECAST)
    path = inbox.drop(f"gale.{suffix}", packed[: len(packed) * 2 // 3])
    found = inbox.settled()
    assert found.waiting == ((path.name, f"gale.{suffix} is not whole: the compressed file ends too early"),)
    assert [p for p in inbox.cache.rglob("*") if p.is_file()] == []
    path.write_bytes(packed)
    assert len(inbox.settled().ready) == 1


@pytest.mark.parametrize("suffix", PACKERS)
def test_a_damaged_packed_file_is_refused(inbox: Inbox, suffix: str) -> None:
    packed = bytearray(PACKERS[suffix](FORECAST))
    for at in range(60, len(packed) // 2, 50):
        packed[at] ^= 0xFF
    inbox.drop(f"gale.{suffix}", bytes(packed))
    ((_, sentence),) = inbox.settled().refused
    assert sentence == f"gale.{suffix} is damaged: it cannot be unpacked; fetch it again"
    assert list(inbox.cache.rglob("*.grb")) == []


def test_two_gzip_pieces_in_a_row_are_one_file_and_padding_after_is_nothing(inbox: Inbox) -> None:
    inbox.drop("a.gz", gzip.compress(ONE) + gzip.compress(TWO) + bytes(500))
    assert inbox.settled().ready[0].paths[0].read_bytes() == FORECAST


def test_a_zip_of_many_gives_all_forecasts_and_passes_over_the_rest(inbox: Inbox) -> None:
    inbox.drop("all.zip", zipped(("b.grb", TWO), ("../../a.grb", ONE), ("readme.txt", b"Fair winds."), ("__MACOSX/._a.grb", b"\0\5\x16\7"),
                                 ("nested.grb.gz", gzip.compress(FORECAST)), ("sub/b.grb", ONE), ("empty/", b"")))
    (ready,) = inbox.settled().ready
    assert sorted(p.read_bytes() for p in ready.paths) == sorted([ONE, TWO, ONE, FORECAST])
    assert all(inbox.cache in p.resolve().parents for p in ready.paths)
    assert not (inbox.folder.parent / "a.grb").exists()


@pytest.mark.parametrize(("data", "words"), [
    (zipped(("a.txt", b"words")), "holds no GRIB: nothing in it is a forecast"),
    (zipped(("a.grb", FORECAST[:-9])), "holds a.grb, which is not whole: it ends inside message 2, at byte 7991"),
    (zipped(("a.grb", FORECAST), method=zipfile.ZIP_BZIP2), "is packed in a way not known here: unpack it by hand"),
    (gzip.compress(gzip.compress(gzip.compress(FORECAST))), "is packed more than twice over: unpack it by hand"),
    (zipped(*((f"{n}.grb", ONE) for n in range(501))), "holds more than 500 files: not unpacked"),
])
def test_archives_that_are_no_use_say_why(inbox: Inbox, data: bytes, words: str) -> None:
    inbox.drop("a.zip", data)
    ((_, sentence),) = inbox.settled().refused
    assert sentence.startswith(f"a.zip {words}")
    assert [p for p in inbox.cache.rglob("*") if p.is_file()] == []


def test_a_locked_zip_is_refused(inbox: Inbox) -> None:
    data = bytearray(zipped(("a.grb", FORECAST)))
    data[data.index(b"PK\x01\x02") + 8] |= 1  # the table of contents says that the entry is encrypted
    inbox.drop("a.zip", bytes(data))
    assert inbox.settled().refused[0][1] == "a.zip is locked with a password: unpack it by hand"


@pytest.mark.parametrize(("pack", "limits", "words"), [
    (gzip.compress, UnpackLimits(), "more than 200 times its size"),
    (bz2.compress, UnpackLimits(), "more than 200 times its size"),
    (lzma.compress, UnpackLimits(), "more than 200 times its size"),
    (lambda d: zipped(("a", d)), UnpackLimits(), "more than 200 times its size"),
    (lambda d: zipped(*((f"{n}.grb", d[: 1 << 20]) for n in range(12))), UnpackLimits(), "more than 200 times its size"),
    (lambda d: gzip.compress(gzip.compress(d)), UnpackLimits(), "more than 200 times its size"),
    (gzip.compress, UnpackLimits(total_bytes=3 << 20, ratio=10**9), "more than 3 MB"),
])
def test_a_file_that_would_swell_is_stopped_before_it_fills_the_disk(tmp_path: Path, pack, limits, words) -> None:  # type: ignore[no-untyped-def]
    inbox = Inbox(tmp_path, InboxRules(unpack=limits))
    inbox.drop("bomb.zip", pack(b"GRIB" + bytes(12 << 20)))
    ((_, sentence),) = inbox.settled().refused
    assert f"bomb.zip would unpack to {words}" in sentence
    assert [p for p in inbox.cache.rglob("*") if p.is_file()] == []


def test_unpacked_copies_are_found_again_after_a_restart_and_tidied_when_the_file_goes(inbox: Inbox) -> None:
    path = inbox.drop("gale.gz", gzip.compress(FORECAST))
    (ready,) = inbox.settled().ready
    stamp = ready.paths[0].stat().st_mtime_ns
    inbox.seen = {}
    (again,) = inbox.settled().ready
    assert again.paths == ready.paths
    assert again.paths[0].stat().st_mtime_ns == stamp
    ours, theirs = inbox.cache / ".unpacked-0123456789abcdef.tmp", inbox.cache / "charts"
    ours.mkdir()
    theirs.mkdir()
    tidy(inbox.cache, inbox.seen)
    assert (ready.paths[0].exists(), ours.exists(), theirs.exists()) == (True, False, True)
    path.unlink()
    inbox.look()
    tidy(inbox.cache, inbox.seen)
    assert (ready.paths[0].exists(), theirs.exists()) == (False, True)


def test_a_copy_that_was_lost_is_made_again(inbox: Inbox) -> None:
    inbox.drop("gale.gz", gzip.compress(FORECAST))
    (ready,) = inbox.settled().ready
    ready.paths[0].unlink()
    ready.paths[0].parent.rmdir()
    (again,) = inbox.look().ready
    assert again.paths[0].read_bytes() == FORECAST


def test_a_full_disk_holds_a_packed_file_back_and_is_tried_again_later(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:
    inbox.drop("gale.gz", gzip.compress(FORECAST))
    inbox.drop("plain.grb", FORECAST)
    real, tried = os.fsync, []

    def full(handle: int) -> None:
        tried.append(handle)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    found = inbox.settled()
    assert [r.name for r in found.ready] == ["plain.grb"]
    assert found.waiting == (("gale.gz", "gale.gz cannot be unpacked (No space left on device): make room on the disk"),)
    count = len(tried)
    inbox.look()
    assert len(tried) == count, "not tried again at every look"
    monkeypatch.setattr(os, "fsync", real)
    assert [r.name for r in inbox.look(5.0).ready] == ["gale.gz", "plain.grb"]


def test_odd_things_in_the_folder_are_told_or_passed_over(inbox: Inbox) -> None:
    inbox.drop("ünicode 風 ☂.grb", FORECAST)
    inbox.drop("new\nline.grb", FORECAST)
    inbox.drop(".hidden.grb", FORECAST)
    inbox.drop("from mail/gale.grb", FORECAST)
    inbox.drop("empty.grb", b"")
    inbox.drop("a/b/deep.grb", FORECAST)
    inbox.drop("a/b/c/deeper.grb", FORECAST)
    os.symlink(inbox.folder / "from mail" / "gale.grb", inbox.folder / "link.grb")
    os.symlink("nowhere", inbox.folder / "broken.grb")
    os.symlink("round.grb", inbox.folder / "round.grb")
    os.symlink(inbox.folder, inbox.folder / "folder link")
    os.mkfifo(inbox.folder / "pipe.grb")
    plug = socket.socket(socket.AF_UNIX)
    plug.bind(os.path.relpath(inbox.folder / "plug"))
    with plug:
        found = inbox.settled()
    assert [r.name for r in found.ready] == ["a/b/deep.grb", "from mail/gale.grb", "link.grb", "new\nline.grb", "ünicode 風 ☂.grb"]
    assert dict(found.waiting) == {"empty.grb": "empty.grb is empty"}
    assert dict(found.refused) == {
        "a/b/c": "a/b/c is a folder too deep inside: move its files further up",
        "broken.grb": "broken.grb is a link to a file that is not there",
        "folder link": "folder link is a link to a folder: put the files here, or links to each",
        "pipe.grb": "pipe.grb is no ordinary file",
        "plug": "plug is no ordinary file",
        "round.grb": "round.grb cannot be read (Too many levels of symbolic links): check who may read it",
    }


def test_a_name_that_is_no_text_is_read_and_can_be_printed(inbox: Inbox) -> None:
    raw = os.fsencode(inbox.folder) + b"/caf\xe9.grb"
    handle = os.open(raw, os.O_WRONLY | os.O_CREAT)
    os.write(handle, FORECAST[:-1])
    os.close(handle)
    ((_, sentence),) = inbox.settled().waiting
    sentence.encode("utf-8")
    assert sentence.startswith("caf�.grb is not whole")


def test_a_file_that_nobody_may_read_is_told_and_read_once_it_may_be(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:
    inbox.drop("secret.grb", FORECAST)
    real = os.open

    def closed(path: str, flags: int, mode: int = 0o777, **more: int) -> int:
        if str(path).endswith("secret.grb"):
            raise PermissionError(13, "Permission denied")
        return real(path, flags, mode, **more)

    monkeypatch.setattr(os, "open", closed)
    assert inbox.settled().waiting == (("secret.grb", "secret.grb cannot be read (Permission denied): check who may read it"),)
    monkeypatch.setattr(os, "open", real)
    assert [r.name for r in inbox.look().ready] == ["secret.grb"]


def test_a_file_that_changes_between_count_and_opening_is_still_arriving(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:
    path = inbox.drop("gale.grb", FORECAST)
    inbox.look()
    real = os.open

    def meanwhile(name: str, flags: int, mode: int = 0o777, **more: int) -> int:
        if str(name).endswith("gale.grb") and not flags & os.O_WRONLY:
            path.write_bytes(FORECAST + ONE[:100])
        return real(name, flags, mode, **more)

    monkeypatch.setattr(os, "open", meanwhile)
    assert inbox.look().waiting == (("gale.grb", "gale.grb is still arriving"),)


@pytest.mark.parametrize(("data", "words"), [
    (b"<html><body>503 Service Unavailable</body></html>" * 9, "is a web page, not GRIB"),
    (b"Dear skipper, no forecast today.", "is text, not GRIB"),
    (b"\x89HDF\r\n" + bytes(400), "is netCDF or HDF, not GRIB"),
    (ONE[:4000] + TWO + ONE, "is damaged: message 1 at byte 0 does not end where its length says"),
])
def test_what_is_no_grib_is_refused_in_words(inbox: Inbox, data: bytes, words: str) -> None:
    inbox.drop("odd.grb", data)
    ((_, sentence),) = inbox.settled().refused
    assert sentence.startswith(f"odd.grb {words}")


def test_the_readers_word_counts(inbox: Inbox) -> None:
    inbox.refuses = "message 2 is damaged: fetch it again"
    inbox.drop("a.grb", FORECAST)
    inbox.drop("b.gz", gzip.compress(FORECAST))
    assert dict(inbox.settled().refused) == {
        "a.grb": "a.grb message 2 is damaged: fetch it again", "b.gz": "b.gz holds b, which message 2 is damaged: fetch it again"}


def test_a_reader_that_raises_its_sentence_is_heard(inbox: Inbox) -> None:
    path = inbox.drop("a.grb", FORECAST)

    def reader(given: Path) -> str | None:
        raise BadInputError(given, ["holds none of the fields that the watch reads", "and more"])

    look(inbox.folder, {}, NOON, cache=inbox.cache)
    first = look(inbox.folder, {}, NOON, cache=inbox.cache)
    found = look(inbox.folder, first.seen, NOON + MINUTE, cache=inbox.cache, is_readable=reader)
    assert found.refused[0][1].startswith("a.grb holds none of the fields")
    assert str(path) not in found.refused[0][1]
    assert "\n" not in found.refused[0][1]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"cannot be looked into .*: make the folder, or name another"):
        look(tmp_path / "none", {}, NOON, cache=tmp_path / "cache")


def test_our_own_cache_inside_the_folder_is_not_looked_at(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    (folder / "cache").mkdir(parents=True)
    (folder / "cache" / "old.grb").write_bytes(FORECAST)
    (folder / "new.grb").write_bytes(FORECAST)
    assert list(look(folder, {}, NOON, cache=folder / "cache").seen) == ["new.grb"]


def test_ten_thousand_files_are_read_once_and_then_only_counted(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(10_000):
        handle = os.open(inbox.folder / f"{number:05d}.grb", os.O_WRONLY | os.O_CREAT)
        os.write(handle, TWO[:200] if number % 10 == 0 else ONE[:16] if number % 10 == 1 else TWO)
        os.close(handle)
    found = inbox.settled()
    assert (len(found.ready), len(found.waiting), len(found.refused)) == (8000, 2000, 0)
    opened: list[str] = []
    real = os.open
    monkeypatch.setattr(os, "open", lambda path, *more, **named: opened.append(str(path)) or real(path, *more, **named))
    inbox.drop("00003.grb", FORECAST)
    inbox.look()
    assert opened == []
    assert inbox.look().changed == {"00003.grb"}
    assert [Path(path).name for path in opened] == ["00003.grb"]


def test_nothing_of_the_sailors_is_changed_whatever_is_in_the_folder(inbox: Inbox) -> None:
    for name, data in {"a.grb": FORECAST, "b.grb": FORECAST[:-3], "c.gz": gzip.compress(FORECAST), "d.gz": gzip.compress(FORECAST)[:-9],
                       "e.zip": zipped(("x", b"y")), "f.part": FORECAST, "g.txt": b"words", "h/i.grb": FORECAST}.items():
        inbox.drop(name, data).chmod(stat.S_IRUSR)
    before = snapshot(inbox.folder)
    inbox.settled()
    inbox.look(60.0)
    tidy(inbox.cache, inbox.seen)
    assert snapshot(inbox.folder) == before


def test_verdicts_hold_from_look_to_look(inbox: Inbox) -> None:
    inbox.drop("a.grb", FORECAST)
    inbox.settled()
    assert inbox.seen["a.grb"].verdict == Verdict.READY
    inbox.drop("a.grb", FORECAST + ONE)
    assert inbox.look().waiting == (("a.grb", "a.grb is still arriving"),)
    assert inbox.look().ready[0].size == 13000


def test_real_files_pass_the_real_reader_packed_or_not(real_data: Path, inbox: Inbox) -> None:
    def reader(path: Path) -> str | None:
        read([path])
        return None

    plain = (real_data / "grib" / "wind-7days-indian-ocean-2016030106.grib1").read_bytes()
    inbox.drop("wind.grb", plain)
    inbox.drop("wind.grb.bz2", bz2.compress(plain))
    inbox.drop("cut.grb", (real_data / "grib-broken" / "cut-at-102400-5_gfs.t00z.pgrb2.1p00.f000.grib2").read_bytes())
    inbox.drop("corrupt.grb", (real_data / "grib-broken" / "second-message-corrupt.grib").read_bytes())
    first = look(inbox.folder, {}, NOON, cache=inbox.cache, is_readable=reader)
    found = look(inbox.folder, first.seen, NOON + MINUTE, cache=inbox.cache, is_readable=reader)
    assert [r.name for r in found.ready] == ["wind.grb", "wind.grb.bz2"]
    assert found.ready[1].paths[0].read_bytes() == plain
    assert [name for name, _ in found.waiting] == ["cut.grb"]
    ((name, sentence),) = found.refused
    assert (name, sentence.startswith("corrupt.grb message 1 at byte 0 is damaged")) == ("corrupt.grb", True), sentence
