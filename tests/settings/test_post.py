"""The ways out of the house in the settings: mail, webhook, and where their secrets may stand."""

import os
from pathlib import Path

import pytest

from haulm.settings.describe import describe
from haulm.settings.load import load
from haulm.settings.web_address import on_this_machine

MAIL = """
[recipients.me]
name = "Me"
address = "me@example.org"

[post.mail]
host = "mail.example.org"
sender = "haulm@example.org"
"""
LOGIN = 'user = "haulm"\n'
HOOK = '\n[post.webhook]\nurl = "https://hooks.example.org/letter"\n'
STRAW = "straw over the seed"


@pytest.fixture
def private(tmp_path: Path):
    """A file beside the settings that its owner alone can read."""

    def write(name: str, content: bytes, mode: int = 0o600) -> Path:
        path = tmp_path / name
        path.write_bytes(content)
        path.chmod(mode)
        return path

    return write


def test_without_a_table_there_is_no_mail(write, garden_text):
    post = load(write(garden_text)).post
    assert (post.mail, post.webhook) == (None, None)


def test_mail_with_its_defaults(write, garden_text):
    mail = load(write(garden_text + MAIL)).post.mail
    assert (mail.where, mail.security, mail.user, mail.timeout_seconds) == ("mail.example.org:465", "tls", None, 30)


@pytest.mark.parametrize(("line", "port"), [('security = "starttls"', 587), ("port = 2525", 2525)])
def test_the_port_follows_the_security_unless_it_is_written(write, garden_text, line, port):
    assert load(write(f"{garden_text}{MAIL}{line}\n")).post.mail.port_number == port


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            MAIL.replace('host = "mail.example.org"\n', ""),
            'post.mail.host: is missing: the mail server that sends for you, by its name alone; for example '
            'host = "mail.example.org".',
        ),
        (MAIL.replace("mail.example.org", "mail.example.org:465"), "the name of a server alone"),
        (MAIL.replace("mail.example.org", "https://mail.example.org"), "the name of a server alone"),
        (f'{MAIL}security = "none"\n', "mail in the clear is for a server on this machine only"),
        (f'{MAIL}security = "ssl"\n', 'post.mail.security: must be tls, starttls or none (given: "ssl").'),
        (f"{MAIL}port = 70000\n", "post.mail.port: must be between 1 and 65535 (given: 70000)."),
        (MAIL.replace("haulm@example.org", "haulm"), "post.mail.sender: is not one mail address"),
        (MAIL.replace("haulm@example.org", "a@b.org\\nBcc: c@d.org"), "post.mail.sender: is not one mail address"),
        (MAIL.replace("haulm@example.org", "grüße@example.org"), "has letters before the @"),
        (f"{MAIL}{LOGIN}", "post.mail.password: is missing: a user needs it; write password_file."),
        (f'{MAIL}password = "{STRAW}"\n', "post.mail.password: a password needs the user it belongs to."),
        (f'{MAIL}local_hostname = "a b"\n', "post.mail.local_hostname: must be one name without spaces"),
        (MAIL[MAIL.index("[post") :], "post.mail: nobody gets the mail; name someone in a table like [recipients.me]"),
        (HOOK, "post.webhook.secret: is missing: write secret_file"),
        (f'{HOOK}secret = "straw"\n', "post.webhook.secret: is too short to keep anybody out; write at least 16"),
        (f'{HOOK}secret = "{STRAW}"\n'.replace("https", "http"), "must begin with https:// unless it is on this"),
        (f'{HOOK}secret = "{STRAW}"\n'.replace("hooks", "me:straw@hooks"), "must hold no user, password or #"),
        (f'{HOOK}secret = "{STRAW}"\n'.replace("https://hooks", "hooks"), "is not a web address"),
        (f'{HOOK}secret = "{STRAW}"\n'.replace("/letter", ":99999/"), "is not a web address"),
    ],
)  # fmt: skip
def test_faults(told, garden_text, text, message):
    (fault,) = told(garden_text + text)
    assert message in fault
    assert fault.startswith("line ")
    assert "straw" not in fault


def test_a_domain_in_other_letters_becomes_its_plain_form(write, garden_text):
    text = garden_text + MAIL.replace("me@example.org", "me@straße-im-grünen.example")
    assert load(write(text)).garden.recipients[0].address == "me@xn--strasse-im-grnen-vzb.example"


@pytest.mark.parametrize(
    ("host", "here"),
    [("localhost", True), ("127.0.0.9", True), ("::1", True), ("[::1]", True), ("localhost.example.org", False),
     ("10.0.0.1", False), ("127.0.0.1.example.org", False)],
)  # fmt: skip
def test_this_machine_is_told_by_its_name(host, here):
    assert on_this_machine(host) is here


def test_secrets_come_from_files_beside_the_settings(write, garden_text, private):
    private("mail", b"\xef\xbb\xbfunder straw \r\n")
    private("hook", STRAW.encode() + b"\n")
    text = f'{garden_text}{MAIL}{LOGIN}password_file = "mail"\n{HOOK}secret_file = "hook"\n'
    settings = load(write(text))
    assert settings.post.mail.password.get_secret_value() == "under straw "
    assert settings.post.webhook.secret.get_secret_value() == STRAW
    assert settings.notes == ()
    assert STRAW not in f"{settings!r}{describe(settings)}"


def test_the_environment_wins_over_credentials_and_these_over_files(write, garden_text, private, tmp_path):
    private("mail", b"of the file\n")
    path = write(f'{garden_text}{MAIL}{LOGIN}password_file = "mail"\n')
    assert load(path).post.mail.password.get_secret_value() == "of the file"
    private("post.mail.password", b"of systemd\n")
    environ = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert load(path, environ).post.mail.password.get_secret_value() == "of systemd"
    environ |= {"HAULM_POST__MAIL__PASSWORD": "of the environment"}
    assert load(path, environ).post.mail.password.get_secret_value() == "of the environment"


def test_credentials_make_no_table(write, garden_text, private, tmp_path):
    private("post.mail.password", b"of systemd\n")
    assert load(write(garden_text), {"CREDENTIALS_DIRECTORY": str(tmp_path)}).post.mail is None


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "cannot be read: there is no such file or folder"),
        (b"", "must hold one line with the secret, and nothing else"),
        (b"\n", "must hold one line with the secret, and nothing else"),
        (b"straw\nsecond\n", "must hold one line with the secret, and nothing else"),
        (b"straw" * 1000, "must hold one line with the secret, and nothing else"),
        (b"straw\xff", "is not UTF-8 text"),
    ],
)
def test_a_file_that_holds_no_secret_is_told_once(told, garden_text, private, content, message):
    if content is not None:
        private("mail", content)
    (fault,) = told(f'{garden_text}{MAIL}{LOGIN}password_file = "mail"\n')
    assert fault.startswith("line 35, post.mail.password_file: ")
    assert message in fault
    assert "straw" not in fault


def test_two_places_at_once(told, garden_text):
    faults = told(f'{garden_text}{MAIL}{LOGIN}password = "{STRAW}"\npassword_file = "mail"\n')
    assert faults == ["line 36, post.mail.password_file: write password or password_file, not both."]


@pytest.mark.skipif(os.name != "posix", reason="others' rights are told on POSIX only")
def test_what_others_can_read_is_told(write, garden_text, private):
    path = write(f'{garden_text}{MAIL}{LOGIN}password = "{STRAW}"\n')
    path.chmod(0o644)
    (note,) = load(path).notes
    assert note == (
        f"post.mail.password stands in the settings file, and others on this machine can read it: run chmod 600 {path}."
    )
    path.chmod(0o600)
    (note,) = load(path).notes
    assert note == (
        "post.mail.password stands in the settings file, and every copy of it holds the secret too; "
        "password_file keeps it apart."
    )
    file = private("mail", b"straw\n", 0o640)
    path = write(f'{garden_text}{MAIL}{LOGIN}password_file = "mail"\n')
    settings = load(path)
    assert settings.notes == (f"Others on this machine can read {file}: run chmod 600 on it.",)
    assert settings.notes[0] in describe(settings)


def test_paths_start_at_the_file(write, garden_text):
    path = write(f'{garden_text}{MAIL}cafile = "authority.pem"\n')
    assert load(path).post.mail.cafile == path.parent / "authority.pem"


def test_what_the_post_will_do(write, garden_text, private):
    private("mail", b"x\n")
    private("hook", STRAW.encode())
    text = f'{garden_text}{MAIL}{LOGIN}password_file = "mail"\n{HOOK}secret_file = "hook"\n[post]\nlog = false\n'
    told = describe(load(write(text)))
    assert told[-3:] == [
        "Letter: each morning at 06:30 for Me.",
        "Mail: from haulm@example.org through mail.example.org:465 over TLS, logging in as haulm.",
        "Webhook: the letter as JSON, signed, to hooks.example.org.",
    ]


def test_recipients_without_a_server_are_told(write, garden_text):
    told = describe(load(write(garden_text + MAIL[: MAIL.index("[post")])))
    assert told[-1] == "Mail: none goes out, for there is no [post.mail] table."
