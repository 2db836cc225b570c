"""Mail that is not as it should be, with a real server: what is written, what is told, nobody in, nothing lost."""

import base64
import os
import resource
import shutil
import socket
import ssl
import threading
import time
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from email.message import EmailMessage

import pytest

from haulm.jobs.morning import morning
from haulm.settings.load import load
from haulm.steps import Step
from haulm.store.database import open_database

ME = "grower@example.org"
FIRST = date(2026, 5, 12)
WATERED = ("watered", "2026-05-12", "gatebed")
CROWD = 50_000


@pytest.fixture
def maildir(imap_server):
    """The folder in which the server keeps the mailbox."""
    return imap_server[1].parent / "mail" / "garden@example.org"


def raw(subject, body, content_type="text/plain; charset=utf-8", identity=None, sender=ME, more=b""):
    head = (
        f"From: {sender}\r\nTo: garden@example.org\r\nSubject: {subject}\r\nDate: Tue, 12 May 2026 18:00:00 +0000\r\n"
        f"Message-ID: {identity or f'<r{time.monotonic_ns()}@example.org>'}\r\nMIME-Version: 1.0\r\n"
        f"Content-Type: {content_type}\r\nContent-Transfer-Encoding: 8bit\r\n"
    ).encode()
    return head + more + b"\r\n" + body


def test_one_link_used_twice_is_two_answers(desk, box):
    for _ in range(2):
        box.put(desk.subject(), "watered 20 l")
    found = desk.heard()
    assert [one.outcome for one in found.heard] == ["note", "note"]
    assert desk.noted() == [WATERED, WATERED]
    assert "It comes on top of" in found.heard[1].told


def test_an_old_letter_quoted_with_its_links_is_no_answer(desk, box):
    old = desk.subject(FIRST - timedelta(days=3))
    quoted = f"> Tell haulm\n> {old}\n> shoots out; watered 3 gallons\n> planted"
    box.put(f"Re: {desk.subject()}", f"watered 20 l\n\nOn Tue, 12 May 2026 at 06:30, haulm <x@y.z> wrote:\n{quoted}")
    (one,) = desk.heard().heard
    assert one.outcome == "note"
    assert desk.noted() == [WATERED]


@pytest.mark.parametrize(
    "header",
    ["", "Am 12. Mai schrieb haulm:\n", "-----Ursprüngliche Nachricht-----\n", "Von: haulm\nBetreff: {mark}\n"],
)
def test_a_letter_quoted_without_any_sign_is_no_answer(desk, box, header, postman):
    """Some programs put the letter below with no sign at its lines, under a heading in their own language."""
    letter = morning(desk.settings, desk.state, desk.at(FIRST)).letter.text
    sent = postman.letters[-1].get_body(("plain",)).get_content()
    assert "Answer this letter in plain words" in sent
    above = header.format(mark=desk.subject())
    for text in (letter, sent, sent[sent.index("Tell haulm") :]):
        box.put(f"Re: {desk.subject()}", f"watered 20 l\n\n{above}{text}")
        heard = desk.heard().heard
        assert heard[0].outcome == "note"
        assert {one.outcome for one in heard[1:]} <= {"ask", "nothing"}
    assert set(desk.noted()) == {WATERED}


@pytest.mark.parametrize("sender", [ME, f"{ME} <someone@example.net>", f'"{ME}" <someone@example.net>'])
def test_a_sender_that_is_pretended_gets_in_with_no_wrong_sign(desk, box, sender):
    wrong = desk.subject(garden="another") if sender == ME else desk.subject()
    box.lay(raw(wrong, b"watered 20 l", sender=sender))
    found = desk.heard()
    assert (found.heard, found.left_alone) == ((), 1)
    assert desk.noted() == []


@pytest.mark.parametrize(
    ("charset", "text"),
    [
        ("iso-8859-1", "Grüße!\nwatered 20 l\n".encode("latin-1")),
        ("x-no-such-thing", b"watered 20 l\n"),
        ("utf-8", b"\xff\xfe\x80 \xc3\x28\nwatered 20 l\n"),
        ('"', b"watered 20 l\n"),
    ],
)
def test_odd_charsets_are_read_or_asked_back(desk, box, charset, text):
    box.lay(raw(desk.subject(), text, f"text/plain; charset={charset}"))
    found = desk.heard()
    assert found.fault == ""
    assert {one.outcome for one in found.heard} <= {"note", "ask"}
    assert desk.noted() == [WATERED]


def test_utf_16_is_read_where_it_is_whole_and_asked_back_where_it_is_broken(desk, box):
    text = "watered 20 l\n".encode("utf-16")
    whole = raw(desk.subject(), base64.encodebytes(text), "text/plain; charset=utf-16")
    box.lay(whole.replace(b"Encoding: 8bit", b"Encoding: base64"))
    assert [one.outcome for one in desk.heard().heard] == ["note"]
    box.lay(raw(desk.subject(), text, "text/plain; charset=utf-16"))  # its bytes are no lines of mail
    assert {one.outcome for one in desk.heard().heard} == {"ask"}
    assert desk.noted() == [WATERED]


def test_odd_bytes_in_headers_harm_nothing(desk, box):
    box.lay(raw(desk.subject(), b"watered 20 l", identity="<a\xe9\xff@example.org>"))
    box.lay(raw(desk.subject(), b"watered 20 l", more=b"X-Odd: \xff\xfe\r\n", sender="Gr\xfcn <grower@example.org>"))
    found = desk.heard()
    assert found.fault == ""
    assert desk.noted() == [WATERED]
    assert found.left_alone == 1


def test_html_alone_with_quotes_in_quotes(desk, box):
    html = (
        "<html><style>p{}</style><div>watered 20 l</div><div class='gmail_quote'>On Tue haulm wrote:"
        "<blockquote>planted<blockquote>lifted 5 kg<blockquote>shoots out</blockquote></blockquote>"
        "straw laid 20 cm</blockquote></div></html>"
    )
    box.put(desk.subject(), "", html=html)
    found = desk.heard()
    assert found.heard[0].outcome == "note"
    assert desk.noted() == [WATERED]


def test_answers_that_contradict_each_other_in_one_message(desk, box):
    box.put(desk.subject(), "planted on 2026-05-10\nplanted on 2026-05-11")
    one, two = desk.heard().heard
    assert (one.outcome, two.outcome) == ("note", "refused")
    assert "already noted" in two.told
    assert desk.noted() == [("planted", "2026-05-10", "gatebed")]


def test_a_day_to_come_and_a_date_to_come(desk, box):
    box.put(desk.subject(), "watered 20 l on 2026-06-12")
    (one,) = desk.heard().heard
    assert one.outcome == "nothing"
    box.lay(raw(desk.subject(), b"watered 20 l").replace(b"12 May 2026", b"12 May 2036"))
    (one,) = desk.heard().heard
    assert one.outcome == "note"
    assert desk.noted() == [WATERED]


def test_a_date_before_the_letter_is_the_letters(desk, box):
    box.lay(raw(desk.subject(), b"watered 20 l").replace(b"12 May 2026", b"12 May 1996"))
    assert [one.outcome for one in desk.heard().heard] == ["note"]
    assert desk.noted() == [WATERED]


def test_a_message_of_very_many_lines_is_bounded(desk, box):
    box.put(desk.subject(), "watered 20 l\n" + "it looks so very fine today\n" * 100)
    found = desk.heard().heard
    assert len(found) == 21
    assert "the rest is not read" in found[-1].told
    assert desk.noted() == [WATERED]


def test_a_new_validity_notes_nothing_twice_and_loses_nothing(desk, box, maildir):
    box.put(desk.subject(), "watered 20 l")
    desk.heard()
    before = place(desk)
    box.leave()
    for file in maildir.glob("dovecot*"):
        file.unlink()
    time.sleep(1.1)  # Dovecot takes the second of the clock for a validity: a new one has to be another
    box.enter()
    box.put(desk.subject(), "soil 52")
    (one,) = desk.heard().heard
    assert one.told.startswith("“soil 52”")
    assert place(desk)[0] != before[0]
    assert [what for what, _, _ in desk.noted()] == ["watered", "soil temperature"]


def test_a_server_whose_validity_is_not_that_of_the_store(desk, box):
    box.put(desk.subject(), "watered 20 l")
    desk.heard()
    with open_database(desk.state.store) as database, database.transaction(Step.ANSWERS_KEPT):
        database.rows("UPDATE mailboxes SET validity = validity + 1, last_uid = 999999")
    box.put(desk.subject(), "soil 52")
    assert len(desk.heard().heard) == 1
    assert [what for what, _, _ in desk.noted()] == ["watered", "soil temperature"]


def test_no_flag_is_set_and_none_is_needed(desk, box):
    box.put(desk.subject(), "watered 20 l")
    before = box.flags()
    for _ in range(2):
        desk.heard()
    assert box.flags() == before
    assert len(desk.noted()) == 1


def test_a_mailbox_of_fifty_thousand_hides_no_answer(desk, box, maildir, record_property):
    """The answer lies behind all others; they are counted, and the next run asks for nothing before it."""
    box.leave()
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = "shop@example.net", "garden@example.org", "Offers"
    message["Date"], message["Message-ID"] = datetime(2026, 5, 12, 9, tzinfo=UTC), "<shop@example.net>"
    message.set_content("Buy!\n" * 20)
    owner = (maildir / "cur").stat()
    moment = datetime(2026, 5, 12, 9, tzinfo=UTC).timestamp()
    one = maildir / "cur" / f"{int(moment)}.N.crowd:2,"
    one.write_bytes(message.as_bytes())
    os.chown(one, owner.st_uid, owner.st_gid)
    os.utime(one, (moment, moment))
    try:
        for n in range(1, CROWD):  # one file under many names is as many messages, and quick to lay
            os.link(one, maildir / "cur" / f"{int(moment)}.N{n}.crowd:2,")
        box.enter()
        box.put(desk.subject(), "watered 20 l")
        began, memory = time.monotonic(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        found = desk.heard()
        took, grown = time.monotonic() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory
        record_property("seconds", f"{took:.1f}")
        record_property("MiB more", f"{grown / 1024:.1f}")
        assert found.fault == ""
        assert found.left_alone == CROWD
        assert desk.noted() == [WATERED]
        assert took < 4 * desk.settings.post.mailbox.timeout_seconds
        assert grown < 64 * 1024
        began = time.monotonic()
        assert desk.heard().left_alone == 0
        assert time.monotonic() - began < 5
    finally:
        box.leave()
        shutil.rmtree(maildir)
        box.enter()


class Hanging:
    """A server over TLS that answers up to the header of the first message, and then says nothing more."""

    def __init__(self, authority, tmp_path, subject):
        authority.cert_pem.write_to_path(tmp_path / "hanging.pem")
        self.context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        authority.issue_cert("localhost").configure_cert(self.context)
        self.held = socket.create_server(("127.0.0.1", 0))
        self.port = self.held.getsockname()[1]
        self.head = (
            f"Message-ID: <h@example.org>\r\nFrom: {ME}\r\nSubject: {subject}\r\n"
            "Date: Tue, 12 May 2026 18:00:00 +0000\r\n\r\n"
        )
        self.bodies_asked = 0
        self.over = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self):
        while not self.over.is_set():
            with suppress(OSError, ssl.SSLError):
                bare, _ = self.held.accept()
                with self.context.wrap_socket(bare, server_side=True) as client:
                    self.talk(client)

    def talk(self, client):
        client.sendall(b"* OK ready\r\n")
        with client.makefile("rb") as lines:
            for line in lines:
                tag, _, words = line.decode().strip().partition(" ")
                reply = self.reply(words.upper())
                if reply is None:
                    self.over.wait(20)
                    return
                client.sendall(f"{reply}{tag} OK done\r\n".encode())

    def reply(self, words):
        if words.startswith("CAPABILITY"):
            return "* CAPABILITY IMAP4rev1\r\n"
        if words.startswith("EXAMINE"):
            return "* 1 EXISTS\r\n* OK [UIDVALIDITY 7] ok\r\n"
        if words.startswith("UID SEARCH"):
            return "* SEARCH 1\r\n"
        if "HEADER.FIELDS" in words:
            return f"* 1 FETCH (UID 1 BODY[HEADER.FIELDS (X)] {{{len(self.head)}}}\r\n{self.head})\r\n"
        if words.startswith("UID FETCH"):
            self.bodies_asked += 1
            return None
        return ""

    def end(self):
        self.over.set()
        self.held.close()


def test_a_server_that_hangs_in_the_middle_stops_no_letter(desk, authority, tmp_path, postman):
    server = Hanging(authority, tmp_path, desk.subject())
    try:
        there = {"PORT": str(server.port), "CAFILE": str(tmp_path / "hanging.pem"), "TIMEOUT_SECONDS": "1"}
        environ = {f"HAULM_POST__MAILBOX__{name}": value for name, value in there.items()}
        desk.settings = load(tmp_path / "haulm.toml", environ)
        began = time.monotonic()
        letter = morning(desk.settings, desk.state, desk.at(FIRST)).letter
        assert time.monotonic() - began < 30
        assert server.bodies_asked == 1
        assert "no answer in time" in " ".join(letter.text.split())
        assert len(postman.letters) == 1
        assert place(desk) == (0, 0)  # the next run reads on from the same place
        assert desk.noted() == []
    finally:
        server.end()


def place(desk):
    with open_database(desk.state.store) as database:
        row = database.row("SELECT validity, last_uid FROM mailboxes")
        return (0, 0) if row is None else (row["validity"], row["last_uid"])
