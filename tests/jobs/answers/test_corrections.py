"""A later answer puts a note right: another entry takes its place, nothing is erased, the next letter tells."""

import re
from datetime import date, timedelta
from urllib.parse import parse_qs, unquote, urlsplit

import pytest

from haulm.jobs.morning import morning
from haulm.settings.load import load

FIRST = date(2026, 5, 12)
NEXT = FIRST + timedelta(days=1)
SOUTHBED = """
[beds.southbed]
name = "Southbed"
length = "4.8 m"
width = "1.2 m"
"""
EASTBED = SOUTHBED.replace("southbed", "eastbed").replace("Southbed", "Eastbed")


@pytest.fixture
def beds(desk, tmp_path):
    """The desk of a garden with more beds."""

    def add(*more):
        path = tmp_path / "haulm.toml"
        path.write_text(path.read_text(encoding="utf-8") + "".join(more), encoding="utf-8")
        desk.settings = load(path)
        return desk

    return add


def words(letter):
    return " ".join(letter.text.split())


def test_the_other_bed(beds, box, postman):
    desk = beds(SOUTHBED)
    box.put(desk.subject(), "watered 20 l")
    first = words(morning(desk.settings, desk.state, desk.at(NEXT)).letter)
    assert "Noted for Gatebed" in first
    box.put(desk.subject(), "no, that was the other bed", on=NEXT)
    told = words(morning(desk.settings, desk.state, desk.at(NEXT + timedelta(days=1))).letter)
    assert "“no, that was the other bed”. Taken back for Gatebed on Tue 12 May: watered" in told
    assert "Noted for Southbed on Tue 12 May" in told
    assert desk.noted() == [("watered", "2026-05-12", "southbed")]
    old, new = desk.entries()  # nothing is erased
    assert (old.bed, new.bed, new.withdraws) == ("gatebed", "southbed", old.id)
    assert new.value == pytest.approx(20 / (4.8 * 1.2))  # the same cans on another area
    assert new.written == old.written
    assert "other bed" not in words(morning(desk.settings, desk.state, desk.at(NEXT + timedelta(days=2))).letter)


def test_another_day(desk, box):
    box.put(desk.subject(), "watered 20 l and soil 52")
    desk.heard()
    box.put(desk.subject(), "no, that was yesterday")
    (one,) = desk.heard().heard
    assert one.outcome == "note"
    assert desk.noted() == [("watered", "2026-05-11", "gatebed"), ("soil temperature", "2026-05-11", "gatebed")]
    assert len(desk.entries()) == 4


def test_within_one_message_and_told_twice(beds, box):
    desk = beds(SOUTHBED)
    box.put(desk.subject(), "watered 20 l\nno, that was the other bed")
    assert [one.outcome for one in desk.heard().heard] == ["note", "note"]
    assert desk.noted() == [("watered", "2026-05-12", "southbed")]
    box.put(desk.subject(), "no, that was Southbed")
    assert [one.outcome for one in desk.heard().heard] == ["nothing"]
    box.put(desk.subject(), "sorry, that was the other bed")
    assert [one.outcome for one in desk.heard().heard] == ["note"]
    assert desk.noted() == [("watered", "2026-05-12", "gatebed")]


def test_with_several_other_beds_it_is_asked_back_with_links(beds, box, postman):
    desk = beds(SOUTHBED, EASTBED)
    box.put(desk.subject(), "watered 20 l")
    desk.heard()
    box.put(desk.subject(), "no, that was the other bed")
    told = words(morning(desk.settings, desk.state, desk.at(NEXT)).letter)
    assert "is not clear (which bed); nothing is changed" in told
    assert desk.noted() == [("watered", "2026-05-12", "gatebed")]
    html = postman.letters[-1].get_body(("html",)).get_content()
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="(mailto:[^"]+)"', html)]
    link = parse_qs(urlsplit(next(link for link in links if "was Eastbed" in unquote(link))).query)
    assert link["body"] == ["no, the watering of 2026-05-12 was Eastbed"]
    box.put(desk.subject(day=NEXT), "watered 5 l", on=NEXT)  # a later note, which is not meant
    desk.heard(NEXT)
    box.put(link["subject"][0], link["body"][0], on=NEXT)
    (one,) = desk.heard(NEXT).heard
    assert one.outcome == "note"
    assert desk.noted() == [("watered", "2026-05-13", "gatebed"), ("watered", "2026-05-12", "eastbed")]


def test_several_notes_of_one_mail_are_asked_back(beds, box):
    desk = beds(SOUTHBED)
    box.put(desk.subject(), "watered 20 l\nsoil 52")
    desk.heard()
    box.put(desk.subject(), "no, that was the other bed")
    (one,) = desk.heard().heard
    assert one.outcome == "ask"
    assert one.choices == (
        "no, the watering of 2026-05-12 was Southbed", "no, the soil temperature of 2026-05-12 was Southbed",
    )  # fmt: skip
    box.put(desk.subject(), "no, the soil temperature was the other bed")
    assert [one.outcome for one in desk.heard().heard] == ["note"]
    assert desk.noted() == [("watered", "2026-05-12", "gatebed"), ("soil temperature", "2026-05-12", "southbed")]


def test_only_ones_own_mail_of_a_fortnight_is_put_right(beds, box, tmp_path):
    desk = beds(SOUTHBED, '\n[recipients.you]\nname = "You"\naddress = "other@example.org"\n')
    box.put(desk.subject(), "watered 20 l")
    desk.heard()
    box.put(desk.subject(recipient="other@example.org"), "no, that was the other bed", sender="other@example.org")
    (one,) = desk.heard().heard
    assert (one.outcome, one.choices) == ("ask", ())
    assert "14 days" in one.told
    late = FIRST + timedelta(days=15)
    box.put(desk.subject(), "no, that was the other bed", on=late)
    (one,) = desk.heard(late).heard
    assert one.outcome == "ask"
    assert desk.noted() == [("watered", "2026-05-12", "gatebed")]


def test_a_correction_that_cannot_be_leaves_all_as_it_was(beds, box):
    desk = beds(SOUTHBED)
    box.put(desk.subject(), "planted on 2026-05-10")
    desk.heard()
    box.put(desk.subject(), "no, that was the other bed")  # which has no planting in the settings
    (one,) = desk.heard().heard
    assert one.outcome == "refused"
    assert "could not be done" in one.told
    assert "Nothing is changed" in one.told
    assert desk.noted() == [("planted", "2026-05-10", "gatebed")]


def test_no_shoots_yet_is_noted_where_something_grows(desk, box):
    box.put(desk.subject(), "not yet, ask next week")
    (one,) = desk.heard().heard
    assert one.outcome == "refused"  # nothing is planted that could have shoots
    box.put(desk.subject(), "planted on 2026-05-01\nnot yet, ask next week")
    assert [one.outcome for one in desk.heard().heard] == ["note", "note"]
    box.put(desk.subject(), "shoots out")
    desk.heard()
    box.put(desk.subject(day=NEXT), "no shoots yet", on=NEXT)
    (one,) = desk.heard(NEXT).heard
    assert one.outcome == "refused"
    assert [what for what, _, _ in desk.noted()] == ["planted", "no shoots yet", "shoots out"]


def test_a_bed_that_has_gone_from_the_settings_breaks_nothing(desk, box, tmp_path):
    path = tmp_path / "haulm.toml"
    before = path.read_text(encoding="utf-8")
    path.write_text(before + SOUTHBED, encoding="utf-8")
    desk.settings = load(path)
    box.put(desk.subject(bed="southbed"), "watered 20 l\nwatered 2")
    desk.heard()
    path.write_text(before, encoding="utf-8")
    desk.settings = load(path)
    box.put(desk.subject(), "no, that was yesterday")
    told = words(morning(desk.settings, desk.state, desk.at(NEXT)).letter)
    assert "“watered 2” is not clear" in told
    assert "brought no note that it could be about" in told
    assert desk.noted() == [("watered", "2026-05-12", "southbed")]
