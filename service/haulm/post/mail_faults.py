"""What a fault of the mail means to a person: what happened, where, whether trying again can help, what to do."""

import re
import smtplib
import socket
import ssl
from enum import StrEnum

from haulm.errors import DeliveryError
from haulm.post.message import one_line
from haulm.settings.post_form import MailTable

_LONGEST_REPLY = 200
_AGAIN = "Nothing to do now: the next run tries again."
_ONLINE = "Check post.mail.host, and that this machine is online. The next run tries again."
_LOGIN = (
    "Correct post.mail.user and its password. Many mail providers want a password made for the program alone, not your "
    "own. Letters wait until then."
)
_CERTIFICATE = (
    "Check this machine's date and post.mail.host. A server of your own needs post.mail.cafile. If all that is right, "
    "something stands between: do not go round it. Nothing was sent, not even the password."
)


class Stage(StrEnum):
    """How far things had come with the server."""

    TRUST = "trust"
    CONNECT = "connect"
    ENCRYPT = "encrypt"
    LOGIN = "login"
    LETTER = "letter"


def told(fault: Exception, stage: Stage, server: MailTable, recipient: str) -> DeliveryError:
    """The fault in plain words. Only what a server says of the letter itself is for good, all else may mend."""
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        return _of_the_letter(*fault.recipients[recipient], server, recipient)
    if isinstance(fault, smtplib.SMTPSenderRefused):
        return _of_the_sender(fault, server, recipient)
    if isinstance(fault, smtplib.SMTPDataError):
        return _of_the_letter(fault.smtp_code, fault.smtp_error, server, recipient)
    what, remedy = _of_the_server(fault, stage, server)
    return DeliveryError(what, where=server.where, remedy=remedy)


def _of_the_letter(code: int, reply: bytes | str, server: MailTable, recipient: str) -> DeliveryError:
    what, remedy = _meaning(code, _detail(reply))
    later = not 500 <= code < 600
    return DeliveryError(
        f"{what}, for {recipient} ({_reply(code, reply)})", where=server.where, remedy=remedy, later=later
    )


def _meaning(code: int, detail: str) -> tuple[str, str]:
    if detail == "2.2" or (code in {452, 552} and not detail):
        return "the mailbox is full", "Whoever gets this letter has to make room in the mailbox."
    if detail in {"2.3", "3.4"}:
        return "the letter is too large for this mailbox or server", "Ask who runs the server how much it takes."
    if detail.startswith("7."):
        return "the server's rules turn the letter away", "Ask who runs the server what it minds."
    if 400 <= code < 500:
        return "the server asks to try again later", _AGAIN
    if detail.startswith("1.") or (code in {550, 551, 553} and not detail):
        return "no such mailbox", "Check the address of this recipient in the settings."
    return "the server refused the letter", "Its answer may tell why."


def _of_the_sender(fault: smtplib.SMTPSenderRefused, server: MailTable, recipient: str) -> DeliveryError:
    if _detail(fault.smtp_error) in {"2.3", "3.4"} or fault.smtp_code == 552:
        return _of_the_letter(fault.smtp_code, f"5.3.4 {_words(fault.smtp_error)}", server, recipient)
    reply = _reply(fault.smtp_code, fault.smtp_error)
    if 400 <= fault.smtp_code < 500:
        return DeliveryError(f"the server asks to try again later ({reply})", where=server.where, remedy=_AGAIN)
    remedy = "post.mail.sender is most often the address of the account that logs in. Letters wait until it is right."
    return DeliveryError(f"the server takes no mail from {server.sender} ({reply})", where=server.where, remedy=remedy)


def _of_the_server(fault: Exception, stage: Stage, server: MailTable) -> tuple[str, str]:
    if stage is Stage.TRUST:
        return f"{server.cafile} holds no certificate that can be read", "Correct post.mail.cafile."
    if stage is Stage.LOGIN and isinstance(fault, smtplib.SMTPException | UnicodeError):
        refused = _of_the_login(fault, server)
        if refused:
            return refused
    if isinstance(fault, smtplib.SMTPNotSupportedError):
        return (
            "the server offers no encrypted connection (STARTTLS)",
            "It may be the wrong port, or something stands between: do not go round it. Port 465 with "
            'security = "tls" may serve. Nothing was sent, not even the password.',
        )
    if isinstance(fault, smtplib.SMTPResponseException):
        return f"the server does not let us in ({_reply(fault.smtp_code, fault.smtp_error)})", _AGAIN
    return _of_the_connection(fault, stage, server)


def _of_the_login(fault: Exception, server: MailTable) -> tuple[str, str] | None:
    if isinstance(fault, UnicodeError):
        return "the user or the password has letters that a mail login cannot carry", _LOGIN
    if isinstance(fault, smtplib.SMTPResponseException):
        reply = _reply(fault.smtp_code, fault.smtp_error)
        if 400 <= fault.smtp_code < 500:
            return f"the server cannot check the password just now ({reply})", _AGAIN
        return f"the server did not accept the password of {server.user} ({reply})", _LOGIN
    if isinstance(fault, smtplib.SMTPServerDisconnected):
        return None
    if isinstance(fault, smtplib.SMTPNotSupportedError):
        return "the server offers no login here", "Take post.mail.user away, or use the port meant for logging in."
    return "the server wants a kind of login that haulm does not know", "Ask who runs it for a plain login."


def _of_the_connection(fault: Exception, stage: Stage, server: MailTable) -> tuple[str, str]:
    causes = _causes(fault)
    for kind, what, remedy in (
        (ssl.SSLCertVerificationError, f"the server's certificate does not verify{_why(causes)}", _CERTIFICATE),
        (ssl.SSLError, "no secure connection could be made", _port_hint(server)),
        (socket.gaierror, "the name of the server is not known", _ONLINE),
        (TimeoutError, f"no answer in time ({server.timeout_seconds:g} s of silence, or slower)", _slow(stage)),
        (ConnectionRefusedError, "connection refused: nothing listens there", _ONLINE),
        (smtplib.SMTPServerDisconnected, "the connection was lost", _AGAIN),
        (ConnectionError, "the connection was lost", _AGAIN),
    ):
        if any(isinstance(cause, kind) for cause in causes):
            when = " while the letter was handed over" if stage is Stage.LETTER else ""
            return what + when, remedy
    return f"no connection: {one_line(str(causes[-1]))[:_LONGEST_REPLY]}", _ONLINE


def _slow(stage: Stage) -> str:
    hint = 'Where this lasts, the port may not fit: 465 goes with "tls", 587 with "starttls". '
    return (hint if stage is Stage.CONNECT else "") + "The next run tries again."


def _port_hint(server: MailTable) -> str:
    other = 'security = "starttls" and port 587' if server.security == "tls" else 'security = "tls" and port 465'
    return f"Perhaps this port wants another kind of security: try {other}. Nothing was sent, not even the password."


def _why(causes: list[BaseException]) -> str:
    found = next((cause for cause in causes if isinstance(cause, ssl.SSLCertVerificationError)), None)
    return f": {found.verify_message}" if found is not None and found.verify_message else ""


def _causes(fault: BaseException) -> list[BaseException]:
    """The fault and those behind it: smtplib tells a time-out as a lost connection, and keeps the reason behind it."""
    found: list[BaseException] = []
    behind: BaseException | None = fault
    while behind is not None and behind not in found:
        found.append(behind)
        behind = behind.__cause__ or behind.__context__
    return found


def _words(reply: bytes | str) -> str:
    return one_line(reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply)[:_LONGEST_REPLY]


def _reply(code: int, reply: bytes | str) -> str:
    return f"{code} {_words(reply)}".strip()


def _detail(reply: bytes | str) -> str:
    """Subject and detail of an enhanced status code (RFC 3463, from memory), like "2.2"; empty without one."""
    match = re.match(r"[245]\.(\d{1,3}\.\d{1,3})\b", _words(reply))
    return match[1] if match else ""
