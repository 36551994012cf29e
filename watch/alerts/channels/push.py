"""(I/O) Push services through the apprise library: the addresses are a secret, one a line."""

from watch.alerts.book import Call
from watch.alerts.channels.channel import Answer, Failed, Sent, missing
from watch.alerts.secrets import Secret
from watch.alerts.situation import Priority
from watch.alerts.words import headline, in_full
from watch.faults import BadInputError
from watch.when import ShipTime


class PushChannel:
    """Sends each call to every address. Raises BadInputError when the library is missing or an address is none it knows."""

    def __init__(self, name: str, ship: ShipTime, *, addresses: Secret):
        try:
            import apprise
        except ImportError:
            raise missing(name, "apprise") from None
        self.name, self._ship = name, ship
        self._services = apprise.Apprise()
        self._kinds = apprise.NotifyType
        for i, line in enumerate(addresses.reveal().split(), start=1):
            if not self._services.add(line):
                raise BadInputError("alerts", [f"channel {name}: address {i} of its secret is none the library apprise knows"])

    def send(self, call: Call, timeout_s: float) -> Answer:
        for service in self._services:
            service.socket_connect_timeout = service.socket_read_timeout = timeout_s
        kind = self._kinds.FAILURE if call.priority >= Priority.ALARM else self._kinds.WARNING
        if self._services.notify(title=headline(call, self._ship), body=in_full(call, self._ship), notify_type=kind):
            return Sent()
        return Failed("a push service did not take it")

    def close(self) -> None:
        """Nothing to close."""
