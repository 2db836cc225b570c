"""The one session: every status, every way a server can misbehave, and what a person is told of it."""

import gzip
import json
import socket
import ssl
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler
from pathlib import Path

import pytest
import requests
import responses
import trustme

from haulm.errors import SourceError
from haulm.sources.http import Ask, Fetching, Http, NotThereError, instant_of
from haulm.sources.payload import read_json, unexpected
from haulm.sources.spool import Access, Wanted, kept, obtain

URL = "https://weather.brackenford.example/days.json"
QUICK = Fetching(contact="grower@brackenford.example", connect_s=0.3, read_s=0.3, total_s=0.8, retries=0)
Serve = Callable[..., str]


def fetched(url: str, fetching: Fetching = QUICK, **more: str) -> bytes:
    with Http(fetching) as http:
        return http.get(Ask(url, "days", **more)).body  # type: ignore[arg-type]


def told(url: str, fetching: Fetching = QUICK) -> SourceError:
    with pytest.raises(SourceError) as caught:
        fetched(url, fetching)
    assert caught.value.where.startswith("days (")
    return caught.value


@pytest.fixture
def mocked() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock() as mock:
        yield mock


@pytest.mark.parametrize(
    ("status", "what"),
    [
        (404, "not there (404)"),
        (410, "not there (410)"),
        (401, "refused (401)"),
        (403, "refused (403)"),
        (429, "asked too often (429)"),
        (500, "the server is in trouble (500)"),
        (503, "the server is in trouble (503)"),
        (418, "unexpected answer (418)"),
        (204, "unexpected answer (204)"),
        (304, "unexpected answer (304)"),
    ],
)
def test_each_status_has_its_own_words(mocked: responses.RequestsMock, status: int, what: str) -> None:
    mocked.get(URL, status=status)
    error = told(URL)
    assert error.what == what
    assert error.where == "days (weather.brackenford.example)"
    assert isinstance(error, NotThereError) == (status in {404, 410})


def test_a_refusal_names_the_contact_that_was_given(mocked: responses.RequestsMock) -> None:
    mocked.get(URL, status=403)
    assert '"grower@brackenford.example"' in told(URL).remedy
    assert "(the settings give none)" in told(URL, Fetching(retries=0)).remedy


def test_every_request_says_who_asks(mocked: responses.RequestsMock) -> None:
    mocked.get(URL, body=b"{}")
    fetched(URL)
    agent = mocked.calls[0].request.headers["User-Agent"]
    assert agent.startswith("haulm/")
    assert agent.endswith(" grower@brackenford.example")


@pytest.mark.parametrize("contact", ["two\nlines@brackenford.example", "gärtner@brackenford.example\u2603"])
def test_a_contact_that_cannot_be_sent_is_told(serve: Serve, contact: str) -> None:
    address = serve(lambda handler, over: handler.send_error(500))
    assert told(address, Fetching(contact=contact, retries=0)).what == "the contact address cannot be sent"


def test_trouble_is_tried_again_and_a_refusal_is_not(mocked: responses.RequestsMock) -> None:
    patient = Fetching(retries=2, retry_wait_s=0.0)
    mocked.get(URL, status=503)
    mocked.get(URL, status=503)
    mocked.get(URL, body=b"{}")
    assert fetched(URL, patient) == b"{}"
    mocked.reset()
    mocked.get(URL, status=500)
    assert told(URL, patient).what == "the server is in trouble (500), after 3 tries"
    assert len(mocked.calls) == 3
    mocked.reset()
    mocked.get(URL, status=403)
    told(URL, patient)
    assert len(mocked.calls) == 1


def test_a_server_cannot_make_us_wait_for_an_hour(serve: Serve) -> None:
    asked: list[float] = []

    def busy(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        asked.append(time.monotonic())
        handler.send_response(503)
        handler.send_header("Retry-After", "3600")
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    patient = Fetching(retries=1, retry_wait_s=0.0, retry_after_max_s=0, total_s=2.0)
    assert told(serve(busy), patient).what == "the server is in trouble (503), after 2 tries"
    assert asked[1] - asked[0] < 0.5


def test_a_page_instead_of_data_is_told(mocked: responses.RequestsMock) -> None:
    mocked.get(URL, body=b"\n <!DOCTYPE html><title>Welcome to the guest network</title>", content_type="text/html")
    assert told(URL).what == "a web page came instead of data"


def test_data_that_is_called_html_is_still_data(mocked: responses.RequestsMock) -> None:
    mocked.get(URL, body=b'{"a": 1}', content_type="text/html")
    assert fetched(URL) == b'{"a": 1}'


@pytest.mark.parametrize(
    ("raised", "what"),
    [
        (requests.exceptions.SSLError("[SSL: WRONG_VERSION_NUMBER]"), "no secure connection could be made"),
        (requests.exceptions.ConnectTimeout("slow"), "timed out after 0.3 s, with no connection"),
        (requests.exceptions.ReadTimeout("slow"), "timed out after 0.3 s of silence"),
        (requests.exceptions.ConnectionError(ConnectionResetError(104, "reset")), "the connection broke off"),
        (requests.exceptions.ContentDecodingError("bad"), "the answer broke off or came damaged"),
    ],
)
def test_each_fault_of_the_connection_has_its_own_words(
    mocked: responses.RequestsMock, raised: Exception, what: str
) -> None:
    mocked.get(URL, body=raised)
    error = told(URL)
    assert error.what == what
    assert error.__cause__ is raised
    assert error.remedy


@pytest.mark.parametrize("url", ["ftp://brackenford.example/x", "days.json", "https:///x", "file:///etc/hostname"])
def test_what_is_no_web_address_is_told(url: str) -> None:
    with pytest.raises(SourceError, match="is not a web address"):
        fetched(url)


def test_a_name_that_is_not_known_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(*args: object, **more: object) -> list[object]:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    assert told("https://weather.brackenford.example/x").what == "the name of the server is not known"


def test_a_refused_connection_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        assert told(f"http://127.0.0.1:{taken.getsockname()[1]}/x").what == "connection refused"


def test_a_certificate_that_does_not_verify_is_told(serve: Serve) -> None:
    authority = trustme.CA()
    secure = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(secure)
    address = serve(lambda handler, over: _head(handler, 0), secure)
    assert told(address).what == "the server's certificate does not verify"


# Redirects


@pytest.mark.parametrize("target", ["http://elsewhere.example/x", "http://127.0.0.1/x", "file:///etc/hostname", ""])
def test_a_redirect_off_https_is_not_followed(mocked: responses.RequestsMock, target: str) -> None:
    mocked.get(URL, status=302, headers={"Location": target} if target else {})
    if target:
        assert told(URL).what == f"sent on to {target}, which is not followed"
    else:
        assert told(URL).what == "sent on to nowhere, which is not followed"
    assert len(mocked.calls) == 1


def test_a_redirect_to_https_is_followed_and_the_condition_goes_along(mocked: responses.RequestsMock) -> None:
    mocked.get(URL, status=301, headers={"Location": "/moved?lat=1"})
    mocked.get("https://weather.brackenford.example/moved?lat=1", body=b"here")
    assert fetched(URL, since="Sat, 20 Apr 2024 05:00:00 GMT") == b"here"
    assert mocked.calls[1].request.headers["If-Modified-Since"] == "Sat, 20 Apr 2024 05:00:00 GMT"


def test_a_redirect_that_never_ends_is_given_up(serve: Serve) -> None:
    asked = []

    def round_and_round(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        asked.append(handler.path)
        handler.send_response(302)
        handler.send_header("Location", f"/{len(asked)}")
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    assert told(serve(round_and_round)).what == "sent on to another address more than 3 times"
    assert len(asked) == 4


# A server that misbehaves


def _head(handler: BaseHTTPRequestHandler, length: int | str, **more: str) -> None:
    handler.send_response(200)
    for name, value in {"Content-Type": "application/json", "Content-Length": str(length), **more}.items():
        handler.send_header(name.replace("_", "-"), value)
    handler.end_headers()


def test_a_server_that_hangs_is_left(serve: Serve) -> None:
    assert told(serve(lambda handler, over: over.wait(5) and None)).what == "timed out after 0.3 s of silence"


def test_a_body_that_stalls_is_left(serve: Serve) -> None:
    def stall(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        _head(handler, 1000)
        handler.wfile.write(b"{")
        handler.wfile.flush()
        over.wait(5)

    assert told(serve(stall)).what == "timed out after 0.3 s of silence"


@pytest.mark.parametrize("what", ["body", "head"])
def test_a_server_that_drips_is_left(serve: Serve, what: str) -> None:
    """Each byte comes well within the timeout of a read, so only the bound on the whole can end it."""

    def drip(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        if what == "body":
            _head(handler, 100_000)
        else:
            handler.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        while not over.wait(0.05):
            handler.wfile.write(b"a")
            handler.wfile.flush()

    address = serve(drip)
    began = time.monotonic()
    assert told(address).what == "timed out after 0.8 s"
    assert time.monotonic() - began < 1.5


def test_a_truncated_body_is_told(serve: Serve) -> None:
    def cut(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        _head(handler, 1000)
        handler.wfile.write(b'{"properties": ')
        handler.close_connection = True

    assert told(serve(cut)).what == "the answer broke off or came damaged"


def test_a_body_longer_than_it_said_is_cut_where_it_said(serve: Serve) -> None:
    def lie(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        _head(handler, 10)
        handler.wfile.write(b'{"properties": {}}')
        handler.close_connection = True

    body = fetched(serve(lie))
    assert body == b'{"properti'
    with pytest.raises(SourceError, match="no whole JSON"):
        read_json(body, "days")


@pytest.mark.parametrize("length", ["99999999999", "9" * 400])
def test_a_length_that_is_absurd_is_not_waited_for(serve: Serve, length: str) -> None:
    def boast(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        _head(handler, length)
        over.wait(5)

    assert "longer than" in told(serve(boast)).what


def test_a_body_without_an_end_is_cut_off_at_the_cap(serve: Serve) -> None:
    def pour(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        handler.send_response(200)
        handler.end_headers()
        while not over.is_set():
            handler.wfile.write(b"0" * 65536)

    small = Fetching(byte_cap=200_000, retries=0, total_s=5.0)
    assert told(serve(pour), small).what.startswith("the answer is longer than 200000 bytes")


def test_a_packed_body_that_unpacks_without_end_is_bounded(serve: Serve) -> None:
    packer = zlib.compressobj(9, wbits=31)
    bomb = b"".join(packer.compress(bytes(1 << 20)) for _ in range(200)) + packer.flush()
    assert len(bomb) < 300_000

    def throw(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        _head(handler, len(bomb), Content_Encoding="gzip")
        handler.wfile.write(bomb)

    small = Fetching(byte_cap=1_000_000, retries=0, total_s=5.0)
    assert "longer than 1000000 bytes" in told(serve(throw), small).what


def test_a_packed_body_that_is_damaged_is_told(serve: Serve) -> None:
    packed = bytearray(gzip.compress(b'{"a": 1}' * 100))
    packed[20:30] = b"\xff" * 10

    def damage(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        _head(handler, len(packed), Content_Encoding="gzip")
        handler.wfile.write(packed)

    assert told(serve(damage)).what == "the answer broke off or came damaged"


def test_what_is_no_http_at_all_is_told(serve: Serve) -> None:
    def babble(handler: BaseHTTPRequestHandler, over: threading.Event) -> None:
        handler.wfile.write(b"220 mail.brackenford.example ESMTP\r\n")
        handler.close_connection = True

    assert told(serve(babble)).what == "the connection broke off"


# The spool


def checked(body: bytes, where: str) -> bytes:
    if not isinstance(read_json(body, where), dict):
        raise unexpected("no table", where)
    return body


WANTED = Wanted("a/days.json", URL, "days", checked)


def test_an_unchanged_file_is_asked_for_with_the_very_words_of_the_server(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime
) -> None:
    # Not a date of RFC 9110's form: it goes back letter by letter all the same.
    since = "Sat, 20 Apr 2024  04:59:59 gmt"
    mocked.get(URL, body=b'{"a": 1}', headers={"Last-Modified": since})
    first = obtain(access_at(now), WANTED)
    mocked.reset()
    mocked.get(URL, status=304)
    later = obtain(access_at(now + timedelta(hours=3)), WANTED)
    assert mocked.calls[0].request.headers["If-Modified-Since"] == since
    assert later.body == first.body == b'{"a": 1}'
    assert (later.fetched, later.checked) == (now, now + timedelta(hours=3))
    assert later.last_modified == since


def test_nothing_is_asked_for_before_it_expires(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime
) -> None:
    mocked.get(URL, body=b'{"a": 1}', headers={"Expires": "Sat, 20 Apr 2024 05:42:00 GMT"})
    obtain(access_at(now), WANTED)
    obtain(access_at(datetime(2024, 4, 20, 5, 41, 59, tzinfo=UTC)), WANTED)
    assert len(mocked.calls) == 1
    obtain(access_at(datetime(2024, 4, 20, 5, 42, tzinfo=UTC)), WANTED)
    assert len(mocked.calls) == 2


@pytest.mark.parametrize("expires", ["0", "-1", "Sat, 20 Apr 2024 05:00:00 GMT", "soon", ""])
def test_what_has_expired_already_is_asked_for_again(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime, expires: str
) -> None:
    mocked.get(URL, body=b"{}", headers={"Expires": expires})
    obtain(access_at(now), WANTED)
    obtain(access_at(now + timedelta(seconds=1)), WANTED)
    assert len(mocked.calls) == 2


def test_a_server_cannot_put_the_next_look_off_for_ever(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime
) -> None:
    mocked.get(URL, body=b"{}", headers={"Expires": "Thu, 31 Dec 2099 23:59:59 GMT"})
    obtain(access_at(now), WANTED)
    obtain(access_at(now + timedelta(hours=23)), WANTED)
    assert len(mocked.calls) == 1
    obtain(access_at(now + timedelta(hours=24)), WANTED)
    assert len(mocked.calls) == 2


def test_a_clock_that_went_back_asks_again(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime
) -> None:
    mocked.get(URL, body=b"{}", headers={"Expires": "Sat, 20 Apr 2024 05:42:00 GMT"})
    obtain(access_at(now), WANTED)
    obtain(access_at(now - timedelta(days=400)), WANTED)
    assert len(mocked.calls) == 2


def test_damage_never_replaces_a_good_file(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime
) -> None:
    mocked.get(URL, body=b'{"a": 1}')
    mocked.get(URL, body=b'{"a": ')
    access = access_at(now)
    obtain(access, WANTED)
    with pytest.raises(SourceError, match="no whole JSON"):
        obtain(access_at(now + timedelta(hours=1)), WANTED)
    held = kept(access.spool, WANTED.name)
    assert held is not None
    assert (held.body, held.checked) == (b'{"a": 1}', now)


@pytest.mark.parametrize("damage", ["body", "note", "no note", "note of another form"])
def test_a_spool_that_was_damaged_is_fetched_anew_without_a_condition(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime, damage: str
) -> None:
    mocked.get(URL, body=b'{"a": 1}', headers={"Last-Modified": "Sat, 20 Apr 2024 04:00:00 GMT"})
    access = access_at(now)
    path = obtain(access, WANTED).path
    note = path.with_name("days.json.note.json")
    if damage == "body":
        path.write_bytes(b'{"a": 2}')
    elif damage == "note":
        note.write_text("{")
    elif damage == "no note":
        note.unlink()
    else:
        note.write_text(json.dumps({"sha256": "x"}))
    assert obtain(access, WANTED).body == b'{"a": 1}'
    assert "If-Modified-Since" not in mocked.calls[1].request.headers


def test_no_temporary_file_is_left(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime
) -> None:
    mocked.get(URL, body=b'{"a": 1}')
    path = obtain(access_at(now), WANTED).path
    assert sorted(one.name for one in path.parent.iterdir()) == ["days.json", "days.json.note.json"]


def test_a_disk_that_does_not_take_it_is_told(
    mocked: responses.RequestsMock, access_at: Callable[..., Access], now: datetime, tmp_path: Path
) -> None:
    mocked.get(URL, body=b'{"a": 1}')
    (tmp_path / "spool").write_text("a file where the folder should be")
    with pytest.raises(SourceError, match="the file cannot be kept") as caught:
        obtain(access_at(now), WANTED)
    assert caught.value.remedy


def test_dates_of_http() -> None:
    assert instant_of("Sat, 20 Apr 2024 05:42:00 GMT") == datetime(2024, 4, 20, 5, 42, tzinfo=UTC)
    assert instant_of("Sat, 20 Apr 2024 05:42:00 -0000") == datetime(2024, 4, 20, 5, 42, tzinfo=UTC)
    assert [instant_of(none) for none in ("", "0", "never")] == [None, None, None]
