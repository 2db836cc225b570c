"""The outbox on its way: every stored delivery goes out by its own channel, once, and what became of it is kept."""

import json
import logging
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from haulm.errors import DeliveryError, Exit
from haulm.files import is_full
from haulm.jobs.letter_forms import files_of
from haulm.post.answer_links import Letter as AnswerTo
from haulm.post.answer_links import Offer, with_links
from haulm.post.folder import letter_stem, put_in_folder
from haulm.post.log import tell_log
from haulm.post.mail import MailDoor
from haulm.post.mailbox import holds_message
from haulm.post.message import Person, Post, domain_of, mail_message, make_message_id
from haulm.post.webhook import post_letter
from haulm.settings.load import Settings
from haulm.settings.post_form import MailTable
from haulm.store.answers import signing_key
from haulm.store.database import Database
from haulm.store.letters import (
    Address,
    Delivery,
    Status,
    StoredLetter,
    claim,
    follow_book,
    left_sending,
    letter_of,
    settle,
    waiting,
)

logger = logging.getLogger("haulm")
LOG, FOLDER, MAIL, WEBHOOK = "log", "folder", "mail", "webhook"


def addresses(settings: Settings) -> tuple[Address, ...]:
    """Every way of the post that the settings ask for, and each recipient of mail, is a delivery of its own."""
    post, found = settings.post, []
    if post.log:
        found.append(Address(LOG, "log"))
    if post.folder:
        found.append(Address(FOLDER, str(post.folder)))
    if post.mail:
        domain = domain_of(post.mail.sender)
        found += [Address(MAIL, each.address, make_message_id(domain)) for each in settings.garden.recipients]
    if post.webhook:
        found.append(Address(WEBHOOK, post.webhook.where, make_message_id("haulm.invalid")))
    return tuple(found)


class Doors:
    """The ways out of a run: mail servers, each opened for the first letter that needs it, and folders once tidied.

    Open it with `with`.
    """

    def __init__(self) -> None:
        self._open: list[tuple[MailTable, MailDoor]] = []
        self._tidied: set[Path] = set()
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._stack.close()

    def to(self, server: MailTable) -> MailDoor:
        """The door to a server as some settings name it."""
        for known, door in self._open:
            if known == server:
                return door
        door = self._stack.enter_context(MailDoor(server))
        self._open.append((server, door))
        return door

    def first_time(self, folder: Path) -> bool:
        """Whether this run has not yet put a letter into a folder."""
        if folder in self._tidied:
            return False
        self._tidied.add(folder)
        return True


def deliver(settings: Settings, database: Database, now: datetime, doors: Doors | None = None) -> Exit:
    """Send everything that waits, oldest letter first; what cannot go now waits for the next run.

    `doors` are those of a run that has letters of other gardens too.

    What a killed run left on its way goes once more: a folder and the log take it in the same place, mail under the
    same Message-ID, which is the one window in which a reader may see a letter twice.
    """
    follow_book(database, settings.garden.key)
    for left in left_sending(database, settings.garden.key):
        if _has_arrived(settings, left):
            settle(database, left.id, Status.SENT, now, "found in the mailbox")
        else:
            settle(database, left.id, Status.READY, now, "the run that was sending it ended early")
    failed = sent = False
    key = b"" if settings.post.mailbox is None else signing_key(database, now)
    with ExitStack() as stack:
        doors = doors or stack.enter_context(Doors())
        ways = _Ways(settings, doors, now, key)
        for delivery in waiting(database, settings.garden.key):
            letter = letter_of(database, delivery.garden, delivery.kind, delivery.day)
            if is_full(database.path.parent):  # what goes now could not be noted as gone, and would go twice
                logger.warning("No room is left on the disk: letters wait, since none could be noted as gone.")
                failed = True
                break
            if letter is None or not claim(database, delivery.id, now):
                continue
            try:
                ways.hand_over(delivery.address, letter)
            except DeliveryError as fault:
                failed = True
                settle(database, delivery.id, Status.READY if fault.later else Status.REFUSED, now, str(fault))
            else:
                sent = True
                settle(database, delivery.id, Status.SENT, now)
    if not failed:
        return Exit.DONE
    return Exit.PARTLY if sent else Exit.TRY_LATER


def _has_arrived(settings: Settings, left: Delivery) -> bool:
    """Whether a letter that may or may not have gone out lies in the mailbox that haulm can read."""
    mailbox = settings.post.mailbox
    if mailbox is None or left.address.channel != MAIL or left.address.recipient != mailbox.address:
        return False
    try:
        return holds_message(mailbox, left.address.message_id)
    except DeliveryError:
        return False


@dataclass(frozen=True, slots=True)
class _Ways:
    """The ways out for one run, the mail's connection kept open between letters."""

    settings: Settings
    doors: Doors
    now: datetime
    key: bytes = b""

    def hand_over(self, address: Address, letter: StoredLetter) -> None:
        """Give one letter to one address; DeliveryError where it cannot be done."""
        if address.channel == LOG:
            tell_log(letter.garden, letter.kind, letter.day, letter.subject)
        elif address.channel == FOLDER:
            folder, files = Path(address.recipient), files_of(letter)
            tidy = self.doors.first_time(folder)
            put_in_folder(folder, letter.garden, letter.kind, letter.day, files, tidy=tidy)
        elif address.channel == MAIL:
            self._mail(address, letter)
        else:
            self._webhook(address, letter)

    def _mail(self, address: Address, letter: StoredLetter) -> None:
        server = self.settings.post.mail
        if server is None:
            raise _taken_away("[post.mail]", address)
        name = next((r.name for r in self.settings.garden.recipients if r.address == address.recipient), "")
        picture = f"{letter_stem(letter.garden, letter.kind, letter.day)}.png"
        text, html = self._with_links(address, letter)
        post = Post(letter.garden, letter.subject, text, html, letter.written, letter.picture, picture)
        sender = Person(server.sender, server.sender_name)
        message = mail_message(post, sender, Person(address.recipient, name), address.message_id)
        self.doors.to(server).send(message, address.recipient)

    def _with_links(self, address: Address, letter: StoredLetter) -> tuple[str, str]:
        """The letter with ways to answer it, signed for this recipient, where there is a mailbox for answers."""
        mailbox = self.settings.post.mailbox
        if mailbox is None:
            return letter.text, letter.html
        offers = [Offer(**told) for told in json.loads(letter.json).get("offers", [])]
        about = AnswerTo(letter.garden, letter.kind, letter.day)
        return with_links(letter.text, letter.html, offers, about, address.recipient, mailbox.address, self.key)

    def _webhook(self, address: Address, letter: StoredLetter) -> None:
        webhook = self.settings.post.webhook
        if webhook is None:
            raise _taken_away("[post.webhook]", address)
        post_letter(webhook, letter.json, address.message_id, self.now)


def _taken_away(table: str, address: Address) -> DeliveryError:
    return DeliveryError(
        f"there is no {table} table any more", where=address.recipient, remedy="Put it back; the letter waits."
    )
