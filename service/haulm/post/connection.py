"""What a connection to a web address can come to, in plain words; and that no password is lent to it."""

import socket
import ssl
from http.client import HTTPException
from typing import TYPE_CHECKING

from haulm.errors import causes_of

if TYPE_CHECKING:
    import requests

AGAIN = "Nothing to do now: the next run tries again."
_ONLINE = "Check the address in the settings, and that this machine is online. The next run tries again."
_CERTIFICATE = (
    "Check this machine's date and the address in the settings. A server of your own needs a cafile beside it. "
    "Nothing was sent."
)


def no_login(request: "requests.PreparedRequest") -> "requests.PreparedRequest":
    """Keep requests from adding a password it finds in the home folder: what tells who we are is in the settings."""
    return request


def of_the_connection(fault: Exception, patience_s: float) -> tuple[str, str]:
    """What went wrong on the way, and what to do; `patience_s` is the silence that was allowed."""
    import requests  # noqa: PLC0415  as in the webhook

    causes = causes_of(fault)
    slow = f"no answer in time ({patience_s:g} s of silence, or slower than that)"
    meanings: tuple[tuple[type[BaseException], str, str], ...] = (
        (ssl.SSLCertVerificationError, "the server's certificate does not verify", _CERTIFICATE),
        (ssl.SSLError, "no secure connection could be made", _CERTIFICATE),
        (requests.exceptions.SSLError, "no secure connection could be made", _CERTIFICATE),
        (socket.gaierror, "the name of the server is not known", _ONLINE),
        (requests.Timeout, slow, AGAIN),
        (TimeoutError, slow, AGAIN),
        (ConnectionRefusedError, "connection refused: nothing listens there", _ONLINE),
        (HTTPException, "the connection was lost, or the answer was not HTTP", AGAIN),
        (ConnectionError, "the connection was lost", AGAIN),
    )
    for kind, what, remedy in meanings:
        if any(isinstance(cause, kind) for cause in causes):
            return what, remedy
    return f"no connection: {type(causes[-1]).__name__}", _ONLINE
