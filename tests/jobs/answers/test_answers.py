"""Answers by mail, the whole way: a letter goes out by a real SMTP server, answers come through a real IMAP server."""

import re
from datetime import UTC, date, datetime, timedelta
from urllib.parse import parse_qs, unquote, urlsplit

import pytest

from haulm.errors import DeliveryError, Exit, UsageError
from haulm.jobs import answers as job
from haulm.jobs.check_live import check_live
from haulm.jobs.morning import morning
from haulm.post import mailbox
from haulm.post.answer_links import Letter, mark
from haulm.settings.load import load
from haulm.steps import Step
from haulm.store.answers import signing_key
from haulm.store.database import open_database
from haulm.store.journal_file import read_journal

ME, HAULM = "grower@example.org", "garden@example.org"
FIRST = date(2026, 5, 12)


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


def mailtos(letter):
    html = letter.get_body(("html",)).get_content()
    return [link.replace("&amp;", "&") for link in re.findall(r'href="(mailto:[^"]+)"', html)]


def test_the_whole_way(garden, box, postman):
    settings, state = garden
    assert morning(settings, state, at(FIRST)).exit_code in {Exit.DONE, Exit.PARTLY}
    (sent,) = postman.letters
    links = mailtos(sent)
    assert links
    parts = urlsplit(links[0])
    assert unquote(parts.path) == HAULM
    subject = parse_qs(parts.query)["subject"][0]
    box.put(f"Re: {subject}", "planted on 2026-05-10")
    box.put(
        f"Re: {subject}", "watered 12 mm yesterday\n\nOn Wed, 12 May 2026 at 06:30, haulm <x@y.z> wrote:\n> planted"
    )
    box.put(f"Re: {subject}", "watered 2")
    box.put("Something else", "watered 99 l")
    after = morning(settings, state, at(FIRST + timedelta(days=1)))
    told = " ".join(after.letter.text.split())
    assert "From your answers" in told
    assert "Noted for" in told
    assert "planted" in told
    assert "“watered 2” is not clear (which of these)" in told
    assert noted(settings, state) == [("planted", "2026-05-10", "mail"), ("watered", "2026-05-11", "mail")]
    assert "planted since Sun 10 May, as noted" in told  # what the answers changed
    choice = next(link for link in mailtos(postman.letters[-1]) if "Gatebed: watered 2 in" in unquote(link))
    asked = parse_qs(urlsplit(choice).query)
    assert asked["body"] == ["Gatebed: watered 2 in on 2026-05-12"]
    html = postman.letters[-1].get_body(("html",)).get_content()
    assert "“watered 2” was not clear. What did it mean?" in html
    assert asked["body"][0] in told
    again = morning(settings, state, at(FIRST + timedelta(days=2)))
    assert "From your answers" not in again.letter.text
    assert "was not clear" not in postman.letters[-1].get_body(("html",)).get_content()
    assert len(noted(settings, state)) == 2
    box.put(asked["subject"][0], asked["body"][0], on=FIRST + timedelta(days=2))
    last = morning(settings, state, at(FIRST + timedelta(days=3)))
    assert "watered 2 in" in " ".join(last.letter.text.split())
    assert noted(settings, state)[-1] == ("watered", "2026-05-12", "mail")


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


def test_an_answer_to_a_letter_that_a_wrong_clock_dated_ahead_is_noted_on_its_own_day(garden, box):
    settings, state = garden
    box.put(subject_of(settings, state, FIRST + timedelta(days=9)), "watered 20 l")
    assert [one.outcome for one in heard(settings, state, FIRST + timedelta(days=1)).heard] == ["note"]
    assert noted(settings, state) == [("watered", "2026-05-12", "mail")]


def test_an_answer_waits_while_the_clock_is_behind_it_and_keeps_no_other_waiting(garden, box):
    settings, state = garden
    today, wrong = FIRST + timedelta(days=9), FIRST
    box.put(subject_of(settings, state, today), "watered 20 l", on=today)
    box.put(subject_of(settings, state, wrong), "soil 12 C", on=wrong)
    found = heard(settings, state, wrong)
    assert [one.sentence for one in found.heard] == ["soil 12 C"]
    assert found.left_alone == 0
    assert heard(settings, state, wrong).heard == ()
    assert [one.sentence for one in heard(settings, state, today).heard] == ["watered 20 l"]
    assert heard(settings, state, today) == job.Collected()
    assert noted(settings, state) == [("soil temperature", "2026-05-12", "mail"), ("watered", "2026-05-21", "mail")]


def test_one_message_twice_and_one_run_twice_note_once(garden, box):
    settings, state = garden
    subject = subject_of(settings, state)
    identity = box.put(subject, "watered 20 l")
    box.put(subject, "watered 20 l", identity=identity)
    assert len(heard(settings, state).heard) == 1
    assert heard(settings, state).heard == ()
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


def test_what_was_noted_of_a_line_is_told_though_the_rest_of_it_was_not(garden, box):
    settings, state = garden
    subject = subject_of(settings, state)
    box.put(subject, "planted on 2026-05-10")
    heard(settings, state)
    box.put(subject, "watered 20 l and planted")
    (one,) = heard(settings, state).heard
    assert one.outcome == "refused"
    assert "Noted for" in one.told
    assert "The rest could not be noted" in one.told
    assert [what for what, _, _ in noted(settings, state)] == ["planted", "watered"]


def test_no_mail_costs_a_letter(garden, box):
    settings, state = garden
    subject = subject_of(settings, state)
    box.put("[H٢٦٠٥١٢m-AAAAAAAAAAAAAAAA]", "a stranger's subject", sender="someone@example.net")
    box.put(subject, "", html="<p>watered 20 l</p><![>")  # a parser's own fault
    box.put(subject, "soil 1/0")
    box.put(subject, "soil " + "9" * 400 + "/1")
    letter = morning(settings, state, at(FIRST)).letter
    told = " ".join(letter.text.split())
    assert "From your answers" in told
    assert "“soil 1/0”: more or less than can be true, so nothing is noted." in told
    assert noted(settings, state) == []


def test_words_out_of_a_mail_stay_short_and_cannot_move_a_cursor(garden, box):
    settings, state = garden
    box.put(subject_of(settings, state), "watered some\x1b[2J water " + "again and " * 100)
    (one,) = heard(settings, state).heard
    assert "\x1b" not in one.told + one.sentence
    assert len(one.told) < 200


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


def test_a_bed_that_left_the_settings_takes_no_letter_with_it(garden, box, tmp_path):
    settings, state = garden
    box.put(subject_of(settings, state), "watered 20")
    (one,) = heard(settings, state).heard
    assert one.choices
    file = tmp_path / "haulm.toml"
    file.write_text(file.read_text().replace("gatebed", "frontbed"))
    letter = morning(load(file), state, at(FIRST + timedelta(days=1))).letter
    assert "“watered 20” is not clear" in " ".join(letter.text.split())


def test_another_mailbox_of_the_same_validity_is_read_from_its_beginning(garden, box, tmp_path):
    """The same folder under its other spelling stands for it: RFC 9051 knows INBOX in any case."""
    settings, state = garden
    old = load(tmp_path / "haulm.toml", {"HAULM_POST__MAILBOX__FOLDER": "inbox"})
    heard(old, state)
    with open_database(state.store) as database, database.transaction(Step.ANSWERS_KEPT):
        database.rows("UPDATE mailboxes SET last_uid = 1000000000")
    box.put(subject_of(settings, state), "watered 20 l")
    assert heard(old, state).heard == ()
    assert len(heard(settings, state).heard) == 1
    assert heard(settings, state).heard == ()


def test_many_gardens_are_read_over_one_connection(garden, box, monkeypatch):
    settings, _ = garden
    opened, reading = [], mailbox._open

    def counting(server):
        opened.append(server)
        return reading(server)

    monkeypatch.setattr(mailbox, "_open", counting)
    looked = mailbox.Looked(FIRST - timedelta(days=9), (ME,))
    box.put("one", "planted")
    with mailbox.Mailboxes() as boxes:
        for _ in range(3):
            found = boxes.read(settings.post.mailbox, mailbox.Place(0, 0), looked, lambda _: True, lambda _: "words")
            assert [answer.header.subject for answer in found.answers] == ["one"]
        for _, imap, _ in boxes._open:
            imap.shutdown()  # as a server does that has waited long
        assert boxes.read(settings.post.mailbox, mailbox.Place(0, 0), looked, lambda _: True, lambda _: "").answers
    assert len(opened) == 2


def test_a_mailbox_that_fails_is_not_waited_for_again(garden, monkeypatch):
    settings, _ = garden
    server = settings.post.mailbox.model_copy(update={"port": 1})
    opened, reading = [], mailbox._open

    def counting(server):
        opened.append(server)
        return reading(server)

    monkeypatch.setattr(mailbox, "_open", counting)
    looked = mailbox.Looked(FIRST, (ME,))
    with mailbox.Mailboxes() as boxes:
        for _ in range(3):
            with pytest.raises(DeliveryError, match="connection refused"):
                boxes.read(server, mailbox.Place(0, 0), looked, lambda _: True, lambda _: "")
    assert len(opened) == 1
