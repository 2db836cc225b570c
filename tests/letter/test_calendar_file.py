"""The calendar file: RFC 5545 as it is written down, stable names, and dates that stay when nothing moved."""

from datetime import UTC, date, datetime

import pytest
from icalendar import Calendar

from haulm.jobs.demo import decided, scenes
from haulm.letter.calendar_file import calendar_file
from haulm.letter.dates import Coming, coming_dates

NOW = datetime(2027, 3, 1, 6, 30, tzinfo=UTC)
LATER = datetime(2027, 3, 2, 6, 30, tzinfo=UTC)
PLANT = Coming(
    "plant", "gate-early", date(2027, 4, 16), date(2027, 4, 9), date(2027, 4, 28), "Plant (Gatebed earlies)",
    "The soil should be warm enough where the seed lies, and it is a long line that has to be folded – with a dash.",
)  # fmt: skip


def written(*coming, now=NOW, before=b""):
    return calendar_file(coming, "brackenford", "haulm, Brackenford", now, before)


def test_it_is_a_calendar_as_the_standard_has_it():
    """RFC 5545: 3.1 lines end with CRLF and hold at most 75 octets, 3.6 PRODID and VERSION, 3.6.1 UID and DTSTAMP,
    3.3.4 a date has eight digits, 3.6.1 DTEND of all-day events is the day after."""
    raw = written(PLANT)
    lines = raw.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    unfolded = raw.replace(b"\r\n ", b"").decode().split("\r\n")
    for line in ("VERSION:2.0", "DTSTART;VALUE=DATE:20270416", "DTEND;VALUE=DATE:20270417", "TRANSP:TRANSPARENT"):
        assert line in unfolded
    assert "UID:plant.gate-early.brackenford@haulm" in unfolded
    assert "DTSTAMP:20270301T063000Z" in unfolded


def test_an_event_that_stands_keeps_its_bytes_and_one_that_moved_keeps_its_name():
    first = written(PLANT)
    assert written(PLANT, now=LATER, before=first) == first
    moved = Coming("plant", "gate-early", date(2027, 4, 19), None, None, PLANT.title, PLANT.told)
    (event,) = Calendar.from_ical(written(moved, now=LATER, before=first)).walk("VEVENT")
    assert event["uid"] == "plant.gate-early.brackenford@haulm"
    assert event.decoded("dtstart") == date(2027, 4, 19)
    assert event["sequence"] == 1
    assert event.decoded("dtstamp") == LATER


@pytest.mark.parametrize("broken", [b"\x00\xff", b"<html>", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n"])
def test_a_file_that_cannot_be_read_is_written_anew(broken):
    assert written(PLANT, before=broken) == written(PLANT)


@pytest.mark.parametrize("day", [date(2027, 3, 10), date(2027, 5, 11), date(2027, 8, 25)])
def test_the_coming_dates_of_the_demo_are_ahead_in_order_and_named_once(day):
    found = [coming_dates(decided(scene, day)) for scene in scenes(day.year)]
    assert any(found)
    for coming in found:
        assert [one.day for one in coming] == sorted(one.day for one in coming)
        assert all(one.day >= day for one in coming)
        assert len({(one.kind, one.planting) for one in coming}) == len(coming)
        assert all(one.early is None or one.late is None or one.early <= one.day <= one.late for one in coming)
