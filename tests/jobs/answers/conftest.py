"""A Dovecot of the tests' own with one mailbox, and a garden whose answers arrive there.

Where Dovecot is not installed, what needs it is skipped.
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

import pytest
import trustme

from haulm.jobs import answers as job
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


@pytest.fixture(scope="module")
def authority():
    return trustme.CA()


@pytest.fixture(scope="module")
def imap_server(authority):
    """A Dovecot with one mailbox, over TLS; its own users have to come into its folder."""
    if DOVECOT is None or os.geteuid() != 0:
        pytest.skip("Dovecot is not installed, or not root")
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


class Box:
    """The mailbox as its owner meets it; `put` and `lay` bring a message into it."""

    def __init__(self, port, ca):
        self.port, self.ca, self.count = port, ca, 0
        self.enter()
        if self.imap.search(None, "ALL")[1][0]:
            self.imap.store("1:*", "+FLAGS", "\\Deleted")
            self.imap.expunge()

    def enter(self):
        context = ssl.create_default_context(cafile=self.ca)
        self.imap = imaplib.IMAP4_SSL("localhost", self.port, ssl_context=context, timeout=60)
        self.imap.login(HAULM, "a-long-password")
        self.imap.select("INBOX")

    def leave(self):
        self.imap.logout()

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
        self.lay(message.as_bytes(), on)
        return str(message["Message-ID"])

    def lay(self, message, on=FIRST):
        """A message byte for byte."""
        status, told = self.imap.append("INBOX", None, datetime(on.year, on.month, on.day, 18, tzinfo=UTC), message)
        assert status == "OK", told

    def flags(self):
        return [bytes(line).decode() for line in self.imap.fetch("1:*", "(FLAGS)")[1] if line]


@pytest.fixture
def box(imap_server):
    """The mailbox, emptied."""
    box = Box(*imap_server)
    yield box
    box.leave()


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


class Desk:
    """The garden as the grower's mail meets it."""

    def __init__(self, settings, state):
        self.settings, self.state = settings, state

    at = staticmethod(at)

    def subject(self, day=FIRST, recipient=ME, bed="gatebed", garden=None):
        with open_database(self.state.store) as database:
            key = signing_key(database, at(day))
        letter = Letter(garden or self.settings.garden.key, "morning", day)
        return f"Gatebed: watered {mark(key, letter, bed, recipient)}"

    def heard(self, day=FIRST, hour=20):
        return job.answers(self.settings, self.state, at(day, hour))

    def entries(self):
        return read_journal(self.state.journal(self.settings.garden))[0].entries

    def noted(self):
        """What stands: kind, day and bed."""
        taken_back = {entry.withdraws for entry in self.entries()}
        return [(str(e.what), e.day.isoformat(), e.bed) for e in self.entries() if e.id not in taken_back]


@pytest.fixture
def desk(garden):
    return Desk(*garden)
