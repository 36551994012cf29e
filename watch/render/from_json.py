"""The orders back from their JSON: the inverse of as_json, strict about the form, so that nothing is read as what it was not."""

import json
import math
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from datetime import datetime
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from watch.faults import BadInputError, Fault, place_of, show
from watch.orders.document import Orders
from watch.render.as_json import SCHEMA, plain
from watch.when import parse_utc

Loc = tuple[str | int, ...]
Reader = Callable[[Any, Loc], Any]


class _WrongError(ValueError):
    """A value that is not what its place in the document holds."""

    def __init__(self, loc: Loc, found: Any, expected: str):
        self.fault = Fault(place_of(loc), show(found), expected)
        super().__init__(str(self.fault))


def from_json(text: str) -> Orders:
    """What as_json gave -> the orders; written again they give the same text. A number that was not known (null) is NaN again where the
    document has a number, None where it may have none. Raises BadInputError for anything else, another version among it.

    >>> from_json("{}")
    Traceback (most recent call last):
    ...
    watch.faults.BadInputError: the orders schema = None: "nightorders-orders-1": these are of another version, or no orders
    """
    try:
        document = json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise BadInputError("the orders", ["are torn, or no orders: this is no JSON"]) from None
    found = document.pop("schema", None) if isinstance(document, dict) else None
    if found != SCHEMA:
        expected = f'"{SCHEMA}": these are of another version, or no orders'
        raise BadInputError("the orders", [Fault("schema", show(found), expected)])
    try:
        orders: Orders = _reader(Orders)(document, ())
    except _WrongError as wrong:
        raise BadInputError("the orders", [wrong.fault]) from None
    return orders


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON")


@cache
def _reader(kind: Any) -> Reader:
    """What reads a value of one type of the document."""
    if is_dataclass(kind):
        return _dataclass_reader(kind)
    if get_origin(kind) in (Union, UnionType):
        return _optional_reader(kind)
    if get_origin(kind) is tuple:
        return _tuple_reader(kind)
    return _PLAIN[kind]


def _dataclass_reader(kind: Any) -> Reader:
    hints = get_type_hints(kind)
    readers = {f.name: _reader(hints[f.name]) for f in fields(kind)}

    def read(value: Any, loc: Loc) -> Any:
        if not isinstance(value, dict):
            raise _WrongError(loc, value, f"a table of {', '.join(readers)}")
        odd = [*(name for name in readers if name not in value), *(name for name in value if name not in readers)]
        if odd:
            raise _WrongError((*loc, odd[0]), value.get(odd[0]), "missing, or not known here: these orders are of another version")
        return kind(**{name: reader(value[name], (*loc, name)) for name, reader in readers.items()})

    return read


def _optional_reader(kind: Any) -> Reader:
    inner = [argument for argument in get_args(kind) if argument is not NoneType]
    if len(inner) != 1 or len(get_args(kind)) != 2:
        raise TypeError(f"the document has a field of type {kind}, which from_json does not know")
    reader = _reader(inner[0])
    return lambda value, loc: None if value is None else reader(value, loc)


def _tuple_reader(kind: Any) -> Reader:
    arguments = get_args(kind)
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        one = _reader(arguments[0])
        return lambda value, loc: tuple(one(item, (*loc, i)) for i, item in enumerate(_items(value, loc)))
    readers = [_reader(argument) for argument in arguments]

    def read(value: Any, loc: Loc) -> Any:
        if len(_items(value, loc)) != len(readers):
            raise _WrongError(loc, value, f"a list of {len(readers)}")
        return tuple(reader(item, (*loc, i)) for i, (reader, item) in enumerate(zip(readers, value, strict=True)))

    return read


def _items(value: Any, loc: Loc) -> list[Any]:
    if not isinstance(value, list):
        raise _WrongError(loc, value, "a list")
    return value


def _time(value: Any, loc: Loc) -> datetime:
    if isinstance(value, str):
        with suppress(ValueError):
            instant = parse_utc(value)
            if plain(instant) == value:
                return instant
    raise _WrongError(loc, value, "a time, like 2026-05-14T12:00:00Z")


def _float(value: Any, loc: Loc) -> Any:
    """A number as it was written, whole or not: 25 stays 25."""
    if value is None:
        return math.nan
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not -sys.float_info.max <= value <= sys.float_info.max:
        raise _WrongError(loc, value, "a number, or null when it is not known")
    return value


def _exactly(kind: type, words: str) -> Reader:
    def read(value: Any, loc: Loc) -> Any:
        if type(value) is not kind:
            raise _WrongError(loc, value, words)
        return value

    return read


_PLAIN: dict[Any, Reader] = {
    datetime: _time, float: _float, str: _exactly(str, "text"), int: _exactly(int, "a whole number"),
    bool: _exactly(bool, "true or false"),
}  # fmt: skip
