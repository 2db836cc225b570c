"""What is new, what still holds, what is over: by examples, then for any run of answers."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.advice import Finding, NotKnown, Said, Section, Speaks
from haulm.alerts.select import UNKNOWN, Judged, before, let_go, open_episodes, select
from haulm.garden import Stage
from haulm.weather import DAY

FIRST = date(2027, 4, 1)


def finding(verdict="wait", level=0, section=Section.GET_READY, urgency=40):
    return Finding(verdict, section, urgency, {"soil_c": 9.0}, level)


def judged(answer, speaks=Speaks.ONCE, *, in_stage=True, rule="not-yet", planting="gate-early"):
    return Judged(rule, speaks, "gatebed", planting, Stage.CHITTING, in_stage, answer)


def run(*answers, speaks=Speaks.ONCE, memory=()):
    """One rule through some mornings: the alerts of the last one and the memory after it."""
    alerts = ()
    for ahead, answer in enumerate(answers):
        one = answer if isinstance(answer, Judged) else judged(answer, speaks)
        alerts, memory = select([one], memory, FIRST + ahead * DAY)
    return alerts, memory


def test_a_first_word_is_fresh_in_its_own_section():
    (alert,), (said,) = run(finding())
    assert (alert.section, alert.fresh, alert.first_on) == (Section.GET_READY, True, FIRST)
    assert said == Said("not-yet", "gatebed", "gate-early", "2027-04-01", "wait", 0, FIRST, FIRST)


def test_said_once_it_stands_under_still_so():
    (alert,), (said,) = run(finding(), finding(), finding())
    assert (alert.section, alert.fresh, alert.first_on) == (Section.STILL_SO, False, FIRST)
    assert (said.episode, said.last_on) == ("2027-04-01", FIRST + 2 * DAY)


def test_what_needs_hands_each_day_stays_in_its_section():
    (alert,), _ = run(finding(), finding(), speaks=Speaks.EACH_DAY)
    assert (alert.section, alert.fresh, alert.first_on) == (Section.GET_READY, False, FIRST)


def test_each_day_goes_where_today_puts_it():
    (alert,), _ = run(finding(), finding(section=Section.DO_TODAY), speaks=Speaks.EACH_DAY)
    assert alert.section is Section.DO_TODAY


def test_what_speaks_on_one_morning_is_not_heard_again_while_it_lasts():
    alerts, (said,) = run(finding(), finding(), finding(), speaks=Speaks.ONE_MORNING)
    assert alerts == ()
    assert (said.first_on, said.last_on, said.ended_on) == (FIRST, FIRST + 2 * DAY, None)
    alerts, (said,) = run(finding(), None, speaks=Speaks.ONE_MORNING)
    assert (alerts, said.ended_on) == ((), FIRST + DAY)  # over without a word
    alerts, (said,) = run(finding(), NotKnown("gusts", worth_saying=True), speaks=Speaks.ONE_MORNING)
    assert (alerts, said.ended_on) == ((), None)


def test_but_a_graver_level_or_a_new_spell_is():
    (alert,), _ = run(finding(), finding("net", 1, Section.DO_TODAY), speaks=Speaks.ONE_MORNING)
    assert (alert.fresh, alert.section) == (True, Section.DO_TODAY)
    (alert,), _ = run(finding(), None, finding(), speaks=Speaks.ONE_MORNING)
    assert alert.fresh


def note(rule="look-for-slugs", urgency=8):
    return judged(finding("look", section=Section.KEEP_AN_EYE, urgency=urgency), Speaks.ONE_MORNING, rule=rule)


@pytest.mark.parametrize(
    ("section", "said"), [(Section.DO_TODAY, False), (Section.GET_READY, False), (Section.LEAVE_ALONE, True)]
)
def test_a_note_waits_for_a_morning_without_new_work(section, said):
    work = judged(finding(section=section), rule="planting-time")
    alerts, memory = select([note(), work], (), FIRST)
    assert ("look-for-slugs" in {alert.rule for alert in alerts}) is said
    assert ("look-for-slugs" in {one.rule for one in memory}) is said
    alerts, _ = select([note(), work], memory, FIRST + DAY)  # the work is no news any more
    assert ("look-for-slugs" in {alert.rule for alert in alerts}) is not said


def test_there_is_one_note_a_morning_and_what_is_urgent_is_no_note():
    heard = [[alert.rule for alert in alerts] for alerts in _three_mornings(note("a"), note("b"), note("c", 10))]
    assert heard == [["c", "a"], ["b"], []]


def _three_mornings(*notes):
    memory = ()
    for ahead in range(3):
        alerts, memory = select(notes, memory, FIRST + ahead * DAY)
        yield alerts


@pytest.mark.parametrize(("speaks", "first_on"), [(Speaks.EACH_DAY, FIRST), (Speaks.ONCE, FIRST + DAY)])
def test_a_graver_level_speaks_anew(speaks, first_on):
    (alert,), memory = run(finding("heads-up", 1), finding("cover-tonight", 2, Section.DO_TODAY), speaks=speaks)
    assert (alert.fresh, alert.section, alert.first_on) == (True, Section.DO_TODAY, first_on)
    assert [said.ended_on for said in memory] == [FIRST + DAY, None]


def test_a_danger_that_shrinks_and_grows_again_speaks_anew_each_time():
    grades = [finding("cover-tonight", 2), finding("heads-up", 1), finding("cover-tonight", 2)]
    for count in (2, 3):
        (alert,), memory = run(*grades[:count], speaks=Speaks.EACH_DAY)
        assert (alert.fresh, alert.first_on) == (True, FIRST)
        assert open_episodes(memory)["not-yet", "gatebed", "gate-early"].level == grades[count - 1].level


@pytest.mark.parametrize("speaks", list(Speaks))
def test_another_sentence_of_the_same_level_is_first_said_today(speaks):
    (alert,), _ = run(finding("skip"), finding("skip"), finding("water"), speaks=speaks)
    assert (alert.fresh, alert.first_on, alert.section) == (True, FIRST + 2 * DAY, Section.GET_READY)


def test_the_end_is_said_once_and_then_nothing():
    (alert,), (said,) = run(finding(), None)
    assert (alert.ended, alert.fresh, alert.section) == (True, True, Section.KEEP_AN_EYE)
    assert said.ended_on == FIRST + DAY
    assert run(finding(), None, None) == ((), (said,))


def test_leaving_the_stage_ends_without_a_word():
    alerts, (said,) = run(finding(), judged(None, in_stage=False))
    assert (alerts, said.ended_on) == ((), FIRST + DAY)


def test_after_an_end_it_is_a_new_episode():
    (alert,), memory = run(finding(), None, finding())
    assert (alert.fresh, alert.first_on, len(memory)) == (True, FIRST + 2 * DAY, 2)


# --- what cannot be judged


def test_what_is_not_known_is_told_if_somebody_waits_for_it():
    (alert,), (said,) = run(NotKnown("forecast", worth_saying=True))
    assert (alert.unknown, alert.section, alert.fresh, said.verdict) == ("forecast", Section.KEEP_AN_EYE, True, UNKNOWN)
    assert run(NotKnown("forecast")) == ((), ())


def test_still_not_known_is_not_fresh():
    (alert,), _ = run(*[NotKnown("forecast", worth_saying=True)] * 2)
    assert (alert.unknown, alert.fresh, alert.section) == ("forecast", False, Section.STILL_SO)


def test_what_can_never_be_known_is_said_once_and_not_again():
    never = NotKnown("hours", worth_saying=True, once=True, facts={"missing_hours": 5})
    (alert,), _ = run(never)
    assert (alert.fresh, alert.facts) == (True, {"missing_hours": 5})
    alerts, (said,) = run(never, never, never)
    assert (alerts, said.verdict, said.last_on, said.ended_on) == ((), UNKNOWN, FIRST + 2 * DAY, None)
    (alert,), _ = run(never, never, finding())
    assert alert.fresh
    (alert,), _ = run(finding(), never, never)  # an open matter is not dropped without a word
    assert (alert.unknown, alert.section) == ("hours", Section.STILL_SO)


@pytest.mark.parametrize("speaks", list(Speaks))
def test_known_at_last_it_speaks_anew(speaks):
    (alert,), memory = run(NotKnown("forecast", worth_saying=True), finding(), speaks=speaks)
    assert (alert.fresh, alert.unknown, alert.first_on) == (True, "", FIRST + DAY)
    assert [said.ended_on for said in memory] == [FIRST + DAY, None]


def test_known_at_last_and_nothing_to_say_ends_without_a_word():
    alerts, (said,) = run(NotKnown("forecast", worth_saying=True), None)
    assert (alerts, said.ended_on) == ((), FIRST + DAY)


def test_not_known_and_nobody_waiting_any_more_ends_without_a_word():
    alerts, (said,) = run(NotKnown("forecast", worth_saying=True), NotKnown("forecast"))
    assert (alerts, said.ended_on) == ((), FIRST + DAY)


@pytest.mark.parametrize("worth_saying", [True, False])
@pytest.mark.parametrize(
    ("speaks", "section"), [(Speaks.ONCE, Section.STILL_SO), (Speaks.EACH_DAY, Section.KEEP_AN_EYE)]
)
def test_an_open_episode_that_cannot_be_judged_is_kept_open_and_told(speaks, section, worth_saying):
    (alert,), (said,) = run(finding("cover-tonight", 2), NotKnown("forecast", worth_saying), speaks=speaks)
    assert (alert.unknown, alert.section, alert.fresh, alert.ended) == ("forecast", section, False, False)
    assert (said.ended_on, said.verdict, said.level, said.last_on) == (None, "cover-tonight", 2, FIRST + DAY)
    (again,), _ = run(finding("cover-tonight", 2), NotKnown("forecast"), finding("cover-tonight", 2), speaks=speaks)
    assert (again.fresh, again.first_on, again.unknown) == (False, FIRST, "")


# --- order, and a morning worked out twice


def test_the_letter_has_its_sections_in_order_and_the_urgent_first():
    asked = [
        replace(judged(finding(section=section, urgency=urgency)), rule=f"{section}-{urgency}")
        for section in (Section.KEEP_AN_EYE, Section.DO_TODAY, Section.LEAVE_ALONE)
        for urgency in (10, 90)
    ]
    alerts, _ = select(asked, (), FIRST)
    sections = [Section.DO_TODAY, Section.LEAVE_ALONE, Section.KEEP_AN_EYE]
    assert [(one.section, one.urgency) for one in alerts] == [(s, u) for s in sections for u in (90, 10)]


def test_two_plantings_do_not_share_an_episode():
    _, memory = select([judged(finding())], (), FIRST)
    alerts, _ = select([judged(finding()), judged(finding(), planting="gate-late")], memory, FIRST + DAY)
    assert {alert.planting: alert.fresh for alert in alerts} == {"gate-early": False, "gate-late": True}


VERDICTS = st.sampled_from([("wait", 0), ("look", 0), ("cover-tonight", 1), ("severe", 2)])
ANSWERS = st.one_of(
    st.none(),
    st.builds(lambda graded: finding(*graded), VERDICTS),
    st.builds(NotKnown, st.just("forecast"), st.booleans()),
)
MORNINGS = st.lists(
    st.builds(lambda answer, in_stage: (answer if in_stage else None, in_stage), ANSWERS, st.booleans()), max_size=25
)


@given(MORNINGS, st.sampled_from(list(Speaks)))
def test_any_run_of_answers_leaves_a_clean_memory(mornings, speaks):
    memory, fresh, ended = (), [], []
    for ahead, (answer, in_stage) in enumerate(mornings):
        today = FIRST + ahead * DAY
        known = {said.episode: said for said in memory if said.ended_on is not None}
        alerts, memory = select([judged(answer, speaks, in_stage=in_stage)], memory, today)
        assert sum(said.ended_on is None for said in memory) <= 1
        assert len({said.episode for said in memory}) == len(memory)
        assert known.items() <= {said.episode: said for said in memory}.items()  # what has ended stays as it was
        assert len(alerts) <= 1
        if speaks is not Speaks.ONE_MORNING:
            assert isinstance(answer, Finding) <= (len(alerts) == 1)
        assert speaks is not Speaks.ONE_MORNING or all(one.fresh and not one.ended for one in alerts)
        assert all(one.episode in {said.episode for said in memory} for one in alerts)
        fresh += [one.episode for one in alerts if one.fresh and not one.ended]
        ended += [one.episode for one in alerts if one.ended]
    assert len(fresh) == len(set(fresh))
    assert len(ended) == len(set(ended))
    assert set(ended) <= set(fresh)


@given(MORNINGS, st.sampled_from(list(Speaks)), ANSWERS)
def test_a_morning_worked_out_again_says_the_same(mornings, speaks, answer):
    memory = ()
    for ahead, (earlier, in_stage) in enumerate(mornings):
        _, memory = select([judged(earlier, speaks, in_stage=in_stage)], memory, FIRST + ahead * DAY)
    today = FIRST + len(mornings) * DAY
    once = select([judged(answer, speaks)], before(memory, today), today)
    again = select([judged(answer, speaks)], before(once[1], today), today)
    assert again == once


def test_before_forgets_what_this_morning_or_a_later_one_said():
    _, memory = run(finding("wait"), None, finding("wait"), finding("look"))
    assert before(memory, FIRST) == ()
    first, *rest = before(memory, FIRST + DAY)
    assert (first.episode, first.ended_on, rest) == ("2027-04-01", None, [])
    assert [(said.episode, said.ended_on) for said in before(memory, FIRST + 3 * DAY)] == [
        ("2027-04-01", FIRST + DAY),
        ("2027-04-03", None),
    ]


def test_an_episode_of_a_letter_dated_ahead_never_stays_open_beside_another():
    early = Said("not-yet", "gatebed", "gate-early", "2027-04-04", "look", 0, FIRST + 3 * DAY, FIRST + 3 * DAY)
    _, memory = run(finding("wait"))
    assert before((*memory, early), FIRST + DAY) == memory, "until its day it is not known"
    held = before((*memory, early), FIRST + 4 * DAY)
    assert [(said.episode, said.ended_on) for said in held] == [("2027-04-01", FIRST + 3 * DAY), ("2027-04-04", None)]
    (alert,), memory = select([judged(finding("wait"))], held, FIRST + 4 * DAY)
    assert alert.fresh
    (alert,), memory = select([judged(finding("wait"))], before(memory, FIRST + 5 * DAY), FIRST + 5 * DAY)
    assert not alert.fresh, "said once"
    assert len(open_episodes(memory)) == sum(said.ended_on is None for said in memory) == 1


def test_what_was_open_about_a_planting_no_longer_looked_at_ends_without_a_word():
    open_said = Said("water", "gatebed", "gate-early", "2027-04-01", "water", 0, FIRST, FIRST)
    of_place = replace(open_said, rule="station-silent", bed="", planting="")
    over = replace(open_said, episode="2027-03-01", ended_on=FIRST - 9 * DAY)
    memory, today = (open_said, of_place, over), FIRST + DAY
    assert let_go(memory, {"gate-early"}, today) == memory
    assert let_go(memory, {"gate-late"}, today) == (replace(open_said, ended_on=today), of_place, over)
