"""(I/O) E-mail through a server of the sailor's own choice."""

import smtplib
import ssl
from collections.abc import Sequence
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path

from watch.alerts.book import Call
from watch.alerts.channels.channel import Answer, Failed, Sent, in_words
from watch.alerts.secrets import Secret
from watch.alerts.words import headline, in_full
from watch.when import ShipTime


class MailChannel:
    """Sends each call as a short plain mail. security: "starttls", "ssl" or "none"; ca_file: trusted besides the system's own."""

    def __init__(
        self, name: str, ship: ShipTime, *, host: str, port: int, security: str, sender: str, to: Sequence[str],
        user: str | None = None, password: Secret | None = None, ca_file: Path | None = None,
    ):
        self.name, self._ship, self._host, self._port, self._security = name, ship, host, port, security
        self._sender, self._to, self._user, self._password, self._ca_file = sender, tuple(to), user, password, ca_file

    def send(self, call: Call, timeout_s: float) -> Answer:
        try:
            with self._server(timeout_s) as server:
                if self._user is not None and self._password is not None:
                    server.login(self._user, self._password.reveal())
                refused = server.send_message(self._message(call))
        except ssl.SSLCertVerificationError:
            return Failed("the mail server's certificate is not to be trusted", retry=False)
        except smtplib.SMTPAuthenticationError:
            return Failed("the mail server does not take the name and password", retry=False)
        except smtplib.SMTPRecipientsRefused:
            return Failed("the mail server takes none of the addresses", retry=False)
        except smtplib.SMTPResponseException as error:
            return Failed(f"the mail server answered {error.smtp_code}", retry=error.smtp_code < 500)
        except smtplib.SMTPNotSupportedError:
            return Failed("the mail server does not offer encryption, or no login", retry=False)
        except smtplib.SMTPException as error:
            if isinstance(error.__context__, TimeoutError):
                return Failed(in_words(error.__context__, timeout_s))
            return Failed(f"the mail server broke off ({type(error).__name__})")
        except (OSError, ValueError) as error:
            return Failed(in_words(error, timeout_s))
        return Sent(f"refused for {len(refused)} of {len(self._to)} addresses" if refused else "")

    def close(self) -> None:
        """Nothing to close: a connection is made for each mail."""

    def _server(self, timeout_s: float) -> smtplib.SMTP:
        context = ssl.create_default_context()
        if self._ca_file is not None:
            context.load_verify_locations(self._ca_file)
        if self._security == "ssl":
            return smtplib.SMTP_SSL(self._host, self._port, timeout=timeout_s, context=context)
        server = smtplib.SMTP(self._host, self._port, timeout=timeout_s)
        try:
            if self._security == "starttls":
                server.starttls(context=context)
        except (smtplib.SMTPException, OSError):
            server.close()
            raise
        return server

    def _message(self, call: Call) -> EmailMessage:
        message = EmailMessage()
        message["Subject"] = headline(call, self._ship)
        message["From"], message["To"] = self._sender, ", ".join(self._to)
        message["Date"] = format_datetime(call.at)
        message["Message-ID"] = f"<{call.number}.{call.revision}.{call.repeat}.{int(call.at.timestamp())}@nightorders.invalid>"
        message["Auto-Submitted"] = "auto-generated"
        message["Importance"] = "high" if call.sounds else "normal"
        message.set_content(in_full(call, self._ship) + "\n")
        return message
