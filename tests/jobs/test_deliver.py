"""From the outbox to a real mail server on loopback: once, refused, later, and told in the next letter."""

import email
import re
import shutil
import threading
from collections import namedtuple
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email import policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from aiosmtpd.controller import Controller

from haulm.errors import Exit
from haulm.jobs.arrears import arrears
from haulm.jobs.deliver import Doors, addresses, deliver
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.steps import Step
from haulm.store.database import open_database
from haulm.store.letters import MOST_ATTEMPTS, Address, Status, StoredLetter, claim, deliveries_of, keep_letter
from haulm.store.runs import Outcome, begin_run, end_run, mark_written

DAY = date(2027, 5, 4)
NOW = datetime(2027, 5, 4, 5, 30, tzinfo=UTC)


class Sorter:
    """Takes letters, or answers as it is told."""

    def __init__(self):
        self.answer = "250 OK"
        self.letters, self.peers, self.left = [], set(), 0

    async def handle_DATA(self, server, session, envelope):  # noqa: N802  the server's own name for it
        self.peers.add(session.peer)
        if self.answer.startswith("250"):
            self.letters.append(email.message_from_bytes(envelope.content, policy=policy.default))
        return self.answer

    async def handle_QUIT(self, server, session, envelope):  # noqa: N802  likewise
        self.left += 1
        return "221 Bye"


@pytest.fixture
def postman():
    return Sorter()


@pytest.fixture
def settings(tmp_path, postman, free_port):
    controller = Controller(postman, hostname="127.0.0.1", port=free_port)
    controller.start()
    mail = f'\n[post.mail]\nhost = "127.0.0.1"\nport = {free_port}\nsecurity = "none"\nsender = "haulm@example.org"\n'
    (tmp_path / "haulm.toml").write_text(sample_toml() + mail, encoding="utf-8")
    yield load(tmp_path / "haulm.toml")
    controller.stop()


@pytest.fixture
def database(tmp_path):
    with open_database(tmp_path / "haulm.sqlite") as opened:
        yield opened


def store(database, settings, day=DAY):
    letter = StoredLetter(settings.garden.key, "morning", day, NOW, "Water Gatebed", "text\n", "<p>html</p>", "{}")
    mails = [one for one in addresses(settings) if one.channel == "mail"]
    keep_letter(database, letter, mails)
    return mails


@pytest.fixture
def receiver():
    """A web server on loopback that notes what is posted to it, and under which id."""
    taken = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            taken.append((self.headers["Haulm-Delivery"], self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *words):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    server.taken = taken
    yield server
    server.shutdown()
    server.server_close()


def addresses_of(database, settings):
    return [one.address for one in deliveries_of(database, settings.garden.key, "morning", DAY)]


def statuses(database, settings, day=DAY):
    return [(one.status, one.attempts) for one in deliveries_of(database, settings.garden.key, "morning", day)]


def test_each_way_of_the_post_and_each_recipient_is_a_delivery_of_its_own(settings, tmp_path):
    """Under an id of its own where it leaves the house: all tries of it are known by that."""
    text = (tmp_path / "haulm.toml").read_text(encoding="utf-8").replace("# log = true", "log = true")
    text += '[post.webhook]\nurl = "https://barn.example.org/letters"\nsecret = "one that both of us know"\n'
    text += '[recipients.you]\nname = "Helper"\naddress = "helper@example.org"\n'
    (tmp_path / "haulm.toml").write_text(text, encoding="utf-8")
    every = load(tmp_path / "haulm.toml")
    found = addresses(every)
    assert [one.channel for one in found] == ["log", "folder", "mail", "mail", "webhook"]
    assert {one.recipient for one in found if one.channel == "mail"} == {"grower@example.org", "helper@example.org"}
    ids = [one.message_id for one in found[2:]]
    assert len({*ids}) == 3
    assert all(re.fullmatch(r"<[^<>@\s]+@[^<>@\s]+>", one) for one in ids)
    for way, off in (("log", False), ("folder", None), ("mail", None), ("webhook", None)):
        without = replace(every, post=every.post.model_copy(update={way: off}))
        assert {one.channel for one in addresses(without)} == {"log", "folder", "mail", "webhook"} - {way}


def test_a_letter_arrives_once_under_its_own_id(settings, database, postman):
    mails = store(database, settings)
    assert deliver(settings, database, NOW) == Exit.DONE
    assert deliver(settings, database, NOW) == Exit.DONE
    assert [letter["Message-ID"] for letter in postman.letters] == [mails[0].message_id]
    assert postman.letters[0]["Subject"] == "Water Gatebed"
    assert statuses(database, settings) == [(Status.SENT, 1)]


def test_all_letters_of_a_run_go_by_one_connection_which_is_then_ended(settings, database, postman):
    store(database, settings)
    store(database, settings, DAY + timedelta(days=1))
    assert deliver(settings, database, NOW) == Exit.DONE
    assert len(postman.letters) == 2
    assert (len(postman.peers), postman.left) == (1, 1)


def test_each_server_has_a_door_of_its_own_and_each_folder_one_first_time(settings, tmp_path):
    mail, other = settings.post.mail, settings.post.mail.model_copy(update={"host": "127.0.0.2"})
    with Doors() as doors:
        assert doors.to(mail) is doors.to(mail.model_copy())
        assert doors.to(other) is not doors.to(mail)
        assert [doors.first_time(tmp_path / name) for name in "aab"] == [True, False, True]


def test_a_letter_that_the_book_knows_as_gone_goes_from_no_copy_of_the_store(settings, database, postman, tmp_path):
    store(database, settings)
    copy = database.copy(tmp_path / "copies", NOW)
    assert deliver(settings, database, NOW) == Exit.DONE
    database.close()
    (tmp_path / "haulm.sqlite-wal").unlink(missing_ok=True)
    database.path.write_bytes(copy.path.read_bytes())
    with open_database(database.path) as again:
        assert deliver(settings, again, NOW) == Exit.DONE
        assert statuses(again, settings) == [(Status.SENT, 1)]
    assert len(postman.letters) == 1


def test_where_one_letter_went_and_another_did_not_the_run_is_partly_done(settings, database, postman):
    store(database, settings)
    other = StoredLetter(
        settings.garden.key, "evening", DAY, NOW + timedelta(hours=12), "Cover Gatebed", "t", "h", "{}"
    )
    keep_letter(database, other, [Address("mail", "helper@example.org", "<2@x>"), Address("webhook", "barn", "<3@x>")])
    assert deliver(settings, database, NOW) == Exit.PARTLY  # no webhook is set up any more
    assert [letter["To"] for letter in postman.letters] == ["The grower <grower@example.org>", "helper@example.org"]
    (_, webhook) = deliveries_of(database, settings.garden.key, "evening", DAY)
    assert (webhook.status, "no [post.webhook] table" in webhook.note) == (Status.READY, True)


def test_each_way_takes_the_letter_in_its_own_form(settings, database, postman, receiver, tmp_path, caplog):
    caplog.set_level("INFO")
    text = (tmp_path / "haulm.toml").read_text(encoding="utf-8").replace("# log = true", "log = true")
    text += f'[post.webhook]\nurl = "http://127.0.0.1:{receiver.server_port}/"\nsecret = "one that both of us know"\n'
    (tmp_path / "haulm.toml").write_text(text, encoding="utf-8")
    every = load(tmp_path / "haulm.toml")
    letter = StoredLetter(
        every.garden.key, "morning", DAY, NOW, "Water Gatebed", "text\n", "<p>h</p>", '{"version": 1}'
    )
    keep_letter(database, letter, addresses(every))
    assert deliver(every, database, NOW) == Exit.DONE
    assert f"morning letter of {every.garden.key} for 2027-05-04: Water Gatebed" in caplog.text
    assert {path.suffix for path in (tmp_path / "letters" / "2027" / "05").iterdir()} == {".txt", ".html", ".json"}
    assert [letter["Subject"] for letter in postman.letters] == ["Water Gatebed"]
    webhook = next(one for one in addresses_of(database, every) if one.channel == "webhook")
    assert receiver.taken == [(webhook.message_id, b'{"version": 1}')]


def test_a_letter_offers_its_answers_where_there_is_a_mailbox_for_them(settings, database, postman, tmp_path):
    offers = '{"offers": [{"label": "Watered", "bed": "gatebed", "bed_name": "Gatebed", "phrase": "watered Gatebed"}]}'
    text = (tmp_path / "haulm.toml").read_text(encoding="utf-8")
    text += '[post.mailbox]\nhost = "127.0.0.1"\nport = 9\naddress = "garden@example.org"\nuser = "garden"\n'
    (tmp_path / "haulm.toml").write_text(text + 'password = "a long password"\n', encoding="utf-8")
    for number, given in enumerate((settings, load(tmp_path / "haulm.toml"))):
        day = DAY + timedelta(days=number)
        letter = StoredLetter(settings.garden.key, "morning", day, NOW, "Water", "text\n", "<p>html</p>", offers)
        keep_letter(database, letter, [one for one in addresses(given) if one.channel == "mail"])
        assert deliver(given, database, NOW) == Exit.DONE
    without, answerable = ("".join(part.get_content() for part in one.walk() if part.get_content_maintype() == "text")
                           for one in postman.letters)  # fmt: skip
    assert "mailto:" not in without
    assert "Answer this letter in plain words" in answerable
    assert 'href="mailto:garden@example.org?subject=Gatebed%3A%20Watered' in answerable


def test_where_the_mailbox_cannot_be_asked_a_letter_on_its_way_goes_once_more(settings, database, postman, tmp_path):
    text = (tmp_path / "haulm.toml").read_text(encoding="utf-8")
    text += '[post.mailbox]\nhost = "127.0.0.1"\nport = 9\naddress = "grower@example.org"\nuser = "grower"\n'
    (tmp_path / "haulm.toml").write_text(text + 'password = "a long password"\n', encoding="utf-8")
    (mail,) = store(database, settings)
    (one,) = deliveries_of(database, settings.garden.key, "morning", DAY)
    assert claim(database, one.id, NOW)
    assert deliver(load(tmp_path / "haulm.toml"), database, NOW) == Exit.DONE
    assert [letter["Message-ID"] for letter in postman.letters] == [mail.message_id]
    assert statuses(database, settings) == [(Status.SENT, 2)]


def test_a_letter_found_on_its_way_goes_once_more_under_the_same_id(settings, database, postman):
    mails = store(database, settings)
    with database.transaction(Step.DELIVERY_SETTLED):
        database.rows("UPDATE deliveries SET status = ?", (Status.SENDING,))
    assert deliver(settings, database, NOW) == Exit.DONE
    assert [letter["Message-ID"] for letter in postman.letters] == [mails[0].message_id]


def test_a_refusal_for_good_is_told_in_the_next_letter(settings, database, postman):
    run = begin_run(database, settings.garden.key, "morning", DAY, NOW)
    store(database, settings)
    mark_written(database, run)
    postman.answer = "552 mailbox full"
    assert deliver(settings, database, NOW + timedelta(seconds=1)) == Exit.TRY_LATER
    assert statuses(database, settings) == [(Status.REFUSED, 1)]
    end_run(database, run, NOW, Outcome.PARTLY, Exit.TRY_LATER)
    told = arrears(database, settings.garden.key, DAY + timedelta(days=1), NOW + timedelta(days=1))
    assert len(told) == 1
    assert "Tuesday 4 May" in told[0]
    assert "full" in told[0]


def test_a_deferred_letter_waits_and_is_given_up_after_a_bound(settings, database, postman):
    store(database, settings)
    postman.answer = "451 try again later"
    for attempt in range(1, MOST_ATTEMPTS + 1):
        deliver(settings, database, NOW + timedelta(hours=attempt))
        expected = Status.READY if attempt < MOST_ATTEMPTS else Status.REFUSED
        assert statuses(database, settings) == [(expected, attempt)]
    postman.answer = "250 OK"
    deliver(settings, database, NOW + timedelta(hours=20))
    assert postman.letters == []


def test_mornings_without_a_letter_are_told_once(settings, database):
    run = begin_run(database, settings.garden.key, "morning", DAY, NOW)
    mark_written(database, run)
    key = settings.garden.key
    assert arrears(database, key, DAY + timedelta(days=1), NOW) == ()
    one = arrears(database, key, DAY + timedelta(days=2), NOW)
    assert one == ("There was no letter on Wednesday 5 May; what it would have said is in this one.",)
    several = arrears(database, key, DAY + timedelta(days=5), NOW)
    assert "from Wednesday 5 May to Saturday 8 May" in several[0]


def test_a_table_taken_away_keeps_its_letters_waiting(settings, database, tmp_path):
    store(database, settings)
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    assert deliver(load(tmp_path / "haulm.toml"), database, NOW) == Exit.TRY_LATER
    assert statuses(database, settings) == [(Status.READY, 1)]


def test_where_no_room_is_left_to_note_that_it_went_a_letter_waits(settings, database, postman, monkeypatch, caplog):
    store(database, settings)
    usage = namedtuple("usage", "total used free")
    with monkeypatch.context() as full:
        full.setattr(shutil, "disk_usage", lambda _: usage(10**6, 10**6 - 1000, 1000))
        assert deliver(settings, database, NOW) is Exit.TRY_LATER
    assert postman.letters == []
    assert "No room is left on the disk" in caplog.text
    assert deliver(settings, database, NOW + timedelta(hours=1)) is Exit.DONE
    assert len(postman.letters) == 1
