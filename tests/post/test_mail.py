"""The mail against real servers on loopback, well and badly behaved."""

import socket
import ssl
import struct
import threading
import time
from datetime import UTC, datetime
from email import message_from_bytes, policy

import pytest
import trustme

from haulm.errors import DeliveryError
from haulm.post.mail import MailDoor, probe
from haulm.post.message import Person, Post, mail_message

OTHER = "straw under seed"
ME, YOU = "grower@example.org", "neighbour@example.org"
PNG = b"\x89PNG\r\n\x1a\n" + bytes(500)
POST = Post(
    "brackenford",
    "Cover Gatebed tonight: −2 °C",
    "Do today\n\n.Cover Gatebed.\n",
    '<p>Cover Gatebed.</p><img src="a.png" alt="a">',
    datetime(2027, 5, 12, 11, 30, tzinfo=UTC),
    PNG,
    "a.png",
)


def a_letter(to: str = ME, made: str = "<1@brackenford.example>"):
    return mail_message(POST, Person("haulm@brackenford.example", "haulm"), Person(to), made)


def send_one(table, to: str = ME) -> None:
    with MailDoor(table) as door:
        door.send(a_letter(to), to)


def failure(table, to: str = ME) -> DeliveryError:
    with pytest.raises(DeliveryError) as caught:
        send_one(table, to)
    error = caught.value
    assert error.where == f"localhost:{table.port_number}"
    assert error.remedy
    assert "straw over seed" not in str(error)
    return error


@pytest.mark.parametrize("security", ["tls", "starttls", "none"])
def test_a_letter_arrives_whole(mail_server, settings_for, security):
    server = mail_server(security, login=security != "none")
    login = {} if security != "none" else {"user": None, "password": None}
    send_one(settings_for(server.port, security, **login))
    (envelope,) = server.letters
    assert envelope.mail_from == "haulm@brackenford.example"
    assert envelope.rcpt_tos == [ME]
    read = message_from_bytes(envelope.content, policy=policy.default)
    assert read["Message-ID"] == "<1@brackenford.example>"
    assert read["Auto-Submitted"] == "auto-generated"
    assert read["Subject"] == POST.subject
    text, related = read.iter_parts()
    assert text.get_content().splitlines() == ["Do today", "", ".Cover Gatebed."]
    html, picture = related.iter_parts()
    assert f'src="cid:{picture["Content-ID"][1:-1]}"' in html.get_content()
    assert picture.get_content() == PNG
    assert server.logins == (security != "none")


def test_one_connection_carries_many_letters_each_with_its_own_result(mail_server, settings_for):
    server = mail_server()
    server.refused = {YOU: "550 5.1.1 nobody here", "full@example.org": "452 4.2.2 over quota"}
    results = {}
    with MailDoor(settings_for(server.port)) as door:
        for number, to in enumerate([ME, YOU, "full@example.org", "third@example.org"]):
            try:
                door.send(a_letter(to, f"<{number}@brackenford.example>"), to)
                results[to] = None
            except DeliveryError as fault:
                results[to] = fault.later
    assert results == {ME: None, YOU: False, "full@example.org": True, "third@example.org": None}
    assert [envelope.rcpt_tos for envelope in server.letters] == [[ME], ["third@example.org"]]
    assert (server.connections, server.logins) == (1, 1)


@pytest.mark.parametrize(
    ("reply", "later", "words"),
    [
        ("550 5.1.1 nobody here", False, "no such mailbox, for grower@example.org (550 5.1.1 nobody here)"),
        ("550 nobody here", False, "no such mailbox"),
        ("552 5.2.2 over quota", False, "the mailbox is full"),
        ("552 too much", False, "the mailbox is full"),
        ("452 4.2.2 over quota", True, "the mailbox is full"),
        ("452 no room", True, "the mailbox is full"),
        ("450 4.7.1 greylisted", True, "the server's rules turn the letter away"),
        ("451 come back", True, "the server asks to try again later"),
        ("554 5.7.1 spam", False, "the server's rules turn the letter away"),
        ("552 5.3.4 too big", False, "the letter is too large"),
        ("554 no", False, "the server refused the letter"),
    ],
)
@pytest.mark.parametrize("when", ["address", "content"])
def test_refusals(mail_server, settings_for, reply, later, words, when):
    server = mail_server()
    if when == "address":
        server.refused = {ME: reply}
    else:
        server.answer_to_data = reply
    fault = failure(settings_for(server.port))
    assert fault.later is later
    assert words in fault.what
    assert reply in fault.what
    assert not server.letters


def test_a_wrong_password(mail_server, settings_for):
    server = mail_server()
    fault = failure(settings_for(server.port, password=OTHER))
    assert fault.later
    assert fault.what.startswith("the server did not accept the password of grower@brackenford.example (535 ")
    assert "Correct post.mail.user and its password" in fault.remedy


def test_a_password_that_a_login_cannot_carry(mail_server, settings_for):
    fault = failure(settings_for(mail_server().port, password=f"{OTHER} über Saat"))
    assert fault.later
    assert "letters that a mail login cannot carry" in fault.what


def test_a_server_without_logins(mail_server, settings_for):
    fault = failure(settings_for(mail_server(login=False).port))
    assert fault.what == "the server offers no login here"


def test_a_login_that_is_missing(mail_server, settings_for):
    server = mail_server()
    fault = failure(settings_for(server.port, user=None, password=None))
    assert fault.later
    assert "the server takes no mail from haulm@brackenford.example (530 " in fault.what


@pytest.mark.parametrize("security", ["tls", "starttls"])
def test_a_certificate_of_nobody_we_know(mail_server, settings_for, security):
    stranger = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    trustme.CA().issue_cert("localhost").configure_cert(stranger)
    server = mail_server(security, tls=stranger)
    fault = failure(settings_for(server.port, security))
    assert fault.later
    assert fault.what.startswith("the server's certificate does not verify: ")
    assert "do not go round it" in fault.remedy
    assert server.logins == 0


def test_a_private_certificate_without_cafile(mail_server, settings_for):
    assert "certificate does not verify" in failure(settings_for(mail_server().port, cafile=None)).what


def test_a_certificate_for_another_host(mail_server, settings_for, authority):
    other = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("mail.example.org").configure_cert(other)
    fault = failure(settings_for(mail_server(tls=other).port))
    assert "certificate does not verify" in fault.what
    assert "localhost" in fault.what


@pytest.mark.parametrize("content", [None, "no certificate\n"])
def test_a_cafile_that_is_none(mail_server, settings_for, tmp_path, content):
    path = tmp_path / "authority.pem"
    if content:
        path.write_text(content)
    fault = failure(settings_for(mail_server().port, cafile=str(path)))
    assert fault.what == f"{path} holds no certificate that can be read"


def test_starttls_taken_out_on_the_way_sends_nothing(mail_server, settings_for):
    server = mail_server("none", login=False)
    fault = failure(settings_for(server.port, "starttls"))
    assert fault.later
    assert fault.what == "the server offers no encrypted connection (STARTTLS)"
    assert "not even the password" in fault.remedy
    assert not server.letters


def test_tls_against_a_port_that_greets_in_the_clear(mail_server, settings_for):
    fault = failure(settings_for(mail_server("starttls").port, "tls"))
    assert fault.what == "no secure connection could be made"
    assert 'security = "starttls" and port 587' in fault.remedy


def test_a_connection_dropped_within_the_letter(scripted, settings_for):
    def drop_mid_data(connection: socket.socket) -> None:
        connection.sendall(b"220 localhost\r\n")
        lines = connection.makefile("rb")
        for line in lines:
            if line.upper().startswith(b"DATA"):
                connection.sendall(b"354 go on\r\n")
                lines.read(100)
                connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                break
            connection.sendall(b"250 ok\r\n")
        lines.close()

    fault = failure(settings_for(scripted(drop_mid_data), "none", user=None, password=None))
    assert fault.later
    assert fault.what == "the connection was lost while the letter was handed over"


def test_a_connection_dropped_before_the_answer_and_the_same_id_again(mail_server, settings_for):
    server = mail_server()
    server.drop_after_data = True
    with MailDoor(settings_for(server.port)) as door:
        with pytest.raises(DeliveryError, match="the connection was lost") as caught:
            door.send(a_letter(), ME)
        assert caught.value.later
        server.drop_after_data = False
        door.send(a_letter(), ME)
    assert [message_from_bytes(e.content)["Message-ID"] for e in server.letters] == ["<1@brackenford.example>"]
    assert server.connections == 2


def test_a_server_that_says_nothing(scripted, settings_for):
    port = scripted(lambda connection: connection.recv(1) and None)
    table = settings_for(port, "none", user=None, password=None).model_copy(update={"timeout_seconds": 0.2})
    begun = time.monotonic()
    fault = failure(table)
    assert fault.later
    assert fault.what.startswith("no answer in time (0.2 s of silence")
    assert time.monotonic() - begun < 2.0


def test_a_server_that_drips_is_left_in_the_end(scripted, drip, settings_for):
    table = settings_for(scripted(drip), "none", user=None, password=None).model_copy(update={"timeout_seconds": 0.2})
    begun = time.monotonic()
    assert failure(table).what.startswith("no answer in time")
    assert 0.7 < time.monotonic() - begun < 3.0


def test_a_letter_given_up_is_not_sent_behind_our_back(scripted, settings_for):
    heard: list[bytes] = []
    over = threading.Event()

    def greets_too_late(connection: socket.socket) -> None:
        for _ in range(24):
            connection.sendall(b"220-wait\r\n")
            time.sleep(0.05)
        connection.sendall(b"220 localhost\r\n")
        with connection.makefile("rb") as lines:
            for line in lines:
                heard.append(line.split()[0].lower())
                connection.sendall(b"250 ok\r\n")
        over.set()

    port = scripted(greets_too_late)
    table = settings_for(port, "none", user=None, password=None).model_copy(update={"timeout_seconds": 0.2})
    assert failure(table).what.startswith("no answer in time")
    assert over.wait(5.0)
    assert heard == [b"ehlo"]


def test_nothing_listens_and_is_asked_only_once(settings_for):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        table = settings_for(free.getsockname()[1])
        with MailDoor(table) as door:
            faults = []
            for _ in range(2):
                with pytest.raises(DeliveryError) as caught:
                    door.send(a_letter(), ME)
                faults.append(caught.value)
    assert faults[0].what == "connection refused: nothing listens there"
    assert faults[0] is faults[1]


def test_a_name_that_nobody_knows(settings_for):
    table = settings_for(465, host="mail.brackenford.invalid")
    with pytest.raises(DeliveryError) as caught:
        send_one(table)
    assert caught.value.later
    assert caught.value.what == "the name of the server is not known"


def test_a_server_that_turns_us_away_at_the_door(scripted, talk, settings_for):
    port = scripted(lambda connection: connection.sendall(b"554 not you\r\n"))
    fault = failure(settings_for(port, "none", user=None, password=None))
    assert fault.later
    assert fault.what == "the server does not let us in (554 not you)"


def test_a_server_that_ends_a_connection_after_one_letter_is_called_again(scripted, settings_for):
    letters = []

    def one_letter_each(connection: socket.socket) -> None:
        connection.sendall(b"220 localhost\r\n")
        taken, inside = 0, False
        with connection.makefile("rb") as lines:
            for line in lines:
                if inside:
                    inside = line != b".\r\n"
                    taken += not inside
                    answer = b"" if inside else b"250 taken\r\n"
                    letters.extend([] if inside else [taken])
                elif line.upper().startswith(b"DATA"):
                    inside, answer = True, b"354 go on\r\n"
                elif line.upper().startswith(b"MAIL") and taken:
                    answer = b"421 4.7.0 enough for one connection\r\n"
                else:
                    answer = b"250 ok\r\n"
                connection.sendall(answer)

    with MailDoor(settings_for(scripted(one_letter_each), "none", user=None, password=None)) as door:
        for number in range(3):
            door.send(a_letter(made=f"<{number}@brackenford.example>"), ME)
    assert letters == [1, 1, 1]


def test_a_sender_the_server_does_not_take(scripted, talk, settings_for):
    port = scripted(talk({"MAIL": "550 5.7.1 not yours"}))
    fault = failure(settings_for(port, "none", user=None, password=None))
    assert fault.later
    assert fault.what == "the server takes no mail from haulm@brackenford.example (550 5.7.1 not yours)"
    assert "post.mail.sender" in fault.remedy


@pytest.mark.parametrize("security", ["tls", "starttls"])
def test_probe_logs_in_and_sends_nothing(mail_server, settings_for, security):
    server = mail_server(security)
    told = probe(settings_for(server.port, security))
    assert told.startswith(f"localhost:{server.port}: reached over TLS 1.3, certificate good until ")
    assert told.endswith(", login of grower@brackenford.example accepted")
    assert server.logins == 1
    assert not server.letters


def test_probe_tells_what_is_wrong(mail_server, settings_for):
    server = mail_server()
    with pytest.raises(DeliveryError, match="did not accept the password"):
        probe(settings_for(server.port, password=OTHER))


def test_probe_without_login(mail_server, settings_for):
    server = mail_server("none", login=False)
    told = probe(settings_for(server.port, "none", user=None, password=None))
    assert told == f"localhost:{server.port}: reached, no login asked for"
