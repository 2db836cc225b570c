"""What was said stays said, and can be read as it stood before any morning."""

from dataclasses import replace
from datetime import date

from haulm.advice import Said
from haulm.store.database import Database
from haulm.store.said import keep_said, read_said

FIRST, SECOND, THIRD = date(2027, 4, 12), date(2027, 4, 13), date(2027, 4, 14)
READY = Said("planting-time", "gatebed", "gate-early", "2027-04-12", "ready", 0, FIRST, FIRST)
SILENT = Said("station-silent", "", "", "2027-04-13", "silent", 1, SECOND, SECOND)


def test_memory_is_read_as_it_stood_before_a_day(database: Database) -> None:
    keep_said(database, "brackenford", FIRST, [READY])
    longer = replace(READY, last_on=SECOND)
    keep_said(database, "brackenford", SECOND, [longer, SILENT])
    ended = replace(longer, ended_on=THIRD)
    keep_said(database, "brackenford", THIRD, [ended, SILENT])
    assert read_said(database, "brackenford", before=FIRST) == ()
    assert read_said(database, "brackenford", before=SECOND) == (READY,)
    assert read_said(database, "brackenford", before=THIRD) == (longer, SILENT)
    assert read_said(database, "brackenford") == (ended, SILENT)


def test_what_did_not_change_is_not_written_again(database: Database) -> None:
    keep_said(database, "brackenford", FIRST, [READY])
    keep_said(database, "brackenford", SECOND, [READY])
    assert len(database.rows("SELECT * FROM said")) == 1


def test_a_second_letter_of_a_day_has_the_last_word(database: Database) -> None:
    keep_said(database, "brackenford", FIRST, [READY])
    graver = replace(READY, level=2)
    keep_said(database, "brackenford", FIRST, [graver])
    assert read_said(database, "brackenford") == (graver,)


def test_gardens_are_apart(database: Database) -> None:
    keep_said(database, "brackenford", FIRST, [READY])
    assert read_said(database, "sallow-wells") == ()
