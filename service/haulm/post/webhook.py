"""The letter posted to a web address as JSON, signed with a secret that the receiver shares.

What a receiver gets, with HTTP POST:

    body               the letter as JSON, in UTF-8; its form and its `version` are told in `haulm.letter.as_json`
    Content-Type       application/json; charset=utf-8
    Haulm-Timestamp    seconds since 1970, UTC, when this try was made
    Haulm-Signature    HMAC-SHA256 in hex, under the shared secret, of the timestamp, a full stop and the body
    Haulm-Delivery     the same for every try of one letter: a receiver that has seen it drops the repeat

A receiver works the signature out again from what came, compares in constant time, and turns away a timestamp more
than some minutes old. It answers 2xx when it has the letter. Any answer is read no further than its status line and
headers, and no redirect is followed, since the letter was meant for that address alone.
"""

import hashlib
import hmac
import socket
import ssl
from datetime import datetime
from http.client import HTTPException, responses

import requests

from haulm import __version__
from haulm.errors import DeliveryError
from haulm.post.patience import within
from haulm.settings.post_form import WebhookTable
from haulm.steps import Step, marked

# A server may be silent for `timeout_seconds`; the whole exchange gets this many times as long.
PATIENCE = 4
_AGAIN = "Nothing to do now: the next run tries again."
_ONLINE = "Check post.webhook.url, and that this machine is online. The next run tries again."
_CERTIFICATE = (
    "Check this machine's date and post.webhook.url. A server of your own needs post.webhook.cafile. Nothing was sent."
)
# Refusals that a correction in the settings or at the receiver, or time, may mend.
_MAY_MEND = frozenset({401, 403, 404, 407, 408, 425, 429})


def post_letter(webhook: WebhookTable, body: str, delivery: str, now: datetime) -> None:
    """Post a letter's JSON as it is stored.

    Parameters
    ----------
    body
        The JSON text.
    delivery
        The id that stays with the letter through every try; plain ASCII.
    now
        The clock.

    Raises
    ------
    DeliveryError
        It was refused for good, or is to be tried again later.
    """
    if webhook.cafile is not None and not webhook.cafile.is_file():
        what, remedy = f"there is no file {webhook.cafile}", "Correct post.webhook.cafile."
        raise DeliveryError(what, where=webhook.where, remedy=remedy)
    raw = body.encode()
    headers = _headers(webhook, raw, delivery, now)
    try:
        with marked(Step.WEBHOOK_POSTED):
            status = within(PATIENCE * webhook.timeout_seconds, lambda: _post(webhook, raw, headers))
    except (OSError, HTTPException, UnicodeError) as fault:
        what, remedy = _of_the_connection(fault, webhook)
        raise DeliveryError(what, where=webhook.where, remedy=remedy) from fault
    _judge(status, webhook)


def sign(secret: str, timestamp: str, body: bytes) -> str:
    """The signature of a body: HMAC-SHA256 in hex of timestamp, full stop and body."""
    return hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def _headers(webhook: WebhookTable, body: bytes, delivery: str, now: datetime) -> dict[str, str]:
    timestamp = str(int(now.timestamp()))
    return {
        "Content-Type": "application/json; charset=utf-8",
        "User-Agent": f"haulm/{__version__}",
        "Haulm-Timestamp": timestamp,
        "Haulm-Signature": sign(webhook.secret.get_secret_value(), timestamp, body),
        "Haulm-Delivery": delivery,
    }


def _post(webhook: WebhookTable, body: bytes, headers: dict[str, str]) -> int:
    with requests.post(
        webhook.url,
        data=body,
        headers=headers,
        timeout=webhook.timeout_seconds,
        allow_redirects=False,
        stream=True,
        verify=str(webhook.cafile) if webhook.cafile else True,
        auth=_no_login,
    ) as answer:
        return answer.status_code


def _no_login(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """Keep requests from adding a password it finds in the home folder; the signature is all that tells who we are."""
    return request


def _judge(status: int, webhook: WebhookTable) -> None:
    if 200 <= status < 300:
        return
    told = f"{status} {responses.get(status, '')}".strip()
    if 300 <= status < 400:
        what, remedy = f"sent on to another address ({told})", "Write the address that it means in post.webhook.url."
    elif status >= 500:
        what, remedy = f"the server is in trouble ({told})", _AGAIN
    elif status in {401, 403}:
        what, remedy = f"the server does not accept our signature ({told})", "Check that both sides share one secret."
    elif status in {404, 410}:
        what, remedy = f"nothing takes letters there ({told})", "Check post.webhook.url."
    else:
        what, remedy = f"the server refused the letter ({told})", "Its own log may tell why."
    later = not 400 <= status < 500 or status in _MAY_MEND
    raise DeliveryError(what, where=webhook.where, remedy=remedy, later=later)


def _of_the_connection(fault: Exception, webhook: WebhookTable) -> tuple[str, str]:
    causes = _causes(fault)
    slow = f"no answer in time ({webhook.timeout_seconds} s of silence, or slower than that)"
    meanings: tuple[tuple[type[BaseException], str, str], ...] = (
        (ssl.SSLCertVerificationError, "the server's certificate does not verify", _CERTIFICATE),
        (ssl.SSLError, "no secure connection could be made", _CERTIFICATE),
        (requests.exceptions.SSLError, "no secure connection could be made", _CERTIFICATE),
        (socket.gaierror, "the name of the server is not known", _ONLINE),
        (requests.Timeout, slow, _AGAIN),
        (TimeoutError, slow, _AGAIN),
        (ConnectionRefusedError, "connection refused: nothing listens there", _ONLINE),
        (HTTPException, "the connection was lost, or the answer was not HTTP", _AGAIN),
        (ConnectionError, "the connection was lost", _AGAIN),
    )
    for kind, what, remedy in meanings:
        if any(isinstance(cause, kind) for cause in causes):
            return what, remedy
    return f"no connection: {causes[-1]}"[:200], _ONLINE


def _causes(fault: BaseException) -> list[BaseException]:
    """The fault and those inside it: requests wraps the true reason several times over."""
    found: list[BaseException] = []
    waiting: list[object] = [fault]
    while waiting:
        one = waiting.pop()
        if isinstance(one, BaseException) and one not in found:
            found.append(one)
            waiting += [one.__cause__, one.__context__, getattr(one, "reason", None), *one.args]
    return found
