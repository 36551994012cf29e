"""(I/O) Reads watch.toml: which boat and route, where forecasts come in, who is called. All its faults at once."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError, field_validator

from watch.alerts.config import AlertsConfig, contradictions
from watch.boat.boat_file import read_boat
from watch.boat.rig import UnknownStateError, parse_state
from watch.faults import BadInputError, Fault, Strict, faults_of
from watch.files import named_path, read_toml
from watch.instruments.config import InstrumentsConfig
from watch.instruments.config import contradictions as unheard
from watch.passage.route_file import read_route
from watch.passage.shelters_file import read_shelters
from watch.service.page_config import PageConfig
from watch.service.stand.downloads import DownloadConfig, chosen
from watch.when import ShipTime

FileName = Annotated[str, Field(min_length=1, description="a file, reckoned from the folder of this one", examples=["boat-sloop.toml"])]
FileNames = Annotated[tuple[FileName, ...], Field(strict=False)]


class StandConfig(Strict):
    """The [stand] part: the sailor's files, and what is asked of the watch."""

    boat: FileName
    route: FileName
    shelters: FileNames = ()
    inbox: str = Field(default="inbox", min_length=1, description="a folder, reckoned from the home of the watch", examples=["inbox"])
    rig_state: str = Field(default="", description='what is up at the first start, like "main: reef 1"; "" as usual')
    ship_time: str | None = Field(default=None, description='ship\'s time, like "-03:00"; without it by her longitude')
    hours: float | None = Field(default=None, strict=False, ge=1, le=240, description="hours to look ahead, 1 to 240", examples=[96])
    sea_room_nm: float | None = Field(default=None, strict=False, ge=1, le=60, description="miles of sea to leeward, 1 to 60", examples=[20])
    learn_widths: bool = False
    longest_pass_min: float = Field(default=10, strict=False, ge=1, le=60, description="minutes, 1 to 60", examples=[10])
    write: Annotated[tuple[str, ...], Field(strict=False)] = ("txt", "json", "html")

    @field_validator("ship_time")
    @classmethod
    def _is_ship_time(cls, text: str | None) -> str | None:
        if text is not None:
            ShipTime.parse(text)
        return text

    @field_validator("write")
    @classmethod
    def _are_kinds(cls, kinds: tuple[str, ...]) -> tuple[str, ...]:
        strange = [kind for kind in kinds if kind not in KINDS]
        if strange:
            raise ValueError(f"{', '.join(strange)}: no kind of file written here; take any of {', '.join(KINDS)}")
        return kinds


KINDS = ("txt", "json", "html", "ics", "cap", "gpx", "short")


class WatchConfig(Strict):
    """The whole file."""

    stand: StandConfig
    alerts: AlertsConfig
    instruments: InstrumentsConfig = InstrumentsConfig()
    page: PageConfig = PageConfig()
    download: DownloadConfig = DownloadConfig()


@dataclass(frozen=True, kw_only=True)
class WatchFile:
    """watch.toml as read, and the folder from which the names of files in it are reckoned."""

    path: Path
    config: WatchConfig

    def file(self, name: str) -> Path:
        """A name in the file -> the path."""
        return named_path(self.path.parent, name)

    @property
    def boat(self) -> Path:
        return self.file(self.config.stand.boat)

    @property
    def route(self) -> Path:
        return self.file(self.config.stand.route)

    @property
    def shelters(self) -> tuple[Path, ...]:
        return tuple(self.file(name) for name in self.config.stand.shelters)

    @property
    def ship(self) -> ShipTime | None:
        text = self.config.stand.ship_time
        return None if text is None else ShipTime.parse(text)

    def in_words(self) -> list[str]:
        """What the watch understood of it, one sentence a thing."""
        channels = [f"{channel.name} ({', '.join(channel.priorities)})" for channel in self.config.alerts.channels()]
        return [
            f"{self.path}: boat {self.boat}, route {self.route}, {len(self.shelters)} shelters file(s).",
            *(["What this passage teaches of its forecasts' errors widens what is planned for."] if self.config.stand.learn_widths else []),
            f"Forecasts come in at {self.config.stand.inbox}; after each pass it writes: {', '.join(self.config.stand.write) or 'nothing'}.",
            f"Instruments: {', '.join(link.name for _, link in self.config.instruments.placed()) or 'none'}.",
            f"Called by: {'; '.join(channels)}.",
        ]


def read_watch_file(path: Path) -> WatchFile:
    """watch.toml -> the settings, with every file that they name looked through. Raises BadInputError with all faults found."""
    data: Any = read_toml(path, "settings of the watch")
    try:
        config = WatchConfig.model_validate(data)
    except ValidationError as error:
        raise BadInputError(path, faults_of(error, WatchConfig)) from None
    found = WatchFile(path=path, config=config)
    faults = [Fault(f"alerts{'.' if f.place else ''}{f.place}", f.found, f.expected) for f in contradictions(config.alerts)]
    faults += [Fault(f"instruments{'.' if f.place else ''}{f.place}", f.found, f.expected) for f in unheard(config.instruments)]
    faults += list(_in_the_files(found))
    if faults:
        raise BadInputError(path, faults)
    return found


def _in_the_files(found: WatchFile) -> Iterator[Fault]:
    """What is wrong with the files named: said with the place in this file and with the words of their own readers."""
    boat = None
    try:
        boat = read_boat(found.boat)
    except BadInputError as error:
        yield Fault("stand.boat", f'"{found.config.stand.boat}"', "; ".join(str(error).splitlines()))
    try:
        chosen(found.config.download, found.path.parent)
    except BadInputError as error:
        yield Fault(error.source, None, "; ".join(fault.expected for fault in error.faults))
    for place, read in (("route", lambda: read_route(found.route)), ("shelters", lambda: read_shelters(found.shelters))):
        try:
            read()
        except BadInputError as error:
            yield Fault(f"stand.{place}", None, "; ".join(str(error).splitlines()))
    if boat is not None:
        try:
            parse_state(boat, found.config.stand.rig_state)
        except UnknownStateError as error:
            yield Fault("stand.rig_state", f'"{found.config.stand.rig_state}"', str(error))
