"""The part of the settings file that names who is told after each good run."""

from urllib.parse import urlsplit

from pydantic import SecretStr, field_validator

from haulm.settings.quantities import DayCount, FilePath, Seconds
from haulm.settings.table import Table, setting
from haulm.settings.web_address import private_address


class HeartbeatTable(Table):
    """A web address that is asked, with nothing in the request, after each run that ended well."""

    url: SecretStr = setting(
        ...,
        "The address; https, or http on this machine. It often holds a token, so it is kept like a password: better "
        "in url_file, in HAULM_POST__HEARTBEAT__URL, or as the systemd credential post.heartbeat.url.",
        example="https://alive.example.org/token",
        missing="is missing: write url_file, a file with the address and nothing else",
    )
    url_file: FilePath | None = setting(
        None,
        "A file that holds the address and nothing else; a relative path starts at this file.",
        example="heartbeat-url",
    )
    timeout_seconds: Seconds = setting(
        10, "How long its server may be silent; the letter has gone before.", "judgement", low=1, high=60
    )
    tell_after_days: DayCount = setting(
        3, "The letter says so when it could not be reached for longer than this.", "judgement", low=1, high=60
    )

    @field_validator("url")
    @classmethod
    def _kept_private(cls, url: SecretStr) -> SecretStr:
        private_address(url.get_secret_value(), "https://alive.example.org/token", show=False)
        return url

    @property
    def where(self) -> str:
        """The host, without the path, which may hold a token."""
        return urlsplit(self.url.get_secret_value()).netloc
