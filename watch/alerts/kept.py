"""The alert book as plain data and back, with a schema version, so that a store can keep it over a loss of power."""

from typing import Any

from pydantic import TypeAdapter, ValidationError

from watch.alerts.book import AlertBook, Call
from watch.faults import BadInputError, Fault, place_of

SCHEMA = 1
_BOOK: TypeAdapter[AlertBook] = TypeAdapter(AlertBook)
_CALL: TypeAdapter[Call] = TypeAdapter(Call)


def to_dict(book: AlertBook) -> dict[str, Any]:
    """A book -> data of text, whole numbers, lists and tables only, ready for JSON.

    >>> to_dict(AlertBook())["schema"]
    1
    """
    return {"schema": SCHEMA, "book": _BOOK.dump_python(book, mode="json")}


def from_dict(data: object) -> AlertBook:
    """What to_dict gave -> the book. Raises BadInputError when it is torn, or of a version not known here.

    >>> from_dict(to_dict(AlertBook())) == AlertBook()
    True
    """
    if not isinstance(data, dict) or "schema" not in data or "book" not in data:
        raise BadInputError("alert book", ["is not a kept alert book; a new one is begun and every alert calls again"])
    if data["schema"] != SCHEMA:
        expected = f"version {SCHEMA}; a new book is begun and every alert calls again"
        raise BadInputError("alert book", [Fault("schema", repr(data["schema"]), expected)])
    try:
        return _BOOK.validate_python(data["book"])
    except ValidationError as error:
        faults = [Fault(place_of(e["loc"]), None, str(e["msg"])) for e in error.errors()]
        raise BadInputError("alert book", faults) from None


def call_to_dict(call: Call) -> dict[str, Any]:
    """A call as plain data for a message, a webhook or the log: priority, state and reason in words.

    The keys are: alert, number, priority, state, reason, sounds, repeat, title, text, news, why, clears, due, at, changed_at,
    revision, escalation, acknowledged.
    """
    plain: dict[str, Any] = _CALL.dump_python(call, mode="json")
    plain |= {"priority": call.priority.words, "highest": call.highest.words, "sounds": call.sounds}
    if call.acknowledged is not None:
        plain["acknowledged"]["priority"] = call.acknowledged.priority.words
    return plain
