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
from datetime import datetime
from http.client import HTTPException, responses

from haulm import __version__
from haulm.errors import DeliveryError
from haulm.patience import within
from haulm.post.connection import AGAIN, no_login, of_the_connection
from haulm.settings.post_form import WebhookTable
from haulm.steps import Step, marked

# A server may be silent for `timeout_seconds`; the whole exchange gets this many times as long.
PATIENCE = 4
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
        what, remedy = of_the_connection(fault, webhook.timeout_seconds)
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
    import requests  # noqa: PLC0415  50 ms that only who has a webhook should pay

    with requests.post(
        webhook.url,
        data=body,
        headers=headers,
        timeout=webhook.timeout_seconds,
        allow_redirects=False,
        stream=True,
        verify=str(webhook.cafile) if webhook.cafile else True,
        auth=no_login,
    ) as answer:
        return answer.status_code


def _judge(status: int, webhook: WebhookTable) -> None:
    if 200 <= status < 300:
        return
    told = f"{status} {responses.get(status, '')}".strip()
    if 300 <= status < 400:
        what, remedy = f"sent on to another address ({told})", "Write the address that it means in post.webhook.url."
    elif status >= 500:
        what, remedy = f"the server is in trouble ({told})", AGAIN
    elif status in {401, 403}:
        what, remedy = f"the server does not accept our signature ({told})", "Check that both sides share one secret."
    elif status in {404, 410}:
        what, remedy = f"nothing takes letters there ({told})", "Check post.webhook.url."
    else:
        what, remedy = f"the server refused the letter ({told})", "Its own log may tell why."
    later = not 400 <= status < 500 or status in _MAY_MEND
    raise DeliveryError(what, where=webhook.where, remedy=remedy, later=later)
