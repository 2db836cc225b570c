"""A letter as a mail, read back as a mail reader would."""

import re
from datetime import UTC, datetime, timedelta, timezone
from email import message_from_bytes, policy
from email.message import EmailMessage, Message

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.post.message import Person, Post, mail_message, make_message_id, one_line

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256))
NAME = "2027-05-12-brackenford-morning.png"
SENDER = Person("haulm@brackenford.example", "haulm")
ME = Person("grower@example.org", "The grower")
POST = Post(
    garden="brackenford",
    subject="Cover Gatebed tonight: −2 °C at the leaves",
    text="Do today\n\nCover Gatebed before dusk.\nFrom here on: −2 °C\n",
    html=f'<!DOCTYPE html>\n<html lang="en"><body><p>−2 °C</p><img src="{NAME}" alt="a"></body></html>\n',
    written=datetime(2027, 5, 12, 6, 30, tzinfo=timezone(timedelta(hours=-5))),
    picture=PNG,
    picture_name=NAME,
)


def read_back(message: EmailMessage) -> EmailMessage:
    read = message_from_bytes(message.as_bytes(), policy=policy.default)
    assert isinstance(read, EmailMessage)
    assert not read.defects
    return read


def lines_of(part: Message) -> list[str]:
    return part.get_content().splitlines()


def test_text_first_html_last_and_the_picture_inside_the_html():
    read = read_back(mail_message(POST, SENDER, ME, "<1.2@brackenford.example>"))
    assert [part.get_content_type() for part in read.walk()] == [
        "multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png",
    ]  # fmt: skip
    text, related = read.iter_parts()
    html, picture = related.iter_parts()
    assert lines_of(text) == POST.text.splitlines()
    assert picture.get_content() == PNG
    assert picture["Content-ID"] == "<picture.1.2@brackenford.example>"
    assert picture.get_content_disposition() == "inline"
    assert picture.get_filename() == NAME
    assert lines_of(html) == POST.html.replace(NAME, "cid:picture.1.2@brackenford.example").splitlines()


def test_headers():
    read = read_back(mail_message(POST, SENDER, ME, "<1.2@brackenford.example>"))
    assert dict(read.items()) | {"Content-Type": ""} == {
        "From": "haulm <haulm@brackenford.example>",
        "To": "The grower <grower@example.org>",
        "Subject": POST.subject,
        "Date": "Wed, 12 May 2027 06:30:00 -0500",
        "Message-ID": "<1.2@brackenford.example>",
        "List-Id": "<brackenford.haulm.brackenford.example>",
        "Auto-Submitted": "auto-generated",
        "X-Auto-Response-Suppress": "All",
        "Content-Language": "en",
        "MIME-Version": "1.0",
        "Content-Type": "",
    }


def test_every_line_is_plain_and_short_enough_for_any_server():
    text = "ü" * 5000 + "\n" + "x" * 5000
    post = Post("g", "é" * 150, text, f"<p>{text}", datetime(2027, 1, 1, tzinfo=UTC), PNG)
    people = Person("a@b.example", "Ä" * 90), Person("c@d.example", "Ö" * 90)
    raw = mail_message(post, *people, "<1@b.example>").as_bytes()
    assert raw.isascii()
    lines = raw.split(b"\r\n")
    assert max(len(line) for line in lines if b"boundary=" not in line) <= 76
    assert b"\n" not in b"".join(lines)
    encoded = re.findall(rb"=\?[^?]+\?[bqBQ]\?[^?]*\?=", raw)
    assert encoded
    assert max(map(len, encoded)) <= 75  # RFC 2047, from memory


def test_a_letter_without_a_picture_has_its_two_texts_alone():
    post = Post("g", "Nothing to do today", "None\n", "<p>None</p>\n", datetime(2027, 1, 1, tzinfo=UTC))
    read = read_back(mail_message(post, SENDER, ME, "<1@b.example>"))
    assert [part.get_content_type() for part in read.walk()] == ["multipart/alternative", "text/plain", "text/html"]


def test_a_picture_that_the_html_does_not_name_comes_beside_it():
    post = Post("g", "Frost", "Frost\n", "<p>Frost</p>\n", datetime(2027, 1, 1, tzinfo=UTC), PNG, NAME)
    read = read_back(mail_message(post, SENDER, ME, "<1@b.example>"))
    (picture,) = read.iter_attachments()
    assert (picture.get_content(), picture.get_filename()) == (PNG, NAME)
    assert [part.get_content_type() for part in read.walk()][1:4] == [
        "multipart/alternative", "text/plain", "text/html",
    ]  # fmt: skip


def test_a_second_try_carries_the_same_id_and_the_same_letter():
    made = make_message_id("brackenford.example")
    assert re.fullmatch(r"<[^<>@\s]+@brackenford\.example>", made)
    assert make_message_id("brackenford.example") != made
    first, second = (read_back(mail_message(POST, SENDER, ME, made)) for _ in range(2))
    kept = [{name: value for name, value in read.items() if name != "Content-Type"} for read in (first, second)]
    assert kept[0] == kept[1]
    parts = [[p.get_content() for p in read.walk() if not p.is_multipart()] for read in (first, second)]
    assert parts[0] == parts[1]


HEADERS = {
    "From", "To", "Subject", "Date", "Message-ID", "List-Id", "Auto-Submitted", "X-Auto-Response-Suppress",
    "Content-Language", "MIME-Version", "Content-Type",
}  # fmt: skip


@given(subject=st.text(max_size=120), name=st.text(max_size=60), garden=st.text(max_size=30))
def test_no_subject_or_name_makes_a_header(subject, name, garden):
    post = Post(garden, subject, "x\n", "<p>x</p>\n", datetime(2027, 1, 1, tzinfo=UTC))
    raw = mail_message(post, SENDER, Person("c@d.example", name), "<1@b.example>").as_bytes()
    read = message_from_bytes(raw, policy=policy.default)
    assert set(read.keys()) == HEADERS
    assert len(read.keys()) == len(HEADERS)
    assert read["Subject"] == one_line(subject)
    assert [a.addr_spec for a in read["To"].addresses] == ["c@d.example"]


@pytest.mark.parametrize(
    "subject",
    [
        "Frost\r\nBcc: thief@example.net",
        "Frost\nBcc: thief@example.net",
        "Frost\rBcc: thief@example.net",
        "Frost\u2028Bcc: thief@example.net",
        "Frost\x85Bcc: thief@example.net",
        "Frost\x00\x0b\x0cBcc: thief@example.net",
        "=?utf-8?q?Frost=0D=0ABcc=3A_thief=40example=2Enet?=",
        "Frost\r\n\r\n<p>another body</p>",
    ],
)
def test_line_ends_however_written_stay_in_the_subject(subject):
    read = read_back(mail_message(Post("g", subject, "x", "x", POST.written), SENDER, ME, "<1@b.example>"))
    assert set(read.keys()) == HEADERS
    assert "Frost" in read["Subject"]
    assert "\n" not in read["Subject"]


@pytest.mark.parametrize("made", ["", "1@b.example", "<1@b.example>\r\nBcc: a@b.example", "<é@b.example>"])
def test_what_is_no_message_id_is_not_sent(made):
    with pytest.raises(ValueError, match=r"Message-ID"):
        mail_message(POST, SENDER, ME, made)
