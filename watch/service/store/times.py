"""Instants as the store writes them: ISO 8601 text in UTC, all of one length, so that the order of the text is the order in time."""

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
