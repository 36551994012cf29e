"""(I/O) Keeps the result of each passage as one line of a file, so that a long replay that was stopped goes on where it was."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from watch.faults import BadInputError, Fault
from watch.service.replay.results import Result, as_line, from_line, mark_of


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A file of results made with the same settings."""

    path: Path
    mark: str

    def append(self, result: Result) -> None:
        """Adds one result, in one write that is on the disk when it returns. Raises BadInputError when it cannot be written."""
        try:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(as_line(result, self.mark))
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise BadInputError(self.path, [f"cannot be written ({error.strerror}); give another file with --keep"]) from None


def open_kept(path: Path, key: Mapping[str, object]) -> tuple[Kept, list[Result]]:
    """A file that may not be there yet, and the settings -> the file to go on with, and the results in it.

    A last line without its end is what a stop in the middle of a write leaves: it is dropped, and its passage played again. Raises
    BadInputError for any other line that is no result, or is one of other settings.
    """
    mark = mark_of(key)
    kept = Kept(path=path, mark=mark)
    try:
        raw = path.read_bytes() if path.exists() else b""
        whole = raw[: raw.rfind(b"\n") + 1]
        text = whole.decode("utf-8")
        results = [_result(path, number, line, mark) for number, line in enumerate(text.splitlines(), 1)]
        if len(whole) < len(raw):
            os.truncate(path, len(whole))
    except OSError as error:
        raise BadInputError(path, [f"cannot be read or written ({error.strerror}); give another file with --keep"]) from None
    except UnicodeDecodeError:
        raise BadInputError(path, ["not a file of kept results; give another file with --keep"]) from None
    return kept, list({result.name: result for result in results}.values())


def _result(path: Path, number: int, line: str, mark: str) -> Result:
    try:
        result, made_with = from_line(line)
    except (ValueError, TypeError):
        raise BadInputError(path, [Fault(f"line {number}", None, "not a kept result; take the line out, or give another file with --keep")]) from None
    if made_with != mark:
        said = "a result of another boat, other weather or other settings; give another file with --keep"
        raise BadInputError(path, [Fault(f"line {number}", None, said)])
    return result
