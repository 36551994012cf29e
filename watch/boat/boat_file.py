"""(I/O) Reads a boat file: all its faults at once, or a boat that holds together."""

from pathlib import Path

from pydantic import ValidationError

from watch.boat.contradictions import contradictions
from watch.boat.model import BoatFile
from watch.faults import BadInputError, faults_of
from watch.files import read_toml


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
