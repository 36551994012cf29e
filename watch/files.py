"""(I/O) Reads a file that a person wrote: whole, of a size that can be right, as bytes or TOML, or one sentence on why not."""

import tomllib
from pathlib import Path

from watch.faults import BadInputError

SETTINGS_BYTES = 1_000_000  # what a person writes by hand is far smaller


def read_bytes(path: Path, what: str, most_bytes: int) -> bytes:
    """The bytes of a file. what: what it should be, like "route file", for the sentence. Raises BadInputError."""
    try:
        if path.stat().st_size > most_bytes:
            raise BadInputError(path, [f"is larger than {most_bytes // 1_000_000} MB, which no {what} is; is it the right file?"])
        return path.read_bytes()
    except FileNotFoundError:
        raise BadInputError(path, [f"no such {what}; give the path of one, or start from an example in config/"]) from None
    except OSError as error:
        raise BadInputError(path, [f"this {what} cannot be read: {error.strerror}"]) from None


def named_path(folder: Path, name: str) -> Path:
    """A name in a settings file -> the path, reckoned from the folder of that file; ~ is the home of whoever runs this.

    >>> named_path(Path("/boat"), "boat.toml").as_posix(), named_path(Path("/boat"), "~nobody-has-this/x").as_posix()
    ('/boat/boat.toml', '/boat/~nobody-has-this/x')
    """
    try:
        return folder / Path(name).expanduser()
    except RuntimeError:  # no such user
        return folder / name


def toml_of(path: Path, data: bytes, what: str) -> dict[str, object]:
    """The bytes of a TOML file -> its tables. path and what: for the sentence. Raises BadInputError.

    >>> toml_of(Path("a.toml"), b"knots = 5", "boat file")
    {'knots': 5}
    """
    try:
        content = tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError:
        raise BadInputError(path, [f"this {what} is not text in UTF-8"]) from None
    except (ValueError, RecursionError) as error:
        reason = "tables nested too deep" if isinstance(error, RecursionError) else str(error)
        raise BadInputError(path, [f"is not TOML: {reason}"]) from None
    if b"\\" in data and _holds_zero(content):
        raise BadInputError(path, ["has a zero character (\\u0000) in a text: take it out"])
    return content


def _holds_zero(content: object) -> bool:
    """Whether a zero character stands in any text or key: no name of a file may have one, and no text needs it."""
    waiting = [content]
    while waiting:
        one = waiting.pop()
        if isinstance(one, str) and "\0" in one:
            return True
        waiting += [*one.keys(), *one.values()] if isinstance(one, dict) else one if isinstance(one, list) else []
    return False


def read_toml(path: Path, what: str, most_bytes: int = SETTINGS_BYTES) -> dict[str, object]:
    """A TOML file -> its tables. Raises BadInputError with one sentence when it cannot be read."""
    return toml_of(path, read_bytes(path, what, most_bytes), what)
