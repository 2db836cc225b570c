"""One exchange with a server: redirects, retries and bounds, and every fault in plain words.

Apart from `http`, because `requests` takes long to import and a morning from the grower's own file asks nobody.
"""

from http.client import HTTPException
from ipaddress import ip_address
from queue import SimpleQueue
from ssl import SSLCertVerificationError
from time import monotonic
from urllib.parse import urljoin, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3 import Retry
from urllib3 import exceptions as urllib3_errors

from haulm.errors import SourceError, causes_of, in_one_line
from haulm.sources.http import TRY_LATER, Ask, Fetching, HostDownError, NotThereError, Reply, instant_of, too_slow

LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})
CHUNK_BYTES = 16 * 1024
REDIRECTS = frozenset({301, 302, 303, 307, 308})
ONLINE = "Check that this machine is online. If it is, there is nothing to do now: the next morning asks again."
CERTIFICATE = "Check this machine's date. If it is right, something stands between: do not go round it."
DAMAGED = "Nothing to do now: it is asked for again the next morning."
ENCRYPTED = "Only addresses that begin with https:// and lead outside are followed. Check the address in the settings."
ADDRESS = "Correct it in the settings."
CONTACT = "Write it in plain letters, in one line, in the settings."


class Exchange:
    """The session over which servers are asked."""

    def __init__(self, fetching: Fetching) -> None:
        self.fetching = fetching
        self._session = requests.Session()
        self._session.auth = _no_login
        self._session.headers["User-Agent"] = fetching.user_agent
        adapter = HTTPAdapter(max_retries=_retry(fetching))
        self._session.mount("https://", adapter)
        self._session.mount("http://", adapter)

    def close(self) -> None:
        """Let go of what connections are still open."""
        self._session.close()

    def answer(self, ask: Ask, deadline: float, outcome: "SimpleQueue[Reply | SourceError]") -> None:
        """Ask, and put what came of it into the queue: the reply, or the fault in plain words."""
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
                raise too_slow(ask, self.fetching.total_s)
        return bytes(body)


def _no_login(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """Keep requests from adding a password for that server which it finds in the home folder."""
    return request


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
    """The address, if it may be asked: encrypted, or on this machine. Some are named by a server and not by us."""
    parts = urlsplit(ask.url)
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        shown = in_one_line(ask.url)
        raise SourceError(f'"{shown}" is not a web address', where=ask.what, remedy="Correct it in the settings.")
    if parts.scheme == "http" and parts.hostname not in LOOPBACK:
        raise SourceError(f"{in_one_line(ask.url)} is not encrypted: not asked", where=ask.what, remedy=ENCRYPTED)
    return ask.url


def _next_address(url: str, location: str, ask: Ask) -> str:
    """Where a redirect leads, if it may be followed: to https, or within a loopback host."""
    target = urljoin(url, location) if location else ""
    here, there = urlsplit(url), urlsplit(target)
    at_home = here.scheme == there.scheme == "http" and here.hostname == there.hostname and here.hostname in LOOPBACK
    inside = _is_inside(there.hostname or "") and there.hostname != here.hostname
    if there.hostname and not inside and (there.scheme == "https" or at_home):
        return target
    raise SourceError(
        f"sent on to {in_one_line(target, 120) or 'nowhere'}, which is not followed", where=ask.where, remedy=ENCRYPTED
    )


def _is_inside(host: str) -> bool:
    """Whether a host is, by its name alone, this machine or one of its own network: no service sends us there."""
    try:
        return not ip_address(host).is_global
    except ValueError:
        return host.casefold() in LOOPBACK


def _is_page(response: requests.Response, body: bytes) -> bool:
    start = body[:64].lstrip().lower()
    kind = response.headers.get("Content-Type", "").lower()
    return start.startswith((b"<!doctype", b"<html")) or (kind.startswith("text/html") and start.startswith(b"<"))


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
    return HostDownError(f"no connection: {in_one_line(str(causes[-1]), 200)}", where=ask.where, remedy=ONLINE)


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
