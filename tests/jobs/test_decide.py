"""The pure heart: one answer for one morning, and nothing later than the morning in it."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulm.advice import Said, Section, Speaks
from haulm.alerts.rules import RULES, SKY_RULES
from haulm.garden import Entry, Journal, Stage, What
from haulm.jobs import demo
from haulm.jobs.decide import decide
from haulm.jobs.letter_forms import write_out
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_forecasts, invented_record
from haulm.sources.invented_hours import invented_hours
from haulm.weather import DAY, Record

FIRST, TODAY, LAST = date(2024, 1, 1), date(2027, 5, 4), date(2027, 6, 10)


@pytest.fixture(scope="module")
def scene():
    return demo.scenes(TODAY.year)[0]


@pytest.fixture(scope="module")
def record():
    return invented_record("brackenford", FIRST, LAST, demo.SEED)


@pytest.fixture(scope="module")
def forecasts(record):
    mornings = [TODAY + timedelta(days=k) for k in range(-6, 7)]
    return invented_forecasts("brackenford", record.days, mornings, demo.SEED)


@pytest.fixture(scope="module")
def journal(scene):
    return demo.journal_of(scene, TODAY.year)


def at(day, hour=6, minute=30):
    return datetime.combine(day, time(hour, minute), ZoneInfo("Europe/London"))


def letter_of(decision):
    return write_out(decision, Thresholds(), "x.png", with_picture=False).text


def think(scene, record, forecasts, journal, memory=(), day=TODAY, **changes):
    return decide(scene.garden, Thresholds(**changes), at(day), record, forecasts, journal, memory)


def only_until(record, day):
    """The record as it was that morning, with nothing of the days that came after."""
    days = record.days.cut(record.days.first, day - DAY)
    return Record(record.origin, days, record.received[: len(days)], record.usual_delay)


def test_nothing_dated_after_the_morning_changes_the_letter(scene, record, forecasts, journal):
    whole = think(scene, record, forecasts, journal)
    then = [issue for issue in forecasts if issue.issued <= at(TODAY)]
    known = Journal(tuple(e for e in journal.entries if e.day < TODAY))
    cut = think(scene, only_until(record, TODAY), then, known)
    assert letter_of(whole) == letter_of(cut)
    assert whole.memory == cut.memory


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=8)
def test_whatever_the_future_brings(scene, record, forecasts, journal, seed):
    """Later weather, later issues, later notes, later episodes: all different, the letter the same."""
    rng = np.random.default_rng(seed)
    start = (TODAY - record.days.first).days
    other = replace(record.days, air_min_c=record.days.air_min_c.copy(), rain_mm=record.days.rain_mm.copy())
    other.air_min_c[start:] += rng.normal(0, 15, len(other) - start)
    other.rain_mm[start:] = rng.gamma(1, 30, len(other) - start)
    later = [i for i in forecasts if i.issued <= at(TODAY)] + [
        replace(i, issued=i.issued + timedelta(days=int(rng.integers(3, 9))), received=None) for i in forecasts[:2]
    ]
    note = Entry("late", at(TODAY + DAY), TODAY + DAY, "gatebed", "gate-early", What.LIFTED, "", 3.0)
    said = Said("water", "gatebed", "gate-early", LAST.isoformat(), "water", 0, LAST, LAST)
    got = think(scene, replace(record, days=other), later, Journal((*journal.entries, note)), (said,))
    assert letter_of(got) == letter_of(think(scene, record, forecasts, journal))


def test_a_note_written_later_about_an_earlier_day_is_not_known_yet(scene, record, forecasts, journal):
    backdated = Entry("late", at(TODAY + DAY), TODAY - 3 * DAY, "gatebed", "gate-early", What.SHOOTS_OUT)
    before = think(scene, record, forecasts, Journal((*journal.entries, backdated)))
    after = think(scene, record, forecasts, Journal((*journal.entries, backdated)), day=TODAY + 2 * DAY)
    assert before.conditions[0].stage.stage is Stage.PLANTED
    assert (after.conditions[0].stage.stage, after.conditions[0].stage.noted) == (Stage.EMERGED, True)


def test_a_withdrawn_note_counts_until_it_is_withdrawn(scene, record, forecasts, journal):
    wrong = Entry("wrong", at(TODAY - 2 * DAY), TODAY - 2 * DAY, "gatebed", "gate-early", What.SHOOTS_OUT)
    back = Entry("back", at(TODAY + DAY), TODAY - 2 * DAY, "gatebed", "", None, withdraws="wrong")
    both = Journal((*journal.entries, wrong, back))
    assert think(scene, record, forecasts, both).conditions[0].stage.noted
    days_later = think(scene, record, forecasts, both, day=TODAY + 2 * DAY)
    assert days_later.conditions[0].stage.stage is Stage.PLANTED


def test_mornings_with_nothing_new_repeat_no_once_alert(scene, record, journal):
    mornings = [date(2027, 4, 8) + k * DAY for k in range(16)]
    issues = invented_forecasts("brackenford", record.days, mornings, demo.SEED)
    once = {rule.key for rule in (*RULES, *SKY_RULES) if rule.speaks is Speaks.ONCE}
    memory, fresh, repeated = (), [], []
    for day in mornings:
        decision = think(scene, record, issues, journal, memory, day)
        memory = decision.memory
        fresh += [(a.rule, a.episode) for a in decision.alerts if a.fresh and not a.ended and a.rule in once]
        repeated += [a.section for a in decision.alerts if not a.fresh and a.rule in once]
    assert fresh
    assert len(fresh) == len(set(fresh))
    assert set(repeated) == {Section.STILL_SO}


def test_working_a_day_out_again_says_the_same(scene, record, forecasts, journal):
    yesterday = think(scene, record, forecasts, journal, (), TODAY - DAY)
    first = think(scene, record, forecasts, journal, yesterday.memory)
    again = think(scene, record, forecasts, journal, first.memory)
    assert letter_of(first) == letter_of(again)
    assert first.memory == again.memory


def test_with_no_weather_at_all_nothing_is_promised(scene, journal):
    decision = think(scene, None, (), journal)
    letter = letter_of(decision)
    spoken = {alert.rule for alert in decision.alerts}
    assert {"station-silent", "forecast-missing"} <= spoken
    assert not any(alert.verdict in {"water", "plant"} and not alert.unknown for alert in decision.alerts)
    assert "not known" in letter


def test_a_garden_without_plantings_still_gets_a_letter(scene, record, forecasts):
    bare = replace(scene, garden=replace(scene.garden, plantings=()))
    decision = think(bare, record, forecasts, Journal())
    assert decision.conditions == ()
    assert "Nothing to do today" in letter_of(decision)


def test_the_morning_belongs_to_the_places_own_day(scene, record, forecasts, journal):
    """23:30 UTC on 3 May is already 4 May in London's summer time."""
    moment = datetime(2027, 5, 3, 23, 30, tzinfo=UTC)
    assert decide(scene.garden, Thresholds(), moment, record, forecasts, journal, ()).today == TODAY


def test_a_finished_crop_leaves_nothing_open_and_says_no_farewell(scene, record, forecasts, journal):
    before = think(scene, record, forecasts, journal)
    assert any(said.planting and said.ended_on is None for said in before.memory)
    over = Entry("over", at(TODAY + DAY, 5), TODAY + DAY, "gatebed", "gate-early", What.FINISHED)
    after = think(scene, record, forecasts, Journal((*journal.entries, over)), before.memory, day=TODAY + DAY)
    assert not any(alert.planting for alert in after.alerts)
    assert all(said.ended_on == TODAY + DAY for said in after.memory if said.planting)


def test_a_look_through_the_store_is_asked_for_and_passes_without_a_word(scene, record, forecasts, journal):
    """Three mornings of the look, then none: nobody is told that it is over."""
    kept = Entry("k", at(TODAY - 7 * DAY), TODAY - 7 * DAY, "gatebed", "gate-early", What.INTO_STORE)
    whole, memory, told = Journal((*journal.entries, kept)), (), []
    for ahead in range(5):
        decision = think(scene, record, forecasts, whole, memory, day=TODAY + ahead * DAY)
        memory = decision.memory
        told.append([(a.section, a.ended) for a in decision.alerts if a.rule == "store-check"])
    look, still = [(Section.DO_TODAY, False)], [(Section.STILL_SO, False)]
    assert told == [look, still, still, [], []]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=4)
def test_no_hour_that_was_not_yet_known_tells(scene, record, forecasts, journal, seed):
    """Hours reach us later than they pass, and those to come not at all: whatever they hold, the letter is the same."""
    in_leaf, zone = date(2027, 6, 5), scene.garden.place.zone
    issues = [replace(i, hours=invented_hours(i.days, zone)) for i in forecasts if i.issued <= at(TODAY)]
    hours = invented_hours(record.days.cut(in_leaf - timedelta(days=40), LAST), zone)
    seen = replace(record, hours=hours)
    begins = len(hours.before(at(in_leaf) - record.usual_delay))
    rng = np.random.default_rng(seed)
    other = replace(hours, air_c=hours.air_c.copy(), humidity_pct=hours.humidity_pct.copy())
    other.air_c[begins:] += rng.normal(0, 15, len(hours) - begins)
    other.humidity_pct[begins:] = rng.uniform(20, 100, len(hours) - begins)
    told = think(scene, seen, issues, journal, day=in_leaf)
    assert told.conditions[0].sky.blight is not None
    changed = think(scene, replace(seen, hours=other), issues, journal, day=in_leaf)
    assert letter_of(changed) == letter_of(told)
    assert np.array_equal(told.timeline.hours_seen.air_c, changed.timeline.hours_seen.air_c)


def test_hours_that_were_fetched_by_then_are_known_to_the_last(scene, record, forecasts, journal):
    hours = invented_hours(record.days.cut(TODAY - timedelta(days=3), TODAY), scene.garden.place.zone)
    had = replace(record, hours=hours, hours_had=at(TODAY))
    later = replace(record, hours=hours, hours_had=at(TODAY) + timedelta(hours=1))
    ends = [think(scene, one, forecasts, journal).timeline.hours_seen.end for one in (had, later)]
    assert [at(TODAY) - end for end in ends] == [timedelta(minutes=30), timedelta(minutes=30) + record.usual_delay]
