"""What is to be done on a day, and when: by the settings, by dusk, and where there is none."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from haulm import cli
from haulm.jobs.errands import errands
from haulm.settings.load import load
from haulm.store.runs import Outcome, Run

CONFIG = Path(__file__).parents[2] / "config" / "haulm.toml"


@pytest.fixture
def settings():
    return load(CONFIG, {})


def moved(settings, latitude_deg, longitude_deg, zone):
    place = replace(settings.garden.place, latitude_deg=latitude_deg, longitude_deg=longitude_deg, zone=zone)
    return replace(settings, garden=replace(settings.garden, place=place))


def named(settings, day):
    return {one.name: one for one in errands(settings, day)}


def test_a_day_has_its_morning_and_two_looks_in_their_order(settings):
    found = errands(settings, date(2027, 4, 12))
    assert [(one.name, one.command) for one in found] == [
        ("morning", "morning"), ("evening look", "evening"), ("second look", "evening"),
    ]  # fmt: skip
    assert [one.at for one in found] == sorted(one.at for one in found)
    assert all(one.at < one.until for one in found)


@pytest.mark.parametrize(
    ("environ", "names"),
    [
        ({"HAULM_LETTER__EVENING": "false"}, ["morning"]),
        ({"HAULM_LETTER__EVENING_SECOND_LOOK": "false"}, ["morning", "evening look"]),
    ],
)
def test_the_settings_may_want_less(environ, names):
    assert [one.name for one in errands(load(CONFIG, environ), date(2027, 4, 12))] == names


def test_the_look_moves_with_the_hours_before_dusk(settings):
    early = load(CONFIG, {"HAULM_LETTER__EVENING_HOURS_BEFORE_DUSK": "4"})
    two, four = (named(one, date(2027, 4, 12))["evening look"].begins for one in (settings, early))
    assert two - four == timedelta(hours=2)


@pytest.mark.parametrize("day", [date(2027, 6, 21), date(2027, 12, 21)])
def test_under_a_sun_that_does_not_set_the_clock_tells_the_hour(settings, day):
    """Eighty degrees north in summer: no sunset. In winter no sun at all, and no twilight either."""
    found = named(moved(settings, 80.0, 20.0, "Europe/Oslo"), day)
    assert found["evening look"].at == time(18)
    assert "second look" not in found


def test_an_evening_past_midnight_stays_on_its_own_day(settings):
    found = named(moved(settings, 60.2, 24.9, "Europe/Helsinki"), date(2027, 6, 21))
    assert found["evening look"].at == time(22)
    assert found["evening look"].until == time(23, 45)


@pytest.mark.parametrize("day", [date(2027, 3, 14), date(2027, 11, 7)])
def test_days_on_which_the_clocks_change_have_their_looks_by_the_new_clock(settings, day):
    before, after = (named(settings, day + timedelta(days=step))["evening look"].at for step in (-1, 0))
    moved_by = datetime.combine(day, after) - datetime.combine(day, before)
    hour = timedelta(hours=1 if day.month == 3 else -1)
    assert abs(moved_by - hour) < timedelta(minutes=5)


def test_a_run_before_the_look_is_not_the_looks(settings):
    look = named(settings, date(2027, 4, 12))["evening look"]
    runs = [
        Run(number, "haulm", kind, date(2027, 4, 12), started, None, Outcome.DONE, 0, "")
        for number, (kind, started) in enumerate([
            ("evening", look.begins - timedelta(minutes=1)), ("evening", look.begins), ("morning", look.begins),
        ])
    ]  # fmt: skip
    assert [run.id for run in look.runs_of(runs)] == [1]
    assert look.begins.astimezone(UTC).microsecond == 0


def test_haulm_understands_what_its_errands_start(settings):
    """The words that the schedule starts a child with."""
    for errand in errands(settings, date(2027, 4, 12)):
        asked = cli._parser().parse_args([errand.command, "--settings", "garden.toml", "--state", "state"])
        assert callable(asked.command)
