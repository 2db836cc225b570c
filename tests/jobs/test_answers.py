"""Answers by mail, the whole way: a letter goes out by a real SMTP server, answers come through a real IMAP server.

The IMAP server is Dovecot; where it is not installed these tests are skipped.
"""

import imaplib
import os
import re
import shutil
import socket
import ssl
import subprocess
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
import trustme

from haulm.errors import Exit, UsageError
from haulm.jobs import answers as job
from haulm.jobs.check_live import check_live
from haulm.jobs.morning import morning
from haulm.jobs.state_folder import StateFolder
from haulm.post.answer_links import Letter, mark
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.sources.invented import invented_record
from haulm.store.answers import signing_key
from haulm.store.database import open_database
from haulm.store.journal_file import read_journal

DOVECOT = shutil.which("dovecot", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
ME, HAULM = "grower@example.org", "garden@example.org"
FIRST = date(2026, 5, 12)  # past: the server lets no message come from the future
pytestmark = pytest.mark.skipif(DOVECOT is None or os.geteuid() != 0, reason="Dovecot is not installed, or not root")


@pytest.fixture(scope="module")
def authority():
    return trustme.CA()


@pytest.fixture(scope="module")
def imap_server(authority):
    """A Dovecot of its own with one mailbox, over TLS; its own users have to come into its folder."""
    at = Path(tempfile.mkdtemp(prefix="haulm-dovecot-"))
    at.chmod(0o755)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    certificate = authority.issue_cert("localhost")
    certificate.private_key_pem.write_to_path(at / "key.pem")
    for n, blob in enumerate(certificate.cert_chain_pems):
        blob.write_to_path(at / "cert.pem", append=n > 0)
    authority.cert_pem.write_to_path(at / "ca.pem")
    (at / "mail").mkdir()
    shutil.chown(at / "mail", "mail", "mail")
    (at / "users").write_text(f"{HAULM}:{{PLAIN}}a-long-password\n")
    (at / "dovecot.conf").write_text(f"""
protocols = imap
listen = 127.0.0.1
base_dir = {at}/run
state_dir = {at}/state
log_path = {at}/log
ssl = required
ssl_cert = <{at}/cert.pem
ssl_key = <{at}/key.pem
disable_plaintext_auth = yes
mail_location = maildir:{at}/mail/%u
mail_uid = mail
mail_gid = mail
first_valid_uid = 1
first_valid_gid = 1
default_internal_user = dovecot
default_login_user = dovenull
passdb {{
  driver = passwd-file
  args = {at}/users
}}
userdb {{
  driver = static
  args = uid=mail gid=mail home={at}/mail/%u
}}
service imap-login {{
  inet_listener imap {{
    port = 0
  }}
  inet_listener imaps {{
    port = {port}
    ssl = yes
  }}
}}
""")
    shutil.chown(at / "users", "dovecot", "dovecot")
    server = subprocess.Popen([DOVECOT, "-F", "-c", str(at / "dovecot.conf")])
    for _ in range(100):
        with socket.socket() as trying:
            if trying.connect_ex(("127.0.0.1", port)) == 0:
                break
        time.sleep(0.1)
    yield port, at / "ca.pem"
    server.terminate()
    server.wait(10)
    shutil.rmtree(at, ignore_errors=True)


@pytest.fixture
def box(imap_server):
    """The mailbox, emptied; `put` lays a message into it."""
    port, ca = imap_server
    imap = imaplib.IMAP4_SSL("localhost", port, ssl_context=ssl.create_default_context(cafile=ca), timeout=20)
    imap.login(HAULM, "a-long-password")
    imap.select("INBOX")
    if imap.search(None, "ALL")[1][0]:
        imap.store("1:*", "+FLAGS", "\\Deleted")
        imap.expunge()

    class Box:
        count = 0

        def put(self, subject, text, sender=ME, html=None, identity=None, on=FIRST, attach=b""):
            self.count += 1
            message = EmailMessage()
            message["From"], message["To"], message["Subject"] = sender, HAULM, subject
            message["Date"] = datetime(on.year, on.month, on.day, 18, tzinfo=UTC)
            message["Message-ID"] = identity or f"<a{self.count}.{time.monotonic_ns()}@example.org>"
            if html is None:
                message.set_content(text)
            else:
                message.set_content(html, subtype="html")
            if attach:
                message.add_attachment(attach, "application", "octet-stream", filename="x.bin")
            status, told = imap.append(
                "INBOX", None, datetime(on.year, on.month, on.day, 18, tzinfo=UTC), message.as_bytes()
            )
            assert status == "OK", told
            return str(message["Message-ID"])

        def flags(self):
            return [bytes(line).decode() for line in imap.fetch("1:*", "(FLAGS)")[1] if line]

    yield Box()
    imap.logout()


@pytest.fixture
def garden(tmp_path, imap_server, mail_port):
    port, ca = imap_server
    text = (
        sample_toml().replace("2027-", "2026-")
        + f"""
[post.mail]
host = "127.0.0.1"
port = {mail_port}
security = "none"
sender = "{HAULM}"

[post.mailbox]
address = "{HAULM}"
host = "localhost"
port = {port}
user = "{HAULM}"
password_file = "box-password"
cafile = "{ca}"
timeout_seconds = 10
"""
    )
    text = (
        re.sub(r"(?ms)^\[recipients\..*?(?=^\[|\Z)", "", text) + f'\n[recipients.me]\nname = "Me"\naddress = "{ME}"\n'
    )
    (tmp_path / "haulm.toml").write_text(text, encoding="utf-8")
    (tmp_path / "box-password").write_text("a-long-password")
    settings = load(tmp_path / "haulm.toml")
    days = invented_record("brackenford", date(2025, 1, 1), date(2026, 6, 1), 7).days
    rows = ["date,air_min_c,air_max_c,rain_mm"]
    for back in range(480, -2, -1):
        day = FIRST - timedelta(days=back)
        rows.append(",".join(str(v) for v in (day, *(days.of(n).at(day) for n in rows[0].split(",")[1:]))))
    settings.weather.file.write_text("\n".join(rows) + "\n")
    state = StateFolder(tmp_path / "state")
    state.path.mkdir()
    return settings, state


def at(day, hour=12):
    return datetime(day.year, day.month, day.day, hour, 30, tzinfo=UTC)


def subject_of(settings, state, day=FIRST, recipient=ME, bed="gatebed", garden=None):
    with open_database(state.store) as database:
        key = signing_key(database, at(day))
    return f"Gatebed: watered {mark(key, Letter(garden or settings.garden.key, 'morning', day), bed, recipient)}"


def noted(settings, state):
    return [(str(e.what), e.day.isoformat(), e.origin) for e in read_journal(state.journal(settings.garden))[0].entries]


def heard(settings, state, day=FIRST):
    return job.answers(settings, state, at(day, 20))


def test_the_whole_way(garden, box, postman):
    settings, state = garden
    assert morning(settings, state, at(FIRST)).exit_code in {Exit.DONE, Exit.PARTLY}
    (sent,) = postman.letters
    html = sent.get_body(("html",)).get_content()
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="(mailto:[^"]+)"', html)]
    assert links
    parts = urlsplit(links[0])
    assert unquote(parts.path) == HAULM
    subject = parse_qs(parts.query)["subject"][0]
    box.put(f"Re: {subject}", "planted on 2026-05-10")
    box.put(
        f"Re: {subject}", "watered 12 mm yesterday\n\nOn Wed, 12 May 2026 at 06:30, haulm <x@y.z> wrote:\n> planted"
    )
    box.put(f"Re: {subject}", "watered 20")
    box.put("Something else", "watered 99 l")
    after = morning(settings, state, at(FIRST + timedelta(days=1)))
    told = " ".join(after.letter.text.split())
    assert "From your answers" in told
    assert "Noted for" in told
    assert "planted" in told
    assert "“watered 20” is not clear (of what unit)" in told
    assert noted(settings, state) == [("planted", "2026-05-10", "mail"), ("watered", "2026-05-11", "mail")]
    assert "planted since Sun 10 May, as noted" in told  # what the answers changed
    again = morning(settings, state, at(FIRST + timedelta(days=2)))
    assert "From your answers" not in again.letter.text
    assert len(noted(settings, state)) == 2


@pytest.mark.parametrize("case", ["forged", "expired", "sender", "garden", "recipient", "none"])
def test_what_is_not_ours_is_left_alone_unread(garden, box, case):
    settings, state = garden
    good = subject_of(settings, state)
    subject, sender = good, ME
    if case == "forged":
        subject = good[:-5] + ("AAAA]" if not good.endswith("AAAA]") else "BBBB]")
    if case == "expired":
        subject = subject_of(settings, state, FIRST - timedelta(days=31))
    if case == "sender":
        sender = "someone@example.net"
    if case == "garden":
        subject = subject_of(settings, state, garden="another")
    if case == "recipient":
        subject = subject_of(settings, state, recipient="someone@example.net")
    if case == "none":
        subject = "watered"
    box.put(subject, "watered 20 l", sender=sender)
    found = heard(settings, state)
    assert found.heard == ()
    assert found.left_alone == 1
    assert noted(settings, state) == []
    assert all("\\Seen" not in flags for flags in box.flags())


def test_one_message_twice_and_one_run_twice_note_once(garden, box):
    settings, state = garden
    subject = subject_of(settings, state)
    identity = box.put(subject, "watered 20 l")
    box.put(subject, "watered 20 l", identity=identity)
    assert len(heard(settings, state).heard) == 1
    assert heard(settings, state).heard == ()
    assert len(noted(settings, state)) == 1


def test_a_run_that_was_killed_after_noting_notes_nothing_twice(garden, box):
    settings, state = garden
    box.put(subject_of(settings, state), "planted today")
    heard(settings, state)
    with open_database(state.store) as database, database.transaction():
        database.rows("DELETE FROM answers")
        database.rows("DELETE FROM mailboxes")
    (one,) = heard(settings, state).heard
    assert one.outcome == "note"
    assert len(noted(settings, state)) == 1


def test_html_alone_odd_letters_and_attachments_are_read(garden, box):
    settings, state = garden
    subject = subject_of(settings, state)
    box.put(subject, "", html="<div>watered 20 l</div><blockquote>planted yesterday</blockquote>")
    box.put(subject, "soil 52", attach=b"x" * 400_000)
    found = heard(settings, state)
    assert [one.outcome for one in found.heard] == ["note", "note"]
    assert [what for what, _, _ in noted(settings, state)] == ["watered", "soil temperature"]


def test_a_very_large_message_is_cut_and_harms_nothing(garden, box):
    settings, state = garden
    box.put(subject_of(settings, state), "watered 20 l\n" + "x y z\n" * 400_000)
    found = heard(settings, state)
    assert found.fault == ""
    assert [what for what, _, _ in noted(settings, state)] == ["watered"]


def test_a_contradiction_is_told_and_not_noted(garden, box):
    settings, state = garden
    subject = subject_of(settings, state)
    box.put(subject, "planted on 2026-05-10")
    heard(settings, state)
    box.put(subject, "planted on 2026-05-11")
    (one,) = heard(settings, state).heard
    assert one.outcome == "refused"
    assert "could not be noted" in one.told
    assert len(noted(settings, state)) == 1


def test_check_live_tries_the_mailbox(garden, box):
    settings, state = garden
    tried, _ = check_live(settings, state.spool, at(FIRST))
    (mailbox,) = [one for one in tried if one.what == "Mailbox"]
    assert mailbox.works
    assert "login of garden@example.org accepted" in mailbox.found


def test_a_wrong_password_and_a_server_that_is_gone_stop_no_letter(garden, box, tmp_path):
    _, state = garden
    (tmp_path / "box-password").write_text("wrong-password-wrong")
    wrong = load(tmp_path / "haulm.toml")
    found = heard(wrong, state)
    assert "the mailbox could not be read" in found.fault
    assert "wrong-password" not in found.fault
    gone = load(tmp_path / "haulm.toml", {"HAULM_POST__MAILBOX__PORT": "9"})
    letter = morning(gone, state, at(FIRST)).letter
    assert "Answers: localhost:9" in " ".join(letter.text.split())


def test_without_a_mailbox_there_are_no_links_and_the_command_says_so(garden, postman, tmp_path):
    _, state = garden
    text = (tmp_path / "haulm.toml").read_text()
    (tmp_path / "haulm.toml").write_text(re.sub(r"(?ms)^\[post\.mailbox\].*?(?=^\[recipients)", "", text))
    settings = load(tmp_path / "haulm.toml")
    morning(settings, state, at(FIRST))
    (sent,) = postman.letters
    assert "mailto:" not in sent.get_body(("html",)).get_content()
    with pytest.raises(UsageError):
        heard(settings, state)
