"""Why a turn for shelter, or another choice, is not or no longer good: a closed list, each with its words."""

from enum import IntEnum


class TurnReason(IntEnum):
    """What most of the lost weathers have against a turn, in the order in which she would meet it."""

    OPEN = 0
    NO_WAY = 1
    TOO_FAR = 2
    WIND_AHEAD = 3
    OVERTAKEN = 4
    DARK = 5
    ENTRANCE_WIND = 6
    ENTRANCE_SEA = 7
    EXPOSED = 8
    SWELL = 9
    HOLDING = 10
    FORECAST_ENDS = 11
    UNKNOWN = 12
    NO_SEA_ROOM = 13

    @property
    def words(self) -> str:
        return WORDS[self]


WORDS = {
    TurnReason.OPEN: "stays open as far as the forecast reaches",
    TurnReason.NO_WAY: "no way over water was found",
    TurnReason.TOO_FAR: "too far to be reached before the forecast ends",
    TurnReason.WIND_AHEAD: "the wind is ahead on the way: not there before the forecast ends",
    TurnReason.OVERTAKEN: "overtaken on the way by gusts over a hard limit",
    TurnReason.DARK: "she would be there in the dark",
    TurnReason.ENTRANCE_WIND: "too much wind for the entrance",
    TurnReason.ENTRANCE_SEA: "too much sea for the entrance",
    TurnReason.EXPOSED: "the wind then blows into it",
    TurnReason.SWELL: "the swell then runs into it",
    TurnReason.HOLDING: "gusts over what it is trusted to hold",
    TurnReason.FORECAST_ENDS: "the forecast ends before she has lain there for the hours asked",
    TurnReason.UNKNOWN: "the weather on the way or there is not known",
    TurnReason.NO_SEA_ROOM: "land to leeward",
}
