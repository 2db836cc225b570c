"""The calendar file read back by a parser that did not write it: vobject, of another house than icalendar."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from haulm.jobs.demo import decided, scenes
from haulm.letter.calendar_file import calendar_file
from haulm.letter.dates import Coming, coming_dates

vobject = pytest.importorskip("vobject", reason="the development packages are not all installed: vobject")

NOW = datetime(2027, 3, 1, 6, 30, tzinfo=UTC)
LATER = datetime(2027, 3, 2, 6, 30, tzinfo=UTC)
DAY = timedelta(days=1)
TITLE = "Plant, and cover; the “earlies” \\ 🥔 (Gatebed)"
TOLD = (
    "First line, with a comma; and a semicolon.\nSecond line: a \\n that is none, and 12 °C – " + "🥔 é " * 30 + "end."
)
PLANT = Coming("plant", "gate-early", date(2027, 12, 31), date(2027, 12, 20), date(2028, 1, 4), TITLE, TOLD)


def written(*coming, now=NOW, before=b""):
    return calendar_file(coming, "brackenford", "haulm, Brackenford; the garden", now, before)


def read_back(raw):
    """The calendar as another program sees it; a file of more than one calendar would not be one of ours."""
    (calendar,) = vobject.readComponents(raw.decode())
    return calendar


def events(raw):
    return {event.uid.value: event for event in read_back(raw).contents.get("vevent", [])}


def the_only(raw):
    (event,) = events(raw).values()
    return event


def test_words_come_back_as_they_were_written():
    """RFC 5545, 3.3.11: in text, commas, semicolons, backslashes and ends of lines are escaped, and nothing else is."""
    event = the_only(written(PLANT))
    assert event.summary.value == TITLE
    assert event.description.value == TOLD
    assert read_back(written(PLANT)).contents["x-wr-calname"][0].value == "haulm, Brackenford; the garden"


def test_lines_are_folded_at_75_octets_and_never_within_a_letter():
    """RFC 5545, 3.1: 75 octets without the line's end, CRLF, and a blank at the head of what goes on."""
    raw = written(PLANT)
    lines = raw.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert sum(line.startswith(b" ") for line in lines) >= 4  # the long words above do need folding
    for line in lines:
        line.decode()  # a letter of several octets that was cut in two is none
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert b"\r" not in raw.replace(b"\r\n", b"")


def test_days_are_whole_local_days_and_their_end_is_the_day_after():
    """RFC 5545, 3.6.1: an all-day event has dates without a time or a zone, and DTEND is the first day outside it."""
    event = the_only(written(PLANT))
    for day in (event.dtstart, event.dtend):
        assert type(day.value) is date
        assert (day.value_param, "TZID" in day.params) == ("DATE", False)
    assert (event.dtstart.value, event.dtend.value) == (date(2027, 12, 31), date(2028, 1, 1))
    assert event.dtstamp.value == NOW
    assert event.transp.value == "TRANSPARENT"  # 3.8.2.7: it takes no time from anybody's day


def test_a_date_that_moves_keeps_its_uid_and_counts_up_and_one_that_stands_keeps_its_bytes():
    """RFC 5545, 3.8.7.4: SEQUENCE begins at 0 and grows with each change that matters; 3.8.4.7: UID is for ever."""
    first = written(PLANT)
    assert written(PLANT, now=LATER, before=first) == first
    seen, raw = [the_only(first)], first
    for moved_days in (3, -2):
        moved = replace(PLANT, day=PLANT.day + moved_days * DAY)
        raw = written(moved, now=LATER, before=raw)
        seen.append(the_only(raw))
    assert [event.sequence.value for event in seen] == ["0", "1", "2"]
    assert {event.uid.value for event in seen} == {"plant.gate-early.brackenford@haulm"}
    assert [event.dtstart.value.day for event in seen] == [31, 3, 29]
    assert [event.dtstamp.value for event in seen] == [NOW, LATER, LATER]


def test_two_that_are_written_together_have_two_names():
    later = replace(PLANT, planting="wall-late")
    assert set(events(written(PLANT, later))) == {
        "plant.gate-early.brackenford@haulm",
        "plant.wall-late.brackenford@haulm",
    }


def test_a_calendar_without_dates_is_still_one():
    assert events(written()) == {}
    assert read_back(written()).version.value == "2.0"


@pytest.mark.parametrize("day", [date(2027, 2, 20), date(2027, 5, 11), date(2027, 8, 25)])
def test_the_coming_dates_of_the_demo_come_back_whole(day):
    for scene in scenes(day.year):
        coming = coming_dates(decided(scene, day))
        raw = calendar_file(coming, scene.garden.key, "haulm", NOW)
        seen = events(raw)
        assert len(seen) == len(coming)
        for one in coming:
            event = seen[f"{one.kind}.{one.planting}.{scene.garden.key}@haulm"]
            assert (event.summary.value, event.description.value) == (one.title, one.told)
            assert (event.dtstart.value, event.dtend.value) == (one.day, one.day + DAY)
            if one.early is not None and one.late is not None and one.early < one.late:
                told = event.description.value
                assert f" and {one.late.day} " in told
                assert f"etween {one.early.day}" in told
                assert "most likely" in told
