"""The mailbox where answers arrive: read, bounded in number, size and time, and left as it is."""

import email
import imaplib
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from email.errors import InvalidHeaderDefect
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import default
from email.utils import parsedate_to_datetime
from types import TracebackType
from typing import Self, TypeVar

from haulm.errors import DeliveryError, in_one_line
from haulm.patience import within
from haulm.settings.mailbox_form import MailboxTable
from haulm.steps import Step, marked

MOST_MESSAGES = 200  # of one run; what is left over is read by the next
LARGEST_HEADER_BYTES = 4096  # a thousand senders in one header would keep its reader busy for half a second
MOST_BYTES = 96 * 1024 * 1024  # of one visit: every message at its largest, and room for the lists
LARGEST_BYTES = 256 * 1024  # of one message; what lies beyond is not fetched
LONGEST_TEXT = 4000  # letters of an answer; a person writes less
PATIENCE = 4
_T = TypeVar("_T")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Header:
    """What decides whether a message is read at all."""

    message_id: str
    sender: str
    subject: str
    written: datetime


@dataclass(frozen=True, slots=True)
class Answer:
    """A message that was read: its own lines, quoted letters and signature taken away as far as they can be told."""

    header: Header
    text: str


Wanted = Callable[[Header], bool]
Body = Callable[[EmailMessage], str]


@dataclass(frozen=True, slots=True)
class Place:
    """How far a mailbox has been read (RFC 9051: UIDs hold as long as the validity stays)."""

    validity: int = 0
    last_uid: int = 0


@dataclass(frozen=True, slots=True)
class Found:
    """What a reading found, how many messages it left alone, and how far it came."""

    answers: tuple[Answer, ...]
    left_alone: int
    place: Place


@dataclass(frozen=True, slots=True)
class Looked:
    """Which messages are looked at: those that came since a day, from some senders."""

    since: date
    senders: tuple[str, ...]


class _Bounded:
    """A server's answers, no more of them than a visit needs: some send without end."""

    _left = MOST_BYTES

    def read(self, size: int) -> bytes:
        """So many bytes; an announcement of more than is left is not waited for."""
        self._spend(size)
        return bytes(super().read(size))  # type: ignore[misc]

    def readline(self) -> bytes:
        """One line."""
        line = bytes(super().readline())  # type: ignore[misc]
        self._spend(len(line))
        return line

    def _spend(self, size: int) -> None:
        self._left -= size
        if self._left < 0:
            raise imaplib.IMAP4.abort("the server sends far more than was asked for")


class _Server(_Bounded, imaplib.IMAP4):
    pass


class _TlsServer(_Bounded, imaplib.IMAP4_SSL):
    pass


def _begin_again(imap: imaplib.IMAP4) -> None:
    """One more reading over the same connection, with the bound of a first one."""
    if isinstance(imap, _Bounded):
        imap._left = MOST_BYTES


class Mailboxes:
    """The mailboxes of a run, each opened for its first reading and kept for all others; open it with `with`.

    One that fails is not asked again: whoever reads for many gardens would wait for it as often.
    """

    def __init__(self) -> None:
        self._stack = ExitStack()
        self._open: list[tuple[MailboxTable, imaplib.IMAP4, int]] = []
        self._shut: list[tuple[MailboxTable, DeliveryError]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._stack.close()

    def read(self, server: MailboxTable, place: Place, looked: Looked, wanted: Wanted, body: Body) -> Found:
        """Every new message that is wanted. Nothing is marked, moved or deleted; the place alone tells what is new.

        Parameters
        ----------
        place
            Where the last reading ended.
        looked
            The server itself leaves out what is older or from somebody else, however many there are.
        wanted
            Decides by the header; the body of any other message is never fetched.
        body
            Takes the grower's own lines out of a message.

        Raises
        ------
        DeliveryError
            It could not be reached or read, with what to do about it; the next run reads on from the same place.
        """
        for known, fault in self._shut:
            if known == server:
                raise fault

        def work() -> Found:
            return _read(*self._at(server), place, looked, wanted, body)

        try:
            with marked(Step.MAILBOX_READ):
                return _patiently(server, work)
        except DeliveryError as fault:
            self._shut.append((server, fault))
            self._drop(server)
            raise

    def _drop(self, server: MailboxTable) -> None:
        """Let go of a connection that is of no more use: whoever still waits for it stops waiting."""
        for imap in (one[1] for one in self._open if one[0] == server):
            with suppress(OSError):
                imap.shutdown()

    def _at(self, server: MailboxTable) -> tuple[imaplib.IMAP4, int]:
        """The open connection to a server, if it still listens, or a new one; and the validity of its numbers."""
        for known, imap, validity in self._open:
            if known == server:
                _begin_again(imap)
                with suppress(OSError, imaplib.IMAP4.error):
                    if imap.noop()[0] == "OK":
                        return imap, validity
        imap, _ = self._stack.enter_context(_open(server))
        self._open = [one for one in self._open if one[0] != server]
        self._open.append((server, imap, _validity(imap)))
        return imap, self._open[-1][2]


def read_mailbox(server: MailboxTable, place: Place, looked: Looked, wanted: Wanted, body: Body) -> Found:
    """One reading of one mailbox: `Mailboxes.read`."""
    with Mailboxes() as boxes:
        return boxes.read(server, place, looked, wanted, body)


def probe_mailbox(server: MailboxTable) -> str:
    """Log in and count the messages of the folder: a line that says what was found.

    Raises
    ------
    DeliveryError
        As for `Mailboxes.read`.
    """

    def count() -> str:
        with _open(server) as (_, messages):
            return f"{server.where}: reached, login of {server.user} accepted, {messages} messages in {server.folder}"

    return _patiently(server, count)


def holds_message(server: MailboxTable, message_id: str) -> bool:
    """Whether a message of that Message-ID has arrived in the mailbox."""

    def look() -> bool:
        with _open(server) as (imap, _):
            return bool(_uids(imap, "HEADER", "Message-ID", f'"{message_id}"'))

    return _patiently(server, look)


def _read(imap: imaplib.IMAP4, validity: int, place: Place, looked: Looked, wanted: Wanted, body: Body) -> Found:
    last = place.last_uid if place.validity == validity else 0
    since = ("SINCE", f"{looked.since.day}-{_MONTHS[looked.since.month - 1]}-{looked.since.year}")
    new = [uid for uid in _uids(imap, "UID", f"{last + 1}:*", *since) if uid > last]
    theirs = _uids(imap, "UID", f"{last + 1}:*", *since, *_from(looked.senders)) if new else []
    theirs = [uid for uid in theirs if uid > last]
    if len(theirs) > MOST_MESSAGES:
        theirs = theirs[:MOST_MESSAGES]
        new = [uid for uid in new if uid <= theirs[-1]]
    answers: list[Answer] = []
    for uid in theirs:
        header = _header(imap, uid)
        if header is not None and wanted(header):
            answers.append(Answer(header, _own_words(body, _raw(imap, uid))[:LONGEST_TEXT]))
    return Found(tuple(answers), len(new) - len(answers), Place(validity, max([last, *new])))


def _from(senders: tuple[str, ...]) -> list[str]:
    """The search for any of some senders; what lies in the header is compared once more, as a whole."""
    if not senders or not all(sender.isascii() for sender in senders):
        return []
    found = ["FROM", _quoted(senders[0])]
    for sender in senders[1:]:
        found = ["OR", "FROM", _quoted(sender), *found]
    return found


@contextmanager
def _open(server: MailboxTable) -> Iterator[tuple[imaplib.IMAP4, int]]:
    context = ssl.create_default_context(cafile=server.cafile)
    seconds = float(server.timeout_seconds)
    imap: imaplib.IMAP4
    if server.security == "tls":
        imap = _TlsServer(server.host, server.port_number, ssl_context=context, timeout=seconds)
    else:
        imap = _Server(server.host, server.port_number, timeout=seconds)
    try:
        if server.security == "starttls":
            imap.starttls(context)
        imap.login(server.user, server.password.get_secret_value())
        status, told = imap.select(_quoted(server.folder), readonly=True)
        if status != "OK":
            raise imaplib.IMAP4.error(f"no folder {server.folder}")
        yield imap, int(told[0] or 0)
    finally:
        with suppress(imaplib.IMAP4.error, OSError):
            imap.logout()
        with suppress(OSError):  # a server that does not answer is left all the same
            imap.shutdown()


def _quoted(folder: str) -> str:
    escaped = folder.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _validity(imap: imaplib.IMAP4) -> int:
    _, told = imap.response("UIDVALIDITY")
    return int(told[0]) if told and told[0] else 0


def _uids(imap: imaplib.IMAP4, *criteria: str) -> list[int]:
    status, told = imap.uid("SEARCH", *criteria)
    if status != "OK":
        raise imaplib.IMAP4.error("the search was refused")
    return sorted(int(uid) for uid in (told[0] or b"").split())


def _header(imap: imaplib.IMAP4, uid: int) -> Header | None:
    raw = _fetched(imap, uid, f"(BODY.PEEK[HEADER.FIELDS (MESSAGE-ID FROM SUBJECT DATE)]<0.{LARGEST_HEADER_BYTES}>)")
    try:
        message = email.message_from_bytes(raw, _class=EmailMessage, policy=default)
        written = parsedate_to_datetime(str(message["Date"]))
        identity, subject = str(message["Message-ID"] or "").strip(), str(message["Subject"] or "")
        sender = _one_sender(message)
    except Exception:  # noqa: BLE001  as for the words: headers that cannot be read are no answer
        return None
    if not identity or not identity.isascii() or not sender:  # RFC 5322: an id is ASCII
        return None
    return Header(identity, sender, subject, written if written.tzinfo else written.replace(tzinfo=UTC))


def _one_sender(message: EmailMessage) -> str:
    """The one address that a message comes from; empty where the header holds none or several.

    `a@b <c@d>` is no address, so that no name can pass for one.
    """
    header = message["From"]
    found: tuple[Address, ...] = getattr(header, "addresses", ())
    if len(found) != 1 or any(isinstance(fault, InvalidHeaderDefect) for fault in header.defects):
        return ""
    return str(found[0].addr_spec)


def _raw(imap: imaplib.IMAP4, uid: int) -> bytes:
    return _fetched(imap, uid, f"(BODY.PEEK[]<0.{LARGEST_BYTES}>)")


def _own_words(body: Body, raw: bytes) -> str:
    """The grower's own lines; none where the message is broken so that nothing can be taken out of it.

    What strangers' mail programs write breaks readers of mail in ever new ways; no such mail may cost a letter.
    """
    try:
        return body(email.message_from_bytes(raw, _class=EmailMessage, policy=default))
    except Exception:  # noqa: BLE001  see above
        return ""


def _fetched(imap: imaplib.IMAP4, uid: int, what: str) -> bytes:
    status, told = imap.uid("FETCH", str(uid), what)
    if status != "OK":
        raise imaplib.IMAP4.error("a message could not be fetched")
    return next((bytes(part[1]) for part in told if isinstance(part, tuple)), b"")


def _patiently(server: MailboxTable, work: Callable[[], _T]) -> _T:
    try:
        return within(PATIENCE * server.timeout_seconds, work)
    except (OSError, imaplib.IMAP4.error) as fault:
        what, remedy = _told(fault)
        raise DeliveryError(what, where=server.where, remedy=remedy) from fault


_AGAIN = "Nothing to do now: the next run tries again."


def _told(fault: Exception) -> tuple[str, str]:
    if isinstance(fault, ssl.SSLCertVerificationError):
        return (
            f"the server's certificate does not verify: {fault.verify_message}",
            "Check this machine's date and post.mailbox.host; a server of your own needs post.mailbox.cafile.",
        )
    if isinstance(fault, imaplib.IMAP4.error):
        said = in_one_line(str(fault).strip("b'"), 200)
        return f"the mailbox could not be read ({said})", "Check post.mailbox.user, its password and its folder."
    if isinstance(fault, TimeoutError):
        return "no answer in time", _AGAIN
    if isinstance(fault, socket.gaierror):
        return "the name of the server is not known", "Check post.mailbox.host, and that this machine is online."
    if isinstance(fault, ssl.SSLError):
        return "no secure connection could be made", 'Perhaps the port wants security = "starttls".'
    if isinstance(fault, ConnectionRefusedError):
        return "connection refused: nothing listens there", "Check post.mailbox.host and post.mailbox.port."
    return "the connection was lost", _AGAIN
