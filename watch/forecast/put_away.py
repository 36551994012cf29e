"""Takes files out of a folder that others write to, never one that was put there meanwhile, never over another file (I/O)."""

import contextlib
import errno
import filecmp
import hashlib
import os
import shutil
import stat
from pathlib import Path

from watch.forecast.unpack import plain_name, sync_folder

LEAVING = ".leaving."
CHUNK = 1 << 20
WHY = ".why.txt"
Identity = tuple[int, int]  # size, time of change [ns]


class ChangedError(Exception):
    """The file is not the one that was looked at: it was left, or put back, as it is."""


def identity(status: os.stat_result) -> Identity:
    """What tells whether a file is still the one that was looked at."""
    return status.st_size, status.st_mtime_ns


def copied(path: Path, expected: Identity, target: Path) -> str:
    """Copies a file whole and safely onto disk -> the SHA-256 of its bytes. Raises ChangedError when it changed, OSError."""
    checksum = hashlib.sha256()
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    with os.fdopen(handle, "rb") as stream, target.open("wb") as out:
        _hold(os.fstat(handle), expected)
        while piece := stream.read(CHUNK):
            checksum.update(piece)
            out.write(piece)
        _hold(os.fstat(handle), expected)
        out.flush()
        os.fsync(out.fileno())
    return checksum.hexdigest()


def remove(path: Path, expected: Identity) -> None:
    """Removes a file whose bytes are kept elsewhere. Raises ChangedError when another was put in its place, OSError."""
    set_aside(path, expected).unlink()


def move(path: Path, expected: Identity, folder: Path, sentence: str = "") -> Path:
    """Moves a file into a folder of ours, beside a note of why when there is a sentence -> where it lies now.

    Where a file of the name lies there already: with the same bytes it stands for both, else this one gets a number.
    """
    folder.mkdir(parents=True, exist_ok=True)
    aside = set_aside(path, expected)
    try:
        target, same = _free(aside, folder, plain_name(path.name, 1))
        if sentence:
            (folder / f"{target.name}{WHY}").write_text(f"{sentence}\n", encoding="utf-8")
        if same:
            aside.unlink()
        else:
            _moved(aside, target)
    except OSError:
        put_back(aside)
        raise
    sync_folder(folder)
    return target


def set_aside(path: Path, expected: Identity) -> Path:
    """Hides a file under another name beside it, and makes sure that it is the one that was looked at; else it is put back."""
    aside = path.with_name(LEAVING + path.name)
    if aside.exists():
        put_back(aside)
        raise ChangedError
    path.rename(aside)
    try:
        _hold(aside.stat(), expected)
    except (ChangedError, OSError):
        put_back(aside)
        raise
    return aside


def put_back(aside: Path) -> None:
    """Gives a hidden file its name again, or one like it when another has taken that meanwhile."""
    name = aside.name.removeprefix(LEAVING)
    number = 1
    target = aside.with_name(name)
    while os.path.lexists(target):
        number += 1
        target = aside.with_name(f"{number}-{name}")
    aside.rename(target)


def put_all_back(folder: Path, depth: int) -> None:
    """After a kill half-way: every hidden file of ours below a folder gets its name again."""
    for level in range(depth):
        for aside in folder.glob("*/" * level + LEAVING + "*"):
            with contextlib.suppress(OSError):
                put_back(aside)


def _hold(status: os.stat_result, expected: Identity) -> None:
    if not stat.S_ISREG(status.st_mode) or identity(status) != expected:
        raise ChangedError


def _free(aside: Path, folder: Path, name: str) -> tuple[Path, bool]:
    """A place in a folder for a file, and whether its very bytes lie there already."""
    number, target = 1, folder / name
    while target.exists():
        if target.is_file() and filecmp.cmp(aside, target, shallow=False):
            return target, True
        number += 1
        target = folder / f"{number}-{name}"
    return target, False


def _moved(aside: Path, target: Path) -> None:
    try:
        aside.rename(target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        making = target.with_name(f".{target.name}.tmp")
        shutil.copy2(aside, making)
        with making.open("rb+") as stream:
            os.fsync(stream.fileno())
        making.rename(target)
        aside.unlink()
