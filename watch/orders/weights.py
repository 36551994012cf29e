"""What the schedule minds, and how much: one table of weights, in points, each with its reason.

One point is an hour spent one knot over a working limit. The hard limit comes first: its weight is so large that a chance of one
in a hundred of an hour above it outweighs a night of foredeck work, and it is raised further until the ceiling is met. Squalls that no
forecast shows have a price of their own, far smaller: at the hard limit's she would sail under storm jib in every trade wind, for ever.
All of them are judgement; `nightorders why` prints them, and replays show how little the orders hang on any but the first and that of squalls.
"""

from dataclasses import dataclass, fields


@dataclass(frozen=True, kw_only=True)
class Weights:
    """Points for what goes against the sailor. Times are hours, winds knots."""

    hard_hour: float = 2000.0  # an hour of certain gusts above the hard limit
    hard_kn_hour: float = 100.0  # and each knot of it more: worse is worse even when it cannot be avoided
    working_hour: float = 0.5  # an hour above the working limit, however little
    working_kn_hour: float = 1.0  # each knot of it: the unit
    squall_caught: float = 100.0  # a squall that no forecast shows, over the hard limit and not seen coming, times its chance
    squall_seen: float = 3.0  # the same by day and awake, with a quick job from the cockpit to take sail off
    lost_mile: float = 0.12  # a mile made less than with the fastest sail plan of the boat
    under_hour: float = 0.2  # an hour under-canvassed: she rolls and slats
    job_cockpit: float = 0.6  # work itself, by place; so reefs do not go in and out all night
    job_mast: float = 1.0
    job_foredeck: float = 2.0
    dark_cockpit: float = 0.2  # and as much again when it is dark
    dark_mast: float = 1.0
    dark_foredeck: float = 4.0
    job_risk: float = 60.0  # a job begun that the weather then does not let her finish, times its chance
    wake: float = 3.0  # being called in her sleeping hours
    up_hour: float = 1.5  # each hour awake in them

    def table(self) -> list[tuple[str, float]]:
        """(name, points) of every weight, in order."""
        return [(f.name, float(getattr(self, f.name))) for f in fields(self)]


@dataclass(frozen=True, kw_only=True)
class Aims:
    """What the sailor asks for: the chances she plans with."""

    window_chance: float = 0.9  # a deck window is open when at least this share of the weather lets the whole job be done
    hard_ceiling: float = 0.05  # the chance of ever meeting a hard limit that she accepts, by the forecast's own weathers
    planning_share: float = 0.9  # planning wind: the wind that this share of the weather stays below
    rest_minutes: float = 10.0  # between two jobs
    shelter_chance: float = 0.9  # a turn for shelter is good when at least this share of the weather lets all of it go well
    stay_hours: int = 24  # for so long a shelter has to be one, once she is in
    sea_room_nm: float = 20.0  # land to leeward nearer than this is no sea room
    sleep_from: str = "21:00"  # her sleeping hours, ship's time
    sleep_to: str = "07:00"
