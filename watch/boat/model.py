"""The boat in her own words: elements, jobs, sail plans and their limits, as the boat file gives them."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from watch.faults import Strict

Names = Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
OneOrMore = str | Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
Knots = Annotated[float, Field(gt=0, le=200, description="a number in knots", examples=[42])]
Minutes = Annotated[float, Field(ge=0, le=1440, description="a number of minutes", examples=[25])]

COURSE = "course"  # the element that says what she does with the wind; every boat has it
ON_COURSE = "on course"


SEA_LIMIT = "a number in metres: the wave height it is not done above"


class Place(StrEnum):
    """Where on deck a job is done; the order is from easy to hard."""

    COCKPIT = "cockpit"
    MAST = "mast"
    FOREDECK = "foredeck"


class Heading(StrEnum):
    """How she has to lie to the wind while a job is done."""

    ANY = "any"
    HEAD_TO_WIND = "head to wind"
    OFF_THE_WIND = "off the wind"


class Light(StrEnum):
    """The least light a job is done in: day includes civil twilight; moon is day or a high bright moon."""

    DAY = "day"
    MOON = "moon"
    NONE = "none"


class Course(StrEnum):
    """How well she goes where she is meant to under a sail plan."""

    HOLDS = "holds"
    POINTS_BADLY = "points badly"
    ONLY_RUNS = "only runs"


class RestsOn(StrEnum):
    PRACTISED = "practised"
    ESTIMATED = "estimated"
    MAKER = "maker"


class Grounds(Strict):
    """What a number rests on."""

    rests_on: RestsOn = Field(strict=False, description='"practised", "estimated" or "maker"', examples=["estimated"])
    practised_to_kn: float | None = Field(
        default=None, gt=0, le=200, description="the strongest mean wind in knots it was practised in", examples=[28]
    )

    def words(self) -> str:
        """What it rests on, for people.

        >>> Grounds(rests_on="practised", practised_to_kn=28).words()
        'practised to 28 kn'
        """
        if self.rests_on is RestsOn.PRACTISED and self.practised_to_kn is not None:
            return f"practised to {self.practised_to_kn:g} kn"
        return {"practised": "practised", "estimated": "an estimate", "maker": "the maker's figure"}[self.rests_on]


class Element(Strict):
    """A sail or stay and its positions, from most to least."""

    name: str = Field(min_length=1, description="a name", examples=["main"])
    positions: Names = Field(description="a list of two or more positions", examples=[["full", "reef 1", "down"]])
    stay: str | None = Field(default=None, description="the stay it is bent on to", examples=["forestay"])
    off_stay: Annotated[tuple[str, ...], Field(strict=False)] = Field(
        default=(), description="the positions that leave the stay free", examples=[["below"]]
    )
    needs: dict[str, OneOrMore] = Field(
        default={},
        description="what other elements must be while it is on its stay",
        examples=[{"inner stay": "rigged"}],
    )

    def on_stay(self, position: str) -> bool:
        return self.stay is not None and position not in self.off_stay


class Job(Grounds):
    """One elementary change, done by one person: where, how long, and in what conditions it can be done."""

    name: str = Field(min_length=1, description="what is done, in words", examples=["put in the third reef"])
    element: str = Field(description="the element that changes", examples=["main"])
    from_: OneOrMore = Field(alias="from", description="its position before", examples=["reef 2"])
    to: str = Field(description="its position afterwards", examples=["reef 3"])
    having: dict[str, OneOrMore] = Field(
        default={}, description="what other elements must be meanwhile", examples=[{"genoa": ["rolled", "below"]}]
    )
    place: Place = Field(strict=False, description='"cockpit", "mast" or "foredeck"', examples=["mast"])
    minutes: Minutes = Field(description="minutes of work for one person", examples=[15])
    reserve_minutes: Minutes = Field(description="minutes in reserve for what goes wrong", examples=[10])
    ready_minutes: Minutes = Field(
        default=15.0, description="minutes from the call to the start: waking, dressing, harness", examples=[15]
    )
    heading: Heading = Field(strict=False, description='"any", "head to wind" or "off the wind"', examples=["any"])
    mean_kn: Knots = Field(description="a number in knots: the mean wind it is not done above", examples=[28])
    gust_kn: Knots = Field(description="a number in knots: the gust it is not done above", examples=[35])
    sea_m: float | None = Field(default=None, gt=0, le=30, description=SEA_LIMIT, examples=[3])
    steepness: float | None = Field(
        default=None, gt=0, le=0.2, description="wave height by length above which it is not done", examples=[0.05]
    )
    light: Light = Field(strict=False, description='"day", "moon" or "none"', examples=["day"])

    @property
    def from_positions(self) -> tuple[str, ...]:
        return as_names(self.from_)


class Limit(Strict):
    """A sail plan's limits over a sector of true wind angle, always or for a short while."""

    angle_deg: Annotated[tuple[float, float], Field(strict=False)] = Field(
        default=(0.0, 180.0), description="the sector of true wind angles, from and to, 0 to 180", examples=[[0, 70]]
    )
    working_kn: Knots = Field(description="a number in knots: the mean wind above which she should carry less", examples=[26])
    hard_kn: Knots = Field(description="a number in knots: the gust that must not be met with this up", examples=[34])
    up_to_minutes: float | None = Field(
        default=None, gt=0, le=720, description="for how many minutes at a time this higher limit holds", examples=[20]
    )


class Speed(Strict):
    """A table of boat speed by true wind speed and angle."""

    wind_kn: Annotated[tuple[float, ...], Field(strict=False, min_length=2)] = Field(
        description="rising wind speeds in knots", examples=[[6, 10, 16, 24]]
    )
    angle_deg: Annotated[tuple[float, ...], Field(strict=False, min_length=2)] = Field(
        description="rising true wind angles in degrees", examples=[[50, 90, 130, 180]]
    )
    boat_kn: Annotated[tuple[Annotated[tuple[float, ...], Field(strict=False)], ...], Field(strict=False, min_length=2)] = Field(
        description="one row of boat speeds in knots for each wind speed", examples=[[[4, 5, 5, 4], [6, 6.5, 6, 5.5]]]
    )


class SailPlan(Grounds):
    """Rig states with one name and one set of limits."""

    name: str = Field(min_length=1, description="a name", examples=["three reefs and storm jib"])
    carries: dict[str, OneOrMore] | Literal["anything else"] = Field(
        description='the position of each element, or "anything else"', examples=[{"main": "reef 3", "storm jib": "set"}]
    )
    limits: Annotated[tuple[Limit, ...], Field(strict=False, min_length=1)] = Field(
        description="a list of limits", examples=[[{"angle_deg": [0, 180], "working_kn": 26, "hard_kn": 34}]]
    )
    under_kn: float = Field(
        default=0.0, ge=0, le=60, description="a number in knots: the mean wind below which she is under-canvassed", examples=[12]
    )
    course: Course = Field(strict=False, description='"holds", "points badly" or "only runs"', examples=["holds"])
    closest_deg: float | None = Field(
        default=None, ge=25, le=180, description="the closest true wind angle she holds with it", examples=[60]
    )
    speed_factor: float | None = Field(
        default=None, ge=0, le=2, description="her speed as a share of the speed table's", examples=[0.8]
    )
    speed: Speed | None = Field(default=None, description="a speed table of its own")


class Mode(Grounds):
    """A way of lying to the wind other than holding her course. Only what is listed is ever ordered."""

    name: Literal["run off", "heave to", "lie to a drogue", "motor"] = Field(
        description='"run off", "heave to", "lie to a drogue" or "motor"', examples=["heave to"]
    )
    wind_angle_deg: float = Field(ge=0, le=180, description="the true wind angle she lies at", examples=[50])
    drift_kn: float = Field(ge=0, le=20, description="how fast she goes over the ground in knots", examples=[1.5])
    drift_from_wind_deg: float | None = Field(
        default=None, ge=0, le=180, description="the angle between where she drifts and where the wind comes from", examples=[120]
    )
    having: dict[str, OneOrMore] = Field(default={}, description="what the elements must be", examples=[{"main": "reef 3"}])
    place: Place = Field(strict=False, description='"cockpit", "mast" or "foredeck"', examples=["cockpit"])
    minutes: Minutes = Field(description="minutes to get into it", examples=[10])
    reserve_minutes: Minutes = Field(description="minutes in reserve", examples=[10])
    mean_kn: Knots = Field(description="a number in knots: the mean wind she cannot be brought into it above", examples=[45])
    gust_kn: Knots = Field(description="a number in knots: the gust she cannot be brought into it above", examples=[55])
    sea_m: float | None = Field(default=None, gt=0, le=30, description=SEA_LIMIT, examples=[5])
    light: Light = Field(strict=False, default=Light.NONE, description='"day", "moon" or "none"', examples=["none"])


class Particulars(Strict):
    """The boat as a whole."""

    name: str = Field(min_length=1, description="a name", examples=["Kittiwake"])
    about: str = Field(default="", description="a line about her", examples=["an invented sloop of 10.4 m"])
    limits_are: Literal["true wind", "apparent wind"] = Field(
        description='"true wind" or "apparent wind"', examples=["true wind"]
    )
    limits_at: Literal["anemometer", "10 m"] = Field(
        description='"anemometer" when the limits are as her own anemometer reads, or "10 m"', examples=["anemometer"]
    )
    anemometer_height_m: float = Field(gt=0, le=100, description="metres above the water", examples=[15.5])
    closest_deg: float = Field(ge=25, le=90, description="the closest true wind angle she sails", examples=[50])
    waterline_m: float | None = Field(default=None, gt=2, le=100, description="length of the waterline in metres", examples=[8.9])
    usual_state: dict[str, str] = Field(
        description="the position of every element when nothing is known", examples=[{"main": "full", "genoa": "full"}]
    )


class BoatFile(Strict):
    """Everything a boat file holds, each part valid by itself; `watch.boat.contradictions` looks at the parts together."""

    boat: Particulars = Field(description="a [boat] table")
    speed: Speed = Field(description="a [speed] table")
    element: Annotated[tuple[Element, ...], Field(strict=False, min_length=1)] = Field(description="one [[element]] or more")
    job: Annotated[tuple[Job, ...], Field(strict=False, min_length=1)] = Field(description="one [[job]] or more")
    sail_plan: Annotated[tuple[SailPlan, ...], Field(strict=False, min_length=1)] = Field(description="one [[sail_plan]] or more")
    mode: Annotated[tuple[Mode, ...], Field(strict=False)] = Field(default=(), description="[[mode]] entries")


def as_names(one_or_more: str | tuple[str, ...]) -> tuple[str, ...]:
    """One position or several -> several.

    >>> as_names("full"), as_names(("full", "half"))
    (('full',), ('full', 'half'))
    """
    return (one_or_more,) if isinstance(one_or_more, str) else tuple(one_or_more)


def meets(positions: Mapping[str, str], wanted: Mapping[str, str | tuple[str, ...]]) -> bool:
    """Whether every wanted element is in one of its wanted positions.

    >>> meets({"main": "reef 3", "genoa": "below"}, {"main": ("reef 2", "reef 3")})
    True
    """
    return all(positions.get(element) in as_names(choice) for element, choice in wanted.items())
