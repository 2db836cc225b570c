"""The one way out to the network: every request is named, timed and bounded, and fails with a plain reason."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from queue import Empty, SimpleQueue
from threading import Thread
from time import monotonic
from types import TracebackType
from typing import TYPE_CHECKING, Self
from urllib.parse import urlsplit

from haulm import __version__
from haulm.errors import SourceError

if TYPE_CHECKING:
    from haulm.sources.exchange import Exchange

FAILURES_IN_A_ROW = 2
TRY_LATER = "Nothing to do now: the next morning asks again."


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
        self._exchange: Exchange | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._exchange is not None:
            self._exchange.close()

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
        Thread(target=self._opened().answer, args=(ask, deadline, outcome), daemon=True).start()
        try:
            result = outcome.get(timeout=self.fetching.total_s)
        except Empty:
            raise too_slow(ask, self.fetching.total_s) from None
        if isinstance(result, SourceError):
            raise result
        return result

    def _opened(self) -> "Exchange":
        if self._exchange is None:
            from haulm.sources.exchange import Exchange  # noqa: PLC0415  50 ms that only who asks a server should pay

            self._exchange = Exchange(self.fetching)
        return self._exchange


def instant_of(header: str) -> datetime | None:
    """The instant that an HTTP date gives; None where it gives none (RFC 9110: treat "0" as already past)."""
    try:
        instant = parsedate_to_datetime(header)
    except (ValueError, TypeError):
        return None
    return instant.replace(tzinfo=UTC) if instant.tzinfo is None else instant


def too_slow(ask: Ask, seconds: float) -> HostDownError:
    """A server that took longer than the whole of its time."""
    return HostDownError(f"timed out after {seconds:g} s", where=ask.where, remedy=TRY_LATER)
