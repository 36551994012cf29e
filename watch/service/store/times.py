"""Instants and words as the store writes them.

An instant is ISO 8601 text in UTC, always of one length, so that the order of the text is the order in time.
"""

from collections.abc import Iterable
from datetime import UTC, datetime


def text_of(instant: datetime) -> str:
    """An aware datetime -> text in UTC, to the microsecond. Raises NaiveTimeError (a ValueError) for one without its offset.

    >>> text_of(datetime.fromisoformat("2026-05-14T09:00-03:00"))
    '2026-05-14T12:00:00.000000+00:00'
    """
    if instant.tzinfo is None or instant.utcoffset() is None:
        from watch.when import utc  # numpy comes with it: too slow to start for a command of one line

        utc(instant)
    return instant.astimezone(UTC).isoformat(timespec="microseconds")


def instant_of(text: str) -> datetime:
    """What text_of gave -> the aware UTC instant.

    >>> instant_of("2026-05-14T12:00:00.000000+00:00").hour
    12
    """
    return datetime.fromisoformat(text).astimezone(UTC)


def legible(words: str) -> str:
    """Words of a person or of a setting, as they can be kept: what no text can hold is written out, a zero byte left out, since zeros in a
    kept text mean that it was torn.

    >>> legible("reef\\0 at \\udce9")
    'reef at \\\\udce9'
    """
    return words.replace("\0", "").encode("utf-8", "backslashreplace").decode()


def text_or_torn(raw: bytes) -> str:
    """The bytes of a kept text -> the text; bytes that are none -> one that counts as torn.

    >>> is_torn([text_or_torn(b"reef")]), is_torn([text_or_torn(b"\\xff\\xfe")])
    (False, True)
    """
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return "\0"


def is_torn(values: Iterable[object]) -> bool:
    """Whether a text among these holds zeros, which no kept text does.

    >>> is_torn([1, "reef"]), is_torn(["re\\0\\0"])
    (False, True)
    """
    return any(isinstance(value, str) and "\0" in value for value in values)
