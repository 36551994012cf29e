"""(I/O) The home of the watch: the one folder in which it keeps its book, and what stands in it."""

import os
from pathlib import Path

from watch.faults import BadInputError

VARIABLE = "NIGHTORDERS_HOME"
USUAL = "~/.local/share/nightorders"
BOOK = "watch.db"


def home_of(option: Path | None) -> Path:
    """--home as given (None: not given) -> the folder, made if it is not there: the option, else NIGHTORDERS_HOME, else
    ~/.local/share/nightorders. Raises BadInputError when it cannot be had."""
    named = str(option) if option is not None else os.environ.get(VARIABLE) or USUAL
    asked_by = "--home" if option is not None else VARIABLE if os.environ.get(VARIABLE) else "the home of the watch"
    try:
        folder = Path(named).expanduser()
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not os.access(folder, os.R_OK | os.W_OK | os.X_OK):
            raise BadInputError(asked_by, [f"{folder} may not be written to by you; name a folder of your own with --home"])
    except RuntimeError:
        raise BadInputError(asked_by, [f"{named}: this computer knows no home folder for you; name a folder with --home"]) from None
    except OSError as error:
        reason = "a file stands there" if isinstance(error, (FileExistsError, NotADirectoryError)) else (error.strerror or str(error)).lower()
        raise BadInputError(asked_by, [f"{named} cannot be used: {reason}; name a folder of your own with --home"]) from None
    return folder


def book_of(home: Path) -> Path:
    """The file of the watch's store.

    >>> book_of(Path("/home/sailor/watch")).name
    'watch.db'
    """
    return home / BOOK
