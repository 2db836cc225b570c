"""The part of the settings file that names the mailbox where answers to letters arrive."""

from typing import Literal

from pydantic import SecretStr, ValidationInfo, field_validator

from haulm.settings.quantities import Count, DayCount, FilePath, MailAddress, Seconds, Text, fault
from haulm.settings.table import Table, setting

_PORTS = {"tls": 993, "starttls": 143}


class MailboxTable(Table):
    """A mailbox that haulm reads for answers, and leaves as it is."""

    address: MailAddress = setting(
        ..., "Where answers are sent; it stands in the letter's links.", example="garden@example.org"
    )
    host: Text = setting(..., "The server of that mailbox (IMAP), by its name alone.", example="imap.example.org")
    security: Literal["tls", "starttls"] = setting(
        "tls", "Encrypted from the first byte (tls), or after a plain greeting (starttls).", "judgement: RFC 8314"
    )
    port: Count | None = setting(
        None, "Where it listens; 993 for tls and 143 for starttls are used without this key.", low=1, high=65535,
        example=993,
    )  # fmt: skip
    user: Text = setting(..., "The name to log in with.", example="garden@example.org")
    password: SecretStr = setting(
        ...,
        "Its password. Better kept out of this file: in password_file, in HAULM_POST__MAILBOX__PASSWORD, or as the "
        "systemd credential post.mailbox.password.",
        example="a password made for haulm alone",
        missing="is missing: write password_file, a file with the password and nothing else",
    )
    password_file: FilePath | None = setting(
        None,
        "A file that holds the password and nothing else; a relative path starts at this file.",
        example="mailbox-password",
    )
    folder: Text = setting("INBOX", "The folder of the mailbox that answers arrive in.", "judgement")
    good_for_days: DayCount = setting(
        30, "An answer to an older letter is not taken any more.", "judgement", low=1, high=365
    )
    cafile: FilePath | None = setting(
        None,
        "The certificate that vouches for a server of your own; only what it vouches for is then trusted.",
        example="authority.pem",
    )
    timeout_seconds: Seconds = setting(
        30, "How long the server may be silent; the whole reading may take four times as long.", "judgement", low=0.1,
        high=300,
    )  # fmt: skip

    @field_validator("host")
    @classmethod
    def _a_name_alone(cls, host: str, _info: ValidationInfo) -> str:
        if "://" in host or "/" in host or host.count(":") == 1:
            raise fault("must be the name of a server alone, like imap.example.org; the port has a key of its own")
        return host

    @property
    def port_number(self) -> int:
        """The port, with the usual one of the kind of security where none is written."""
        return self.port or _PORTS[self.security]

    @property
    def where(self) -> str:
        """Host and port, as a person reads them."""
        return f"{self.host}:{self.port_number}"
