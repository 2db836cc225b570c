"""The mail: one connection to the server that sends for us, and every way it can fail told apart."""

import smtplib
import socket
import ssl
from contextlib import suppress
from datetime import UTC, datetime
from email.message import EmailMessage
from time import monotonic, sleep
from types import TracebackType
from typing import BinaryIO, Self

from haulm.errors import DeliveryError
from haulm.patience import within
from haulm.post.mail_faults import Stage, told
from haulm.settings.post_form import MailTable
from haulm.steps import Step, marked

# A server may be silent for `timeout_seconds` at each of some ten steps; a whole letter gets this many times as long.
PATIENCE = 4
MOST_ANSWER_BYTES = 64 * 1024
_SERVER_LEAVES = 421


class _Lines:
    """What a server says, no more of it than one answer needs: some send without end."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._left = 0

    def begin(self) -> None:
        """A new answer."""
        self._left = MOST_ANSWER_BYTES

    def readline(self, most: int) -> bytes:
        """The next line of the answer."""
        line = self._stream.readline(most)
        self._left -= len(line)
        if self._left < 0:
            raise ConnectionError("the server's answer has no end")
        return line

    def close(self) -> None:
        """Let go of the stream."""
        self._stream.close()


class _Bounded:
    file: _Lines | None

    def getreply(self) -> tuple[int, bytes]:
        """One answer of the server, of bounded length."""
        if self.file is None:
            self.file = _Lines(self.sock.makefile("rb"))  # type: ignore[attr-defined]
        self.file.begin()
        return super().getreply()  # type: ignore[misc,no-any-return]


class _Server(_Bounded, smtplib.SMTP):
    pass


class _TlsServer(_Bounded, smtplib.SMTP_SSL):
    pass


class MailDoor:
    """The way out to one mail server, for any number of letters; open it with `with`.

    It connects with the first letter. A server that cannot be reached, or does not let us in, is not asked again.
    """

    def __init__(self, server: MailTable) -> None:
        self._server = server
        self._smtp: smtplib.SMTP | None = None
        self._stage = Stage.CONNECT
        self._shut: DeliveryError | None = None
        self._next_at = monotonic()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def send(self, message: EmailMessage, recipient: str) -> None:
        """Hand one message over for one recipient, who need not be the one it names.

        Raises
        ------
        DeliveryError
            Refused for good, or to be tried again later, under the same Message-ID: a connection that is lost at the
            very end does not tell whether the server took the letter.
        """
        if self._shut is not None:
            raise self._shut
        raw = message.as_bytes()
        self._keep_pace()
        try:
            within(PATIENCE * self._server.timeout_seconds, lambda: self._send(raw, recipient))
        except (OSError, UnicodeError) as fault:
            raise self._failed(fault, recipient) from fault

    def _keep_pace(self) -> None:
        """Wait until the server should be willing to take one more letter."""
        sleep(max(self._next_at - monotonic(), 0.0))
        self._next_at = monotonic() + 60.0 / self._server.most_a_minute

    def probe(self) -> str:
        """Connect and log in, send nothing, and say in one line what was found.

        Raises
        ------
        DeliveryError
            It could not be reached, or does not let us in.
        """
        try:
            return within(PATIENCE * self._server.timeout_seconds, lambda: self._found(self._open()))
        except (OSError, UnicodeError) as fault:
            raise self._failed(fault, "") from fault
        finally:
            self.close()

    def close(self) -> None:
        """Take leave of the server. What it says then changes nothing: its letters are settled."""
        smtp, self._smtp = self._smtp, None
        if smtp is None:
            return
        try:
            within(self._server.timeout_seconds, smtp.quit)
        except OSError:
            _let_go(smtp)

    def _send(self, raw: bytes, recipient: str) -> None:
        smtp = self._again()
        if smtp is not None and self._taken(smtp, raw, recipient):
            return
        smtp = self._open()
        if self._shut is not None:  # given up while a slow greeting was awaited: the letter is settled as not sent
            self._drop()
            return
        self._hand_over(smtp, raw, recipient)

    def _taken(self, smtp: smtplib.SMTP, raw: bytes, recipient: str) -> bool:
        """Send over a connection that has served before; False if the server ends it before it hears of the letter."""
        try:
            self._hand_over(smtp, raw, recipient)
        except smtplib.SMTPSenderRefused as refused:
            if refused.smtp_code != _SERVER_LEAVES:
                raise
            self._drop()
            return False
        return True

    def _hand_over(self, smtp: smtplib.SMTP, raw: bytes, recipient: str) -> None:
        self._stage = Stage.LETTER
        with marked(Step.MAIL_TAKEN):
            smtp.sendmail(self._server.sender, [recipient], raw)

    def _again(self) -> smtplib.SMTP | None:
        """The connection of the letter before, if the server still listens: many end one after so long, or so many."""
        smtp = self._smtp
        if smtp is None:
            return None
        try:
            if smtp.noop()[0] == 250:
                return smtp
        except OSError:
            pass
        self._drop()
        return None

    def _open(self) -> smtplib.SMTP:
        self._stage = Stage.TRUST
        context = ssl.create_default_context(cafile=self._server.cafile)
        self._stage = Stage.CONNECT
        smtp = self._smtp = self._connect(context)
        smtp.ehlo_or_helo_if_needed()
        if self._server.security == "starttls":
            self._stage = Stage.ENCRYPT
            smtp.starttls(context=context)
            smtp.ehlo_or_helo_if_needed()
        if self._server.user is not None:
            self._stage = Stage.LOGIN
            password = self._server.password
            smtp.login(self._server.user, password.get_secret_value() if password else "")
        return smtp

    def _connect(self, context: ssl.SSLContext) -> smtplib.SMTP:
        host, port, seconds = self._server.host, self._server.port_number, float(self._server.timeout_seconds)
        name = self._server.local_hostname
        if self._server.security == "tls":
            return _TlsServer(host, port, name, timeout=seconds, context=context)
        return _Server(host, port, name, timeout=seconds)

    def _found(self, smtp: smtplib.SMTP) -> str:
        line = f"{self._server.where}: reached"
        if isinstance(smtp.sock, ssl.SSLSocket):
            line += f" over {(smtp.sock.version() or 'TLS').replace('v', ' ')}{_good_until(smtp.sock)}"
        return line + (f", login of {self._server.user} accepted" if self._server.user else ", no login asked for")

    def _failed(self, fault: OSError | UnicodeError, recipient: str) -> DeliveryError:
        error = told(fault, self._stage, self._server, recipient)
        letters_own = self._stage is Stage.LETTER
        if not letters_own:
            self._shut = error
        if not letters_own or isinstance(fault, TimeoutError):
            self._drop()
        return error

    def _drop(self) -> None:
        """Let go of a connection that is of no more use; whoever still waits for it stops waiting."""
        smtp, self._smtp = self._smtp, None
        if smtp is not None:
            _let_go(smtp)


def probe(server: MailTable) -> str:
    """Try the mail server now, sending nothing: a line that says what was found.

    Raises
    ------
    DeliveryError
        It could not be reached, or does not let us in, with what to do about it.
    """
    return MailDoor(server).probe()


def _let_go(smtp: smtplib.SMTP) -> None:
    # Shutting the socket down wakes a thread that still waits for the server; closing it would not.
    if isinstance(smtp.sock, socket.socket):
        with suppress(OSError):
            smtp.sock.shutdown(socket.SHUT_RDWR)
    smtp.close()


def _good_until(sock: ssl.SSLSocket) -> str:
    ends = (sock.getpeercert() or {}).get("notAfter")
    if not isinstance(ends, str):
        return ""
    day = datetime.fromtimestamp(ssl.cert_time_to_seconds(ends), UTC)
    return f", certificate good until {day.day} {day:%B %Y}"
