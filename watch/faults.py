"""What is wrong with a file, said so that it can be put right: every fault at once, each with its place and a good value."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

MOST_FAULTS = 200  # told of one file at once
LONGEST, LONGEST_NAME = 2000, 400  # letters of one line; of the name of a file, as far as it is shown
LONGEST_PART = {"place": 120, "found": 120, "expected": 700}  # letters of a fault that are shown


class Strict(BaseModel):
    """Base of everything read from a file: frozen, unknown keys refused, no coercion of text into numbers, no number without end."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


def legible(text: str, most: int = LONGEST) -> str:
    """Words that may hold what a file or a server sent -> the same on one line, with nothing in them that a terminal would obey.

    >>> legible("no field \\x1b[2J\\n here"), len(legible("x" * 9999))
    ('no field \\\\x1b[2J\\\\n here', 2000)
    """
    if len(text) > most:
        text = f"{text[: most - 3]}..."
    return text if text.isprintable() else "".join(letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in text)


@dataclass(frozen=True)
class Fault:
    """One fault of a file: where it stands, what stands there (if anything), and what was expected."""

    place: str
    found: str | None
    expected: str

    def __post_init__(self) -> None:
        for name, most in LONGEST_PART.items():
            text = getattr(self, name)
            if text is not None:
                object.__setattr__(self, name, legible(text, most))

    def __str__(self) -> str:
        found = "" if self.found is None else f" = {self.found}"
        return f"{self.place}{found}: {self.expected}"


class BadInputError(Exception):
    """Input that cannot be used: one sentence a fault, for a person; the command line ends with exit code 2.

    >>> print(BadInputError("boat.toml", [Fault("boat.name", None, 'a name, like "Kittiwake"')]))
    boat.toml boat.name: a name, like "Kittiwake"
    """

    def __init__(self, source: str | Path, faults: Sequence[Fault | str]):
        self.source = legible(str(source), LONGEST_NAME)
        more = [f"and {len(faults) - MOST_FAULTS} more; put these right first"] if len(faults) > MOST_FAULTS else []
        self.faults = tuple(f if isinstance(f, Fault) else Fault("", None, f) for f in (*faults[:MOST_FAULTS], *more))
        super().__init__("\n".join(self._line(f) for f in self.faults))

    def _line(self, fault: Fault) -> str:
        return f"{self.source}: {fault.expected}" if not fault.place else f"{self.source} {fault}"


def faults_of(error: ValidationError, model: type[BaseModel]) -> list[Fault]:
    """A pydantic error on `model` -> one Fault an entry, with the field's own description and example as what was expected."""
    entries = [dict(entry) for entry in error.errors()]
    places = [tuple(entry["loc"]) for entry in error.errors()]
    return [_fault(entry, model) for entry, place in zip(entries, places, strict=True) if not _follows(entry, place, places)]


def _follows(entry: dict[str, Any], place: tuple[str | int, ...], places: list[tuple[str | int, ...]]) -> bool:
    """Whether a list is said to be too short only because what stands in it is faulty and told of by itself."""
    return entry["type"] == "too_short" and any(other[: len(place)] == place and len(other) > len(place) for other in places)


def _fault(entry: dict[str, Any], model: type[BaseModel]) -> Fault:
    place = place_of(entry["loc"])
    kind = entry["type"]
    if kind == "extra_forbidden":
        return Fault(place, None, f"not a key known here; {_where_instead(model, entry['loc'])}")
    expected = _expected(model, entry["loc"]) or str(entry["msg"]).removeprefix("Value error, ")
    if kind == "missing":
        return Fault(place, None, f"missing; {expected}")
    if kind == "value_error":
        own = str(entry["msg"]).removeprefix("Value error, ")
        return Fault(place, None, own)
    return Fault(place, show(entry.get("input")), expected)


def place_of(loc: Sequence[str | int]) -> str:
    """('sail_plan', 2, 'hard_kn') -> 'sail_plan[2].hard_kn'.

    >>> place_of(("sail_plan", 2, "hard_kn"))
    'sail_plan[2].hard_kn'
    """
    text = ""
    for part in loc:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else str(part))
    return text


def show(value: Any) -> str:
    """A value as it stood in the file, short.

    >>> show(True), show(datetime(2026, 5, 18, 4, 0)), show("x")
    ('true', '2026-05-18T04:00:00', '"x"')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else value.isoformat() if isinstance(value, datetime) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _where_instead(model: type[BaseModel], loc: Sequence[str | int]) -> str:
    """What to do about a key that is not known at `loc`: it belongs one level deeper, is spelt otherwise, or nowhere."""
    key, here = str(loc[-1]), _model_at(model, loc[:-1])
    known = {field.alias or name: field for name, field in getattr(here, "model_fields", {}).items()}
    for name, field in known.items():
        if key in getattr(_inner_model(field.annotation), "model_fields", {}):
            return f"it belongs inside `{name}`" + (f", like {name} = {as_toml(field.examples[0])}" if field.examples else "")
    near = difflib.get_close_matches(key, list(known), n=1)
    return f"is `{near[0]}` meant?" if near else "check its spelling or take it out"


def as_toml(value: Any) -> str:
    """An example as it would stand in a file, on one line.

    >>> as_toml([{"mean_kn": 20, "open": True, "from": ["full", "half"]}])
    '[{ mean_kn = 20, open = true, from = ["full", "half"] }]'
    """
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name if name.isidentifier() else show(name)} = {as_toml(inner)}" for name, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(as_toml(inner) for inner in value) + "]"
    return show(value)


def _model_at(model: type[BaseModel], loc: Sequence[str | int]) -> Any:
    """The model of the table at `loc`; None where any name may stand."""
    current: Any = model
    for part in loc:
        if not isinstance(part, int):
            fields = getattr(current, "model_fields", None)
            current = _inner_model(fields[part].annotation) if fields and part in fields else None
    return current


def _expected(model: type[BaseModel], loc: Sequence[str | int]) -> str | None:
    """What the field at `loc` wants: its description and, when it has one, an example."""
    current: Any = model
    found: str | None = None
    for part in loc:
        if isinstance(part, int):
            continue
        fields = getattr(current, "model_fields", None)
        if fields is None:
            break
        if part not in fields:  # a key of a table that takes any name
            continue
        field = fields[part]
        if field.description:
            found = field.description + (f", like {as_toml(field.examples[0])}" if field.examples else "")
        current = _inner_model(field.annotation)
    return found


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for arg in getattr(annotation, "__args__", ()):
        inner = _inner_model(arg)
        if inner is not None:
            return inner
    return None
