"""Alerts in words: blocks, names in sight, and what happens to a misspelt one."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from jinja2 import UndefinedError

from haulm.advice import Section
from haulm.alerts import outcome
from haulm.alerts.rules import RULES, SKY_RULES
from haulm.letter import evening, words
from haulm.units import Display

SEEN = {
    "bed", "planting", "place", "display", "today", "stage", "first_on", "chance", "verdict", "level", "fresh",
    "unknown",
}  # fmt: skip


def test_sentence_reasons_and_caution_are_one_line_each(not_yet, decision_of):
    item = words.item(not_yet, decision_of(not_yet))
    for text in (item.sentence, item.reasons, item.caution):
        assert text == " ".join(text.split())
        assert text
    assert "9.3 °C" in item.reasons
    assert item.bed == "Gatebed"
    assert item.planting == "the early potatoes"


def test_the_same_alert_in_us_units(not_yet, decision_of, garden_of):
    item = words.item(not_yet, decision_of(not_yet, garden=garden_of(Display.US)))
    assert "°F" in item.reasons
    assert "°C" not in item.reasons + item.sentence + item.caution


def test_a_misspelt_fact_is_an_error_not_a_blank(not_yet, alert_of, decision_of):
    facts = {name: value for name, value in not_yet.facts.items() if name != "limit_c"} | {"limt_c": 10.0}
    alert = alert_of("planting-time", verdict="wait", facts=facts)
    with pytest.raises(UndefinedError, match="limit_c"):
        words.item(alert, decision_of(alert))


def test_a_misspelt_fact_in_a_filter_of_dates_is_an_error_too(silent, alert_of, decision_of):
    facts = {name: value for name, value in silent.facts.items() if name != "newest_observed"}
    alert = alert_of("station-silent", facts=facts)
    with pytest.raises(UndefinedError, match="newest_observed"):
        words.item(alert, decision_of(alert))


def test_a_standing_matter_is_one_short_sentence_with_its_day(alert_of, not_yet, decision_of):
    alert = alert_of("planting-time", Section.STILL_SO, verdict="wait", facts=not_yet.facts, first_on=date(2026, 4, 9))
    item = words.item(alert, decision_of(alert))
    assert item.sentence.endswith("(first said Thu 9 April).")
    assert (item.reasons, item.caution) == ("", "")


def test_what_is_said_each_day_tells_when_it_began(frost, alert_of, decision_of):
    alert = alert_of(
        "frost", verdict="cover-tonight", level=2, chance=0.5, facts=frost.facts, first_on=date(2026, 4, 12)
    )
    assert words.item(alert, decision_of(alert)).reasons.endswith("First said on Sun 12 April.")
    assert "First said" not in words.item(frost, decision_of(frost)).reasons


def test_an_end_and_an_unknown_need_no_facts(alert_of, decision_of):
    ended = words.item(alert_of("frost", ended=True), decision_of())
    unknown = words.item(alert_of("second-straw", unknown="soil temperature"), decision_of())
    assert "Gatebed" in ended.sentence
    assert unknown.sentence.endswith("what is lacking: soil temperature.")


def test_the_subject_names_the_bed_once(alert_of, silent, frost, decision_of):
    unnamed = words.subject(silent, decision_of())
    named = words.subject(frost, decision_of())
    assert unnamed == "The weather station is silent"
    assert named.count("Wallbed") == 1


def test_a_silent_station_that_never_spoke(alert_of, decision_of):
    facts = {"station": "Brackenford Mill", "newest_observed": None, "silent_days": 0, "usual_delay_hours": 48.0}
    alert = alert_of("station-silent", Section.KEEP_AN_EYE, bed="", planting="", verdict="silent", facts=facts)
    assert "sent nothing at all" in words.item(alert, decision_of()).sentence


def test_names_and_values_that_are_not_known_read_so(decision_of, alert_of):
    template = words.text_environment().from_string("{{ a }} {{ b }} {{ c | temperature }} {{ d | day }}")
    names = {"a": None, "b": float("nan"), "c": None, "d": None, "display": Display.US, "today": date(2026, 4, 14)}
    assert template.render(names) == "not known not known not known not known"


def test_the_standing_names_are_the_ones_documented(not_yet, decision_of):
    every = words.text_environment().from_string(" ".join(f"{{{{ {name} }}}}" for name in sorted(SEEN)))
    told = words._Words(not_yet, decision_of(not_yet))
    assert every.render(told._standing(decision_of(not_yet)))
    assert set(told._standing(decision_of(not_yet))) == SEEN


def test_every_rule_has_its_words_and_no_words_lack_a_rule():
    rules = {rule.key for rule in (*RULES, *SKY_RULES)} | {outcome.RULE, evening.RULE}
    assert {path.stem for path in (words.TEMPLATES / "alerts").glob("*.txt")} == rules


@pytest.mark.parametrize("path", sorted((words.TEMPLATES / "alerts").glob("*.txt")), ids=lambda path: path.stem)
def test_every_template_has_the_blocks_a_letter_needs(path: Path):
    blocks = words.text_environment().get_template(f"alerts/{path.name}").blocks
    assert {"sentence", "reasons"} <= set(blocks)
    assert set(blocks) <= {"sentence", "reasons", "caution", "subject", "name", "still", "ended", "not_known"}


def test_killed_tops_are_told_once_and_what_lives_is_covered_after(frost, alert_of, decision_of):
    facts = dict(frost.facts) | {"recent_min_c": -4.5}
    told = [
        words.item(replace(alert_of("frost", verdict="killed", level=2, chance=0.5, facts=facts), fresh=fresh),
                   decision_of()).sentence
        for fresh in (True, False)
    ]  # fmt: skip
    assert "has killed what was not covered" in told[0]
    assert told[1].startswith("Cover what still lives in")


@pytest.mark.parametrize(("section", "kept"), [(Section.GET_READY, True), (Section.KEEP_AN_EYE, False)])
def test_a_caution_is_repeated_where_something_is_to_be_done(frost, decision_of, section, kept):
    again = replace(frost, section=section, fresh=False)
    assert bool(words.item(again, decision_of()).caution) is kept
    assert words.item(replace(again, fresh=True), decision_of()).caution
