"""The [instruments] part of watch.toml: where the boat's instruments are heard, which of them win, and what is expected of them."""

from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, field_validator

from watch.faults import Fault, Strict
from watch.instruments.averages import Preferences
from watch.instruments.readings import Quantity
from watch.when import parse_utc

Host = Annotated[str, Field(min_length=1, description="a name or address on the network", examples=["192.168.1.20"])]
Port = Annotated[int, Field(ge=1, le=65535, description="a port number, 1 to 65535", examples=[10110])]
FileName = Annotated[str, Field(min_length=1, description="the name of a recording", examples=["~/passage.nmea"])]
Speed = Annotated[float, Field(strict=False, gt=0, description="how many times faster than real time a recording is played", examples=[1])]
Sources = Annotated[tuple[str, ...], Field(
    strict=False, min_length=1, description="names of sources, the best first", examples=[["WI/MWV", "II/MWV"]],
)]


class LinkConfig(Strict):
    """What every link has. label: put before its sources' names, for a boat with two alike."""

    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="a name in small letters, digits and _", examples=["masthead"])
    label: str = Field(default="", pattern=r"^[A-Za-z0-9_-]{0,20}$", description="a word of up to 20 letters", examples=["stern"])
    file: FileName | None = None
    speed: Speed = 1.0


class Nmea0183Link(LinkConfig):
    """NMEA 0183 over the network, a serial line, or from a recording. starts: when a recording without dates began."""

    transport: Literal["tcp", "udp", "serial", "file"] = Field(description='"tcp", "udp", "serial" or "file"', examples=["tcp"])
    host: Host | None = None
    port: Port | None = None
    device: str | None = Field(default=None, min_length=1, description="a serial device", examples=["/dev/ttyUSB0"])
    baud: int = Field(default=4800, ge=300, le=921600, description="the speed of the serial line: 4800 or 38400 are usual", examples=[4800])
    starts: str | None = Field(default=None, description="a time with its offset", examples=["2026-05-14T12:00Z"])

    @field_validator("starts")
    @classmethod
    def _is_time(cls, text: str | None) -> str | None:
        if text is not None:
            parse_utc(text)
        return text

    @property
    def started(self) -> datetime | None:
        return None if self.starts is None else parse_utc(self.starts)


class SignalKLink(LinkConfig):
    """Signal K by websocket, or from a recording. own: the own boat's context, where the server sends those of others too."""

    url: str | None = Field(default=None, pattern=r"^wss?://", description="the address of a stream",
                            examples=["ws://192.168.1.10:3000/signalk/v1/stream?subscribe=self"])
    own: str | None = Field(default=None, min_length=1, description="the own boat's context", examples=["vessels.urn:mrn:imo:mmsi:200000000"])


class InstrumentsConfig(Strict):
    """The [instruments] part of watch.toml.

    expects_position, expects_wind: whether it is worth a call when these are not heard; None: yes as soon as there is any link.
    clock: "computer", or "instruments" for a recording or simulator that plays at another pace or time than now. prefer: for a quantity,
    its sources, best first. variation_deg: east positive, for a boat whose instruments give none.
    """

    nmea0183: Annotated[tuple[Nmea0183Link, ...], Field(strict=False)] = ()
    signalk: Annotated[tuple[SignalKLink, ...], Field(strict=False)] = ()
    expects_position: bool | None = Field(default=None, description="true or false")
    expects_wind: bool | None = Field(default=None, description="true or false")
    clock: Literal["computer", "instruments"] = Field(default="computer", description='"computer" or "instruments"')
    prefer: dict[str, Sources] = Field(default={}, description="sources by quantity", examples=[{"pressure_pa": ["II/XDR"]}])
    variation_deg: float | None = Field(default=None, strict=False, ge=-180, le=180, description="degrees, east positive", examples=[-14.5])

    def placed(self) -> list[tuple[str, Nmea0183Link | SignalKLink]]:
        """Every link with its place in the file, like nmea0183[0]."""
        first: list[tuple[str, Nmea0183Link | SignalKLink]] = [(f"nmea0183[{i}]", link) for i, link in enumerate(self.nmea0183)]
        return first + [(f"signalk[{i}]", link) for i, link in enumerate(self.signalk)]

    def expects(self) -> tuple[bool, bool]:
        """Whether position, and wind, are expected to be heard.

        >>> InstrumentsConfig().expects()
        (False, False)
        """
        any_link = bool(self.placed())
        return tuple(any_link if asked is None else asked for asked in (self.expects_position, self.expects_wind))  # type: ignore[return-value]

    def preferences(self) -> Preferences:
        plain = Preferences(sources={Quantity(name): sources for name, sources in self.prefer.items()})
        return plain if self.variation_deg is None else Preferences(sources=plain.sources, variation_deg=self.variation_deg)


def contradictions(config: InstrumentsConfig) -> list[Fault]:
    """What is wrong with settings that are right one by one: half an address, a name used twice, a quantity that is none.

    >>> print(*contradictions(InstrumentsConfig(prefer={"wind": ("WI/MWV",)})))  # doctest: +ELLIPSIS
    prefer.wind: no quantity; one of apparent_wind_ms, ...
    """
    faults, seen = [], set()
    for place, link in config.placed():
        if link.name in seen:
            faults.append(Fault(f"{place}.name", f'"{link.name}"', "a name that no other link has"))
        seen.add(link.name)
        faults += [Fault(f"{place}{where}", None, wanted) for where, wanted in _halves(link)]
        if link.file is not None and config.clock == "computer":
            faults.append(Fault(f"{place}.file", None, 'a recording has times of its own: it wants clock = "instruments" under [instruments]'))
    known = [str(quantity) for quantity in Quantity]
    faults += [Fault(f"prefer.{name}", None, f"no quantity; one of {', '.join(known)}") for name in config.prefer if name not in known]
    for name, expected in (("expects_position", config.expects_position), ("expects_wind", config.expects_wind)):
        if expected and not config.placed():
            faults.append(Fault(name, "true", "false, or a link that could hear it: [[instruments.nmea0183]] or [[instruments.signalk]]"))
    return faults


def _halves(link: Nmea0183Link | SignalKLink) -> Iterator[tuple[str, str]]:
    if isinstance(link, SignalKLink):
        if (link.url is None) == (link.file is None):
            yield "", "wants either url or file"
        return
    wants = {"tcp": ("host", "port"), "udp": ("port",), "serial": ("device",), "file": ("file",)}
    for name in wants[link.transport]:
        if getattr(link, name) is None:
            yield f".{name}", f"missing; {link.transport} wants it"
    allowed = {*wants[link.transport], *({"host"} if link.transport == "udp" else ())}
    for name in ("host", "port", "device", "file"):
        if name not in allowed and getattr(link, name) is not None:
            yield f".{name}", f"is not for {link.transport}: take it out, or change transport"
