"""The result of one passage, and what of it stands in a line of a file."""

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields

from watch.service.replay.tally import Tally

SETTINGS = "settings"


@dataclass(frozen=True, kw_only=True)
class Result:
    """What every policy came to on one passage; name: the passage's own, like its seed or its start."""

    name: str
    tallies: Mapping[str, Tally]


def mark_of(key: Mapping[str, object]) -> str:
    """Settings -> a short mark; other settings have another.

    >>> mark_of({"boat": "a", "seed": 1}) == mark_of({"seed": 1, "boat": "a"}), mark_of({"boat": "b"}) == mark_of({"boat": "a"})
    (True, False)
    """
    return hashlib.sha256(json.dumps(key, sort_keys=True).encode()).hexdigest()[:16]


def as_line(result: Result, mark: str) -> str:
    """A result -> one line of JSON, with the mark of the settings it was made with."""
    tallies = {name: asdict(tally) for name, tally in result.tallies.items()}
    return json.dumps({"passage": result.name, SETTINGS: mark, "policies": tallies}) + "\n"


def from_line(line: str) -> tuple[Result, str]:
    """The way back: result and mark. Raises ValueError when the line is not such a line, whole and with every number."""
    found = json.loads(line)
    if not isinstance(found, dict) or not isinstance(found.get("policies"), dict):
        raise ValueError("not the result of a passage")
    tallies = {str(name): _tally(values) for name, values in found["policies"].items()}
    name, mark = found.get("passage"), found.get(SETTINGS)
    if not isinstance(name, str) or not isinstance(mark, str):
        raise ValueError("the passage or the settings are missing")
    return Result(name=name, tallies=tallies), mark


def _tally(values: object) -> Tally:
    wanted = [f.name for f in fields(Tally)]
    if not isinstance(values, dict) or sorted(values) != sorted(wanted):
        raise ValueError(f"not the numbers {', '.join(wanted)}")
    if not all(isinstance(v, int | float) and not isinstance(v, bool) and not math.isnan(v) for v in values.values()):
        raise ValueError("a number is missing")
    return Tally(**values)
