"""A letter as a mail: text first, HTML last, the picture inside the HTML."""

import unicodedata
from dataclasses import dataclass
from datetime import datetime
from email.header import Header
from email.headerregistry import Address, AddressHeader
from email.message import EmailMessage
from email.policy import SMTP, EmailPolicy
from email.utils import formataddr, make_msgid

from haulm.post.folder import safe_name

# Lines of bodies keep to the 76 characters of RFC 2045, encoded words to the 75 of RFC 2047 (from memory), and all
# other header lines stay whole, since folding has broken identifiers.
_WIDTH = 76
_WHOLE = SMTP.clone(max_line_length=998)
_LONGEST_SUBJECT = 200


class _MailPolicy(EmailPolicy):
    """The policy of mail, but with words encoded by the older `Header`: the newer way loses spaces between them."""

    def fold_binary(self, name: str, value: str) -> bytes:
        """One header as it goes out."""
        if isinstance(value, AddressHeader):
            words = ", ".join(_mailbox_words(name, one) for one in value.addresses)
        elif name == "Subject":
            words = _encoded(name, value)
        else:
            return _WHOLE.fold_binary(name, value)
        return f"{name}: {words}\r\n".encode("ascii")


def _mailbox_words(header: str, mailbox: Address) -> str:
    if mailbox.display_name.isascii():
        return formataddr((mailbox.display_name, mailbox.addr_spec))
    return f"{_encoded(header, mailbox.display_name)}\r\n <{mailbox.addr_spec}>"


def _encoded(header: str, text: str) -> str:
    if text.isascii():
        return str(text)
    return Header(str(text), "utf-8", maxlinelen=_WIDTH, header_name=header).encode(linesep="\r\n")


_POLICY = _MailPolicy(linesep="\r\n", max_line_length=_WIDTH)


@dataclass(frozen=True, slots=True)
class Post:
    """A letter as the mail needs it. `picture_name` is the file name by which the HTML calls the picture."""

    garden: str
    subject: str
    text: str
    html: str
    written: datetime
    picture: bytes | None = None
    picture_name: str = ""


@dataclass(frozen=True, slots=True)
class Person:
    """A mail address and the name beside it, which may be empty."""

    address: str
    name: str = ""


def make_message_id(domain: str) -> str:
    """A new Message-ID. It is made once for each letter and recipient, and kept with the letter in the outbox."""
    return make_msgid(domain=domain)


def domain_of(address: str) -> str:
    """What stands behind the @."""
    return address.rpartition("@")[2]


def mail_message(post: Post, sender: Person, recipient: Person, message_id: str) -> EmailMessage:
    """One letter to one recipient; the same arguments make the same message, so that a second try repeats the first.

    Raises
    ------
    ValueError
        An address is not a mail address, or the Message-ID is not one; the settings let neither come so far.
    """
    if not (message_id.startswith("<") and message_id.endswith(">") and message_id.isascii()):
        raise ValueError(f"not a Message-ID: {message_id!r}")
    message = EmailMessage(policy=_POLICY)
    message["From"] = _mailbox(sender)
    message["To"] = _mailbox(recipient)
    message["Subject"] = one_line(post.subject)[:_LONGEST_SUBJECT].rstrip()
    message["Date"] = post.written
    message["Message-ID"] = message_id
    message["List-Id"] = f"<{safe_name(post.garden)}.haulm.{domain_of(sender.address)}>"
    # RFC 3834: other programs answer no letter that says so. The last line is heeded by some that do not know it.
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    _fill(message, post, f"picture.{message_id[1:-1]}")
    message["Content-Language"] = "en"  # last: while a message is filled, what describes content moves into its parts
    return message


def _fill(message: EmailMessage, post: Post, picture_id: str) -> None:
    # Quoted-printable keeps every line short and plain, so that a server without 8BITMIME can take it.
    message.set_content(post.text, cte="quoted-printable")
    source = f'src="{post.picture_name}"'
    inside = post.picture is not None and bool(post.picture_name) and source in post.html
    html = post.html.replace(source, f'src="cid:{picture_id}"') if inside else post.html
    message.add_alternative(html, subtype="html", cte="quoted-printable")
    if post.picture is None:
        return
    name = post.picture_name or "picture.png"
    if inside:
        last = message.get_payload()[-1]  # type: ignore[index]  # the HTML, just added
        last.add_related(  # type: ignore[union-attr]
            post.picture, "image", "png", cid=f"<{picture_id}>", filename=name, disposition="inline"
        )
    else:
        message.add_attachment(post.picture, "image", "png", filename=name)


def _mailbox(person: Person) -> Address:
    return Address(one_line(person.name), addr_spec=person.address)


def one_line(text: str) -> str:
    """Text for a header line: no line ends or other control characters, and nothing that reads as an encoded word."""
    plain = "".join(" " if unicodedata.category(letter) in {"Cc", "Cs", "Zl", "Zp"} else letter for letter in text)
    return " ".join(plain.replace("=?", "= ?").split())
