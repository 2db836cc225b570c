"""The webhook against a real web server on loopback."""

import hashlib
import hmac
import json
import socket
import time
from datetime import UTC, datetime

import pytest

from haulm.errors import DeliveryError
from haulm.post.webhook import post_letter, sign
from haulm.settings.post_form import WebhookTable

NOW = datetime(2027, 5, 12, 11, 30, tzinfo=UTC)
SECRET = " ".join(["sixteen", "straws", "or", "more"])
OPENSSL = "04d844fe67dadf697e72fec9d46b4820650766918b32c57beed866c6706c0727"
BODY = json.dumps({"version": 1, "subject": "Cover Gatebed: −2 °C"}, ensure_ascii=False)


def table(url: str, **changes) -> WebhookTable:
    return WebhookTable.model_validate({"url": url, "secret": SECRET, "timeout_seconds": 5, **changes})


def failure(webhook: WebhookTable) -> DeliveryError:
    with pytest.raises(DeliveryError) as caught:
        post_letter(webhook, BODY, "<1@brackenford.example>", NOW)
    assert SECRET not in str(caught.value)
    assert caught.value.remedy
    return caught.value


def test_the_letter_as_stored_with_a_signature_the_receiver_can_check(web):
    server = web()
    post_letter(table(f"http://127.0.0.1:{server.port}/letter?a=b"), BODY, "<1@brackenford.example>", NOW)
    ((path, headers, body),) = server.got
    assert (path, body) == ("/letter?a=b", BODY.encode())
    assert headers["Content-Type"] == "application/json; charset=utf-8"
    assert headers["Haulm-Delivery"] == "<1@brackenford.example>"
    assert headers["Haulm-Timestamp"] == "1810121400"
    signed = headers["Haulm-Timestamp"].encode() + b"." + body
    assert headers["Haulm-Signature"] == hmac.new(SECRET.encode(), signed, hashlib.sha256).hexdigest()
    assert "Authorization" not in headers


def test_the_signature_of_a_known_text():
    # printf '1810121400.{}' | openssl dgst -sha256 -hmac "sixteen straws or more"
    assert sign(SECRET, "1810121400", b"{}") == OPENSSL
    assert sign(SECRET, "1810121401", b"{}") != OPENSSL


def test_over_tls_with_an_authority_of_our_own(web, cafile):
    server = web(tls=True)
    post_letter(table(f"https://localhost:{server.port}/", cafile=str(cafile)), BODY, "<1@b>", NOW)
    assert len(server.got) == 1


def test_a_certificate_that_does_not_verify(web):
    server = web(tls=True)
    fault = failure(table(f"https://localhost:{server.port}/"))
    assert fault.later
    assert fault.what == "the server's certificate does not verify"
    assert not server.got


@pytest.mark.parametrize("content", [None, "no certificate\n"])
def test_a_cafile_that_is_none(web, tmp_path, content):
    server, path = web(tls=True), tmp_path / "authority.pem"
    if content:
        path.write_text(content)
    fault = failure(table(f"https://localhost:{server.port}/", cafile=str(path)))
    assert str(path) in fault.what or fault.what == "no secure connection could be made"
    assert not server.got


@pytest.mark.parametrize(
    ("status", "later", "words"),
    [
        (400, False, "the server refused the letter (400 Bad Request)"),
        (410, False, "nothing takes letters there (410 Gone)"),
        (422, False, "the server refused the letter"),
        (401, True, "the server does not accept our signature"),
        (404, True, "nothing takes letters there (404 Not Found)"),
        (429, True, "the server refused the letter (429 Too Many Requests)"),
        (500, True, "the server is in trouble (500 Internal Server Error)"),
        (503, True, "the server is in trouble"),
    ],
)
def test_refusals(web, status, later, words):
    server = web()
    server.status = status
    fault = failure(table(f"http://127.0.0.1:{server.port}/secret-path"))
    assert fault.later is later
    assert words in fault.what
    assert fault.where == f"127.0.0.1:{server.port}"
    assert "secret-path" not in str(fault)


def test_a_redirect_is_told_and_not_followed(web):
    server, other = web(), web()
    server.status, server.headers = 307, {"Location": f"http://127.0.0.1:{other.port}/"}
    fault = failure(table(f"http://127.0.0.1:{server.port}/"))
    assert fault.what == "sent on to another address (307 Temporary Redirect)"
    assert fault.later
    assert len(server.got) == 1
    assert not other.got


def test_an_endless_answer_is_not_read(scripted):
    def endless(connection: socket.socket) -> None:
        connection.recv(65536)
        connection.sendall(b"HTTP/1.1 200 OK\r\n\r\n")
        while True:
            connection.sendall(b"x" * 65536)

    begun = time.monotonic()
    post_letter(table(f"http://127.0.0.1:{scripted(endless)}/"), BODY, "<1@b>", NOW)
    assert time.monotonic() - begun < 2.0


def test_a_server_that_says_nothing(web):
    server = web()
    server.silent_s = 1.0
    slow = table(f"http://127.0.0.1:{server.port}/").model_copy(update={"timeout_seconds": 0.2})
    fault = failure(slow)
    assert fault.later
    assert fault.what.startswith("no answer in time (0.2 s of silence")


def test_a_server_that_drips_is_left_in_the_end(scripted, drip):
    slow = table(f"http://127.0.0.1:{scripted(drip)}/").model_copy(update={"timeout_seconds": 0.2})
    begun = time.monotonic()
    assert failure(slow).what.startswith("no answer in time")
    assert time.monotonic() - begun < 3.0


def test_a_connection_that_ends_without_an_answer(scripted):
    fault = failure(table(f"http://127.0.0.1:{scripted(lambda connection: connection.recv(65536) and None)}/"))
    assert fault.later
    assert "the connection was lost" in fault.what


def test_nothing_listens():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        fault = failure(table(f"http://127.0.0.1:{free.getsockname()[1]}/"))
    assert fault.what == "connection refused: nothing listens there"


def test_a_name_that_nobody_knows():
    assert failure(table("https://hooks.brackenford.invalid/")).what == "the name of the server is not known"


def test_no_password_from_the_home_folder_is_added(web, tmp_path, monkeypatch):
    server = web()
    (tmp_path / "netrc").write_text("machine 127.0.0.1 login grower password straw\n")
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    post_letter(table(f"http://127.0.0.1:{server.port}/"), BODY, "<1@b>", NOW)
    assert "Authorization" not in server.got[0][1]
