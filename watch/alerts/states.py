"""The states of an alert and what moves it between them, as a table. After IMO MSC.302(87), section 7 (source bam-1)."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType


class State(StrEnum):
    """Where an alert stands. `clears` says how each state ends."""

    NORMAL = "normal"
    ACTIVE = "active"  # a caution: shown, silent, wants no acknowledgement
    UNACKNOWLEDGED = "active, unacknowledged"
    SILENCED = "active, silenced"
    ACKNOWLEDGED = "active, acknowledged"
    RECTIFIED = "rectified, unacknowledged"

    @property
    def is_active(self) -> bool:
        """The situation holds."""
        return self not in (State.NORMAL, State.RECTIFIED)

    @property
    def awaits(self) -> bool:
        """Somebody still has to acknowledge it, and it calls until then."""
        return self in (State.UNACKNOWLEDGED, State.SILENCED)

    @property
    def clears(self) -> str:
        return CLEARS[self]


CLEARS: Mapping[State, str] = MappingProxyType({
    State.NORMAL: "nothing to clear",
    State.ACTIVE: "goes when the situation is over",
    State.UNACKNOWLEDGED: "calls until you acknowledge it; goes silent when the situation is over",
    State.SILENCED: "sounds again unless you acknowledge it",
    State.ACKNOWLEDGED: "goes when the situation is over; calls again if it gets worse",
    State.RECTIFIED: "the situation is over; goes when you acknowledge it",
})


class Turn(StrEnum):
    """What can happen to an alert."""

    RAISE = "the situation holds"
    RAISE_CAUTION = "the situation holds, as a caution"
    RETURN = "the situation is back, no worse, soon after it cleared"
    WORSEN = "the situation is worse than was told"
    SOFTEN = "the situation is now a caution"
    CLEAR = "the situation is over"
    ACKNOWLEDGE = "acknowledged"
    SILENCE = "silenced for a short time"
    SILENCE_ENDS = "the short silence is over"


# (state, what happens) -> (next state, whether it calls at once). What is not here cannot happen, or is refused.
TRANSITIONS: Mapping[tuple[State, Turn], tuple[State, bool]] = MappingProxyType({
    (State.NORMAL, Turn.RAISE): (State.UNACKNOWLEDGED, True),
    (State.NORMAL, Turn.RAISE_CAUTION): (State.ACTIVE, False),
    (State.NORMAL, Turn.RETURN): (State.ACKNOWLEDGED, False),
    (State.ACTIVE, Turn.WORSEN): (State.UNACKNOWLEDGED, True),
    (State.ACTIVE, Turn.CLEAR): (State.NORMAL, False),
    (State.ACTIVE, Turn.ACKNOWLEDGE): (State.ACTIVE, False),
    (State.UNACKNOWLEDGED, Turn.WORSEN): (State.UNACKNOWLEDGED, True),
    (State.UNACKNOWLEDGED, Turn.SOFTEN): (State.ACTIVE, False),
    (State.UNACKNOWLEDGED, Turn.CLEAR): (State.RECTIFIED, False),
    (State.UNACKNOWLEDGED, Turn.ACKNOWLEDGE): (State.ACKNOWLEDGED, False),
    (State.UNACKNOWLEDGED, Turn.SILENCE): (State.SILENCED, False),
    (State.SILENCED, Turn.SILENCE): (State.SILENCED, False),
    (State.SILENCED, Turn.SILENCE_ENDS): (State.UNACKNOWLEDGED, True),
    (State.SILENCED, Turn.WORSEN): (State.UNACKNOWLEDGED, True),
    (State.SILENCED, Turn.SOFTEN): (State.ACTIVE, False),
    (State.SILENCED, Turn.CLEAR): (State.RECTIFIED, False),
    (State.SILENCED, Turn.ACKNOWLEDGE): (State.ACKNOWLEDGED, False),
    (State.ACKNOWLEDGED, Turn.WORSEN): (State.UNACKNOWLEDGED, True),
    (State.ACKNOWLEDGED, Turn.CLEAR): (State.NORMAL, False),
    (State.ACKNOWLEDGED, Turn.ACKNOWLEDGE): (State.ACKNOWLEDGED, False),
    (State.RECTIFIED, Turn.RAISE): (State.UNACKNOWLEDGED, True),
    (State.RECTIFIED, Turn.RAISE_CAUTION): (State.ACTIVE, False),
    (State.RECTIFIED, Turn.RETURN): (State.UNACKNOWLEDGED, False),
    (State.RECTIFIED, Turn.ACKNOWLEDGE): (State.NORMAL, False),
})


def after(state: State, turn: Turn) -> tuple[State, bool] | None:
    """A state and what happens -> the next state and whether it calls at once; None when that cannot happen in this state.

    >>> after(State.UNACKNOWLEDGED, Turn.ACKNOWLEDGE), after(State.NORMAL, Turn.SILENCE)
    ((<State.ACKNOWLEDGED: 'active, acknowledged'>, False), None)
    """
    return TRANSITIONS.get((state, turn))
