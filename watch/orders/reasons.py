"""Why a window closes or a state cannot be carried: a closed list, each with its words."""

from enum import IntEnum


class Reason(IntEnum):
    """What ends a deck window, most certain first."""

    OPEN = 0
    DARK = 1
    MEAN = 2
    GUST = 3
    SEA = 4
    STEEPNESS = 5
    HEADING = 6
    UNKNOWN = 7
    FORECAST_ENDS = 8
    TOO_LATE = 9

    @property
    def words(self) -> str:
        return WORDS[self]


WORDS = {
    Reason.OPEN: "stays open as far as the forecast reaches",
    Reason.DARK: "dark",
    Reason.MEAN: "mean wind",
    Reason.GUST: "gusts",
    Reason.SEA: "sea",
    Reason.STEEPNESS: "steep sea",
    Reason.HEADING: "she cannot lie as the job needs",
    Reason.UNKNOWN: "weather not known",
    Reason.FORECAST_ENDS: "the forecast ends",
    Reason.TOO_LATE: "by then what it is for has come",
}
