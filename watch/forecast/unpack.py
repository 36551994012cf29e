"""Compressed files unpacked into our own cache: whole or not at all, and never more than the limits allow (I/O)."""

import bz2
import lzma
import os
import re
import shutil
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Protocol

CHUNK = 1 << 18
MEMORY_BYTES = 1 << 28  # an xz file may ask for more than a small computer has
DEPTH = 2  # a zip of gzips, no deeper
PLAIN_UP_TO = 1 << 22  # below this size a high ratio is no danger
MAGIC = {b"\x1f\x8b": "gzip", b"BZh": "bzip2", b"\xfd7zXZ\x00": "xz", b"PK\x03\x04": "zip"}


@dataclass(frozen=True, kw_only=True)
class UnpackLimits:
    """What one compressed file may become: bytes in all, times its own size, files in it."""

    total_bytes: int = 1 << 30
    ratio: int = 200
    files: int = 500


class TornError(Exception):
    """The compressed bytes end too early: more may be on its way."""


class UnfitError(Exception):
    """The file cannot be unpacked; the text ends a sentence that begins with its name."""


class _Inflater(Protocol):
    @property
    def eof(self) -> bool: ...
    @property
    def unused_data(self) -> bytes: ...
    @property
    def needs_input(self) -> bool: ...
    def decompress(self, data: bytes, max_length: int = ..., /) -> bytes: ...


class _Gzip:
    """zlib's reader in the manner of the other two."""

    def __init__(self) -> None:
        self._reader = zlib.decompressobj(31)
        self._held = b""
        self.needs_input = True

    @property
    def eof(self) -> bool:
        return self._reader.eof

    @property
    def unused_data(self) -> bytes:
        return self._reader.unused_data

    def decompress(self, data: bytes, max_length: int = CHUNK, /) -> bytes:
        out = self._reader.decompress(self._held + data, max_length)
        self._held = self._reader.unconsumed_tail
        self.needs_input = not self._held and len(out) < max_length
        return out


class _Tally:
    """Counts what comes out of one file, over everything nested in it."""

    def __init__(self, limits: UnpackLimits, packed_bytes: int) -> None:
        self.limits = limits
        self.packed_bytes = max(packed_bytes, 1)
        self.bytes = 0
        self.files = 0

    def add(self, count: int) -> None:
        self.bytes += count
        if self.bytes > self.limits.total_bytes:
            raise UnfitError(f"would unpack to more than {self.limits.total_bytes >> 20} MB: not unpacked")
        if self.bytes > PLAIN_UP_TO and self.bytes > self.limits.ratio * self.packed_bytes:
            raise UnfitError(f"would unpack to more than {self.limits.ratio} times its size: no forecast does; not unpacked")

    def file(self) -> int:
        self.files += 1
        if self.files > self.limits.files:
            raise UnfitError(f"holds more than {self.limits.files} files: not unpacked")
        return self.files


def kind_of(head: bytes) -> str | None:
    """The first bytes of a file -> "gzip", "bzip2", "xz", "zip", or None when it is none of them.

    >>> kind_of(b"PK\\x03\\x04...."), kind_of(b"GRIB")
    ('zip', None)
    """
    return next((kind for magic, kind in MAGIC.items() if head.startswith(magic)), None)


def unpack(stream: BinaryIO, name: str, folder: Path, limits: UnpackLimits) -> tuple[Path, ...]:
    """A compressed file, open at its start -> the files it holds, in `folder`, in name order.

    The folder appears at once with everything in it, or not at all; one that is there already is taken as it is. Raises TornError
    when the file ends early, UnfitError when it is damaged, locked, or too large unpacked, OSError when the disk will not have it.
    """
    if not folder.is_dir():
        making = folder.parent / f".{folder.name}.tmp"
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(parents=True)
        try:
            _unpack_into(stream, name, making, _Tally(limits, os.fstat(stream.fileno()).st_size), 1)
            sync_folder(making)
            making.rename(folder)
            sync_folder(folder.parent)
        finally:
            shutil.rmtree(making, ignore_errors=True)
    return tuple(sorted(path for path in folder.iterdir() if path.is_file()))


def sync_folder(folder: Path) -> None:
    """Puts the names in a folder safely on disk."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _unpack_into(stream: BinaryIO, name: str, making: Path, tally: _Tally, depth: int) -> None:
    kind = kind_of(stream.read(8))
    stream.seek(0)
    if kind == "zip":
        _unzip(stream, making, tally, depth)
    else:
        make, suffix = _INFLATERS[str(kind)]
        plain = name[: -len(suffix)] if name.lower().endswith(suffix) else name
        _keep(_inflated(stream, make, str(kind)), plain, making, tally, depth)


def _keep(blocks: Iterable[bytes], name: str, making: Path, tally: _Tally, depth: int) -> None:
    number = tally.file()
    path = making / plain_name(name, number)
    if path.exists():
        path = making / f"{number}-{path.name}"
    with path.open("wb") as out:
        for block in blocks:
            tally.add(len(block))
            out.write(block)
        out.flush()
        os.fsync(out.fileno())
    with path.open("rb") as again:
        if kind_of(again.read(8)) is None:
            return
        if depth >= DEPTH:
            raise UnfitError("is packed more than twice over: unpack it by hand")
        again.seek(0)
        packed = making / f".{number}"
        path.rename(packed)
        _unpack_into(again, name, making, tally, depth + 1)
        packed.unlink()


def plain_name(name: str, number: int) -> str:
    """A name from inside an archive -> one that is safe on any disk: no folders, no odd characters, not hidden, not long.

    >>> plain_name("../../a b.grb2", 1), plain_name("...", 2)
    ('a_b.grb2', '2')
    """
    last = re.split(r"[/\\]", name)[-1]
    return re.sub(r"[^A-Za-z0-9._-]", "_", last)[-100:].lstrip(".") or str(number)


def _inflated(stream: BinaryIO, make: Callable[[], _Inflater], kind: str) -> Iterator[bytes]:
    """Blocks of at most CHUNK bytes; several compressed pieces in a row are one file; what follows the last is passed over."""
    data = stream.read(CHUNK)
    while kind_of(data[:8]) == kind:
        inflater = make()
        while not inflater.eof:
            if inflater.needs_input and not data:
                data = stream.read(CHUNK)
                if not data:
                    raise TornError
            try:
                block, data = inflater.decompress(data, CHUNK), b""
            except (zlib.error, lzma.LZMAError, OSError, ValueError, EOFError):
                raise UnfitError("is damaged: it cannot be unpacked; fetch it again") from None
            if block:
                yield block
        data = inflater.unused_data
        if len(data) < 8:
            data += stream.read(CHUNK)


_INFLATERS: dict[str, tuple[Callable[[], _Inflater], str]] = {
    "gzip": (_Gzip, ".gz"),
    "bzip2": (bz2.BZ2Decompressor, ".bz2"),
    "xz": (lambda: lzma.LZMADecompressor(format=lzma.FORMAT_XZ, memlimit=MEMORY_BYTES), ".xz"),
}


def _unzip(stream: BinaryIO, making: Path, tally: _Tally, depth: int) -> None:
    try:
        with zipfile.ZipFile(stream) as archive:
            infos = [info for info in archive.infolist() if not info.is_dir()]
            if len(infos) > tally.limits.files:
                raise UnfitError(f"holds more than {tally.limits.files} files: not unpacked")
            for info in infos:
                if info.flag_bits & 1:
                    raise UnfitError("is locked with a password: unpack it by hand")
                if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                    raise UnfitError("is packed in a way not known here: unpack it by hand")
                with archive.open(info) as member:
                    _keep(iter(lambda member=member: member.read(CHUNK), b""), info.filename, making, tally, depth)  # type: ignore[misc]
    except zipfile.BadZipFile as error:
        if "not a zip file" in str(error):  # its table of contents, which stands at the end, is not there
            raise TornError from None
        raise UnfitError("is damaged: it cannot be unpacked; fetch it again") from None
    except (zlib.error, EOFError, NotImplementedError, ValueError, RuntimeError):  # all of them what zipfile itself raises on damage
        raise UnfitError("is damaged: it cannot be unpacked; fetch it again") from None
