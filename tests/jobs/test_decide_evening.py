"""The evening's pure heart: news only by a class, what is taken back, and nothing later than the evening in it."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from haulm.advice import Said, Section
from haulm.alerts.frost import ACT, SEVERE, night_chance
from haulm.garden import Entry, Journal, What
from haulm.jobs import demo
from haulm.jobs.decide import decide
from haulm.jobs.decide_evening import TAKEN_BACK, Called, Outlook, SaidToday, decide_evening
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_record
from haulm.sources.local_days import hours_from
from haulm.weather import DAY, HOUR, Forecast, Origin, unknown_days

TODAY = date(2027, 5, 20)  # the demo's shoots were out on 10 May
NAN = float("nan")
QUIET_C, ACT_C, SEVERE_C = 9.0, -0.5, -4.0


@pytest.fixture(scope="module")
def scene():
    return demo.scenes(TODAY.year)[0]


@pytest.fixture(scope="module")
def record():
    return invented_record("brackenford", date(2024, 1, 1), date(2027, 8, 12), demo.SEED)


@pytest.fixture(scope="module")
def journal(scene):
    return demo.journal_of(scene, TODAY.year)


def at(hour=18, day=TODAY, minute=0):
    return datetime.combine(day, time(hour, minute), ZoneInfo("Europe/London"))


def forecast(low_c, *, issued=None, night=TODAY, cloud=1.0):
    """Days of 15 °C with one night of another kind, under cloud: the leaf is as warm as the station."""
    count = 5
    low = np.full(count, 9.0)
    low[(night - TODAY).days + 1] = low_c
    steady = {"cloud": np.full(count, cloud), "wind_ms": np.full(count, 2.0), "rain_mm": np.zeros(count)}
    days = unknown_days(TODAY, count, air_min_c=low, air_max_c=np.full(count, 15.0), **steady)
    return Forecast(Origin("made", "a made forecast"), issued or at(16), days)


@pytest.fixture
def look(scene, record, journal):
    def of(low_c, called=(), *, memory=(), sent=False, as_of=None, notes=journal, forecasts=None, record=record):
        issues = [forecast(low_c)] if forecasts is None else forecasts
        said = SaidToday(tuple(Called("gatebed", "gate-early", level, 1.0) for level in called), evening=sent)
        return decide_evening(scene.garden, Thresholds(), as_of or at(), record, issues, notes, memory, said)

    return of


def verdicts(seen):
    return [(alert.verdict, alert.level, alert.section) for alert in seen.decision.alerts]


COVER = ("cover-tonight", ACT, Section.DO_TODAY)
HARD = ("severe", SEVERE, Section.DO_TODAY)
BACK = (TAKEN_BACK, 0, Section.LEAVE_ALONE)


@pytest.mark.parametrize(
    ("low_c", "called", "told", "outlook"),
    [
        (QUIET_C, (), [], Outlook.QUIET),
        (1.0, (), [], Outlook.SAID),  # a heads-up is no news of an evening
        (ACT_C, (), [COVER], Outlook.NEWS),
        (ACT_C, (1,), [COVER], Outlook.NEWS),
        (ACT_C, (ACT,), [], Outlook.SAID),
        (SEVERE_C, (ACT,), [HARD], Outlook.NEWS),
        (SEVERE_C, (SEVERE,), [], Outlook.SAID),
        (ACT_C, (SEVERE,), [], Outlook.SAID),  # milder, and still to be covered: nothing new to do
        (QUIET_C, (ACT,), [BACK], Outlook.NEWS),
        (QUIET_C, (SEVERE,), [BACK], Outlook.NEWS),
        (1.0, (ACT,), [], Outlook.SAID),  # not likely, but not ruled out either: the call stands
        (QUIET_C, (1,), [], Outlook.QUIET),
    ],
)
def test_news_of_an_evening(look, low_c, called, told, outlook):
    seen = look(low_c, called)
    assert (verdicts(seen), seen.outlook) == (told, outlook)


@pytest.mark.parametrize(
    ("low_c", "called", "told"),
    [
        (ACT_C, (0,), [COVER]),  # taken back too early: worse than last said
        (ACT_C, (ACT,), []),
        (SEVERE_C, (ACT,), [HARD]),
        (QUIET_C, (ACT,), []),  # one letter of an evening is enough of a night that grows milder
    ],
)
def test_after_an_evenings_letter_only_a_graver_night_is_news(look, low_c, called, told):
    assert verdicts(look(low_c, called, sent=True)) == told


def test_the_last_word_of_the_day_counts(look):
    assert verdicts(look(ACT_C, (ACT, 0))) == [COVER]
    assert verdicts(look(ACT_C, (0, ACT))) == []


def test_a_call_is_taken_back_only_below_the_chance_that_ends_a_warning(look):
    """10 % for 0 °C at the leaf, by the chances that the letters themselves give."""
    seen = [look(low_c, (ACT,)) for low_c in np.arange(0.5, 6.0, 0.1)]
    low = [night_chance(one.tonight.night, 0.0) < 0.10 for one in seen]
    assert [verdicts(one) for one in seen] == [[BACK] if below else [] for below in low]
    assert len(set(low)) == 2


def test_a_call_is_not_taken_back_while_the_days_own_minimum_still_makes_it(look):
    """The hours of the night are mild, the day that a letter goes by is not: one of them errs, and the call stands."""
    first, count = at(15).astimezone(UTC), 40
    hours = hours_from(first, np.ones(count, dtype=np.int8), air_c=np.full(count, 9.0), cloud=np.ones(count))
    for low_c, told in ((SEVERE_C, []), (QUIET_C, [BACK])):
        seen = look(0.0, (ACT,), forecasts=[replace(forecast(low_c), hours=hours)])
        assert seen.tonight.forecast_c == 9.0
        assert verdicts(seen) == told


def test_only_this_night_is_asked_about(look):
    later = forecast(SEVERE_C, night=TODAY + DAY)
    assert look(0.0, forecasts=[later]).outlook is Outlook.QUIET


def test_without_forecast_and_hours_nothing_is_said_and_nothing_taken_back(look):
    for called in ((), (ACT,)):
        seen = look(0.0, called, forecasts=[])
        assert (verdicts(seen), seen.outlook) == ([], Outlook.UNKNOWN)
    assert look(0.0, forecasts=[forecast(NAN)]).outlook is Outlook.UNKNOWN


def test_no_leaf_no_frost(look, journal):
    gone = Entry("g", at(9), TODAY, "gatebed", "gate-early", What.TOPS_CUT)
    lifted = Entry("l", at(9), TODAY, "gatebed", "gate-early", What.LIFTED)
    for entry in (gone, lifted):
        notes = Journal((*journal.entries, entry))
        seen = look(SEVERE_C, notes=notes)
        assert (verdicts(seen), seen.outlook) == ([], Outlook.NOT_IN_LEAF)
        assert verdicts(look(QUIET_C, (ACT,), notes=notes)) == []  # not "no frost after all": nobody need know


def test_ripe_tops_are_not_covered_of_an_evening_either(look):
    """In the demo's year they go down of age from 2 August."""
    august = date(2027, 8, 5)
    cold = replace(forecast(SEVERE_C, issued=at(16, august)), days=replace(forecast(SEVERE_C).days, first=august))
    seen = look(0.0, as_of=at(18, august), forecasts=[cold])
    assert seen.tonight.night.leaf_c < -3.0
    assert (verdicts(seen), seen.outlook) == ([], Outlook.SAID)


def test_it_goes_on_from_the_mornings_memory_and_the_next_morning_from_its_own(look, scene, record, journal):
    raised = look(SEVERE_C).decision.memory
    (said,) = (one for one in raised if one.rule == "frost")
    assert (said.verdict, said.level, said.first_on, said.ended_on) == ("severe", SEVERE, TODAY, None)
    next_day = at(6, TODAY + DAY, 30)
    after = decide(scene.garden, Thresholds(), next_day, record, [forecast(9.0)], journal, raised)
    assert [alert.ended for alert in after.alerts if alert.rule == "frost"] == [True]  # told once that it is over
    morning = Said("frost", "gatebed", "gate-early", "2027-05-18", "cover-tonight", ACT, TODAY - DAY, TODAY)
    back = look(QUIET_C, (ACT,), memory=(morning,)).decision.memory
    assert [one.ended_on for one in back if one.rule == "frost"] == [TODAY]
    after = decide(scene.garden, Thresholds(), next_day, record, [forecast(9.0)], journal, back)
    assert [alert.ended for alert in after.alerts if alert.rule == "frost"] == []
    graver = look(SEVERE_C, (ACT,), memory=(morning,)).decision.memory
    assert [(one.level, one.first_on) for one in graver if one.rule == "frost"] == [(SEVERE, TODAY - DAY)]


def test_nothing_later_than_the_evening_changes_it(look, journal, record):
    """Later issues, later notes, later episodes, later hours: all worse, the evening the same."""
    later = forecast(SEVERE_C, issued=at(19))
    note = Entry("late", at(20), TODAY, "gatebed", "gate-early", What.TOPS_CUT)
    ahead = Said("frost", "gatebed", "gate-early", (TODAY + DAY).isoformat(), "severe", 3, TODAY + DAY, TODAY + DAY)
    count, first = 72, (at() - timedelta(hours=48)).astimezone(UTC)
    known = {"air_c": np.where(np.arange(count) < 47, 8.0, -9.0), "humidity_pct": np.full(count, 80.0)}
    hours = hours_from(first, np.ones(count, dtype=np.int8), **known)
    cut = hours.before(at().astimezone(UTC) - HOUR)
    plain = look(ACT_C, record=replace(record, hours=cut, hours_had=at()))
    whole = look(
        ACT_C,
        memory=(ahead,),
        forecasts=[forecast(ACT_C), later],
        notes=Journal((*journal.entries, note)),
        record=replace(record, hours=hours.before(at() + timedelta(hours=3)), hours_had=at() + HOUR),
    )
    assert verdicts(plain) == verdicts(whole) == [COVER]
    assert plain.tonight.night == whole.tonight.night
    assert [one.rule for one in whole.decision.memory if one.episode > TODAY.isoformat()] == []


def test_a_colder_evening_is_never_told_milder(look):
    levels = [next((a.level for a in look(low_c).decision.alerts), 0) for low_c in np.arange(6.0, -7.0, -0.5)]
    assert levels == sorted(levels)
    assert set(levels) == {0, ACT, SEVERE}
