"""(I/O) Reads a boat file: all its faults at once, or a boat that holds together."""

import tomllib
from pathlib import Path

from pydantic import ValidationError

from watch.boat.contradictions import contradictions
from watch.boat.model import BoatFile
from watch.faults import BadInputError, faults_of

MOST_BYTES = 1_000_000


def read_toml(path: Path, what: str) -> dict[str, object]:
    """A TOML file -> its tables. Raises BadInputError with one sentence when it cannot be read."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadInputError(path, [f"larger than 1 MB, which no {what} is; is it the right file?"])
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BadInputError(path, [f"no such {what}; give the path of one, or start from an example in config/"]) from None
    except (IsADirectoryError, PermissionError, UnicodeDecodeError, OSError) as error:
        reason = "is not text in UTF-8" if isinstance(error, UnicodeDecodeError) else f"cannot be read: {error.strerror}"
        raise BadInputError(path, [f"this {what} {reason}"]) from None
    except tomllib.TOMLDecodeError as error:
        raise BadInputError(path, [f"is not TOML: {error}"]) from None


def read_boat(path: Path) -> BoatFile:
    """A boat file -> the boat. Raises BadInputError with every fault found, each with its place and a good value."""
    data = read_toml(path, "boat file")
    try:
        boat = BoatFile.model_validate(data)
    except ValidationError as error:
        raise BadInputError(path, faults_of(error, BoatFile)) from None
    found = contradictions(boat)
    if found:
        raise BadInputError(path, found)
    return boat
