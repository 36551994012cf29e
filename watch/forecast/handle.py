"""A single GRIB message in ecCodes' hands, and ecCodes kept quiet (I/O)."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO

import eccodes
import numpy as np
from numpy.typing import NDArray

_log: tuple[TextIO, TextIO | None] | None = None  # where ecCodes' complaints go while quiet, and afterwards


@contextmanager
def quiet() -> Iterator[None]:
    """While inside, ecCodes keeps its complaints to itself: what is wrong is said by us, in one sentence."""
    global _log
    if _log is None:
        _log = _open_log()
    silent, voice = _log
    eccodes.codes_context_set_logging(silent)
    try:
        yield
    finally:
        if voice is not None:
            eccodes.codes_context_set_logging(voice)


def _open_log() -> tuple[TextIO, TextIO | None]:
    """Two files for the library's log, kept open because it writes to them whenever it likes; no second where nobody listens."""
    silent = open(os.open(os.devnull, os.O_WRONLY), "w", encoding="ascii", closefd=False)  # noqa: SIM115
    try:
        return silent, open(2, "w", encoding="ascii", closefd=False)
    except OSError:
        return silent, None


class DamagedError(Exception):
    """A message that makes the whole file suspect; the text completes 'message 3 (gust) ...'."""


class Handle:
    """A message in ecCodes' hands; what it cannot give is a DamagedError."""

    def __init__(self, message: bytes) -> None:
        try:
            self._id = eccodes.codes_new_from_message(message)
        except eccodes.CodesInternalError:
            raise DamagedError("cannot be taken apart") from None

    def __enter__(self) -> "Handle":
        return self

    def __exit__(self, *_: object) -> None:
        eccodes.codes_release(self._id)

    def text(self, key: str) -> str:
        return str(self._get(eccodes.codes_get_string, key))

    def number(self, key: str) -> int:
        return int(self._get(eccodes.codes_get_long, key))

    def real(self, key: str) -> float:
        return float(self._get(eccodes.codes_get_double, key))

    def values(self, points: int) -> NDArray[np.float64]:
        """All values of a grid of so many points, missing ones as missingValue."""
        values: NDArray[np.float64] = self._get(eccodes.codes_get_double_array, "values")
        if values.size != points:
            raise DamagedError(f"holds {values.size} values where its grid has {points} points")
        return values

    def reals(self, key: str) -> tuple[float, ...]:
        return tuple(float(value) for value in self._get(eccodes.codes_get_double_array, key))

    def has(self, key: str) -> bool:
        return bool(eccodes.codes_is_defined(self._id, key)) and not eccodes.codes_is_missing(self._id, key)

    def _get(self, getter: Callable[[int, str], Any], key: str) -> Any:
        try:
            return getter(self._id, key)
        except eccodes.CodesInternalError as error:
            raise DamagedError(f"cannot be decoded ({key}: {str(error).lower()})") from None
