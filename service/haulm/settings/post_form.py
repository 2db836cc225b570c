"""The part of the settings file that says where letters go: a folder, the log, the mail, a web address."""

import re
from typing import Literal
from urllib.parse import urlsplit

from pydantic import SecretStr, ValidationInfo, field_validator

from haulm.settings.heartbeat_form import HeartbeatTable
from haulm.settings.mailbox_form import MailboxTable
from haulm.settings.quantities import Count, FilePath, MailAddress, Seconds, Switch, Text, fault
from haulm.settings.table import Table, setting
from haulm.settings.web_address import on_this_machine, private_address

# A secret shorter than this can be guessed by trying (judgement).
SHORTEST_SECRET = 16
_PORTS = {"tls": 465, "starttls": 587, "none": 25}
_HOST = re.compile(r"[^\s/@,;<>\"'\[\]]+")


class MailTable(Table):
    """A mail server that takes our letters and hands them on."""

    host: Text = setting(..., "The mail server that sends for you, by its name alone.", example="mail.example.org")
    security: Literal["tls", "starttls", "none"] = setting(
        "tls",
        "Encrypted from the first byte (tls), or after a plain greeting (starttls); none for this machine only.",
        "judgement: RFC 8314 prefers tls from the first byte, from memory",
    )
    port: Count | None = setting(
        None,
        "Where it listens; 465 for tls, 587 for starttls and 25 for none are used without this key.",
        low=1,
        high=65535,
        example=465,
    )
    user: Text | None = setting(None, "The name to log in with, where a login is asked.", example="grower@example.org")
    password: SecretStr | None = setting(
        None,
        "Its password. Better kept out of this file: in password_file, in HAULM_POST__MAIL__PASSWORD, or as the "
        "systemd credential post.mail.password.",
        example="a password made for haulm alone",
    )
    password_file: FilePath | None = setting(
        None,
        "A file that holds the password and nothing else; a relative path starts at this file.",
        example="mail-password",
    )
    sender: MailAddress = setting(
        ...,
        "The address that letters come from; mail that cannot be delivered returns to it.",
        example="grower@example.org",
    )
    sender_name: Text = setting("haulm", "The name beside that address.", "judgement")
    cafile: FilePath | None = setting(
        None,
        "The certificate that vouches for a server of your own; only what it vouches for is then trusted.",
        example="authority.pem",
    )
    timeout_seconds: Seconds = setting(
        30,
        "How long the server may be silent; a whole letter may take four times as long.",
        "judgement",
        low=0.1,
        high=300,
    )
    most_a_minute: Count = setting(
        60,
        "No more letters than this are handed over in a minute, evenly spread: many servers refuse who sends faster.",
        "judgement",
        low=1,
        high=60_000,
    )
    local_hostname: Text = setting("[127.0.0.1]", "What this machine calls itself to the server.", "judgement")

    @field_validator("host")
    @classmethod
    def _a_name_alone(cls, host: str) -> str:
        if not _HOST.fullmatch(host) or "://" in host or host.count(":") == 1:
            raise fault("must be the name of a server alone, like mail.example.org; the port has a key of its own")
        return host

    @field_validator("security")
    @classmethod
    def _only_at_home_in_the_clear(cls, security: str, info: ValidationInfo) -> str:
        if security == "none" and not on_this_machine(info.data.get("host", "localhost")):
            raise fault("mail in the clear is for a server on this machine only; write tls or starttls")
        return security

    @field_validator("password")
    @classmethod
    def _goes_with_a_user(cls, password: SecretStr | None, info: ValidationInfo) -> SecretStr | None:
        if "user" in info.data and (password is None) != (info.data["user"] is None):
            if password is not None:
                raise fault("a password needs the user it belongs to", show=False)
            raise fault("is missing: a user needs it; write password_file", show=False, beside="user")
        return password

    @field_validator("local_hostname")
    @classmethod
    def _one_word(cls, name: str) -> str:
        if not re.fullmatch(r"[A-Za-z0-9.:_\[\]-]+", name):
            raise fault("must be one name without spaces, like garden.example.org")
        return name

    @property
    def port_number(self) -> int:
        """The port, with the usual one of the kind of security where none is written."""
        return self.port or _PORTS[self.security]

    @property
    def where(self) -> str:
        """Host and port, as a person reads them."""
        return f"{self.host}:{self.port_number}"


class WebhookTable(Table):
    """A web address that gets the letter as JSON."""

    url: Text = setting(..., "The address; https, or http on this machine.", example="https://hooks.example.org/letter")
    secret: SecretStr = setting(
        ...,
        "Shared with the receiver, who tells by it that a letter is ours: Haulm-Signature is the hex HMAC-SHA256 "
        "of Haulm-Timestamp, a full stop and the body. Better kept in secret_file, in HAULM_POST__WEBHOOK__SECRET, or "
        "as the systemd credential post.webhook.secret.",
        example="at least sixteen letters and signs",
        missing=f"is missing: write secret_file, a file with at least {SHORTEST_SECRET} letters and signs in it",
    )
    secret_file: FilePath | None = setting(
        None,
        "A file that holds the secret and nothing else; a relative path starts at this file.",
        example="webhook-secret",
    )
    cafile: FilePath | None = setting(
        None,
        "The certificate that vouches for a server of your own; only what it vouches for is then trusted.",
        example="authority.pem",
    )
    timeout_seconds: Seconds = setting(
        20,
        "How long the server may be silent; the whole exchange may take four times as long.",
        "judgement",
        low=0.1,
        high=300,
    )

    @field_validator("url")
    @classmethod
    def _kept_private(cls, url: str) -> str:
        return private_address(url, "https://hooks.example.org/letter")

    @field_validator("secret")
    @classmethod
    def _hard_to_guess(cls, secret: SecretStr) -> SecretStr:
        if len(secret.get_secret_value()) < SHORTEST_SECRET:
            raise fault(f"is too short to keep anybody out; write at least {SHORTEST_SECRET} letters", show=False)
        return secret

    @property
    def where(self) -> str:
        """The host, without the path, which may be meant to stay private."""
        return urlsplit(self.url).netloc


class PostTable(Table):
    """Where the letter goes."""

    folder: FilePath | None = setting(
        None, "A folder that keeps each letter under its date; a relative path starts at this file.", example="letters"
    )
    pages: FilePath | None = setting(
        None,
        "A folder of plain pages, brought up to date after each letter: today, each bed's season, all letters.",
        example="pages",
    )
    log: Switch = setting(default=True, reason="Write the letter to the log as well.", basis="judgement")
    mail: MailTable | None = setting(None, "The mail: each recipient gets a letter of their own.")
    webhook: WebhookTable | None = setting(None, "A web address that gets each letter as JSON, signed.")
    mailbox: MailboxTable | None = setting(
        None, "The mailbox where answers to letters arrive; with it, letters carry links to answer by."
    )
    heartbeat: HeartbeatTable | None = setting(
        None, "A web address that is asked after each good run, so that someone else notices when none comes."
    )
    tell_failed_runs: Count = setting(
        3,
        "After so many runs in a row that did not end well, the webhook is told too, once a day.",
        "judgement",
        low=1,
        high=100,
    )
