"""The sailor's settings for calls: how long between them, and which channel gets what."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Annotated, ClassVar, Literal

from pydantic import Field, field_validator

from watch.alerts.book import Timing
from watch.alerts.situation import Priority
from watch.faults import Fault, Strict
from watch.when import ShipTime

PriorityWords = Literal["caution", "warning", "alarm", "emergency alarm"]
EVERY: tuple[PriorityWords, ...] = ("caution", "warning", "alarm", "emergency alarm")
HEARD: tuple[PriorityWords, ...] = ("warning", "alarm", "emergency alarm")
GRAVE: tuple[PriorityWords, ...] = ("alarm", "emergency alarm")

Words = Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
Priorities = Annotated[tuple[PriorityWords, ...], Field(
    strict=False, min_length=1, description="any of caution, warning, alarm, emergency alarm", examples=[["alarm"]],
)]
RepeatsApart = Annotated[float, Field(
    strict=False, ge=0, le=1440, description="least minutes between repeats of one alert, 0 for every repeat", examples=[30],
)]
Host = Annotated[str, Field(min_length=1, description="a name or address on the network", examples=["192.168.1.10"])]
Port = Annotated[int, Field(ge=1, le=65535, description="a port number, 1 to 65535", examples=[10110])]
SecretName = Annotated[str, Field(
    pattern=r"^[a-z][a-z0-9_]*$", description="the name of a secret, never the secret itself", examples=["mail_password"],
)]


class Quiet(Strict):
    """Hours of ship's time in which a channel keeps warnings and cautions to itself; alarms always pass."""

    start: str = Field(alias="from", description="ship's time as hours and minutes", examples=["22:00"])
    end: str = Field(alias="to", description="ship's time as hours and minutes", examples=["06:00"])

    @field_validator("start", "end")
    @classmethod
    def _is_clock(cls, text: str) -> str:
        try:
            time.fromisoformat(text)
        except ValueError:
            raise ValueError(f'"{text}" is no time of day: write it like 22:00') from None
        return text

    def holds(self, at: datetime, ship: ShipTime) -> bool:
        """True from start to end, end not included; over midnight when end is before start, all day when they are equal."""
        clock, start, end = ship.local(at).time(), time.fromisoformat(self.start), time.fromisoformat(self.end)
        return start <= clock < end if start < end else clock >= start or clock < end


class ChannelConfig(Strict):
    """What every channel has.

    momentary: a call is worth nothing there once it is over. shows_state: it keeps a display true, so every change goes there.
    tells_end: it is also told when an alert is acknowledged or over.
    """

    momentary: ClassVar[bool] = False
    shows_state: ClassVar[bool] = False
    tells_end: ClassVar[bool] = False

    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="a name in small letters, digits and _", examples=["bell"])
    priorities: Priorities = HEARD
    timeout_s: float = Field(default=15, strict=False, gt=0, le=120, description="seconds, up to 120", examples=[15])
    repeats_apart_min: RepeatsApart = 0
    quiet: Quiet | None = Field(default=None, description='hours without warnings, like { from = "22:00", to = "06:00" }')
    may_be_offline: bool = Field(default=False, description="true when it is no fault that it cannot be reached for hours")

    @property
    def levels(self) -> frozenset[Priority]:
        return frozenset(Priority.of(words) for words in self.priorities)

    def secret_fields(self) -> Iterator[tuple[str, str]]:
        """(field, name of the secret) of every secret this channel uses."""
        for field in type(self).model_fields:
            value = getattr(self, field)
            if field.endswith("_secret") and value is not None:
                yield field, value


class TerminalConfig(ChannelConfig):
    """A line and a bell on the terminal, or on a device file."""

    momentary: ClassVar[bool] = True
    tells_end: ClassVar[bool] = True
    priorities: Priorities = EVERY
    device: str | None = Field(default=None, description="a device file instead of the terminal", examples=["/dev/tty1"])


class SoundConfig(ChannelConfig):
    """A tone through a player of the system."""

    momentary: ClassVar[bool] = True
    player: Words | None = Field(
        default=None, description="a command that plays the file put behind it", examples=[["aplay", "-q"]]
    )


class CommandConfig(ChannelConfig):
    """A command of the sailor's own: no shell; the text on its standard input, the rest in NIGHTORDERS_... variables."""

    momentary: ClassVar[bool] = True
    run: Words = Field(description="a command and its arguments", examples=[["/home/sailor/bin/flash-lamp", "red"]])


class WebhookConfig(ChannelConfig):
    """A signed HTTP POST. The address may itself be a secret."""

    tells_end: ClassVar[bool] = True
    url: str | None = Field(default=None, pattern=r"^https?://", description="a web address", examples=["http://192.168.1.20/calls"])
    url_secret: SecretName | None = None
    signing_secret: SecretName | None = None
    may_be_offline: bool = True


class MailConfig(ChannelConfig):
    """E-mail through a server of the sailor's own choice, always encrypted unless security is "none"."""

    priorities: Priorities = GRAVE
    host: Host
    port: Port = 587
    security: Literal["starttls", "ssl", "none"] = Field(default="starttls", description='"starttls", "ssl" or "none"')
    ca_file: str | None = Field(default=None, description="a file of certificates to trust", examples=["/etc/ssl/own-ca.pem"])
    user: str | None = Field(default=None, description="the name to log in with", examples=["kittiwake"])
    password_secret: SecretName | None = None
    sender: str = Field(alias="from", min_length=3, description="a mail address", examples=["kittiwake@example.org"])
    to: Words = Field(description="one or more mail addresses", examples=[["ashore@example.org"]])
    repeats_apart_min: RepeatsApart = 30
    may_be_offline: bool = True


class PushConfig(ChannelConfig):
    """Push services through the apprise library: the secret holds one address a line, as that library writes them."""

    priorities: Priorities = GRAVE
    addresses_secret: SecretName
    repeats_apart_min: RepeatsApart = 10
    may_be_offline: bool = True


class MqttConfig(ChannelConfig):
    """Messages to an MQTT broker, one retained topic an alert."""

    shows_state: ClassVar[bool] = True
    priorities: Priorities = EVERY
    host: Host
    port: Port = 1883
    topic: str = Field(default="nightorders", pattern=r"^[^#+\s]+$", description="a topic without wildcards", examples=["boat"])
    tls: bool = Field(default=False, description="true for an encrypted connection")
    user: str | None = Field(default=None, description="the name to log in with", examples=["kittiwake"])
    password_secret: SecretName | None = None


class Nmea0183Config(ChannelConfig):
    """Alert sentences over the network, and the acknowledgements that come back."""

    shows_state: ClassVar[bool] = True
    priorities: Priorities = EVERY
    transport: Literal["udp", "tcp"] = Field(default="udp", description='"udp" or "tcp"')
    host: Host
    port: Port
    listen_port: Port | None = Field(default=None, description="the port on which commands come in by udp", examples=[10111])
    talker: str = Field(default="II", pattern=r"^[A-Z][A-Z0-9]$", description="two letters", examples=["II"])
    maker: str = Field(default="", pattern=r"^([A-Z]{3})?$", description="three letters, or nothing", examples=[""])
    identifier: int = Field(default=10001, ge=1, le=9_999_999, description="the number all our alerts go under", examples=[10001])
    heartbeat_s: float = Field(default=30, strict=False, gt=0, le=60, description="seconds between heartbeats", examples=[30])


class SignalKConfig(ChannelConfig):
    """Notifications on a Signal K server, and the acknowledgements that come back (websocket only)."""

    shows_state: ClassVar[bool] = True
    priorities: Priorities = EVERY
    url: str = Field(pattern=r"^https?://", description="the server's address", examples=["http://192.168.1.10:3000"])
    transport: Literal["websocket", "put"] = Field(default="websocket", description='"websocket" or "put"')
    token_secret: SecretName | None = None


class AlertsConfig(Strict):
    """The [alerts] part of watch.toml."""

    warning_repeats_min: float = Field(default=5, strict=False, gt=0, le=5, description="minutes, up to 5", examples=[5])
    warning_escalates_min: float = Field(default=10, strict=False, gt=0, le=60, description="minutes, up to 60", examples=[10])
    alarm_repeats_s: float = Field(default=30, strict=False, gt=0, le=120, description="seconds, up to 120", examples=[30])
    emergency_repeats_s: float = Field(default=15, strict=False, gt=0, le=60, description="seconds, up to 60", examples=[15])
    flicker_min: float = Field(default=30, strict=False, gt=0, le=180, description="minutes, up to 180", examples=[30])
    hold_down_min: float = Field(default=10, strict=False, gt=0, le=60, description="minutes, up to 60", examples=[10])
    due_earlier_min: float = Field(default=30, strict=False, gt=0, le=180, description="minutes, up to 180", examples=[30])
    secrets_file: str | None = Field(default=None, description="a file only you may read", examples=["~/secrets.toml"])
    terminal: Annotated[tuple[TerminalConfig, ...], Field(strict=False)] = ()
    sound: Annotated[tuple[SoundConfig, ...], Field(strict=False)] = ()
    command: Annotated[tuple[CommandConfig, ...], Field(strict=False)] = ()
    webhook: Annotated[tuple[WebhookConfig, ...], Field(strict=False)] = ()
    mail: Annotated[tuple[MailConfig, ...], Field(strict=False)] = ()
    push: Annotated[tuple[PushConfig, ...], Field(strict=False)] = ()
    mqtt: Annotated[tuple[MqttConfig, ...], Field(strict=False)] = ()
    nmea0183: Annotated[tuple[Nmea0183Config, ...], Field(strict=False)] = ()
    signalk: Annotated[tuple[SignalKConfig, ...], Field(strict=False)] = ()

    def placed(self) -> list[tuple[str, ChannelConfig]]:
        """Every channel with its place in the file, like mail[0]."""
        kinds = [name for name, field in type(self).model_fields.items() if field.default == ()]
        return [(f"{kind}[{i}]", channel) for kind in kinds for i, channel in enumerate(getattr(self, kind))]

    def channels(self) -> list[ChannelConfig]:
        return [channel for _, channel in self.placed()]

    def timing(self) -> Timing:
        """The times between calls, for step()."""
        return Timing(
            emergency_repeats=timedelta(seconds=self.emergency_repeats_s), alarm_repeats=timedelta(seconds=self.alarm_repeats_s),
            warning_repeats=timedelta(minutes=self.warning_repeats_min), flicker=timedelta(minutes=self.flicker_min),
            warning_escalates=timedelta(minutes=self.warning_escalates_min), hold_down=timedelta(minutes=self.hold_down_min),
            due_earlier=timedelta(minutes=self.due_earlier_min),
        )

    def secret_names(self) -> list[str]:
        return sorted({name for channel in self.channels() for _, name in channel.secret_fields()})


def contradictions(config: AlertsConfig) -> list[Fault]:
    """What is wrong with settings that are right one by one: a call that would reach nobody, a name used twice, half a login."""
    faults, seen = [], set()
    for place, channel in config.placed():
        if channel.name in seen:
            faults.append(Fault(f"{place}.name", f'"{channel.name}"', "a name that no other channel has"))
        seen.add(channel.name)
        faults += [Fault(f"{place}{where}", None, wanted) for where, wanted in _halves(channel)]
    for level in (Priority.WARNING, Priority.ALARM, Priority.EMERGENCY_ALARM):
        if not any(level in channel.levels for channel in config.channels()):
            faults.append(Fault("", None, f"no channel gets the priority {level.words}: give it to one, or nobody is called"))
    warned = [channel for channel in config.channels() if Priority.WARNING in channel.levels]
    if warned and all(channel.quiet for channel in warned):
        faults.append(Fault("", None, "every channel that gets warnings has quiet hours: take them from one"))
    return faults


def _halves(channel: ChannelConfig) -> Iterator[tuple[str, str]]:
    if isinstance(channel, WebhookConfig) and (channel.url is None) == (channel.url_secret is None):
        yield "", "wants either url or url_secret"
    if isinstance(channel, (MailConfig, MqttConfig)) and (channel.user is None) != (channel.password_secret is None):
        yield "", "wants both user and password_secret, or neither"
    if isinstance(channel, MailConfig) and channel.security == "none" and channel.password_secret is not None:
        yield ".security", 'would send the password for all to read: "starttls" or "ssl"'
    if isinstance(channel, Nmea0183Config) and channel.transport == "tcp" and channel.listen_port is not None:
        yield ".listen_port", "is for udp; by tcp the commands come back on the same connection"
