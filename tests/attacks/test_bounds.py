"""Everything that is read ends: in size, in time, in depth."""

import gzip
import imaplib
import socket
import sqlite3
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from haulm.errors import DeliveryError, SettingsError, SourceError
from haulm.garden import Place
from haulm.post import mailbox
from haulm.post.mail import MailDoor
from haulm.post.own_words import own_lines
from haulm.settings.load import parse, read_text
from haulm.settings.post_form import MailTable
from haulm.sources import meteostat_places, own_file
from haulm.sources.http import Ask, Fetching, Http
from haulm.sources.meteostat_text import unpack
from haulm.sources.payload import read_json
from haulm.store.journal_file import read_journal
from haulm.units import Display

QUICK = Fetching(contact="grower@brackenford.example", connect_s=2, read_s=2, total_s=2, retries=0, byte_cap=100_000)
MB = 1024 * 1024
DEEP = 100_000


def told(serve: Callable[..., int], answer: Callable[[socket.socket], None]) -> str:
    def script(connection: socket.socket) -> None:
        connection.recv(4096)
        answer(connection)

    with Http(QUICK) as http, pytest.raises(SourceError) as caught:
        http.get(Ask(f"http://127.0.0.1:{serve(script)}/days", "days"))
    return caught.value.what


def without_end(chunk: bytes, *, first: bytes = b"", pause_s: float = 0.0) -> Callable[[socket.socket], None]:
    def answer(connection: socket.socket) -> None:
        connection.sendall(first)
        while True:
            connection.sendall(chunk)
            time.sleep(pause_s)

    return answer


@pytest.mark.parametrize(
    ("answer", "what"),
    [
        (without_end(b"x" * 65536, first=b"HTTP/1.1 200 OK\r\n\r\n"), "longer than 100000 bytes"),
        (without_end(b"X: y\r\n", first=b"HTTP/1.1 200 OK\r\n"), "the connection broke off"),
        (without_end(b"y" * 65536, first=b"HTTP/1.1 200 OK\r\nX: "), "the connection broke off"),
        (without_end(b"HTTP/1.1 100 Continue\r\n\r\n"), "timed out after 2 s"),
        (without_end(b"H", pause_s=0.1), "timed out after 2 s"),
        (without_end(b"x", first=b"HTTP/1.1 200 OK\r\n\r\n", pause_s=0.1), "timed out after 2 s"),
    ],
    ids=["body", "headers", "header", "continue", "slow head", "slow body"],
)
def test_an_answer_without_an_end_ends(
    serve: Callable[..., int], answer: Callable[[socket.socket], None], what: str
) -> None:
    begun = time.monotonic()
    assert what in told(serve, answer)
    assert time.monotonic() - begun < 8


def test_a_packed_body_does_not_grow_beyond_its_bound(serve: Callable[..., int]) -> None:
    bomb = gzip.compress(bytes(20 * MB))
    head = f"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: {len(bomb)}\r\n\r\n".encode()
    assert "longer than 100000 bytes" in told(serve, lambda connection: connection.sendall(head + bomb))


def test_a_packed_file_does_not_grow_beyond_its_bound() -> None:
    bomb = gzip.compress(b"year," + bytes(200 * MB))
    tracemalloc.start()
    with pytest.raises(SourceError, match="given up"):
        unpack(bomb, "days")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 60 * MB


@pytest.mark.parametrize("text", ["[" * DEEP, '{"a":' * DEEP, "[" * DEEP + "]" * DEEP, "9" * DEEP])
def test_json_without_a_bottom_is_one_sources_fault(text: str) -> None:
    with pytest.raises(SourceError):
        read_json(text.encode(), "days")


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, ".".join("a" * 20_000) + " = 1", "a = { " + "a . " * 900])
def test_settings_without_a_bottom_are_a_fault_of_the_settings(text: str) -> None:
    begun = time.monotonic()
    with pytest.raises(SettingsError):
        parse(text, Path("garden.toml"))
    assert time.monotonic() - begun < 15


def test_settings_as_long_as_a_disk_are_no_settings(tmp_path: Path) -> None:
    with (tmp_path / "garden.toml").open("wb") as stream:
        stream.truncate(3_000_000_000)
    with pytest.raises(SettingsError, match="no settings file"):
        read_text(tmp_path / "garden.toml")


def test_an_own_weather_file_is_bounded(tmp_path: Path) -> None:
    with (tmp_path / "days.csv").open("wb") as stream:
        stream.truncate(3_000_000_000)
    with pytest.raises(SourceError):
        own_file.fetch(tmp_path / "days.csv")
    with pytest.raises(SourceError):
        own_file.fetch(Path("/dev/zero"))


def test_a_journal_line_without_a_bottom_costs_that_line(tmp_path: Path) -> None:
    (tmp_path / "journal").write_text("[" * DEEP + "\n")
    _, complaints = read_journal(tmp_path / "journal")
    assert [one.line for one in complaints] == [1]


def nested(depth: int) -> bytes:
    return b"".join(b'Content-Type: multipart/mixed; boundary="b%d"\n\n--b%d\n' % (n, n) for n in range(depth))


@pytest.mark.parametrize(
    "raw",
    [
        nested(4000),
        b"Content-Type: message/rfc822\n\n" * 8000,
        b"Content-Type: text/html\n\n" + b"<div>" * 40_000,
        b"Content-Type: text/html\n\n" + b"<!--" * 40_000,
        b"Content-Type: text/plain; charset=utf-8\n\n" + b">" * 200_000,
    ],
    ids=["parts in parts", "mails in mails", "tags in tags", "comments", "quotes"],
)
def test_a_mail_without_a_bottom_holds_no_words_and_stops_nothing(raw: bytes) -> None:
    begun = time.monotonic()
    text = mailbox._own_words(own_lines, raw[: mailbox.LARGEST_BYTES])
    assert isinstance(text, str)
    assert time.monotonic() - begun < 15


class _Imap:
    """What `_header` asks of a server: a header as long as its sender pleases."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw

    def uid(self, command: str, uid: str, what: str) -> tuple[str, list[tuple[bytes, bytes]]]:
        most = int(what.rpartition("<0.")[2].partition(">")[0]) if "<0." in what else None
        return "OK", [(b"1", self.raw[:most])]


def test_a_sender_of_very_many_names_does_not_keep_us_busy() -> None:
    """Anybody can send it; at its full length its reading took 40 seconds, and the same again each morning."""
    raw = b"From: " + b"a@b.example, " * 80_000 + b"\nDate: Tue, 4 May 2027 06:00:00 +0000\nMessage-ID: <a@b>\n\n"
    begun = time.monotonic()
    assert mailbox._header(_Imap(raw), 1) is None  # type: ignore[arg-type]
    assert time.monotonic() - begun < 10


def test_a_mail_server_that_never_ends_its_answer_is_left(serve: Callable[..., int]) -> None:
    port = serve(without_end(b"220-" + b"a" * 90 + b"\r\n"))
    plain = {"host": "127.0.0.1", "port": port, "security": "none", "sender": "a@b.example", "timeout_seconds": 2}
    tracemalloc.start()
    with pytest.raises(DeliveryError, match="connection was lost"):
        MailDoor(MailTable.model_validate(plain)).probe()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5 * MB


@pytest.mark.parametrize(
    "line", [b"* OK " + b"a" * 90 + b"\r\n", b"* 1 FETCH (BODY[] {99999999999}\r\n"], ids=["lines", "one announced"]
)
def test_a_mailbox_server_that_sends_without_end_is_left(serve: Callable[..., int], line: bytes) -> None:
    port = serve(without_end(line, first=b"* OK ready\r\n"))

    class Server(mailbox._Server):
        _left = MB

    begun = time.monotonic()
    with pytest.raises(imaplib.IMAP4.abort, match="far more than was asked for"):
        Server("127.0.0.1", port, timeout=5).noop()
    assert time.monotonic() - begun < 5


def test_a_list_of_stations_that_asks_for_endless_work_is_left(tmp_path: Path) -> None:
    path = tmp_path / "stations.db"
    with sqlite3.connect(path) as made:
        made.execute("CREATE TABLE stations(id, country, region, latitude, longitude, elevation, timezone)")
        made.execute("CREATE TABLE names(station, language, name)")
        made.executemany("INSERT INTO stations VALUES ('a', '', '', 51.1, -1.0, 1, '')", [()] * 1000)
        made.executemany("INSERT INTO names VALUES ('a', 'en', ?)", [("x",)] * 1000)
    made.close()
    place = Place("Brackenford", 51.1, -1.0, 84.6, "Europe/London", Display.METRIC, 1.0)
    begun = time.monotonic()
    with pytest.raises(SourceError, match="in good time"):
        meteostat_places._searched(path, lambda: meteostat_places._within(path, place, 50.0, 5), 0.3)
    assert time.monotonic() - begun < 5
