"""(I/O) From the settings to the channels."""

from collections.abc import Callable
from pathlib import Path

from watch.alerts.channels.channel import Channel
from watch.alerts.channels.command import CommandChannel
from watch.alerts.channels.mail import MailChannel
from watch.alerts.channels.mqtt import MqttChannel
from watch.alerts.channels.nmea0183 import Nmea0183Channel
from watch.alerts.channels.push import PushChannel
from watch.alerts.channels.signalk import SignalKPut, SignalKStream
from watch.alerts.channels.sound import SoundChannel
from watch.alerts.channels.terminal import TerminalChannel
from watch.alerts.channels.webhook import WebhookChannel
from watch.alerts.config import (
    AlertsConfig,
    ChannelConfig,
    CommandConfig,
    MailConfig,
    MqttConfig,
    Nmea0183Config,
    PushConfig,
    SignalKConfig,
    SoundConfig,
    TerminalConfig,
    WebhookConfig,
)
from watch.alerts.secrets import Secret, Secrets
from watch.faults import BadInputError, Fault
from watch.files import named_path
from watch.when import ShipTime


def build_channels(config: AlertsConfig, secrets: Secrets, ship: ShipTime) -> list[tuple[ChannelConfig, Channel]]:
    """Settings, their secrets, ship's time -> every channel with its settings. Raises BadInputError with every fault at once."""
    lines: list[tuple[ChannelConfig, Channel]] = []
    faults: list[Fault] = []
    for channel in config.channels():
        try:
            lines.append((channel, _build(channel, secrets, ship)))
        except BadInputError as error:
            faults += error.faults
    if faults:
        raise BadInputError("alerts", faults)
    return lines


def _build(config: ChannelConfig, secrets: Secrets, ship: ShipTime) -> Channel:
    for kind, maker in MAKERS.items():
        if isinstance(config, kind):
            return maker(config, secrets, ship)
    raise AssertionError(f"no channel for {type(config).__name__}")


def _named(secrets: Secrets, name: str | None) -> Secret | None:
    return None if name is None else secrets[name]


def _mail(c: MailConfig, secrets: Secrets, ship: ShipTime) -> Channel:
    ca_file = None if c.ca_file is None else named_path(Path(), c.ca_file)
    return MailChannel(
        c.name, ship, host=c.host, port=c.port, security=c.security, sender=c.sender, to=c.to, user=c.user,
        password=_named(secrets, c.password_secret), ca_file=ca_file,
    )


def _nmea0183(c: Nmea0183Config, secrets: Secrets, ship: ShipTime) -> Channel:
    return Nmea0183Channel(
        c.name, transport=c.transport, host=c.host, port=c.port, listen_port=c.listen_port, talker=c.talker, maker=c.maker,
        identifier=c.identifier, heartbeat_s=c.heartbeat_s,
    )


def _mqtt(c: MqttConfig, secrets: Secrets, ship: ShipTime) -> Channel:
    return MqttChannel(
        c.name, host=c.host, port=c.port, topic=c.topic, tls=c.tls, user=c.user, password=_named(secrets, c.password_secret)
    )


def _webhook(c: WebhookConfig, secrets: Secrets, ship: ShipTime) -> Channel:
    url = _named(secrets, c.url_secret) or Secret(c.url or "")
    return WebhookChannel(c.name, url=url, key=_named(secrets, c.signing_secret))


def _signalk(c: SignalKConfig, secrets: Secrets, ship: ShipTime) -> Channel:
    kind = SignalKStream if c.transport == "websocket" else SignalKPut
    return kind(c.name, url=c.url, token=_named(secrets, c.token_secret))


def _terminal(c: TerminalConfig, secrets: Secrets, ship: ShipTime) -> Channel:
    return TerminalChannel(c.name, ship, device=None if c.device is None else Path(c.device))


MAKERS: dict[type[ChannelConfig], Callable[..., Channel]] = {
    TerminalConfig: _terminal,
    SoundConfig: lambda c, secrets, ship: SoundChannel(c.name, player=c.player),
    CommandConfig: lambda c, secrets, ship: CommandChannel(c.name, ship, command=c.run),
    WebhookConfig: _webhook,
    MailConfig: _mail,
    PushConfig: lambda c, secrets, ship: PushChannel(c.name, ship, addresses=secrets[c.addresses_secret]),
    MqttConfig: _mqtt,
    Nmea0183Config: _nmea0183,
    SignalKConfig: _signalk,
}
