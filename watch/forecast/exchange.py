"""One exchange for the next bytes of a file: what the server sends is held against what was asked, byte for byte (I/O)."""

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Iterator
from html import unescape
from typing import Protocol

from watch.faults import legible
from watch.forecast.budget import AgainError, Reason, StopError, megabytes
from watch.forecast.catalogue import shown_url
from watch.forecast.framing import BEGIN, is_page
from watch.forecast.link import Answer, Link, decoded
from watch.forecast.partial import Part, Validators

PAGE_BYTES = 2000
UNPACKED_LIMIT_BYTES = 1 << 30


class StaleError(Exception):
    """What has come is of no use: the file changed on the server, or came damaged, or is no GRIB."""

    def __init__(self, reason: Reason, sentence: str) -> None:
        super().__init__(legible(sentence))
        self.reason = reason


class _Hash(Protocol):
    def update(self, data: bytes, /) -> None: ...
    def digest(self) -> bytes: ...


def get(link: Link, url: str, part: Part, files_left: int) -> None:
    """Asks for the bytes that a part wants next, and adds what comes. files_left: this one and those after it, for a server that gives
    whole files only. Raises AgainError, StopError or StaleError; what came before that is kept."""
    wanted = part.next()
    if wanted is None:
        return
    first, stop = wanted
    whole = part.ranges is None
    headers = {"Accept-Encoding": "identity"}
    if whole and first and not part.validators.strong:
        part.cut_to(0)  # nothing to tell by that it would still be the same file
        first = 0
    if not whole or first:
        headers["Range"] = f"bytes={first}-" + ("" if stop is None else str(stop - 1))
        if part.validators.strong:
            headers["If-Range"] = part.validators.strong
    with link.ask(url, headers) as answer:
        if answer.status == 416:
            raise StaleError(Reason.CHANGED, f"{shown_url(url)} is shorter than its index says")
        if answer.status == 206:
            _ranged(link, answer, part, first, stop, "Range" in headers)
        else:
            _entire(link, answer, part, files_left)


def _ranged(link: Link, answer: Answer, part: Part, first: int, stop: int | None, asked: bool) -> None:
    shown = shown_url(answer.url)
    found = re.fullmatch(r"bytes (\d{1,18})-(\d{1,18})/(\d{1,18}|\*)", answer.headers.get("Content-Range", "").strip())
    if not asked or found is None:
        raise StopError(Reason.ANSWER, f"{shown}: the server does not say which part it sends: not taken")
    begin, end, total = int(found[1]), int(found[2]) + 1, None if found[3] == "*" else int(found[3])
    if begin != first or end <= begin or (stop is not None and end > stop) or (total is not None and end > total):
        raise StopError(Reason.ANSWER, f"{shown}: the server sends another part than was asked for: not taken")
    if answer.encoding != "identity":
        raise StopError(Reason.ANSWER, f"{shown}: the server sends a part in an encoding that was not asked for: not taken")
    if answer.length is not None and answer.length != end - begin:
        raise AgainError(Reason.ANSWER, f"{shown}: the server contradicts itself about the length of a part")
    _same(answer, part, total)
    before = part.length
    _take(part, _limited(_checked(link, answer, part, before), end - begin), first, answer)
    if part.length == before:
        raise AgainError(Reason.LINK, f"{shown}: nothing came")
    if part.ranges is None:
        part.ended = total is None or part.length >= total


def _entire(link: Link, answer: Answer, part: Part, files_left: int) -> None:
    """The whole file came, asked for or not. Where only parts are wanted, all of them are taken from the one stream."""
    if part.ranges is None:
        part.cut_to(0)
    _same(answer, part, answer.length if answer.encoding == "identity" else None)
    if part.ranges is not None:
        _affordable(link, answer, part, files_left)
    before = part.length
    pieces = _checked(link, answer, part, before)
    if answer.encoding != "identity":
        pieces = decoded(pieces, answer, UNPACKED_LIMIT_BYTES)
    _take(part, pieces, 0, answer)
    if part.ranges is None:
        part.ended = True
    elif part.next() is not None:
        raise StaleError(Reason.CHANGED, f"{shown_url(answer.url)} is shorter than its index says")


def _affordable(link: Link, answer: Answer, part: Part, files_left: int) -> None:
    """A server that ignores what part is wanted sends everything before it too: only when the budget bears that for every file left."""
    last = part.ranges[-1].last if part.ranges else None
    size = last + 1 if last is not None else answer.length
    if answer.encoding == "identity" and size is not None and size * files_left > link.room:
        raise StopError(Reason.WHOLE_ONLY, f"{shown_url(answer.url)}: the server gives whole files only, here {megabytes(size)} each; "
                        f"{megabytes(link.room)} is left of the limit: take another server, or a source that cuts out the box")


def _take(part: Part, pieces: Iterable[bytes], at: int, answer: Answer) -> None:
    """pieces: of the server's file, from byte `at` on. Keeps what is wanted; ends as soon as everything is here."""
    for piece in pieces:
        end = at + len(piece)
        while (wanted := part.next()) is not None and wanted[0] < end:
            first, stop = wanted
            chunk = piece[first - at : (min(stop, end) if stop is not None else end) - at]
            if not part.write(chunk):
                _refuse(part, pieces, answer)
        at = end
        if part.next() is None:
            return


def _refuse(part: Part, pieces: Iterable[bytes], answer: Answer) -> None:
    """What came is no GRIB: a page is read a little further for its words, anything else means that index and file do not agree."""
    head = part.head(PAGE_BYTES)
    text = answer.headers.get("Content-Type", "").lower().startswith("text/")
    if not head.startswith(BEGIN[: len(head)]) and (is_page(head) or text):
        for piece in pieces:
            head += piece
            if len(head) >= PAGE_BYTES:
                break
        words = words_of(head)
        raise StaleError(Reason.NOT_GRIB, f"{shown_url(answer.url)} gave words instead of GRIB: {words}")
    if part.ranges is None:
        raise StaleError(Reason.NOT_GRIB, f"{shown_url(answer.url)} is no GRIB")
    raise StaleError(Reason.CHANGED, f"{shown_url(answer.url)} does not agree with its index")


def words_of(page: bytes) -> str:
    """The words of a web page, short, on one line.

    >>> words_of(b"<html><title>Busy</title><body>Try <b>later</b>.</body>")
    '"Busy Try later ."'
    """
    text = re.sub(r"(?is)<(script|style).*?(</\1>|$)|<[^>]*>?", " ", page.decode("utf-8", "replace"))
    plain = "".join(letter if letter.isprintable() else " " for letter in unescape(text))
    words = " ".join(plain.split())
    return f'"{words[:117] + "..." if len(words) > 120 else words}"' if words else "an empty page"


def _same(answer: Answer, part: Part, total: int | None) -> None:
    """The answer must be of the same version as what came before."""
    now = Validators(etag=answer.headers.get("ETag", "").strip(), last_modified=answer.headers.get("Last-Modified", "").strip(),
                     total=total)
    if part.length == 0:
        part.validators = now
    elif part.validators.contradict(now):
        raise StaleError(Reason.CHANGED, f"{shown_url(answer.url)} changed on the server while it was coming")


def _limited(pieces: Iterable[bytes], count: int) -> Iterator[bytes]:
    """At most the first `count` bytes: a server may send more than it said."""
    left = count
    for piece in pieces:
        yield piece[:left]
        left -= len(piece)
        if left <= 0:
            return


def _checked(link: Link, answer: Answer, part: Part, before: int) -> Iterator[bytes]:
    """The body; where the server gave a checksum of it, that must hold before the last piece is given out, or the part is set back."""
    given, got = _checksum(answer), 0

    def hold() -> None:
        if given is not None and given[0].digest() != given[1]:
            part.cut_to(before)
            raise AgainError(Reason.DAMAGED, f"{shown_url(answer.url)} came damaged: its checksum does not hold")

    for piece in link.body(answer):
        got += len(piece)
        if given is not None:
            given[0].update(piece)
        if got == answer.length:
            hold()
        yield piece
    if answer.length is None:
        hold()


def _checksum(answer: Answer) -> tuple[_Hash, bytes] | None:
    """A checksum of this body as sent: Content-Digest or, for a whole file, Repr-Digest (RFC 9530), or Content-MD5 (RFC 1864)."""
    said = answer.headers.get("Content-Digest", "") or (answer.headers.get("Repr-Digest", "") if answer.status == 200 else "")
    makers: dict[str, Callable[[], _Hash]] = {"sha-512": hashlib.sha512, "sha-256": hashlib.sha256}
    for name, make in makers.items():
        found = re.search(rf"(?:^|,\s*){name}=:([A-Za-z0-9+/=]+):", said)
        if found:
            return _with(make(), found[1])
    md5 = answer.headers.get("Content-MD5", "").strip()
    return _with(hashlib.md5(usedforsecurity=False), md5) if md5 else None


def _with(checksum: _Hash, text: str) -> tuple[_Hash, bytes] | None:
    try:
        return checksum, base64.b64decode(text, validate=True)
    except ValueError:
        return None  # no checksum that can be read is no checksum given
