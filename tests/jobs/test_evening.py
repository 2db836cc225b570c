"""Evenings as the command runs them: on loopback services and a real mail server, with a night that moves."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.errors import BusyError, Exit
from haulm.jobs.evening import as_json, as_of_evening, evening, rehearse_evening
from haulm.jobs.morning import morning
from haulm.jobs.notes import note
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.store.database import open_database
from haulm.store.hours import read_hours
from haulm.store.letters import Status, deliveries_of
from haulm.store.lock import lock
from haulm.store.runs import Outcome, read_runs
from haulm.store.said import read_said

DAY = date(2027, 5, 4)
ZONE = ZoneInfo("Europe/London")
MILD_C, COLD_C, HARD_C = 8.0, -0.3, -6.0


def at(hour, minute=0, day=DAY):
    return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)


class Garden:
    """A garden in leaf, whose coming night can be moved between one look and the next."""

    def __init__(self, settings, state, world, postman):
        self.settings, self.state, self.world, self.postman = settings, state, world, postman

    def night(self, low_c, issued_hour=3):
        """The forecast of an hour: the night to come falls to this."""
        days = self.world.days
        low, at = days.air_min_c.copy(), (DAY - days.first).days
        low[at : at + 2] = low_c  # the last hours before midnight are of today
        self.world.days = replace(days, air_min_c=low)
        self.world.issued_hour, self.world.hour = issued_hour, issued_hour + 1

    def morning(self, low_c):
        self.night(low_c)
        return morning(self.settings, self.state, at(6, 30))

    def evening(self, low_c, hour=18, issued_hour=16):
        self.night(low_c, issued_hour)
        return evening(self.settings, self.state, at(hour, 30))

    @property
    def mails(self):
        return [letter["Subject"] for letter in self.postman.letters]

    def runs(self):
        with open_database(self.state.store) as database:
            runs = read_runs(database, self.settings.garden.key, DAY)
        return [(run.kind, run.outcome, run.exit_code) for run in runs]

    def note_of(self, number):
        with open_database(self.state.store) as database:
            return read_runs(database, self.settings.garden.key, DAY)[number].note


@pytest.fixture
def garden(settings_file, tmp_path, world, network, postman):
    settings, state = load(settings_file, network), StateFolder(tmp_path / "state")
    for what, on in (("planted", date(2027, 4, 11)), ("shoots out", date(2027, 5, 1))):
        note(settings.garden, state, "gatebed", what, now=at(20, day=on))
    return Garden(settings, state, world, postman)


def test_a_quiet_evening_mails_nothing_and_leaves_its_trace(garden):
    garden.morning(MILD_C)
    look = garden.evening(MILD_C)
    assert (look.letter, look.exit_code, len(garden.mails)) == (None, Exit.DONE, 1)
    assert garden.runs() == [("morning", Outcome.DONE, 0), ("evening", Outcome.DONE, 0)]
    assert garden.note_of(1) == look.told
    assert look.told.startswith("Lowest at leaf height tonight: about ")
    assert look.told.endswith("No frost to speak of.")


def test_a_night_that_turns_dangerous_is_mailed_once(garden):
    garden.morning(MILD_C)
    look = garden.evening(COLD_C)
    again = garden.evening(COLD_C, hour=19)
    assert look.letter.kind == "evening"
    assert again.letter is None
    assert garden.mails[1:] == ["Cover Gatebed tonight: frost – Tue 4 May"]
    assert "Cover Gatebed before dark, about 21:" in " ".join(look.letter.text.split())
    assert [kind for kind, _, _ in garden.runs()] == ["morning", "evening", "evening"]


def test_the_mornings_call_is_not_said_again(garden):
    assert "Cover Gatebed tonight" in garden.morning(COLD_C).letter.subject
    assert garden.evening(COLD_C).letter is None
    assert len(garden.mails) == 1
    assert "this day's letters have not said" in garden.note_of(1)


def test_no_frost_after_all_takes_the_mornings_call_back(garden):
    garden.morning(COLD_C)
    look = garden.evening(MILD_C)
    assert garden.mails[1:] == ["No frost after all: leave Gatebed uncovered – Tue 4 May"]
    assert "No need to cover Gatebed tonight" in look.letter.text
    assert garden.evening(MILD_C, hour=20).letter is None
    assert len(garden.mails) == 2


def test_worse_by_a_class_is_a_letter_of_its_own_and_the_last(garden):
    garden.morning(MILD_C)
    garden.evening(COLD_C)
    worse = garden.evening(HARD_C, hour=21, issued_hour=19)
    assert worse.letter.kind == "evening-worse"
    assert garden.mails[2:] == ["Worse than said: cover Gatebed tonight, hard frost – Tue 4 May"]
    assert garden.evening(HARD_C - 4.0, hour=22, issued_hour=20).letter == worse.letter
    assert len(garden.mails) == 3
    garden_key = garden.settings.garden.key
    with open_database(garden.state.store) as database:
        (said,) = (one for one in read_said(database, garden_key) if one.rule == "frost")
        kinds = [deliveries_of(database, garden_key, kind, DAY) for kind in ("morning", "evening", "evening-worse")]
    assert (said.level, said.verdict) == (3, "severe")
    assert [[one.status for one in sent] for sent in kinds] == [[Status.SENT, Status.SENT]] * 3  # the log and the mail


@pytest.mark.parametrize("second_c", [COLD_C, HARD_C], ids=["no news", "graver"])
def test_an_evening_letter_does_not_go_again_after_the_store_was_lost(garden, second_c):
    """An evening's letter is followed by a copy: what it said of the night is not forgotten."""
    garden.morning(MILD_C)
    assert garden.evening(COLD_C).letter.kind == "evening"
    before = len(garden.mails)
    with garden.state.store.open("r+b") as store:
        store.truncate(store.seek(0, 2) // 2)
    look = garden.evening(second_c, hour=22, issued_hour=20)
    assert (look.letter.kind if look.letter else "") == ("evening-worse" if second_c == HARD_C else "")
    assert len(garden.mails) == before + (second_c == HARD_C)
    told = morning(garden.settings, garden.state, at(6, 30, DAY + timedelta(days=1)))
    assert "took its place" in " ".join(told.letter.text.split())


def test_where_its_copy_is_lost_too_the_post_book_still_knows_of_an_evening_letter(garden):
    """What the letter said is forgotten, so a look finds the night graver than it knows: under a kind of its own."""
    garden.morning(MILD_C)
    garden.evening(COLD_C)
    for path in (garden.state.store, *garden.state.path.glob("backups/*.sqlite")):
        path.unlink(missing_ok=True)
    assert garden.evening(HARD_C, hour=22, issued_hour=20).letter.kind == "evening-worse"
    assert len(garden.mails) == 3


def test_a_milder_second_look_keeps_quiet(garden):
    garden.morning(MILD_C)
    garden.evening(COLD_C)
    assert garden.evening(MILD_C, hour=21, issued_hour=19).letter is None
    assert len(garden.mails) == 2


def test_an_evening_after_a_missed_morning_speaks_for_itself(garden):
    assert garden.evening(HARD_C).letter.subject == "Cover Gatebed tonight: hard frost – Tue 4 May"


def test_the_next_morning_tells_neither_a_missed_day_nor_a_frost_that_was_taken_back(garden):
    garden.morning(COLD_C)
    garden.evening(MILD_C)
    garden.world.today, garden.world.issued_hour = DAY + timedelta(days=1), 3
    text = " ".join(morning(garden.settings, garden.state, at(6, 30, DAY + timedelta(days=1))).letter.text.split())
    assert "There was no letter" not in text
    assert "frost on the shoots is unlikely" not in text


def test_without_servers_the_mornings_forecast_is_used_and_the_exit_code_tells(garden):
    garden.morning(COLD_C)
    garden.world.down = True
    look = evening(garden.settings, garden.state, at(18, 30))
    assert (look.letter, look.exit_code) == (None, Exit.PARTLY)
    assert garden.runs()[1] == ("evening", Outcome.PARTLY, 1)


def test_a_night_that_cannot_be_judged_is_tried_again_later(garden):
    garden.world.down = True
    look = evening(garden.settings, garden.state, at(18, 30))
    assert (look.letter, look.exit_code) == (None, Exit.TRY_LATER)
    assert garden.runs() == [("evening", Outcome.FAILED, 75)]
    assert "not known" in look.told


def test_fresh_hours_are_fetched_and_kept(garden):
    garden.morning(MILD_C)
    garden.evening(MILD_C)
    with open_database(garden.state.store) as database:
        hours = read_hours(database, "99901", "air_c", at(0), at(23))
    assert hours[-1][0] == datetime(2027, 5, 4, 17, tzinfo=UTC)


def test_a_rehearsal_stores_and_sends_nothing(garden):
    garden.morning(MILD_C)
    garden.night(COLD_C, 16)
    look = rehearse_evening(garden.settings, garden.state, at(18, 30), at(18, 30))
    assert "Cover Gatebed" in look.letter.text
    assert len(garden.mails) == 1
    assert [kind for kind, _, _ in garden.runs()] == ["morning"]


def test_an_evening_worked_out_again_hears_no_letter_written_after_it(garden):
    """At half past five the morning's call still held; an hour later it was taken back."""
    garden.morning(COLD_C)
    assert garden.evening(COLD_C, hour=17, issued_hour=15).letter is None
    assert garden.evening(MILD_C, hour=18, issued_hour=17).letter is not None
    assert rehearse_evening(garden.settings, garden.state, at(19), at(17, 45)).letter is None


def test_before_noon_there_is_no_evening(garden):
    look = evening(garden.settings, garden.state, at(11, 59))
    assert (look.letter, look.exit_code, look.told) == (
        None,
        Exit.DONE,
        "It is not yet noon at Brackenford: the evening look waits.",
    )
    assert not garden.state.store.exists()


def test_a_held_lock_means_try_later(garden):
    garden.state.path.mkdir(exist_ok=True)
    with lock(garden.state.lock(garden.settings.garden), at(18)), pytest.raises(BusyError):
        garden.evening(MILD_C)


def test_the_night_as_json(garden):
    garden.morning(MILD_C)
    quiet = json.loads(as_json(garden.evening(MILD_C)))
    assert (quiet["version"], quiet["letter"], quiet["tonight"]["morning"]) == (1, None, "2027-05-05")
    assert quiet["tonight"]["forecast_c"] == pytest.approx(MILD_C, abs=0.2)
    assert quiet["tonight"]["evening_c"] is None
    told = json.loads(as_json(garden.evening(HARD_C, hour=20, issued_hour=17)))
    assert (told["letter"]["kind"], told["letter"]["alerts"][0]["verdict"]) == ("evening", "severe")


def test_the_look_of_a_day_is_two_hours_before_its_dusk(garden):
    assert as_of_evening(garden.settings, DAY).astimezone(ZONE).time().hour == 19
