"""The one way out to the network: every request is named, timed and bounded, and fails with a plain reason."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http.client import HTTPException
from queue import Empty, SimpleQueue
from ssl import SSLCertVerificationError
from threading import Thread
from time import monotonic
from types import TracebackType
from typing import Self
from urllib.parse import urljoin, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3 import Retry
from urllib3 import exceptions as urllib3_errors

from haulm import __version__
from haulm.errors import SourceError, causes_of

LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})
CHUNK_BYTES = 16 * 1024
FAILURES_IN_A_ROW = 2
REDIRECTS = frozenset({301, 302, 303, 307, 308})
TRY_LATER = "Nothing to do now: the next morning asks again."
ONLINE = "Check that this machine is online. If it is, there is nothing to do now: the next morning asks again."
CERTIFICATE = "Check this machine's date. If it is right, something stands between: do not go round it."
DAMAGED = "Nothing to do now: it is asked for again the next morning."
ADDRESS = "Correct it in the settings."
CONTACT = "Write it in plain letters, in one line, in the settings."


@dataclass(frozen=True, slots=True)
class Endpoints:
    """Where each source is asked. Another address is a mirror's, or a test's."""

    meteostat_daily: str = "https://data.meteostat.net/daily/{year}/{station}.csv.gz"
    meteostat_hourly: str = "https://data.meteostat.net/hourly/{year}/{station}.csv.gz"
    meteostat_station: str = "https://data.meteostat.net/stations/{station}.json"
    meteostat_stations: str = "https://data.meteostat.net/stations.db"
    met_norway: str = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
    nws_points: str = "https://api.weather.gov/points/{latitude},{longitude}"
    ncei: str = "https://www.ncei.noaa.gov/access/services/data/v1"


@dataclass(frozen=True, slots=True)
class Fetching:
    """How patiently and how much is fetched; times in seconds.

    `contact` is the address that the services ask every program to give, from the settings. `total_s` bounds one
    request with its name look-up, redirects, retries and waits; `byte_cap` bounds the body after unpacking.
    """

    contact: str = ""
    connect_s: float = 10.0
    read_s: float = 30.0
    total_s: float = 120.0
    byte_cap: int = 32 * 1024 * 1024
    retries: int = 4
    retry_wait_s: float = 1.0
    retry_after_max_s: int = 30
    redirects: int = 3

    @property
    def user_agent(self) -> str:
        """How haulm names itself to a server."""
        return f"haulm/{__version__} {self.contact}".strip()


@dataclass(frozen=True, slots=True)
class Ask:
    """One request: `what` names it to a person, `since` is a Last-Modified exactly as it was received."""

    url: str
    what: str
    params: Mapping[str, str] = field(default_factory=dict)
    since: str = ""

    @property
    def where(self) -> str:
        """What is asked for, and of whom."""
        return f"{self.what} ({urlsplit(self.url).hostname or self.url})"


@dataclass(frozen=True, slots=True)
class Reply:
    """What came."""

    body: bytes
    status: int = 200
    last_modified: str = ""
    expires: datetime | None = None

    @property
    def unchanged(self) -> bool:
        """Whether the server holds what we hold; then the body is empty."""
        return self.status == 304


class NotThereError(SourceError):
    """The server was reached and has no such thing."""


class HostDownError(SourceError):
    """The server could not be reached, or is in trouble: asking it for more is of no use now."""


class Http:
    """The one session; open it with `with`.

    A server that could not be reached twice running is not asked for anything else: ten files of a silent server would
    cost a morning ten times its patience. `asked` counts the requests that went out.
    """

    def __init__(self, fetching: Fetching) -> None:
        self.fetching = fetching
        self.asked = 0
        self._failed: dict[str, list[HostDownError]] = {}
        self._session = requests.Session()
        self._session.headers["User-Agent"] = fetching.user_agent
        adapter = HTTPAdapter(max_retries=_retry(fetching))
        self._session.mount("https://", adapter)
        self._session.mount("http://", adapter)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._session.close()

    def get(self, ask: Ask) -> Reply:
        """Fetch one thing.

        The request runs in a thread of its own: a name look-up that hangs, or a server that sends its headers one
        byte at a time, obeys no timeout of a socket, and a morning must not wait for it.

        Raises
        ------
        SourceError
            It could not be had, with what happened; `NotThereError` if the server says that there is none.
        """
        host = urlsplit(ask.url).netloc
        failed = self._failed.setdefault(host, [])
        if len(failed) >= FAILURES_IN_A_ROW:
            told = f"not asked again, since it failed {FAILURES_IN_A_ROW} times: {failed[-1].what}"
            raise HostDownError(told, where=ask.where, remedy=failed[-1].remedy)
        self.asked += 1
        try:
            reply = self._get(ask)
        except HostDownError as fault:
            failed.append(fault)
            raise
        failed.clear()
        return reply

    def _get(self, ask: Ask) -> Reply:
        outcome: SimpleQueue[Reply | SourceError] = SimpleQueue()
        deadline = monotonic() + self.fetching.total_s
        Thread(target=self._answer, args=(ask, deadline, outcome), daemon=True).start()
        try:
            result = outcome.get(timeout=self.fetching.total_s)
        except Empty:
            raise _too_slow(ask, self.fetching.total_s) from None
        if isinstance(result, SourceError):
            raise result
        return result

    def _answer(self, ask: Ask, deadline: float, outcome: "SimpleQueue[Reply | SourceError]") -> None:
        try:
            outcome.put(self._follow(ask, deadline))
        except SourceError as known:
            outcome.put(known)
        except (requests.RequestException, urllib3_errors.HTTPError, HTTPException, OSError, ValueError) as error:
            told = _failure(error, ask, self.fetching)
            told.__cause__ = error
            outcome.put(told)
        finally:
            # Only the first outcome is read; this one keeps a fault of our own from looking like a slow server.
            outcome.put(SourceError("the request ended in a fault of haulm itself", where=ask.where))

    def _follow(self, ask: Ask, deadline: float) -> Reply:
        url, params = _first_address(ask), ask.params
        headers = {"If-Modified-Since": ask.since} if ask.since else {}
        timeout = (self.fetching.connect_s, self.fetching.read_s)
        for _ in range(self.fetching.redirects + 1):
            with self._session.get(
                url, params=params, headers=headers, timeout=timeout, stream=True, allow_redirects=False
            ) as response:
                if response.status_code not in REDIRECTS:
                    return self._read(response, ask, deadline)
                url, params = _next_address(url, response.headers.get("Location", ""), ask), {}
        raise SourceError(f"sent on to another address more than {self.fetching.redirects} times", where=ask.where)

    def _read(self, response: requests.Response, ask: Ask, deadline: float) -> Reply:
        last_modified = response.headers.get("Last-Modified", "")
        expires = instant_of(response.headers.get("Expires", ""))
        if response.status_code == 304 and ask.since:
            return Reply(b"", 304, last_modified, expires)
        if response.status_code not in {200, 203}:
            raise _refusal(response.status_code, ask, self.fetching)
        body = self._body(response, ask, deadline)
        if _is_page(response, body):
            raise SourceError(
                "a web page came instead of data",
                where=ask.where,
                remedy="Something between here and the server answers for it, such as a network's login page.",
            )
        return Reply(body, response.status_code, last_modified, expires)

    def _body(self, response: requests.Response, ask: Ask, deadline: float) -> bytes:
        cap = self.fetching.byte_cap
        declared = response.headers.get("Content-Length", "")
        if declared.isdigit() and int(declared) > cap:
            raise _too_long(ask, cap)
        body = bytearray()
        for chunk in response.iter_content(CHUNK_BYTES):
            body += chunk
            if len(body) > cap:
                raise _too_long(ask, cap)
            if monotonic() > deadline:
                raise _too_slow(ask, self.fetching.total_s)
        return bytes(body)


def instant_of(header: str) -> datetime | None:
    """The instant that an HTTP date gives; None where it gives none (RFC 9110: treat "0" as already past)."""
    try:
        instant = parsedate_to_datetime(header)
    except (ValueError, TypeError):
        return None
    return instant.replace(tzinfo=UTC) if instant.tzinfo is None else instant


def _retry(fetching: Fetching) -> Retry:
    return Retry(
        total=fetching.retries,
        status_forcelist=(429, 500, 502, 503, 504),
        allowed_methods=frozenset({"GET", "HEAD"}),
        backoff_factor=fetching.retry_wait_s,
        retry_after_max=fetching.retry_after_max_s,
        raise_on_status=False,
    )


def _first_address(ask: Ask) -> str:
    parts = urlsplit(ask.url)
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        raise SourceError(f'"{ask.url}" is not a web address', where=ask.what, remedy="Correct it in the settings.")
    return ask.url


def _next_address(url: str, location: str, ask: Ask) -> str:
    """Where a redirect leads, if it may be followed: to https, or within a loopback host."""
    target = urljoin(url, location) if location else ""
    here, there = urlsplit(url), urlsplit(target)
    at_home = here.scheme == there.scheme == "http" and here.hostname == there.hostname and here.hostname in LOOPBACK
    if there.hostname and (there.scheme == "https" or at_home):
        return target
    raise SourceError(
        f"sent on to {target or 'nowhere'}, which is not followed",
        where=ask.where,
        remedy="Only addresses that begin with https:// are followed. Check the address in the settings.",
    )


def _is_page(response: requests.Response, body: bytes) -> bool:
    start = body[:64].lstrip().lower()
    kind = response.headers.get("Content-Type", "").lower()
    return start.startswith((b"<!doctype", b"<html")) or (kind.startswith("text/html") and start.startswith(b"<"))


def _too_slow(ask: Ask, seconds: float) -> HostDownError:
    return HostDownError(f"timed out after {seconds:g} s", where=ask.where, remedy=TRY_LATER)


def _too_long(ask: Ask, cap: int) -> SourceError:
    return SourceError(
        f"the answer is longer than {cap} bytes, far more than this kind of file has: given up", where=ask.where
    )


def _refusal(status: int, ask: Ask, fetching: Fetching) -> SourceError:
    if status in {404, 410}:
        return NotThereError(f"not there ({status})", where=ask.where)
    if status in {401, 403}:
        contact = f'"{fetching.contact}"' if fetching.contact else "none"
        remedy = f"The service wants a contact address (the settings give {contact}), or has blocked this one."
        return SourceError(f"refused ({status})", where=ask.where, remedy=remedy)
    tries = f", after {fetching.retries + 1} tries" if fetching.retries else ""
    if status == 429:
        return HostDownError(
            f"asked too often (429){tries}", where=ask.where, remedy="Wait an hour before asking again."
        )
    if status >= 500:
        return HostDownError(f"the server is in trouble ({status}){tries}", where=ask.where, remedy=TRY_LATER)
    return SourceError(f"unexpected answer ({status})", where=ask.where, remedy="Check the place and the address.")


def _failure(error: Exception, ask: Ask, fetching: Fetching) -> SourceError:
    """What a fault of the connection means to a person."""
    causes = causes_of(error)
    for kinds, what, remedy in _meanings(fetching):
        if any(isinstance(cause, kinds) for cause in causes):
            kind = SourceError if remedy in _NOT_THE_SERVER else HostDownError
            return kind(what, where=ask.where, remedy=remedy)
    return HostDownError(f"no connection: {causes[-1]}"[:200], where=ask.where, remedy=ONLINE)


# These say nothing about the server: another file of it may well come.
_NOT_THE_SERVER = frozenset({CONTACT, ADDRESS, DAMAGED})


def _meanings(fetching: Fetching) -> tuple[tuple[tuple[type[BaseException], ...], str, str], ...]:
    """The kinds of fault with their words, the narrower kind before the wider one."""
    silence = f"timed out after {fetching.read_s:g} s of silence"
    no_connection = f"timed out after {fetching.connect_s:g} s, with no connection"
    damaged = (urllib3_errors.IncompleteRead, urllib3_errors.DecodeError, requests.exceptions.ContentDecodingError)
    return (
        ((urllib3_errors.NameResolutionError,), "the name of the server is not known", ONLINE),
        ((SSLCertVerificationError,), "the server's certificate does not verify", CERTIFICATE),
        ((urllib3_errors.SSLError, requests.exceptions.SSLError), "no secure connection could be made", CERTIFICATE),
        ((ConnectionRefusedError,), "connection refused", ONLINE),
        ((urllib3_errors.ReadTimeoutError, requests.ReadTimeout), silence, TRY_LATER),
        ((requests.ConnectTimeout, TimeoutError), no_connection, TRY_LATER),
        (damaged, "the answer broke off or came damaged", DAMAGED),
        ((requests.exceptions.InvalidHeader, UnicodeEncodeError), "the contact address cannot be sent", CONTACT),
        ((requests.exceptions.InvalidURL,), "the address cannot be read", ADDRESS),
        ((ConnectionResetError, BrokenPipeError, HTTPException), "the connection broke off", TRY_LATER),
    )
