"""`haulm init` and `check --live` against loopback services: what is written, and what a person reads when it fails."""

import json
import stat
from datetime import UTC, datetime

import pytest

from haulm import cli
from haulm.errors import Exit, UsageError
from haulm.jobs.init import Answers, Person, init
from haulm.settings.load import load

OPTIONS = [
    *("--name", "Brackenford", "--latitude", "52.5", "--longitude", "-3.0", "--elevation", "140 m"),
    *("--zone", "Europe/London", "--units", "metric", "--contact", "grower@example.org"),
    *("--bed", "gatebed: 2.4 m x 1.2 m, loam", "--bed", "wallbed: 8 ft x 4 ft"),
]


@pytest.fixture
def run(tmp_path, network, monkeypatch, capsys, world):
    for name, value in network.items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)
    world.today = datetime.now(UTC).date()

    def go(*words):
        code = cli.main([*words, "--state", str(tmp_path / "state")])
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return go


def test_all_options_make_settings_without_a_terminal(run, tmp_path):
    code, told, _ = run("init", *OPTIONS, "--station", "meteostat:99901")
    assert code == Exit.DONE
    file = tmp_path / "haulm.toml"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    settings = load(file)
    assert [bed.key for bed in settings.garden.beds] == ["gatebed", "wallbed"]
    assert settings.garden.beds[1].length_m == pytest.approx(2.4384)
    assert settings.weather.stations == ("meteostat:99901",)
    assert settings.weather.forecasts == ("met-norway",)
    assert "Bed gatebed" in told
    assert file.read_text(encoding="utf-8").count("# ") > 200


def test_it_never_overwrites_without_being_told(run, tmp_path):
    (tmp_path / "haulm.toml").write_text("mine")
    code, _, told = run("init", *OPTIONS, "--station", "meteostat:99901")
    assert code == Exit.SETTINGS
    assert "--overwrite" in told
    assert (tmp_path / "haulm.toml").read_text() == "mine"
    assert run("init", *OPTIONS, "--station", "meteostat:99901", "--overwrite")[0] == Exit.DONE


def test_what_is_lacking_is_named_where_nobody_can_be_asked(run):
    code, _, told = run("init", "--name", "Brackenford")
    assert code == Exit.SETTINGS
    for option in ("--latitude", "--longitude", "--elevation", "--contact", "--bed"):
        assert option in told


@pytest.mark.parametrize(
    ("given", "told_of"),
    [
        (("--latitude", "north"), "is not a number"),
        (("--latitude", "95"), "place.latitude"),
        (("--latitude", "-3.0", "--longitude", "152.5"), "swapped"),
        (("--bed", "a bed"), "does not describe a bed"),
        (("--elevation", "140"), "unit"),
        (("--station", "10637"), "meteostat:10637"),
    ],
)
def test_bad_answers_are_told_and_nothing_is_written(run, tmp_path, given, told_of):
    code, _, told = run("init", *OPTIONS, "--station", "meteostat:99901", *given)
    assert code == Exit.SETTINGS
    assert told_of in told
    assert not (tmp_path / "haulm.toml").exists()


def test_a_place_with_no_station_near_is_told(run, tmp_path):
    code, _, told = run("init", *OPTIONS, "--latitude", "-40", "--longitude", "-3.0")
    assert code == Exit.PARTLY
    assert "no weather station within" in told
    assert "latitude comes first" in told
    assert "haulm init --within 150" in told
    assert not (tmp_path / "haulm.toml").exists()


def test_the_circle_can_be_widened(run, tmp_path):
    north = ("--latitude", "53.5", "--longitude", "-3.0")
    assert run("init", *OPTIONS, *north)[0] == Exit.PARTLY
    code, told, _ = run("init", *OPTIONS, *north, "--within", "150")
    assert code == Exit.DONE
    assert "106 km" in told


def test_a_station_is_looked_up_shown_and_proposed(run, tmp_path):
    code, told, _ = run("init", *OPTIONS)
    assert code == Exit.DONE
    assert "Brackenford Hill" in told
    assert "+40 m" in told
    assert "100%" in told
    assert load(tmp_path / "haulm.toml").weather.stations == ("meteostat:99901",)


def test_a_station_that_has_stopped_is_not_proposed(run, world, tmp_path):
    world.today = datetime(2024, 6, 1, tzinfo=UTC).date()
    code, told, fault = run("init", *OPTIONS)
    assert code == Exit.PARTLY
    assert "none of the stations near by reports well enough" in fault
    assert "2024" in told or "none" in told
    assert not (tmp_path / "haulm.toml").exists()


def test_live_check_says_what_works_and_what_does_not(run, world, tmp_path):
    run("init", *OPTIONS, "--station", "meteostat:99901")
    world.down = True
    code, told, _ = run("check", "--live")
    assert code == Exit.PARTLY
    assert "the server is in trouble (503)" in told
    assert "2 of 2 did not work" in told


def test_live_check_as_json(run, world):
    run("init", *OPTIONS, "--station", "meteostat:99901")
    world.down = True
    code, told, _ = run("check", "--live", "--json")
    shown = json.loads(told)
    assert (shown["version"], code) == (1, Exit.PARTLY)
    assert [one["works"] for one in shown["tried"]] == [False, False]


MAIL = ("--mail-host", "mail.example.org", "--mail-user", "grower", "--to", "grower@example.org")


def test_a_login_needs_a_password_file_where_nobody_can_be_asked(run, tmp_path):
    code, _, told = run("init", *OPTIONS, "--station", "meteostat:99901", *MAIL)
    assert code == Exit.SETTINGS
    assert "password_file" in told
    (tmp_path / "secret").write_text("a word\n")
    code, told, _ = run("init", *OPTIONS, "--station", "meteostat:99901", *MAIL, "--mail-password-file", "secret")
    assert code == Exit.DONE
    assert "logging in as grower" in told
    mail = load(tmp_path / "haulm.toml").post.mail
    assert mail.password.get_secret_value() == "a word"
    assert mail.port_number == 465


MAILBOX = ("--mailbox-host", "imap.example.org", "--mailbox-address", "garden@example.org")


def test_a_mailbox_for_answers_from_options(run, tmp_path):
    (tmp_path / "secret").write_text("a word\n")
    given = ("--station", "meteostat:99901", *MAIL, "--mail-password-file", "secret", *MAILBOX)
    code, _, told = run("init", *OPTIONS, *given)
    assert code == Exit.SETTINGS
    assert "post.mailbox.password" in told
    assert not (tmp_path / "haulm.toml").exists()
    code, told, _ = run("init", *OPTIONS, *given, "--mailbox-password-file", "secret", "--mailbox-port", "1993")
    assert code == Exit.DONE
    assert "Answers: sent to garden@example.org, read from imap.example.org:1993 as garden@example.org." in told
    mailbox = load(tmp_path / "haulm.toml").post.mailbox
    assert mailbox.password.get_secret_value() == "a word"
    assert (mailbox.security, mailbox.user) == ("tls", "garden@example.org")


ASKED = {
    "What is the place called?": "Brackenford", "Latitude": "52.5", "Longitude": "-3.0", "How high": "140 m",
    "A bed": "gatebed: 8 ft x 4 ft, loam", "An address": "grower@example.org", "Your mail server": "mail.example.org",
}  # fmt: skip


@pytest.fixture
def converse(tmp_path, network, world):
    """What init writes for a person who answers the questions, and every question that was asked."""
    world.today = datetime.now(UTC).date()
    asked, more = [], {}

    def ask(question, usual):
        asked.append(question)
        return next((answer for begin, answer in (ASKED | more).items() if question.startswith(begin)), usual)

    def secret(question):
        asked.append(question)
        return "another word" if "mailbox-password" in question else "a word"

    def go(overwrite=False, **answers):
        more.update(answers)
        given = Answers(zone="Europe/London")
        now = datetime.now(UTC)
        path, spool = tmp_path / "haulm.toml", tmp_path / "spool"
        lines = init(path, given, spool, network, now, overwrite=overwrite, person=Person(ask, secret))
        return list(lines), asked

    return go


def test_a_conversation_ends_in_settings_and_a_password_of_its_own_file(converse, tmp_path):
    lines, asked = converse()
    assert "Which of them?" in asked
    settings = load(tmp_path / "haulm.toml")
    assert settings.post.mail.password.get_secret_value() == "a word"
    assert settings.weather.stations == ("meteostat:99901",)
    for name in ("haulm.toml", "mail-password"):
        assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o600
    assert "a word" not in (tmp_path / "haulm.toml").read_text(encoding="utf-8") + "".join(lines)


def test_a_password_that_stands_already_is_not_written_over(converse, tmp_path):
    (tmp_path / "mail-password").write_text("mine\n")
    with pytest.raises(UsageError, match="stands already"):
        converse()
    assert not (tmp_path / "haulm.toml").exists()
    converse(overwrite=True)
    assert (tmp_path / "mail-password").read_text() == "a word\n"


def test_the_mailbox_is_asked_for_after_the_mail_and_skipped_by_a_return(converse, tmp_path):
    _, asked = converse()
    assert load(tmp_path / "haulm.toml").post.mailbox is None
    assert not (tmp_path / "mailbox-password").exists()
    (mail,) = [n for n, question in enumerate(asked) if question.startswith("Your mail server")]
    (mailbox,) = [n for n, question in enumerate(asked) if question.startswith("The server (IMAP)")]
    assert mailbox > mail
    assert not any("answers are sent to" in question for question in asked)


def test_a_mailbox_in_conversation_has_a_password_file_of_its_own(converse, tmp_path):
    lines, _ = converse(**{"The server (IMAP)": "imap.example.org", "The address answers": "garden@example.org"})
    settings = load(tmp_path / "haulm.toml")
    assert settings.post.mailbox.address == "garden@example.org"
    assert settings.post.mailbox.password.get_secret_value() == "another word"
    assert settings.post.mail.password.get_secret_value() == "a word"
    assert stat.S_IMODE((tmp_path / "mailbox-password").stat().st_mode) == 0o600
    assert "another word" not in (tmp_path / "haulm.toml").read_text(encoding="utf-8") + "".join(lines)


@pytest.mark.parametrize("standing", ["mail-password", "mailbox-password"])
def test_no_password_that_stands_is_written_over(converse, tmp_path, standing):
    (tmp_path / standing).write_text("mine\n")
    with pytest.raises(UsageError, match="stands already"):
        converse(**{"The server (IMAP)": "imap.example.org"})
    written = {"haulm.toml", "mail-password", "mailbox-password"} & {path.name for path in tmp_path.iterdir()}
    assert written == {standing}
    assert (tmp_path / standing).read_text() == "mine\n"
