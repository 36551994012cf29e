"""A file on its way: what has come so far, what is still wanted, and a note beside it so that a broken fetch goes on (I/O)."""

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from watch.forecast.catalogue import shown_url
from watch.forecast.framing import BEGIN, Framing, ReadAt, State, declared_length, walk_by
from watch.forecast.indexes import ByteRange
from watch.forecast.unpack import sync_folder

SYNC_BYTES = 1 << 18


@dataclass(frozen=True, kw_only=True)
class Validators:
    """What a server says to tell one version of a file from another; total: bytes of the whole file, where it told."""

    etag: str = ""
    last_modified: str = ""
    total: int | None = None

    @property
    def strong(self) -> str:
        """What may be given in If-Range: the tag when it is a strong one, else the date, else nothing."""
        return self.etag if self.etag and not self.etag.startswith("W/") else self.last_modified

    def contradict(self, other: "Validators") -> bool:
        """True when two cannot be of the same version. What one does not say is no contradiction, and a date counts for less than a
        tag: the machines of one service may give the same file different dates."""
        if self.total is not None and other.total is not None and self.total != other.total:
            return True
        if self.etag and other.etag:
            return self.etag.removeprefix("W/") != other.etag.removeprefix("W/")
        return bool(self.last_modified and other.last_modified and self.last_modified != other.last_modified)


class Part:
    """Bytes of one file so far. ranges: those wanted, in order; None for the whole file. Use it as a context.

    The bytes are kept one range after the other. The note beside the file holds what was asked for, and how much of it is safely on
    disk: after a crash no more than that is believed. The address is kept as a digest only, for it may hold a secret.
    """

    def __init__(self, path: Path, url: str, ranges: tuple[ByteRange, ...] | None) -> None:
        self.path, self._note = path, path.with_name(path.name + ".json")
        self._url, self._asked = url, ranges
        self.ranges: list[ByteRange] | None = None if ranges is None else list(ranges)
        self.validators = Validators()
        self.length = self._synced = self._begun_at = 0
        self.ended = False  # a whole file whose end has come
        self._named = False

    def __enter__(self) -> Self:
        note = self._read_note()
        self._handle = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        if note is not None:
            self.validators = Validators(etag=note["etag"], last_modified=note["last_modified"], total=note["total"])
            self.length = self._synced = min(note["synced"], os.fstat(self._handle).st_size)
        os.ftruncate(self._handle, self.length)
        self._close_open_range()
        return self

    def __exit__(self, *_: object) -> None:
        if not self._named:
            with contextlib.suppress(OSError):  # a full disk has been told of already
                self.save()
        os.close(self._handle)

    def next(self) -> tuple[int, int | None] | None:
        """Offset in the server's file of the next byte wanted, and of the first after it that is not; None when all is here."""
        if self.ranges is None:
            return None if self.ended else (self.length, None)
        for start, span in self._placed():
            if span.length is None or self.length < start + span.length:
                return span.first + self.length - start, None if span.last is None else span.last + 1
        return None

    def write(self, data: bytes) -> bool:
        """Adds bytes; False when what has come of this range does not begin like a GRIB message that fits in it."""
        spans = [(start, span.length) for start, span in self._placed() if start <= self.length]
        self._begun_at, room = spans[-1] if spans else (0, None)
        view = memoryview(data)
        while view:
            count = os.pwrite(self._handle, view, self.length)
            self.length, view = self.length + count, view[count:]
        if self.length - self._synced >= SYNC_BYTES:
            self.save()
        declared = declared_length(self._from(self._begun_at), 0)
        fits = declared is None or 0 < declared <= (room or declared)
        sound = fits and BEGIN.startswith(self.head(len(BEGIN)))
        self._close_open_range()
        return sound

    def read_at(self, at: int, count: int) -> bytes:
        return os.pread(self._handle, max(0, min(count, self.length - at)), at)

    def head(self, count: int) -> bytes:
        """The first bytes of the range that bytes were last added to."""
        return self.read_at(self._begun_at, count)

    def cut_to(self, length: int) -> None:
        """Forgets what came after the first `length` bytes."""
        self.length, self.ended = length, False
        self._synced = min(self._synced, length)
        if self._asked is not None:
            self.ranges = list(self._asked)
        os.ftruncate(self._handle, length)
        self._close_open_range()
        self.save()

    def framing(self) -> Framing:
        """The messages of what has come: of all ranges each by itself whole, else the first that is not."""
        for start, span in self._placed() if self.ranges is not None else ():
            own = walk_by(self._from(start), span.length or 0)
            if own.state != State.WHOLE:
                return own
        return walk_by(self.read_at, self.length)

    def save(self) -> None:
        """Puts the bytes, and then the note of how many they are, safely on disk."""
        os.fsync(self._handle)
        self._synced = self.length
        note = {**self._whose(), "etag": self.validators.etag, "last_modified": self.validators.last_modified,
                "total": self.validators.total, "synced": self._synced}
        making = self._note.with_name(self._note.name + ".tmp")
        making.write_text(json.dumps(note), encoding="utf-8")
        making.replace(self._note)

    def finish(self, target: Path) -> None:
        """Gives the file its name at last, in one move, when its bytes are safely on disk."""
        os.fsync(self._handle)
        self.path.replace(target)
        self._named = True
        sync_folder(target.parent)
        self._note.unlink(missing_ok=True)

    def _placed(self) -> Iterator[tuple[int, ByteRange]]:
        """Each range with the place in our file where it begins."""
        at = 0
        for span in self.ranges or ():
            yield at, span
            at += span.length or 0

    def _from(self, start: int) -> ReadAt:
        return lambda at, count: self.read_at(start + at, count)

    def _close_open_range(self) -> None:
        """A range without an end ends where its message says, once enough of it is here; what came beyond is cut off."""
        for start, span in list(self._placed()):
            length = declared_length(self._from(start), 0) if span.last is None else None
            if length and self.ranges is not None:
                self.ranges[self.ranges.index(span)] = ByteRange(first=span.first, last=span.first + length - 1)
                if self.length > start + length:
                    self.length = start + length
                    os.ftruncate(self._handle, self.length)

    def _whose(self) -> dict[str, Any]:
        ranges = None if self._asked is None else [[r.first, r.last] for r in self._asked]
        # The same path on another server is another file to us: two servers need not hold the same bytes.
        return {"what": shown_url(self._url), "url_sha256": hashlib.sha256(self._url.encode()).hexdigest(), "ranges": ranges}

    def _read_note(self) -> dict[str, Any] | None:
        """The note when it is sound and about the same request, else None: then the file is begun anew."""
        try:
            note = json.loads(self._note.read_text(encoding="utf-8"))
            same = {key: note[key] for key in ("what", "url_sha256", "ranges")} == self._whose()
            kinds = isinstance(note["etag"], str) and isinstance(note["last_modified"], str)
            counts = isinstance(note["synced"], int) and note["synced"] >= 0 and (note["total"] is None or isinstance(note["total"], int))
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None
        return note if same and kinds and counts else None
