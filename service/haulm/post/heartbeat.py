"""A sign of life: one web address asked after each good run, so that somebody else notices when none comes.

It is a plain GET with nothing in it: no letter, no garden. What comes back is read no further than its status, no
redirect is followed, and one failed try is made good by a second.
"""

from http.client import HTTPException

from haulm import __version__
from haulm.errors import DeliveryError
from haulm.patience import within
from haulm.post.connection import no_login, of_the_connection
from haulm.settings.heartbeat_form import HeartbeatTable
from haulm.steps import Step, marked

TRIES = 2
PATIENCE = 2  # the whole exchange gets so many times the silence that is allowed
_REMEDY = "Check post.heartbeat.url; the next good run tries again."


def beat(heartbeat: HeartbeatTable) -> None:
    """Ask the address once, and once more if that fails.

    Raises
    ------
    DeliveryError
        Neither try came through.
    """
    for left in reversed(range(TRIES)):
        try:
            with marked(Step.HEARTBEAT_SENT):
                _ask(heartbeat)
        except DeliveryError:
            if not left:
                raise
        else:
            return


def _ask(heartbeat: HeartbeatTable) -> None:
    try:
        status = within(PATIENCE * heartbeat.timeout_seconds, lambda: _get(heartbeat))
    except (OSError, HTTPException, UnicodeError) as fault:
        what, _ = of_the_connection(fault, heartbeat.timeout_seconds)
        raise DeliveryError(what, where=heartbeat.where, remedy=_REMEDY) from None  # the cause may hold the address
    if not 200 <= status < 300:
        raise DeliveryError(f"the server answered {status}", where=heartbeat.where, remedy=_REMEDY)


def _get(heartbeat: HeartbeatTable) -> int:
    import requests  # noqa: PLC0415  as in the webhook

    with requests.get(
        heartbeat.url.get_secret_value(),
        headers={"User-Agent": f"haulm/{__version__}"},
        timeout=heartbeat.timeout_seconds,
        allow_redirects=False,
        stream=True,
        auth=no_login,
    ) as answer:
        return answer.status_code
